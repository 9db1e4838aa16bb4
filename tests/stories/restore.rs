//! A backup put back from a page while the server runs, and files that are not put back.

use std::path::Path;
use std::time::Duration;

use platemark::store::{FILE_NAME, Store, backup};
use reqwest::multipart::{Form, Part};
use sqlx::{Connection, SqliteConnection};

use super::program::{Running, add_instructor};
use super::site::Browser;

const PASSPHRASE: &str = "granite and a level";

async fn sign_in(address: &str, secret: &str) -> Browser {
    let browser = Browser::at(address);
    let fields = [("name", "ferro"), ("secret", secret)];
    browser.send("/sign-in", &fields).await.is(200).has("Classes");
    browser
}

async fn send(browser: &Browser, bytes: Vec<u8>) -> super::site::Answer {
    let form = Form::new().part("backup", Part::bytes(bytes).file_name("school.db"));
    browser.send_files("/restore", form).await
}

fn kept(folder: &Path, begin: &str) -> usize {
    let names = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name());
    names.filter(|n| n.to_string_lossy().starts_with(begin)).count()
}

async fn make_class(browser: &Browser, name: &str) {
    let fields = [("name", name), ("term", "Spring"), ("time_zone", "Europe/Dublin")];
    browser.send("/classes/new", &fields).await.is(200).has(name);
}

/// Until the server answers again; the stories' servers share two processors.
async fn answers(address: &str) -> bool {
    for _ in 0..600 {
        tokio::time::sleep(Duration::from_millis(50)).await;
        let client = reqwest::Client::builder().no_proxy().build().unwrap();
        if client.get(format!("{address}/health")).send().await.is_ok() {
            return true;
        }
    }
    false
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_comes_back_from_a_page_and_the_server_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    assert!(add_instructor(folder.path(), "ferro", PASSPHRASE).status.success());
    let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
    let address = server.address();
    let instructor = sign_in(&address, PASSPHRASE).await;
    make_class(&instructor, "Monday group").await;
    let copy = folder.path().join("copy.db");
    backup::copy(folder.path(), &copy).await.unwrap();
    let bytes = std::fs::read(&copy).unwrap();
    make_class(&instructor, "Friday group").await;

    // It is shown beside what is there, and nothing happens yet.
    let looked = send(&instructor, bytes).await;
    looked
        .is(200)
        .has("It is of this school.")
        .has("Monday group Spring")
        .has("Friday group Spring; Monday group Spring");
    let token = looked.field("token");
    let wrong = [("token", token.as_str()), ("passphrase", "not the one at all")];
    instructor
        .send("/restore/apply", &wrong)
        .await
        .is(422)
        .has("This is not your passphrase.")
        .has("It is of this school.");
    instructor.get("/classes").await.has("Friday group");
    let right = [("token", token.as_str()), ("passphrase", PASSPHRASE)];
    instructor
        .send("/restore/apply", &right)
        .await
        .is(200)
        .has("before-restore-");

    // The process goes on at the same address with the restored school; everybody signs in again.
    assert!(answers(&address).await);
    let again = sign_in(&address, PASSPHRASE).await;
    again.get("/classes").await.has("Monday group").has_not("Friday group");
    again
        .get("/restore")
        .await
        .has("A backup was put in place: 1 people, 0 reports");
    assert_eq!(kept(folder.path(), "restore-offered-"), 0);
    assert!(!folder.path().join("restore.db").exists());
    // What was there before is whole, with the class that the backup did not have.
    let before = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|e| e.unwrap().path())
        .find(|p| p.file_name().unwrap().to_string_lossy().starts_with("before-restore-"))
        .unwrap();
    let had = backup::contents(&before).await.unwrap();
    assert_eq!(had.classes.len(), 2);
    // A copy of another time is used up: the same form once more finds nothing.
    again
        .send("/restore/apply", &right)
        .await
        .is(409)
        .has("is not here any more");
    assert!(server.stop());
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn a_file_that_is_damaged_wrong_or_too_new_is_refused_and_nothing_changes() {
    let site = super::site::Site::open().await;
    let folder = site.database().parent().unwrap().to_owned();
    let instructor = site.instructor().await;
    let outside = tempfile::tempdir().unwrap();
    let copy = outside.path().join("copy.db");
    backup::copy(&folder, &copy).await.unwrap();
    let whole = std::fs::read(&copy).unwrap();

    send(&instructor, Vec::new())
        .await
        .is(422)
        .has("No file was chosen, or it is empty.");
    let picture = b"\x89PNG\r\n\x1a\n and more".to_vec();
    send(&instructor, picture)
        .await
        .is(422)
        .has("This file is not a backup of this program.");
    let torn = whole[..whole.len() / 2].to_vec();
    send(&instructor, torn).await.is(422).has("The backup is not whole");
    let mut damaged = whole.clone();
    let half = damaged.len() / 2;
    damaged[half..].fill(7);
    send(&instructor, damaged)
        .await
        .is(422)
        .has("The backup is not whole")
        .has("Nothing was changed");

    // A database of something else.
    let other = outside.path().join("other.db");
    let mut made = SqliteConnection::connect(&format!("sqlite:{}?mode=rwc", other.display()))
        .await
        .unwrap();
    sqlx::raw_sql("create table tool (id integer primary key)")
        .execute(&mut made)
        .await
        .unwrap();
    made.close().await.unwrap();
    let bytes = std::fs::read(&other).unwrap();
    send(&instructor, bytes)
        .await
        .is(422)
        .has("This file is not a backup of this program.");

    // One of a later version.
    let mut newer = SqliteConnection::connect(&format!("sqlite:{}", copy.display()))
        .await
        .unwrap();
    sqlx::raw_sql(
        "insert into _sqlx_migrations (version, description, success, checksum, execution_time)
         values (9999, 'later', 1, x'00', 0)",
    )
    .execute(&mut newer)
    .await
    .unwrap();
    newer.close().await.unwrap();
    let bytes = std::fs::read(&copy).unwrap();
    send(&instructor, bytes)
        .await
        .is(422)
        .has("made by a newer version of this program (its schema is 9999")
        .has("Nothing was changed");

    assert_eq!(kept(&folder, "restore-offered-"), 0);
    // Another school's is said to be another's.
    let elsewhere = outside.path().join("elsewhere");
    std::fs::create_dir(&elsewhere).unwrap();
    Store::open(&elsewhere).await.unwrap().close().await;
    let bytes = std::fs::read(elsewhere.join(FILE_NAME)).unwrap();
    send(&instructor, bytes)
        .await
        .is(200)
        .has("It is a backup of another school");
    instructor.get("/classes").await.has("Monday group");
    // Nobody else comes near.
    site.pair("A").await.get("/restore").await.is(403);
}
