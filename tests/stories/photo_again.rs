//! A photo that is sent with numbers that were handed in before: sent once more, by the other partner, for an attempt that is over,
//! or when none is left. It is never moved to another attempt without a word, and never stored where nobody sees it.

use std::io::{Read, Write};
use std::net::TcpStream;

use platemark::store::assignments::Feedback;
use platemark::store::ids::AssignmentId;

use super::entry::{Sheet, area};
use super::site::{Browser, PIN, Site, entry, shipped};
use super::torn::request_head;

fn careful() -> String {
    shipped("SB-11/reports/SB-11-01--careful.csv")
}

/// A picture of one grey.
fn photo(grey: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    let picture = image::RgbImage::from_pixel(60, 40, image::Rgb([grey; 3]));
    image::codecs::jpeg::JpegEncoder::new(&mut bytes)
        .encode_image(&picture)
        .unwrap();
    bytes
}

/// Names of the files that are stored, with their attempts.
async fn stored(site: &Site) -> Vec<(i64, String)> {
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(site.database());
    let database = sqlx::SqlitePool::connect_with(options).await.unwrap();
    let rows = sqlx::query_as("select attempt, name from evidence order by id")
        .fetch_all(&database)
        .await
        .unwrap();
    database.close().await;
    rows
}

fn at(attempt: i64, name: &str) -> (i64, String) {
    (attempt, name.to_owned())
}

struct Pair {
    site: Site,
    assignment: AssignmentId,
    anna: Browser,
    aron: Browser,
}

impl Pair {
    async fn of(attempts: i64) -> Self {
        let site = Site::open().await;
        let assignment = site.assign(attempts, Feedback::Words).await;
        let (anna, aron) = (site.pair("A").await, site.sign_in("aron", PIN).await);
        Self {
            site,
            assignment,
            anna,
            aron,
        }
    }

    async fn sheet(&self, browser: &Browser) -> Sheet {
        Sheet::open(browser, self.assignment).await.type_all(&careful())
    }

