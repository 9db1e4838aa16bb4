//! Copies of the whole school on their way out and in from a page: one at a time, longer than other pages may take, and
//! nothing of them stays in the folder when the browser is gone.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::time::{Duration, Instant};

use platemark::store::backup;
use reqwest::multipart::{Form, Part};

use super::program::{Running, add_instructor};
use super::site::{Answer, Browser, PASSPHRASE, Site};
use super::torn::request_head;

fn names(folder: &Path, begin: &str) -> usize {
    let names = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name());
    names.filter(|n| n.to_string_lossy().starts_with(begin)).count()
}

const PART: &str = "--edge\r\ncontent-disposition: form-data; name=\"backup\"; filename=\"school.db\"\r\n\r\n";

/// Begins to send a backup, and goes no further.
fn begin_to_send(site: &Site, browser: &Browser, long: usize) -> TcpStream {
    let mut stream = TcpStream::connect(site.address()).unwrap();
    let request = request_head("/restore", browser, long) + PART;
    stream.write_all(request.as_bytes()).unwrap();
    stream
}

/// A backup, once the turn is free; the one before is over when its end was seen.
async fn back_up(browser: &Browser) -> Answer {
    let mut answer = browser.send("/backup", &[]).await;
    for _ in 0..200 {
        if answer.status.as_u16() != 503 {
            break;
        }
        answer.has("One copy at a time");
        tokio::time::sleep(Duration::from_millis(50)).await;
        answer = browser.send("/backup", &[]).await;
    }
    answer
}

#[tokio::test(flavor = "multi_thread")]
async fn one_copy_is_on_its_way_at_a_time_and_the_next_is_told() {
    let site = Site::open().await;
    let folder = site.database().parent().unwrap().to_owned();
    let instructor = site.instructor().await;
    let first = begin_to_send(&site, &instructor, 10_000_000);
    // Once it has the turn: its file is there.
    for _ in 0..600 {
        if names(&folder, "restore-offered-") == 1 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    instructor
        .send("/backup", &[])
        .await
        .is(503)
        .has("One copy at a time")
        .has("Wait some minutes");
    // One that is sent is read to its end, so that its page arrives, and the first is not thrown away for it.
    let big = Form::new().part("backup", Part::bytes(vec![7; 3_000_000]).file_name("other.db"));
    instructor
        .send_files("/restore", big)
        .await
        .is(503)
        .has("One copy at a time");
    let apply = [("token", "0"), ("passphrase", PASSPHRASE)];
    instructor.send("/restore/apply", &apply).await.is(503);
    assert_eq!(names(&folder, "restore-offered-"), 1);
    // Other pages are as always.
    instructor.get("/classes").await.is(200);

    drop(first);
    let copy = back_up(&instructor).await;
    copy.is(200);
    assert_eq!(copy.headers["content-type"], "application/vnd.sqlite3");
    assert_eq!((names(&folder, "restore-offered-"), names(&folder, "backup-")), (0, 0));
}

/// The bytes of an answer, those of a body that is sent with its length.
fn download(site: &Site, browser: &Browser) -> Vec<u8> {
    let mut stream = TcpStream::connect(site.address()).unwrap();
    let head = format!(
        "POST /backup HTTP/1.1\r\nhost: x\r\ncookie: {}\r\nsec-fetch-site: same-origin\r\nconnection: close\r\n\
         accept-encoding: gzip\r\ncontent-length: 0\r\n\r\n",
        browser.token().unwrap()
    );
    stream.write_all(head.as_bytes()).unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    let end = answer.windows(4).position(|w| w == b"\r\n\r\n").unwrap();
    let head = String::from_utf8_lossy(&answer[..end]).to_lowercase();
    assert!(head.starts_with("http/1.1 200"), "{head}");
    let body = answer.split_off(end + 4);
    assert!(head.contains(&format!("content-length: {}", body.len())), "{head}");
    body
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_from_the_page_is_whole_and_leaves_nothing_behind_also_when_nobody_takes_it() {
    let site = Site::open().await;
    let folder = site.database().parent().unwrap().to_owned();
    let instructor = site.instructor().await;
    let outside = tempfile::tempdir().unwrap();
    let file = outside.path().join("saved.db");
    std::fs::write(&file, tokio::task::block_in_place(|| download(&site, &instructor))).unwrap();
    assert_eq!(backup::check(&file).await.unwrap().people, 5);

    // Asked for by browsers that are gone at once, or after the first bytes.
    for wait in [0, 30, 300] {
        let mut stream = TcpStream::connect(site.address()).unwrap();
        let head = request_head("/backup", &instructor, 0);
        stream.write_all(head.as_bytes()).unwrap();
        tokio::time::sleep(Duration::from_millis(wait)).await;
        drop(stream);
        back_up(&instructor).await.is(200);
        assert_eq!(names(&folder, "backup-"), 0);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_killed_server_left_half_made_goes_at_the_next_start() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    assert!(add_instructor(folder.path(), "ferro", PASSPHRASE).status.success());
    let half = ["backup-1790000000000.tmp", "platemark.db.new", "restore-offered-00.db"];
    for name in half.iter().chain(&["backup-of-mine.tmp"]) {
        std::fs::write(folder.path().join(name), "every name").unwrap();
    }
    let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
    assert!(half.iter().all(|name| !folder.path().join(name).exists()));
    assert!(folder.path().join("backup-of-mine.tmp").exists());
    Browser::at(&server.address()).get("/health").await.is(200);
    assert!(server.stop());
}

/// A backup that takes longer to arrive than any other page may take is looked at all the same.
#[tokio::test(flavor = "multi_thread")]
async fn a_backup_may_arrive_for_longer_than_half_a_minute() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let end = "\r\n--edge--\r\n";
    let mut stream = begin_to_send(&site, &instructor, PART.len() + 36 + end.len());
    let begun = Instant::now();
    for _ in 0..36 {
        stream.write_all(b"x").unwrap();
        tokio::time::sleep(Duration::from_millis(900)).await;
    }
    assert!(begun.elapsed() > Duration::from_secs(32));
    stream.write_all(end.as_bytes()).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(3))).unwrap();
    let mut answer = Vec::new();
    tokio::task::block_in_place(|| stream.read_to_end(&mut answer).ok());
    let slowly = String::from_utf8_lossy(&answer);
    assert!(slowly.starts_with("HTTP/1.1 422"), "{slowly}");
    assert!(slowly.contains("not a backup of this program"), "{slowly}");
}
