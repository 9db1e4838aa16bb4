//! Stopping and starting again.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use platemark::store::assignments::Feedback;
use platemark::store::grades;
#[cfg(unix)]
use rustix::process::Signal;
use sqlx::Connection;

use super::program::{Running, add_instructor};
use super::site::{Site, shipped};

/// A service manager may ask as soon as the line is there.
#[cfg(unix)]
#[tokio::test]
async fn who_asks_it_to_stop_as_soon_as_it_says_that_it_is_there_is_heard() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    assert!(
        add_instructor(folder.path(), "ferro", "long enough a phrase")
            .status
            .success()
    );
    let arguments = |command| [command, "--data", data, "--listen", "127.0.0.1:0"];
    for signal in [Signal::TERM, Signal::INT] {
        for n in 0..15 {
            let mut server = Running::start(&arguments("serve"), "listens on");
            assert_eq!(server.ends_by(signal).await, Some(0), "{signal:?}, try {n}");
            // What was in the log of the database is in the file.
            assert!(!folder.path().join("platemark.db-wal").exists(), "{signal:?}, try {n}");
            assert!(server.logged().contains("stopping: finishing what was accepted"));
        }
    }
}

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

/// A report that is on its way when the server is asked to stop is taken to its end, stored and acknowledged.
#[tokio::test(flavor = "multi_thread")]
async fn a_report_that_is_half_sent_at_the_stop_is_finished() {
    let mut site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let page = pair.get(&format!("/my/{assignment}/entry")).await;
    let part =
        |name: &str, text: &str| format!("--edge\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{text}\r\n");
    let mut body = part("key", &page.field("key")) + &part("attempt", &page.field("attempt")) + &part("do", "hand-in");
    for line in shipped("SB-11/reports/SB-11-01--careful.csv").lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        body += &(part(&format!("m-{}", cells[0]), cells[1]) + &part(&format!("c-{}", cells[0]), cells[2]));
    }
    body += "--edge--\r\n";
    let head = format!(
        "POST /my/{assignment}/entry HTTP/1.1\r\nhost: x\r\ncookie: {}\r\nsec-fetch-site: same-origin\r\n\
         content-type: multipart/form-data; boundary=edge\r\ncontent-length: {}\r\n\r\n",
        pair.token().unwrap(),
        body.len()
    );
    let (first, rest) = body.split_at(body.len() / 2);
    let mut stream = TcpStream::connect(site.address()).unwrap();
    stream.write_all((head + first).as_bytes()).unwrap();
    tokio::time::sleep(Duration::from_millis(200)).await;
    let rest = rest.to_owned();
    let sending = async {
        tokio::time::sleep(Duration::from_millis(300)).await;
        let sent = tokio::task::spawn_blocking(move || {
            stream.write_all(rest.as_bytes()).unwrap();
            let mut answer = String::new();
            stream.read_to_string(&mut answer).unwrap();
            answer
        });
        sent.await.unwrap()
    };
    let ((), answer) = tokio::join!(site.close(), sending);
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    assert!(answer.contains("location: /my/reports/1"), "{answer}");
    site.open_again().await;
    site.pair("A").await.get("/my/reports/1").await.is(200).has("attempt 1");
}

/// Reports that wait to be graded are not graded for nothing while the server stops: the next start does it.
#[tokio::test(flavor = "multi_thread")]
async fn what_waits_to_be_graded_at_the_stop_is_graded_after_the_next_start() {
    let mut site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let (a, b) = (site.pair("A").await, site.pair("B").await);
    let csv = shipped("SB-11/reports/SB-11-01--careful.csv");
    // As while others are graded: there is no place.
    let service = site.service.clone();
    let places = u32::try_from(service.processors).unwrap();
    let all = service.grading.acquire_many(places).await.unwrap();
    let (one, other) = tokio::join!(a.hand_in(assignment, &csv), b.hand_in(assignment, &csv));
    for page in [one, other] {
        page.is(200).has("still being worked out");
    }
    assert_eq!(service.fresh.waiting(), 2);
    site.close().await;
    assert_eq!(service.fresh.waiting(), 0);
    drop(all);
    site.open_again().await;
    for _ in 0..200 {
        if grades::missing(&site.service.store, 10).await.unwrap().is_empty() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("a report was not graded");
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
