//! A backup put back from a page while the server runs, and files that are not put back.

use std::path::Path;
use std::time::Duration;

use platemark::store::{FILE_NAME, Store, backup};
use reqwest::multipart::{Form, Part};
use sqlx::{Connection, SqliteConnection};

use platemark::store::assignments::Feedback;
use platemark::store::people::Role;

use super::program::{Running, add_instructor};
use super::site::{Answer, Browser, PIN, Site, person, shipped};

const PASSPHRASE: &str = "granite and a level";

async fn sign_in(address: &str, secret: &str) -> Browser {
    let browser = Browser::at(address);
    let fields = [("name", "ferro"), ("secret", secret)];
    browser.send("/sign-in", &fields).await.is(200).has("Classes");
    browser
}

async fn send(browser: &Browser, bytes: Vec<u8>) -> Answer {
    let form = Form::new().part("backup", Part::bytes(bytes).file_name("school.db"));
    browser.send_files("/restore", form).await
}

/// Puts in place what was looked at.
async fn apply(browser: &Browser, looked: &Answer, passphrase: &str) -> Answer {
    let token = looked.field("token");
    let fields = [("token", token.as_str()), ("passphrase", passphrase)];
    browser.send("/restore/apply", &fields).await
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
    apply(&instructor, &looked, "not the one at all")
        .await
        .is(422)
        .has("This is not your passphrase.")
        .has("It is of this school.");
    instructor.get("/classes").await.has("Friday group");
    apply(&instructor, &looked, PASSPHRASE)
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
    apply(&again, &looked, PASSPHRASE)
        .await
        .is(409)
        .has("is not here any more");
    assert!(server.stop());
}

/// A signal that comes while the backup takes its place is not lost, and neither is the backup.
#[cfg(unix)]
#[tokio::test(flavor = "multi_thread")]
async fn who_asks_it_to_stop_while_a_backup_takes_its_place_is_heard() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    assert!(add_instructor(folder.path(), "ferro", PASSPHRASE).status.success());
    let copy = folder.path().join("copy.db");
    backup::copy(folder.path(), &copy).await.unwrap();
    let start = || Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
    for (n, wait) in [0, 10, 30, 60].into_iter().enumerate() {
        let mut server = start();
        let instructor = sign_in(&server.address(), PASSPHRASE).await;
        make_class(&instructor, &format!("Group {n}")).await;
        let looked = send(&instructor, std::fs::read(&copy).unwrap()).await;
        apply(&instructor, &looked, PASSPHRASE).await.is(200);
        while !server.logged().contains("stopping: finishing what was accepted") {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        tokio::time::sleep(Duration::from_millis(wait)).await;
        let ended = server.ends_by(rustix::process::Signal::TERM).await;
        assert_eq!(ended, Some(0), "after {wait} ms");
        let again = start();
        let instructor = sign_in(&again.address(), PASSPHRASE).await;
        instructor.get("/classes").await.has_not(&format!("Group {n}"));
        instructor
            .get("/restore")
            .await
            .has("A backup was put in place: 1 people, 0 reports");
        assert!(again.stop());
    }
}

#[tokio::test(flavor = "multi_thread")]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn a_file_that_is_damaged_wrong_or_too_new_is_refused_and_nothing_changes() {
    let site = Site::open().await;
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

