//! Uploads torn in mid-request, as by a telephone that loses its network: nothing is half stored, what was there stays,
//! and the server goes on.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpStream};
use std::time::{Duration, Instant};

use platemark::store::assignments::Feedback;
use reqwest::multipart::{Form, Part};

use super::entry::Sheet;
use super::site::{Browser, Site, shipped};

/// How a connection ends.
#[derive(Debug, Clone, Copy)]
enum End {
    /// Nothing more is sent; what the server answers is read.
    Silent,
    /// The line is dead at once.
    Dead,
}

/// The head of a request with a form that is so long by its own account, its parts parted by `edge`.
pub(super) fn request_head(path: &str, browser: &Browser, long: usize) -> String {
    format!(
        "POST {path} HTTP/1.1\r\nhost: x\r\ncookie: {}\r\nsec-fetch-site: same-origin\r\n\
         content-type: multipart/form-data; boundary=edge\r\ncontent-length: {long}\r\n\r\n",
        browser.token().unwrap(),
    )
}

/// Sends a form whose last part is a file, `whole` bytes long by its own account, of which only `sent` arrive.
fn tear(site: &Site, browser: &Browser, path: &str, (fields, file): (&[(&str, &str)], &str), sent: &[u8], end: End) {
    let mut body = Vec::new();
    for (name, text) in fields {
        let part = format!("--edge\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{text}\r\n");
        body.extend(part.into_bytes());
    }
    let head = format!("--edge\r\ncontent-disposition: form-data; name=\"{file}\"; filename=\"sheet.jpg\"\r\n\r\n")
        .into_bytes();
    body.extend(head);
    body.extend(sent);
    let request = request_head(path, browser, body.len() + 100_000);
    let mut stream = TcpStream::connect(site.address()).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    stream.write_all(&body).unwrap();
    if matches!(end, End::Silent) {
        stream.shutdown(Shutdown::Write).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).ok();
        assert!(!answer.starts_with(b"HTTP/1.1 2") && !answer.starts_with(b"HTTP/1.1 3"));
    }
}

/// A picture that compresses badly, so that it is some tens of kilobytes.
fn photo() -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut seed = 7_u32;
    let picture = image::RgbImage::from_fn(160, 120, |_, _| {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let [a, b, c, _] = seed.to_be_bytes();
        image::Rgb([a, b, c])
    });
    image::codecs::jpeg::JpegEncoder::new(&mut bytes)
        .encode_image(&picture)
        .unwrap();
    bytes
}

async fn counts(site: &Site, tables: &[&str]) -> Vec<i64> {
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(site.database());
    let database = sqlx::SqlitePool::connect_with(options).await.unwrap();
    let mut found = Vec::new();
    for table in tables {
        let count = sqlx::AssertSqlSafe(format!("select count(*) from {table}"));
        found.push(sqlx::query_scalar(count).fetch_one(&database).await.unwrap());
    }
    found
}

const HANDED_IN: [&str; 5] = ["report", "grade", "evidence", "evidence_bytes", "report_note"];

