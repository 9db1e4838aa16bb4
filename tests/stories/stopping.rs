//! Stopping and starting again.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use platemark::store::assignments::Feedback;
use platemark::store::grades;
use sqlx::Connection;

use super::site::{Site, shipped};

#[tokio::test(flavor = "multi_thread")]
async fn what_was_handed_in_is_there_after_a_stop() {
    let mut site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    site.pair("A")
        .await
        .hand_in(assignment, &shipped("SB-11/reports/SB-11-01--careful.csv"))
        .await
        .is(200);
    site.close().await;
    site.open_again().await;
    site.service.clock.put_forward(Duration::from_secs(1));
    site.instructor()
        .await
        .get(&format!("/assignments/{assignment}"))
        .await
        .has("1 of 2 pairs have handed in");
    site.stranger().get("/health").await.is(200).has("ok");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_in_progress_is_finished_and_one_that_never_comes_does_not_hold_the_server() {
    let mut site = Site::open().await;
    let mut slow = TcpStream::connect(site.address()).unwrap();
    slow.write_all(b"GET /health HTTP/1.1\r\nhost: x\r\n").unwrap();
    let _idle = TcpStream::connect(site.address()).unwrap();
    tokio::time::sleep(Duration::from_millis(200)).await;
    let begun = Instant::now();
    let finishing = std::thread::spawn(move || {
        slow.write_all(b"connection: close\r\n\r\n").unwrap();
        let mut answer = String::new();
        slow.read_to_string(&mut answer).unwrap();
        answer
    });
    site.close().await;
    assert!(begun.elapsed() < Duration::from_secs(25), "{:?}", begun.elapsed());
    let answer = finishing.join().unwrap();
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_without_a_grade_gets_one_at_the_next_start() {
    let mut site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    site.pair("A")
        .await
        .hand_in(assignment, &shipped("SB-11/reports/SB-11-01--careful.csv"))
        .await
        .is(200);
    let path = site.database();
    site.close().await;
    // As if the server had been stopped between accepting and grading.
    let mut database = sqlx::SqliteConnection::connect(&format!("sqlite:{}", path.display()))
        .await
        .unwrap();
    sqlx::query("delete from grade").execute(&mut database).await.unwrap();
    database.close().await.unwrap();
    site.open_again().await;
    for _ in 0..100 {
        if grades::missing(&site.service.store, 10).await.unwrap().is_empty() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("the report was not graded");
}