/// A copy of the school is everybody's accounts: with it any instructor could become any other.
#[tokio::test(flavor = "multi_thread")]
async fn where_several_teach_whoever_runs_the_server_copies_the_school() {
    let mut site = Site::open().await;
    let folder = site.database().parent().unwrap().to_owned();
    let outside = tempfile::tempdir().unwrap();
    let copy = outside.path().join("copy.db");
    backup::copy(&folder, &copy).await.unwrap();
    let bytes = std::fs::read(&copy).unwrap();
    let instructor = site.instructor().await;
    let end = format!("/classes/{}/end-of-term", site.class);
    instructor.get(&end).await.is(200).has("Make a backup");
    send(&instructor, bytes.clone()).await.is(200);

    let colleague = site.newcomer(Role::Instructor, "ousel").await;
    for browser in [&instructor, &colleague] {
        browser.get("/restore").await.is(403).has("platemark restore");
        browser.send("/backup", &[]).await.is(403).has("platemark backup");
        send(browser, bytes.clone()).await.is(403);
        let token = "0".repeat(32);
        let fields = [("token", token.as_str()), ("passphrase", super::site::PASSPHRASE)];
        browser.send("/restore/apply", &fields).await.is(403);
    }
    let page = instructor.get(&end).await;
    page.is(200).has_not("Make a backup").has("--copies-on-pages");
    site.close().await;

    let data = folder.to_str().unwrap();
    let serve = ["serve", "--data", data, "--listen", "127.0.0.1:0", "--copies-on-pages"];
    let server = Running::start(&serve, "listens on");
    let instructor = sign_in(&server.address(), super::site::PASSPHRASE).await;
    instructor.get(&end).await.is(200).has("Make a backup");
    instructor.get("/restore").await.is(200);
    instructor.send("/backup", &[]).await.is(200);
    assert!(server.stop());
}

/// Rows and columns of a school in which one of these words stands.
async fn where_they_stand(folder: &Path, words: &[&str]) -> Vec<String> {
    let address = format!("sqlite:{}?mode=ro", folder.join(FILE_NAME).display());
    let mut school = SqliteConnection::connect(&address).await.unwrap();
    let columns: Vec<(String, String)> = sqlx::query_as(
        "select m.name, c.name from sqlite_master m join pragma_table_info(m.name) c where m.type = 'table'
             and m.name not like 'sqlite%' and m.name not like '\\_sqlx%' escape '\\'",
    )
    .fetch_all(&mut school)
    .await
    .unwrap();
    assert!(columns.len() > 100, "{}", columns.len());
    let mut found = Vec::new();
    for (table, column) in columns {
        for word in words {
            // Bytes too: a source file, a picture.
            let count = format!(
                "select count(*) from \"{table}\" where instr(lower(cast(\"{column}\" as text)), '{word}') > 0"
            );
            let count: i64 = sqlx::query_scalar(sqlx::AssertSqlSafe(count))
                .fetch_one(&mut school)
                .await
                .unwrap();
            if count > 0 {
                found.push(format!("{table}.{column}: {word} {count} times"));
            }
        }
    }
    found
}