#[tokio::test(flavor = "multi_thread")]
async fn a_report_with_a_photo_torn_half_way_leaves_the_draft_and_is_handed_in_after() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let csv = shipped("SB-11/reports/SB-11-01--careful.csv");
    let kept = Sheet::open(&pair, assignment)
        .await
        .fill("m-2", "-8.018")
        .fill("c-2", "nonconforming")
        .photo("first.jpg", &photo());
    kept.send(&pair, "keep").await.is(200).has("Kept: <bdi>first.jpg</bdi>");
    let before = counts(&site, &HANDED_IN).await;
    assert_eq!(before[0], 0);

    let page = pair.get(&format!("/my/{assignment}/entry")).await;
    let (key, attempt) = (page.field("key"), page.field("attempt"));
    let mut fields = vec![
        ("do", "hand-in"),
        ("key", key.as_str()),
        ("attempt", attempt.as_str()),
        ("incomplete", "yes"),
    ];
    let lines: Vec<(String, String)> = csv
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            (format!("m-{}", cells[0]), "1.000".to_owned())
        })
        .collect();
    fields.extend(lines.iter().map(|(n, v)| (n.as_str(), v.as_str())));
    let second = photo();
    let path = format!("/my/{assignment}/entry");
    for (sent, end) in [
        (second.len() / 2, End::Silent),
        (second.len() / 2, End::Dead),
        (second.len(), End::Silent),
        (0, End::Dead),
        (0, End::Silent),
    ] {
        tear(&site, &pair, &path, (&fields, "evidence"), &second[..sent], end);
    }
    assert_eq!(counts(&site, &HANDED_IN).await, before);
    // The draft is what was kept, no more and no less, for both partners; the photo is the first one.
    for browser in [&pair, &site.sign_in("aron", super::site::PIN).await] {
        let page = browser.get(&path).await;
        page.is(200).has("Kept: <bdi>first.jpg</bdi>").has_not("sheet.jpg");
        assert_eq!((page.field("m-2").as_str(), page.field("m-1").as_str()), ("-8.018", ""));
    }
    // The same attempt, whole.
    let whole = Sheet::open(&pair, assignment).await.type_all(&csv);
    whole.send(&pair, "hand-in").await.is(200).has("attempt 1 of 2");
    assert_eq!(counts(&site, &["report", "evidence"]).await, [1, 1]);
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn files_torn_half_way_change_nothing_that_is_there() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let pair = site.pair("A").await;
    let careful = shipped("SB-11/reports/SB-11-01--careful.csv");
    let report = pair
        .hand_in(assignment, &careful)
        .await
        .is(200)
        .path
        .replacen("/my", "", 1);
    let instructor = site.instructor().await;
    let folder = site.database().parent().unwrap().to_owned();
    let tables = [
        "report",
        "evidence",
        "evidence_bytes",
        "person",
        "exercise",
        "exercise_revision",
        "plate",
        "audit",
    ];
    let before = counts(&site, &tables).await;
    let photo = photo();
    let roster = format!("/classes/{}/roster", site.class);
    let people = "name,id\nNova Quell,Q-1\nNoor Abidi,Q-2\n".repeat(40);
    let backup = std::fs::read(site.database()).unwrap();
    let exercise = shipped("JP-14/exercise.toml");
    for end in [End::Silent, End::Dead] {
        let evidence = format!("/my{report}/evidence");
        tear(
            &site,
            &pair,
            &evidence,
            (&[], "evidence"),
            &photo[..photo.len() / 2],
            end,
        );
        let answers = [
            ("heading", "yes"),
            ("column-0", "name"),
            ("column-1", "school-id"),
            ("do", "take"),
        ];
        tear(&site, &instructor, &roster, (&answers, "file"), people.as_bytes(), end);
        tear(&site, &instructor, "/restore", (&[], "backup"), &backup, end);
        tear(
            &site,
            &instructor,
            "/exercises/import",
            (&[], "exercise"),
            exercise.as_bytes(),
            end,
        );
    }
    // Until the server has seen that the dead lines are dead.
    let offered = || {
        let names = std::fs::read_dir(&folder).unwrap().map(|e| e.unwrap().file_name());
        names.filter(|n| n.to_string_lossy().starts_with("restore-")).count()
    };
    for _ in 0..100 {
        if offered() == 0 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    assert_eq!(offered(), 0, "a torn backup lies in the data folder");
    assert_eq!(counts(&site, &tables).await, before);
    // What was there is there, and the same things whole are taken.
    pair.get(&format!("/my{report}")).await.is(200);
    instructor.get(&report).await.is(200);
    let part = Part::bytes(photo).file_name("sheet.jpg");
    pair.send_files(&format!("/my{report}/evidence"), Form::new().part("evidence", part))
        .await
        .is(200)
        .has("/evidence/1");
    let part = Part::text("name,id\nNova Quell,Q-1\n").file_name("class.csv");
    instructor
        .send_files(&roster, Form::new().part("file", part))
        .await
        .is(200)
        .has("<bdi>Nova Quell</bdi>");
}

/// A line so slow that a form would take hours holds its place for half a minute and is told; nothing of it is kept.
#[tokio::test(flavor = "multi_thread")]
async fn an_upload_that_trickles_is_ended_with_a_page() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    Sheet::open(&pair, assignment)
        .await
        .fill("m-2", "-8.018")
        .send(&pair, "keep")
        .await
        .is(200);
    let before = counts(&site, &HANDED_IN).await;
    let address = site.address();
    let path = format!("/my/{assignment}/entry");
    let first = "--edge\r\ncontent-disposition: form-data; name=\"m-2\"\r\n\r\n";
    let request = request_head(&path, &pair, 1_000_000) + first;
    let trickle = tokio::task::spawn_blocking(move || {
        let begun = Instant::now();
        let mut stream = TcpStream::connect(address).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
        stream.set_read_timeout(Some(Duration::from_millis(200))).unwrap();
        let (mut answer, mut piece) = (Vec::new(), [0; 4096]);
        while begun.elapsed() < Duration::from_secs(90) {
            match stream.read(&mut piece) {
                Ok(0) => break,
                Ok(read) => answer.extend_from_slice(&piece[..read]),
                // Nothing yet: a byte more, until nobody takes it.
                Err(_) if stream.write_all(b"1").is_err() => break,
                Err(_) => {}
            }
        }
        (String::from_utf8_lossy(&answer).into_owned(), begun.elapsed())
    });
    // Others are served meanwhile.
    pair.get("/my").await.is(200);
    let (answer, took) = trickle.await.unwrap();
    assert!(answer.starts_with("HTTP/1.1 504"), "{answer}");
    assert!(answer.contains("It took too long"), "{answer}");
    assert!(
        took > Duration::from_secs(29) && took < Duration::from_secs(80),
        "{took:?}"
    );
    assert_eq!(counts(&site, &HANDED_IN).await, before);
    pair.get(&path).await.is(200).has("-8.018");
}