    fn path(&self) -> String {
        format!("/my/{}/entry", self.assignment)
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn sent_once_more_after_a_lost_answer_it_is_one_photo_of_that_report() {
    for attempts in [3, 1] {
        let of = Pair::of(attempts).await;
        let sheet = of.sheet(&of.anna).await.photo("sheet.jpg", &photo(90));
        for _ in 0..3 {
            let result = sheet.send(&of.anna, "hand-in").await;
            assert_eq!(result.is(200).path, "/my/reports/1");
            result.has("<bdi>sheet.jpg</bdi>");
            assert_eq!(stored(&of.site).await, [at(1, "sheet.jpg")]);
        }
        if attempts > 1 {
            of.anna.get(&of.path()).await.is(200).has_not("sheet.jpg");
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_partners_other_photo_beside_the_same_numbers_is_told_and_with_that_report() {
    for attempts in [2, 1] {
        let of = Pair::of(attempts).await;
        let hers = of.sheet(&of.anna).await.photo("hers.jpg", &photo(90));
        let his = of.sheet(&of.aron).await.photo("his.jpg", &photo(120));
        hers.send(&of.anna, "hand-in").await.is(200);
        let told = his.send(&of.aron, "hand-in").await;
        told.is(409)
            .has("handed in before")
            .has("his.jpg\u{201d} was not beside that report yet, and now is")
            .has("href=\"/my/reports/1\"");
        assert_eq!(stored(&of.site).await, [at(1, "hers.jpg"), at(1, "his.jpg")]);
        // Once more it is nothing new.
        assert_eq!(his.send(&of.aron, "hand-in").await.is(200).path, "/my/reports/1");
        for browser in [&of.anna, &of.aron] {
            browser.get("/my/reports/1").await.has("hers.jpg").has("his.jpg");
        }
        of.site
            .instructor()
            .await
            .get("/reports/1")
            .await
            .is(200)
            .has("/reports/1/evidence/2");
        // With other words too: the page with the words says where the photo is.
        let his = his.photo("third.jpg", &photo(150)).fill("remarks", "The tip was new.");
        let told = his.send(&of.aron, "hand-in").await;
        told.is(409)
            .has("count once")
            .has("third.jpg\u{201d} was not beside that report yet, and now is");
        assert_eq!(area(&told, "text"), "The tip was new.");
        assert_eq!(stored(&of.site).await.last(), Some(&at(1, "third.jpg")));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn one_that_cannot_be_added_to_that_report_is_told() {
    let of = Pair::of(1).await;
    let his = of.sheet(&of.aron).await;
    of.sheet(&of.anna).await.send(&of.anna, "hand-in").await.is(200);
    let his = his.photo("note.txt", b"dear instructor");
    let told = his.send(&of.aron, "hand-in").await;
    told.is(422)
        .has("The file was not kept")
        .has("neither a JPEG or PNG picture nor a PDF")
        .has("handed in before")
        .has("href=\"/my/reports/1\"");
    let mut his = his;
    for grey in 1..=6 {
        his = his.photo(&format!("{grey}.jpg"), &photo(grey * 20));
        his.send(&of.aron, "hand-in").await.is(409);
    }
    his = his.photo("7.jpg", &photo(200));
    his.send(&of.aron, "hand-in")
        .await
        .is(422)
        .has("There are 6 photos or PDFs beside this report already");
    let his = his.fill("remarks", "It was warm.");
    let told = his.send(&of.aron, "hand-in").await;
    told.is(409)
        .has("There are 6 photos or PDFs beside this report already")
        .has("It was warm.");
    assert_eq!(stored(&of.site).await.len(), 6);
}

/// The numbers are others, so the photo is of those: it goes where they can go.
#[tokio::test(flavor = "multi_thread")]
async fn beside_other_numbers_it_is_kept_for_the_next_attempt_and_that_is_said() {
    let of = Pair::of(2).await;
    let his = of.sheet(&of.aron).await;
    let older = of.sheet(&of.aron).await;
    of.sheet(&of.anna).await.send(&of.anna, "hand-in").await.is(200);
    let his = his.fill("m-2", "-8.0199").photo("his.jpg", &photo(120));
    let told = his.send(&of.aron, "hand-in").await;
    told.is(409)
        .has("other numbers were handed in before")
        .has("his.jpg\u{201d} is kept for attempt 2: the attempt of the page that it came with is handed in")
        .has("Kept: <bdi>his.jpg</bdi>");
    assert_eq!(stored(&of.site).await, [at(2, "his.jpg")]);
    // Kept only, from a page that is as old, it is the same.
    let older = older.photo("older.jpg", &photo(150));
    let told = older.send(&of.aron, "keep").await;
    told.is(200)
        .has("older.jpg\u{201d} is kept for attempt 2")
        .has("Kept: <bdi>older.jpg</bdi>");
    // It can be taken away, and the other one is handed in with the attempt.
    Sheet::of(&told, of.path())
        .send(&of.aron, "take-away:2")
        .await
        .is(200)
        .has_not("older.jpg");
    let sheet = Sheet::open(&of.aron, of.assignment).await;
    let result = sheet
        .type_all(&careful())
        .fill("m-2", "-8.0199")
        .send(&of.aron, "hand-in")
        .await;
    result.is(200).has("attempt 2 of 2").has("his.jpg");
}

#[tokio::test(flavor = "multi_thread")]
async fn with_no_attempt_left_it_is_not_stored_and_that_is_said() {
    let of = Pair::of(1).await;
    let his = of.sheet(&of.aron).await;
    of.sheet(&of.anna).await.send(&of.anna, "hand-in").await.is(200);
    let his = his.fill("m-2", "-8.0199").photo("his.jpg", &photo(120));
    for (button, status) in [("hand-in", 409), ("keep", 422)] {
        his.send(&of.aron, button)
            .await
            .is(status)
            .has("his.jpg\u{201d} was not kept, since no attempt is left")
            .has("value=\"-8.0199\"");
    }
    assert_eq!(stored(&of.site).await, []);
}

#[tokio::test(flavor = "multi_thread")]
async fn one_that_was_handed_in_meanwhile_is_not_taken_away_without_a_word() {
    let of = Pair::of(2).await;
    let kept = of.sheet(&of.aron).await.photo("his.jpg", &photo(120));
    let page = kept.send(&of.aron, "keep").await;
    let old = Sheet::of(page.is(200), of.path());
    of.sheet(&of.anna).await.send(&of.anna, "hand-in").await.is(200);
    old.send(&of.aron, "take-away:1")
        .await
        .is(422)
        .has("Attempt 1 was handed in meanwhile with \u{201c}his.jpg\u{201d}");
    assert_eq!(stored(&of.site).await, [at(1, "his.jpg")]);
}

/// A photo takes a while over a telephone's network; the partner hands in before it has arrived.
#[tokio::test(flavor = "multi_thread")]
async fn one_that_is_on_its_way_while_the_partner_hands_in_is_not_put_beside_the_partners_numbers() {
    let of = Pair::of(2).await;
    let page = of.aron.get(&of.path()).await;
    let mut body = Vec::new();
    for (name, text) in [
        ("key", page.field("key").as_str()),
        ("attempt", "1"),
        ("m-2", "-8.0199"),
        ("do", "hand-in"),
        ("incomplete", "yes"),
    ] {
        let part = format!("--edge\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{text}\r\n");
        body.extend(part.into_bytes());
    }
    let head = "--edge\r\ncontent-disposition: form-data; name=\"evidence\"; filename=\"his.jpg\"\r\n\r\n";
    body.extend(head.as_bytes());
    body.extend(photo(120));
    let rest = b"\r\n--edge--\r\n";
    let mut stream = TcpStream::connect(of.site.address()).unwrap();
    let request = request_head(&of.path(), &of.aron, body.len() + rest.len())
        .replace("host: x\r\n", "host: x\r\nconnection: close\r\n");
    stream.write_all(request.as_bytes()).unwrap();
    stream.write_all(&body).unwrap();
    // Until the server has seen how things stood before, it reads the rest.
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    let hers = of.anna.get(&of.path()).await;
    of.anna.send_files(&of.path(), entry(&hers, &careful())).await.is(200);
    let answer = tokio::task::spawn_blocking(move || {
        stream.write_all(rest).unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        String::from_utf8_lossy(&answer).into_owned()
    });
    let answer = answer.await.unwrap();
    assert!(answer.starts_with("HTTP/1.1 409"), "{answer}");
    assert!(answer.contains("kept for attempt 2"), "{answer}");
    assert_eq!(stored(&of.site).await, [at(2, "his.jpg")]);
}