/// Words that stand about Anna wherever somebody can write something.
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
async fn write_about_anna(site: &Site) {
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let sheet = super::entry::Sheet::open(&pair, assignment).await;
    let csv = shipped("SB-11/reports/SB-11-01--careful.csv");
    let sheet = sheet.type_all(&csv).fill("remarks", "Quillfeather Anna measured this.");
    let result = sheet.send(&pair, "hand-in").await;
    let report = result.is(200).path.replacen("/my", "", 1);
    let file = Part::text(csv.replace("no,", "quillfeather,no,").replace("\n", "\nx,")).file_name("quillfeather.csv");
    let page = pair.get(&format!("/my/{assignment}/entry")).await;
    let form = Form::new()
        .text("key", page.field("key"))
        .text("attempt", page.field("attempt"))
        .text("do", "keep")
        .text("remarks", "quillfeather again")
        .part("table", file);
    pair.send_files(&format!("/my/{assignment}/entry"), form).await;
    pair.send(
        &format!("/my{report}/query"),
        &[("no", ""), ("text", "Quillfeather asks.")],
    )
    .await
    .is(200);
    let instructor = site.instructor().await;
    let review = format!("{report}/review");
    for fields in [
        [("do", "set-mark"), ("mark", "77"), ("reason", "Quillfeather was ill.")],
        [("do", "remark"), ("remark", "Well done, Quillfeather."), ("mark", "")],
        [("do", "answer:1"), ("answer-1", "Yes, Quillfeather."), ("mark", "")],
    ] {
        instructor.send(&review, &fields).await.is(200);
    }
    let points = [("assignment", "1"), ("points", "5"), ("reason", "Quillfeather helped.")];
    instructor
        .send(&format!("/classes/{}/students/2", site.class), &points)
        .await
        .is(200);
    let excuse = [("do", "excuse"), ("student", "2"), ("excuse_why", "Quillfeather ill")];
    let change = format!("/assignments/{assignment}/change");
    instructor.send(&change, &excuse).await.is(200);
    let longer = [
        ("do", "extend"),
        ("pair", "1"),
        ("longer", "2099-01-01T10:00"),
        ("why", "quillfeather ill"),
    ];
    instructor.send(&change, &longer).await.is(200);
    // Of five pairs and more the numbers of reports stay, without the words.
    for name in ["cara", "dina", "ella"] {
        let id = person(&site.service, Role::Student, name).await;
        let field = format!("pair-{id}");
        let mut tx = site.service.store.change().await.unwrap();
        platemark::store::classes::join(&mut tx, site.class, id, site.service.clock.now())
            .await
            .unwrap();
        tx.commit().await.unwrap();
        let by_hand = [(field.as_str(), name), ("do", "hand")];
        let pairs = format!("/classes/{}/pairs", site.class);
        instructor.send(&pairs, &by_hand).await.is(200);
    }
    instructor.send(&change, &[("do", "give-missing")]).await.is(200);
    site.service.clock.put_forward(Duration::from_secs(1));
    for name in ["bela", "cara", "dina", "ella"] {
        let browser = site.sign_in(name, PIN).await;
        browser.hand_in(assignment, &csv).await.is(200);
    }
    let drawer = |plate: u8| format!("/exercises/{}/plates/{plate}/drawer", site.exercise);
    for (plate, fields) in [
        (3, vec![("act", "out"), ("holder", "anna and Bela")]),
        (3, vec![("act", "in"), ("remark", "A scratch; Quillfeather was told.")]),
        (3, vec![("act", "out"), ("holder", "anna")]),
        (4, vec![("act", "out"), ("holder", "the workshop")]),
        (4, vec![("act", "in"), ("remark", "anna found it")]),
        (
            4,
            vec![("act", "place"), ("label", "anna\u{2019}s"), ("place", "drawer 2")],
        ),
        (4, vec![("act", "withdraw"), ("why", "anna dropped it")]),
    ] {
        instructor.send(&drawer(plate), &fields).await.is(200);
    }
    let down = [
        ("do", "machine-down"),
        ("hours", "2"),
        ("why", "Quillfeather broke the probe"),
    ];
    let machines = format!("/classes/{}/machines", site.class);
    instructor.send(&machines, &down).await.is(200);
}

/// Names of files of the school in whose bytes the word stands anywhere, also where nothing is stored any more.
fn bytes_with(folder: &Path, word: &str) -> Vec<String> {
    let mut found = Vec::new();
    for end in ["", "-wal"] {
        let bytes = std::fs::read(folder.join(format!("{FILE_NAME}{end}"))).unwrap_or_default();
        let bytes = bytes.to_ascii_lowercase();
        let count = bytes.windows(word.len()).filter(|w| *w == word.as_bytes()).count();
        if count > 0 {
            found.push(format!("{FILE_NAME}{end}: {count} times"));
        }
    }
    found
}

