//! A disk that takes no more, a file that may not be written, one that another program holds, one that is damaged, and
//! a clock that goes back: a clear page, nothing accepted is lost, and what can go on goes on.

use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::process::{Command, Stdio};

use platemark::store::assignments::Feedback;
use platemark::store::{FILE_NAME, StoreError};
use sqlx::{Connection, SqliteConnection};

use super::program::{PROGRAM, Running, add_instructor};
use super::site::{Browser, HOUR, PASSPHRASE, Site, entry, shipped};

async fn open(file: &Path) -> SqliteConnection {
    let url = format!("sqlite:{}", file.display());
    SqliteConnection::connect(&url).await.unwrap()
}

async fn whole(file: &Path) {
    let mut database = open(file).await;
    let said: String = sqlx::query_scalar("pragma integrity_check")
        .fetch_one(&mut database)
        .await
        .unwrap();
    assert_eq!(said, "ok");
}

/// Hands in a report of this pair and says with which status it was answered, and where it is.
async fn hand_in(pair: &Browser, assignment: impl std::fmt::Display, csv: &str) -> (u16, String, String) {
    let form = pair.get(&format!("/my/{assignment}/entry")).await;
    let answer = pair
        .send_files(&format!("/my/{assignment}/entry"), entry(&form, csv))
        .await;
    (answer.status.as_u16(), answer.path.clone(), answer.body)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_that_another_program_holds_is_told_and_works_again_when_it_lets_go() {
    let site = Site::open().await;
    let assignment = site.assign(5, Feedback::Words).await;
    let pair = site.pair("A").await;
    let csv = shipped("SB-11/reports/SB-11-01--careful.csv");
    let form = pair.get(&format!("/my/{assignment}/entry")).await;
    let mut other = open(&site.database()).await;
    sqlx::query("begin immediate").execute(&mut other).await.unwrap();
    let path = format!("/my/{assignment}/entry");
    let refused = pair.send_files(&path, entry(&form, &csv)).await;
    refused.is(503).has("It is still on this page").has("value=\"");
    // Reading goes on.
    pair.get("/my").await.is(200).has("Step block");
    sqlx::query("rollback").execute(&mut other).await.unwrap();
    let page = site.instructor().await.get(&format!("/assignments/{assignment}")).await;
    page.has("0 of 2 pairs have handed in");
    // The same form once more, as the page says.
    pair.send_files(&path, entry(&form, &csv))
        .await
        .is(200)
        .has("attempt 1");
    whole(&site.database()).await;
}

/// A server whose files may not grow beyond so many kibibytes, which is to it what a full disk is.
fn serve_on_full_disk(data: &str, kibibytes: u64) -> Running {
    let script =
        format!("trap '' XFSZ; ulimit -f {kibibytes}; exec \"{PROGRAM}\" demo --data \"{data}\" --listen 127.0.0.1:0");
    Running::begin(
        Command::new("bash").args(["-c", &script]).stderr(Stdio::null()),
        "Ctrl-C",
    )
}

async fn pair_of_demo(server: &Running) -> Browser {
    let pair = Browser::at(&server.address());
    let fields = [("name", "d26-101"), ("secret", "314159")];
    pair.send("/sign-in", &fields).await.is(200);
    pair
}

fn clamp_plate(my: &str) -> String {
    let link = my
        .split("href=\"/my/")
        .find(|link| link.contains("Clamp plate"))
        .unwrap();
    link.split('"').next().unwrap().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_refuses_with_a_page_and_loses_nothing_that_was_accepted() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let demo = Running::start(&["demo", "--data", data, "--listen", "127.0.0.1:0"], "Ctrl-C");
    let pair = pair_of_demo(&demo).await;
    let assignment = clamp_plate(&pair.get("/my").await.body);
    let csv = super::site::any_report("CP-23", "CP-23-01");
    let (status, accepted, _) = hand_in(&pair, &assignment, &csv).await;
    assert_eq!(status, 200);
    assert!(demo.stop());

    // The write-ahead log is empty after a stop; it may now grow to less than one transaction.
    let file = folder.path().join(FILE_NAME);
    let full = serve_on_full_disk(data, 64);
    // Signing in writes too, so the pair comes with what the disk still takes, or is told.
    let pair = Browser::at(&full.address());
    let fields = [("name", "d26-101"), ("secret", "314159")];
    let mut refused = 0;
    for _ in 0..30 {
        let page = pair.send("/sign-in", &fields).await;
        if page.status.as_u16() == 503 {
            page.has("cannot write to its disk").has("Tell your instructor");
            refused += 1;
        }
    }
    assert!(refused > 0, "the disk was never full");
    Browser::at(&full.address()).get("/health").await.is(200);
    drop(full);

    let again = Running::start(&["demo", "--data", data, "--listen", "127.0.0.1:0"], "Ctrl-C");
    pair_of_demo(&again).await.get(&accepted).await.is(200).has("attempt 1");
    assert!(again.stop());
    whole(&file).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_folder_that_may_not_be_written_is_told_at_the_start() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("closed");
    std::fs::write(&data, "a file where the folder should be").unwrap();
    let server = Command::new(PROGRAM)
        .args(["serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(&data)
        .output()
        .unwrap();
    assert_eq!(server.status.code(), Some(1));
    let said = String::from_utf8_lossy(&server.stderr);
    assert!(said.contains("the data folder") && said.contains("closed"), "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_page_is_told_at_the_start_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let phrase = format!("{PASSPHRASE}\n");
    assert!(add_instructor(folder.path(), "ferro", &phrase).status.success());
    let path = folder.path().join(FILE_NAME);
    let mut file = std::fs::OpenOptions::new().write(true).open(&path).unwrap();
    // Every page but the first: which table lies where is SQLite's affair.
    let length = file.metadata().unwrap().len();
    let page = 4096_u32;
    for start in (u64::from(page)..length).step_by(usize::try_from(page).unwrap()) {
        file.seek(SeekFrom::Start(start)).unwrap();
        file.write_all(&[0xA5; 64]).unwrap();
    }
    drop(file);
    let server = Command::new(PROGRAM)
        .args(["serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(folder.path())
        .stdout(Stdio::null())
        .output()
        .unwrap();
    assert_eq!(server.status.code(), Some(1));
    let said = String::from_utf8_lossy(&server.stderr);
    assert!(said.contains("damaged") && said.contains("backup"), "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn damage_in_one_page_is_found_while_what_can_go_on_goes_on() {
    let mut site = Site::open().await;
    let path = site.database();
    site.close().await;
    let mut database = open(&path).await;
    let root: i64 = sqlx::query_scalar("select rootpage from sqlite_schema where name = 'audit_by_subject'")
        .fetch_one(&mut database)
        .await
        .unwrap();
    let size: i64 = sqlx::query_scalar("pragma page_size")
        .fetch_one(&mut database)
        .await
        .unwrap();
    database.close().await.unwrap();
    let mut file = std::fs::OpenOptions::new().write(true).open(&path).unwrap();
    file.seek(SeekFrom::Start(u64::try_from((root - 1) * size).unwrap()))
        .unwrap();
    file.write_all(&[0xA5; 64]).unwrap();
    drop(file);
    site.open_again().await;
    for _ in 0..100 {
        if site.service.store.is_damaged() {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    site.stranger()
        .get("/health")
        .await
        .is(503)
        .has("restore the last backup");
    // Nothing of the index is needed to read a class.
    let mut sound = site.service.store.check().await;
    assert!(matches!(sound, Err(StoreError::Damaged(_))), "{sound:?}");
    sound = site.service.store.answers().await;
    sound.unwrap();
    site.pair("A").await.get("/my").await.is(200);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_goes_back_an_hour_stops_nobody() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let pair = site.pair("A").await;
    site.service.clock.put_forward(HOUR);
    let careful = shipped("SB-11/reports/SB-11-01--careful.csv");
    let (status, first, _) = hand_in(&pair, assignment, &careful).await;
    assert_eq!(status, 200);
    site.service.clock.put_back(HOUR);
    let other = careful
        .replace("conforming", "undecided")
        .replace("nonundecided", "undecided");
    let (status, second, body) = hand_in(&pair, assignment, &other).await;
    assert_eq!(status, 200, "{body}");
    assert_ne!(first, second);
    for (path, attempt) in [(&first, "attempt 1"), (&second, "attempt 2")] {
        pair.get(path).await.is(200).has(attempt);
    }
    // Signing in works as well, also for somebody who was here before.
    site.sign_in("anna", super::site::PIN).await.get(&second).await.is(200);
    site.service.clock.put_forward(HOUR);
    site.instructor()
        .await
        .get(&format!("/assignments/{assignment}"))
        .await
        .is(200)
        .has("1 of 2 pairs have handed in");
}
