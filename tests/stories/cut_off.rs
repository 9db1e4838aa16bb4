//! What was begun is brought to its end: when the browser goes away before the answer, when the server ends in between, and when
//! the disk did not take it at first.

use std::io::Write;
use std::net::TcpStream;
use std::time::Duration;

use platemark::store::assignments::Feedback;
use platemark::store::grades::{self, Grade};
use platemark::store::ids::ReportId;
use sqlx::{AssertSqlSafe, Connection, SqliteConnection};

use super::site::{Browser, PIN, Site, filled, shipped};

const CAREFUL: &str = "SB-11/reports/SB-11-01--careful.csv";

/// The file of the school, opened beside the server.
async fn beside(site: &Site) -> SqliteConnection {
    let url = format!("sqlite:{}", site.database().display());
    SqliteConnection::connect(&url).await.unwrap()
}

async fn does(database: &mut SqliteConnection, statement: &'static str) {
    sqlx::raw_sql(AssertSqlSafe(statement)).execute(database).await.unwrap();
}

async fn grade(site: &Site, report: i64) -> Option<Grade> {
    grades::of(&site.service.store, ReportId(report)).await.unwrap()
}

/// A whole request that hands in, as a browser sends it.
fn request(path: &str, browser: &Browser, (key, attempt): (&str, &str), csv: &str) -> String {
    let part =
        |name: &str, text: &str| format!("--edge\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{text}\r\n");
    let mut body = part("key", key) + &part("attempt", attempt) + &part("do", "hand-in");
    for line in csv.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        body += &(part(&format!("m-{}", cells[0]), cells[1]) + &part(&format!("c-{}", cells[0]), cells[2]));
    }
    body += "--edge--\r\n";
    let head = format!(
        "POST {path} HTTP/1.1\r\nhost: x\r\ncookie: {}\r\nsec-fetch-site: same-origin\r\n\
         content-type: multipart/form-data; boundary=edge\r\ncontent-length: {}\r\n\r\n",
        browser.token().unwrap(),
        body.len()
    );
    head + &body
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_is_graded_though_its_sender_went_away_before_the_answer() {
    let mut site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let path = format!("/my/{assignment}/entry");
    let form = pair.get(&path).await;
    let (key, attempt) = (form.field("key"), form.field("attempt"));
    let request = request(&path, &pair, (&key, &attempt), &shipped(CAREFUL));
    // While another program holds the file, the report waits to be stored, and its sender goes.
    let mut other = beside(&site).await;
    does(&mut other, "begin immediate").await;
    let mut stream = TcpStream::connect(site.address()).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    tokio::time::sleep(Duration::from_millis(700)).await;
    drop(stream);
    tokio::time::sleep(Duration::from_millis(700)).await;
    // Nor does a stop cut it off.
    let stop = async {
        let later = tokio::time::sleep(Duration::from_millis(500));
        later.await;
        does(&mut other, "rollback").await;
    };
    tokio::join!(site.close(), stop);
    let graded: i64 = sqlx::query_scalar("select count(*) from grade")
        .fetch_one(&mut other)
        .await
        .unwrap();
    assert_eq!(graded, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_report_once_more_gets_the_grade_that_the_first_one_did_not() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let path = format!("/my/{assignment}/entry");
    let form = pair.get(&path).await;
    let (key, attempt) = (form.field("key"), form.field("attempt"));
    let csv = shipped(CAREFUL);
    pair.send_files(&path, filled(&key, &attempt, &csv)).await.is(200);
    // As if whatever handled it had been cut off after it was stored.
    let mut other = beside(&site).await;
    does(&mut other, "delete from grade").await;
    assert!(grade(&site, 1).await.is_none());
    pair.send_files(&path, filled(&key, &attempt, &csv))
        .await
        .is(200)
        .has("attempt 1 of 2")
        .has_not("still being worked out");
    let first = grade(&site, 1).await.unwrap();
    // Where there is one it stays.
    pair.send_files(&path, filled(&key, &attempt, &csv)).await.is(200);
    assert_eq!(grade(&site, 1).await.unwrap().id, first.id);
}

#[tokio::test(flavor = "multi_thread")]
async fn using_the_pages_leaves_what_reports_are_graded_from_as_it_is() {
    let site = Site::open().await;
    site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let before = site.service.store.changes().unwrap();
    // Long enough after for the use to be noted.
    site.service.clock.put_forward(Duration::from_secs(120));
    pair.get("/my").await.is(200);
    let wrong = [("name", "anna"), ("secret", "not this")];
    site.stranger().send("/sign-in", &wrong).await.is(422);
    let other = site.sign_in("bela", PIN).await;
    other.send("/sign-out", &[]).await.is(200);
    assert_eq!(site.service.store.changes(), Some(before));
}