/// A backup of before with a student whose name was taken out since, or who was deleted, put back from the page: the name
/// is out again, with everything that was written about the student.
#[tokio::test(flavor = "multi_thread")]
async fn names_that_were_taken_out_stay_out_of_a_backup_that_comes_back_from_a_page() {
    for over in ["names", "delete"] {
        let mut site = Site::open().await;
        write_about_anna(&site).await;
        let folder = site.database().parent().unwrap().to_owned();
        let outside = tempfile::tempdir().unwrap();
        let copy = outside.path().join("copy.db");
        backup::copy(&folder, &copy).await.unwrap();
        let bytes = std::fs::read(&copy).unwrap();
        let words = ["anna", "aron", "ella", "quillfeather"];
        assert!(where_they_stand(&folder, &words).await.len() >= 12);
        let end = format!("/classes/{}/end-of-term", site.class);
        let instructor = site.instructor().await;
        instructor.send(&end, &[("do", "archive")]).await.is(200);
        let keep = [("do", "keep"), ("days", "0"), ("over", over)];
        instructor.send(&end, &keep).await.is(200);
        site.close().await;
        site.service.store.clone().close().await;
        // The clock of the story is two seconds ahead of the one that the program knows.
        tokio::time::sleep(Duration::from_millis(2500)).await;

        // The next start finds that the time is over.
        let data = folder.to_str().unwrap();
        let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
        let address = server.address();
        let instructor = sign_in(&address, super::site::PASSPHRASE).await;
        let mut gone = false;
        for _ in 0..200 {
            gone = instructor.get(&end).await.body.contains("were taken out on");
            if gone {
                break;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        assert!(gone);
        assert_eq!(where_they_stand(&folder, &words).await, [""; 0], "{over}");
        for word in ["quillfeather", "anna"] {
            assert_eq!(bytes_with(&folder, word), [""; 0], "{over} {word}");
        }

        let looked = send(&instructor, bytes).await;
        apply(&instructor, looked.is(200), super::site::PASSPHRASE)
            .await
            .is(200);
        assert!(answers(&address).await);
        let instructor = sign_in(&address, super::site::PASSPHRASE).await;
        instructor
            .get("/restore")
            .await
            .has("A backup was put in place")
            .has("names taken out again: 7");
        assert_eq!(where_they_stand(&folder, &words).await, [""; 0], "{over}");
        for word in ["quillfeather", "anna"] {
            assert_eq!(bytes_with(&folder, word), [""; 0], "{over} {word}");
        }
        let people = instructor.get(&format!("/classes/{}/people", site.class)).await;
        assert_eq!(people.is(200).body.contains("Former student"), over == "names");
        // The class is over as it was; the numbers and the mark that was set stand, without a name or a word.
        instructor.get(&end).await.has("were taken out on");
        let report = instructor.get("/reports/1").await;
        report.is(200).has("Set to 77").has("taken out").has("\u{2212}8.018");
        let anna = Browser::at(&address);
        let seat = [("name", "anna"), ("secret", PIN)];
        anna.send("/sign-in", &seat).await.is(422).has_not("My assignments");
        assert!(server.stop());
    }
}

/// The page /restore is needed most when the school is damaged: it works then, and says what it could not do.
#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_school_is_restored_from_a_page_and_names_stay_out() {
    let mut site = Site::open().await;
    let folder = site.database().parent().unwrap().to_owned();
    let outside = tempfile::tempdir().unwrap();
    let copy = outside.path().join("copy.db");
    backup::copy(&folder, &copy).await.unwrap();
    let bytes = std::fs::read(&copy).unwrap();
    let instructor = site.instructor().await;
    let end = format!("/classes/{}/end-of-term", site.class);
    instructor.send(&end, &[("do", "archive")]).await.is(200);
    let forget = [("do", "forget"), ("class_name", "Monday group")];
    instructor.send(&end, &forget).await.is(200);
    site.close().await;
    super::durability::damage(&site.database(), "class").await;

    let data = folder.to_str().unwrap();
    let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
    let address = server.address();
    let instructor = Browser::at(&address);
    let fields = [("name", "ferro"), ("secret", super::site::PASSPHRASE)];
    instructor.send("/sign-in", &fields).await.is(503).has("damaged");
    let looked = send(&instructor, bytes).await;
    looked
        .is(200)
        .has("Monday group Spring")
        .has("cannot be read")
        .has("whether it is of this school cannot be told");
    apply(&instructor, &looked, super::site::PASSPHRASE)
        .await
        .is(200)
        .has("no copy of it could be made");
    assert!(answers(&address).await);
    let instructor = sign_in(&address, super::site::PASSPHRASE).await;
    instructor
        .get("/restore")
        .await
        .has("A backup was put in place")
        .has("names taken out again: 4")
        .has("as damaged as it was")
        .has("could not be read whole");
    let people = instructor.get(&format!("/classes/{}/people", site.class)).await;
    people.is(200).has("Former student").has_not("anna");
    assert_eq!(
        (kept(&folder, "before-restore-"), kept(&folder, "restore-offered-")),
        (0, 0)
    );
    assert!(kept(&folder, "platemark.db.before-") > 0);
    assert!(server.stop());
}
