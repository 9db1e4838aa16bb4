//! A disk that takes no more, a file that may not be written, one that another program holds, one that is damaged, and
//! a clock that goes back: a clear page, nothing accepted is lost, and what can go on goes on.

use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::process::{Command, Stdio};

use platemark::store::assignments::Feedback;
use platemark::store::{FILE_NAME, StoreError};
use reqwest::multipart::Part;
use sqlx::{Connection, SqliteConnection};

use super::access::photo;
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
    let script = format!(
        "trap '' XFSZ; ulimit -S -f {kibibytes}; exec \"{PROGRAM}\" demo --data \"{data}\" --listen 127.0.0.1:0"
    );
    Running::begin(Command::new("bash").args(["-c", &script]), "Ctrl-C")
}

/// Gives the disk of [`serve_on_full_disk`] room again.
fn let_files_grow(server: &Running) {
    let pid = server.child.id().to_string();
    let grown = Command::new("prlimit")
        .args(["--fsize=unlimited", "--pid", &pid])
        .status();
    assert!(grown.unwrap().success());
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
    // Signing in writes too: one pair comes in with what the disk still takes, those after it are told.
    let pair = Browser::at(&full.address());
    let inside = pair_of_demo(&full).await;
    let entry_path = format!("/my/{}/entry", clamp_plate(&inside.get("/my").await.body));
    let form = inside.get(&entry_path).await;
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
    // A report is refused with everything that was typed still on the page, and reading goes on.
    let first = csv.lines().nth(1).unwrap().split(',').nth(1).unwrap();
    let page = inside.send_files(&entry_path, entry(&form, &csv)).await;
    page.is(503)
        .has("It is still on this page")
        .has("to mend; what you typed is only on this page")
        .has_not("the rest is kept")
        .has(&format!("value=\"{first}\""));
    // So is one with a photo, and of the photo it is said that it was not kept.
    let with_photo = entry(&form, &csv).part("evidence", Part::bytes(photo()).file_name("sheet.jpg"));
    inside
        .send_files(&entry_path, with_photo)
        .await
        .is(503)
        .has("It is still on this page")
        .has("sheet.jpg” was not kept and has to be chosen again: the server cannot do it at the moment.")
        .has(&format!("value=\"{first}\""));
    inside.get(&accepted).await.is(200).has("attempt 1");
    Browser::at(&full.address()).get("/health").await.is(200);
    // When the disk has room again, the same page is sent again and taken, and everybody comes in.
    let_files_grow(&full);
    inside
        .send_files(&entry_path, entry(&form, &csv))
        .await
        .is(200)
        .has("attempt 2");
    pair.send("/sign-in", &fields).await.is(200);
    drop(full);

    let again = Running::start(&["demo", "--data", data, "--listen", "127.0.0.1:0"], "Ctrl-C");
    pair_of_demo(&again).await.get(&accepted).await.is(200).has("attempt 1");
    assert!(again.stop());
    whole(&file).await;
}

/// How many pages the log has that count (<https://www.sqlite.org/walformat.html>, `mxFrame` of the index).
fn pages_of_log(folder: &Path) -> u64 {
    let index = std::fs::read(folder.join(format!("{FILE_NAME}-shm"))).unwrap();
    u64::from(u32::from_ne_bytes(index[16..20].try_into().unwrap()))
}

/// As far as it is full: files may grow to so many bytes.
fn let_files_grow_to(server: &Running, bytes: u64) {
    let limit = format!("--fsize={bytes}:unlimited");
    let pid = server.child.id().to_string();
    let set = Command::new("prlimit").args([&limit, "--pid", &pid]).status();
    assert!(set.unwrap().success());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_grade_that_a_full_disk_did_not_take_is_made_soon_after_it_has_room() {
    /// A page of the database in its log (<https://www.sqlite.org/fileformat2.html#the_write_ahead_log>), and the head of the log.
    const FRAME: u64 = 4096 + 24;
    const HEAD: u64 = 32;
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let server = serve_on_full_disk(data, 1 << 20);
    let pair = pair_of_demo(&server).await;
    let entry_path = format!("/my/{}/entry", clamp_plate(&pair.get("/my").await.body));
    let form = pair.get(&entry_path).await;
    let csv = super::site::any_report("CP-23", "CP-23-01");
    let mut database = open(&folder.path().join(FILE_NAME)).await;
    // Room for one page of the log more each time, until draft and report just fit: then the grade does not.
    let mut sent = None;
    for pages in 1..200 {
        let_files_grow_to(&server, HEAD + (pages_of_log(folder.path()) + pages) * FRAME);
        let page = pair.send_files(&entry_path, entry(&form, &csv)).await;
        if page.status.as_u16() == 200 {
            sent = Some(page);
            break;
        }
        page.is(503);
    }
    let page = sent.expect("the report never fitted");
    page.has("still being worked out");
    let graded =
        "select count(*) from report r join grade g on g.report = r.id where r.id = (select max(id) from report)";
    let count: i64 = sqlx::query_scalar(graded).fetch_one(&mut database).await.unwrap();
    assert_eq!(count, 0);
    // Long enough for the first try to fail as well.
    tokio::time::sleep(std::time::Duration::from_secs(8)).await;
    let count: i64 = sqlx::query_scalar(graded).fetch_one(&mut database).await.unwrap();
    assert_eq!(count, 0);
    let_files_grow(&server);
    let mut is_graded = false;
    for _ in 0..300 {
        let count: i64 = sqlx::query_scalar(graded).fetch_one(&mut database).await.unwrap();
        is_graded = count > 0;
        if is_graded {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    assert!(is_graded, "not graded half a minute after there was room");
    pair.get(&page.path).await.is(200).has_not("still being worked out");
    assert!(server.stop());
    whole(&folder.path().join(FILE_NAME)).await;
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

/// The account that owns nothing (`nobody` of Debian); the superuser may write what nobody may.
const NOBODY: u32 = 65534;

/// The program as somebody to whom the rights of files mean something: itself, or for the superuser a copy run by
/// [`NOBODY`].
fn program_of_nobody(folder: &Path) -> Command {
    use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
    if folder.metadata().unwrap().uid() != 0 {
        return Command::new(PROGRAM);
    }
    let copy = folder.join("program");
    std::fs::copy(PROGRAM, &copy).unwrap();
    std::fs::set_permissions(folder, PermissionsExt::from_mode(0o755)).unwrap();
    for entry in std::fs::read_dir(folder.join("school")).unwrap() {
        chown(entry.unwrap().path(), Some(NOBODY), Some(NOBODY)).unwrap();
    }
    chown(folder.join("school"), Some(NOBODY), Some(NOBODY)).unwrap();
    let mut command = Command::new("setpriv");
    let (user, group) = (format!("--reuid={NOBODY}"), format!("--regid={NOBODY}"));
    command.args([&user, &group, "--clear-groups"]).arg(copy);
    command
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_that_may_not_be_written_is_told_and_a_folder_too() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let school = folder.path().join("school");
    std::fs::create_dir(&school).unwrap();
    let phrase = format!("{PASSPHRASE}\n");
    assert!(add_instructor(&school, "ferro", &phrase).status.success());
    let file = school.join(FILE_NAME);
    let may = |path: &Path, mode| std::fs::set_permissions(path, PermissionsExt::from_mode(mode)).unwrap();
    let serve = |command: &mut Command| {
        command.args(["serve", "--listen", "127.0.0.1:0", "--data"]);
        command.arg(&school);
    };

    // The file: pages are there, and what would be stored is told not to be.
    let mut command = program_of_nobody(folder.path());
    may(&file, 0o444);
    serve(&mut command);
    let server = Running::begin(&mut command, "listens on");
    let browser = Browser::at(&server.address());
    browser.get("/sign-in").await.is(200).has("Sign in");
    let fields = [("name", "ferro"), ("secret", PASSPHRASE)];
    browser
        .send("/sign-in", &fields)
        .await
        .is(503)
        .has("cannot write to its disk")
        .has("write-protected");
    assert!(server.stop());
    may(&file, 0o644);
    whole(&file).await;

    // The folder: nothing starts, and it is said who needs which right.
    may(&school, 0o555);
    may(&school.join("platemark.lock"), 0o444);
    let mut command = program_of_nobody(folder.path());
    serve(&mut command);
    let refused = command.stdout(Stdio::null()).output().unwrap();
    let said = String::from_utf8_lossy(&refused.stderr);
    assert_eq!(refused.status.code(), Some(1), "{said}");
    assert!(
        said.contains("Give the account that runs the server the right to write there"),
        "{said}"
    );
    may(&school, 0o755);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_table_is_told_on_its_pages_and_the_others_go_on() {
    let mut site = Site::open().await;
    let path = site.database();
    site.close().await;
    damage(&path, "assignment").await;
    site.open_again().await;
    let pair = site.stranger();
    let page = pair
        .send("/sign-in", &[("name", "anna"), ("secret", super::site::PIN)])
        .await;
    assert_eq!(page.path, "/my");
    page.is(503)
        .has("The database of the server is damaged")
        .has("the last backup has to be restored");
    pair.get("/account").await.is(200).has("anna");
    let instructor = site.stranger();
    let fields = [("name", "ferro"), ("secret", PASSPHRASE)];
    instructor.send("/sign-in", &fields).await;
    instructor.get("/classes/new").await.is(200);
    instructor.get("/restore").await.is(200);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_page_is_told_at_the_start_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let phrase = format!("{PASSPHRASE}\n");
    assert!(add_instructor(folder.path(), "ferro", &phrase).status.success());
    let path = folder.path().join(FILE_NAME);
    let outside = tempfile::tempdir().unwrap();
    let backup = outside.path().join("last.db");
    platemark::store::backup::copy(folder.path(), &backup).await.unwrap();
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

    // What it says works: the last backup comes back, and what was there is beside it as it was.
    let spoiled = std::fs::read(&path).unwrap();
    let restored = Command::new(PROGRAM)
        .arg("restore")
        .arg(&backup)
        .arg("--data")
        .arg(folder.path())
        .output()
        .unwrap();
    let said = [restored.stdout, restored.stderr].map(|said| String::from_utf8_lossy(&said).into_owned());
    assert!(restored.status.success(), "{said:?}");
    assert!(
        said[0].contains("Restored: 1 people") && said[0].contains("could not be read whole"),
        "{said:?}"
    );
    whole(&path).await;
    let aside = set_aside(folder.path());
    assert!(std::fs::read(&aside).unwrap() == spoiled, "{}", aside.display());
    let data = folder.path().to_str().unwrap();
    let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
    let browser = Browser::at(&server.address());
    let fields = [("name", "ferro"), ("secret", PASSPHRASE)];
    browser.send("/sign-in", &fields).await.is(200).has("Classes");
    browser
        .get("/restore")
        .await
        .has("as damaged as it was")
        .has("could not be read whole");
    assert!(server.stop());
}

/// Writes over the first page of a table or index.
pub(super) async fn damage(path: &Path, what: &str) {
    let mut database = open(path).await;
    let root: i64 = sqlx::query_scalar("select rootpage from sqlite_schema where name = ?")
        .bind(what)
        .fetch_one(&mut database)
        .await
        .unwrap();
    let size: i64 = sqlx::query_scalar("pragma page_size")
        .fetch_one(&mut database)
        .await
        .unwrap();
    database.close().await.unwrap();
    let mut file = std::fs::OpenOptions::new().write(true).open(path).unwrap();
    file.seek(SeekFrom::Start(u64::try_from((root - 1) * size).unwrap()))
        .unwrap();
    file.write_all(&[0xA5; 64]).unwrap();
    drop(file);
}

#[tokio::test(flavor = "multi_thread")]
async fn damage_in_one_page_is_found_while_what_can_go_on_goes_on() {
    let mut site = Site::open().await;
    let path = site.database();
    site.close().await;
    damage(&path, "audit_by_subject").await;
    site.open_again().await;
    for _ in 0..100 {
        if site.service.store.is_damaged() {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    // Anybody may ask for it: it says one word, and neither what is wrong nor what to do.
    let health = site.stranger().get("/health").await;
    assert_eq!(health.is(503).body, "failing\n");
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

/// Runs `platemark restore` and returns what it says.
fn restore(file: &Path, data: &Path) -> String {
    let mut command = Command::new(PROGRAM);
    command.arg("restore").arg(file).arg("--data").arg(data);
    let done = command.output().unwrap();
    let said = String::from_utf8_lossy(&done.stdout).into_owned() + &String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{said}");
    said
}

/// Reports of a school in a file alone or with its log, without touching either.
async fn reports(file: &Path) -> i64 {
    let outside = tempfile::tempdir().unwrap();
    let copy = outside.path().join("looked-at.db");
    std::fs::copy(file, &copy).unwrap();
    let log = file.with_file_name(file.file_name().unwrap().to_string_lossy().into_owned() + "-wal");
    if log.exists() {
        std::fs::copy(&log, outside.path().join("looked-at.db-wal")).unwrap();
    }
    let mut database = open(&copy).await;
    let count = sqlx::query_scalar("select count(*) from report");
    count.fetch_one(&mut database).await.unwrap()
}

/// The school that was set aside last.
fn set_aside(folder: &Path) -> std::path::PathBuf {
    let names = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
    let is_aside = |path: &std::path::PathBuf| {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let made = name.strip_prefix("platemark.db.before-").map(str::to_owned);
        made.is_some_and(|made| made.bytes().all(|b| b.is_ascii_digit()))
    };
    names.filter(is_aside).max().unwrap()
}

/// Makes a school in an empty folder and a backup of it.
async fn back_up_new_school(folder: &Path, to: &Path) {
    let data = folder.to_str().unwrap();
    let demo = Running::start(&["demo", "--data", data, "--listen", "127.0.0.1:0"], "Ctrl-C");
    // Once it answers it also hears that it is to stop.
    pair_of_demo(&demo).await;
    assert!(demo.stop());
    platemark::store::backup::copy(folder, to).await.unwrap();
}

/// Hands in a report and kills the server while it stands in the log alone. Returns how many reports there are with it.
async fn hand_in_and_kill(folder: &Path) -> i64 {
    let data = folder.to_str().unwrap();
    let mut server = Running::start(&["demo", "--data", data, "--listen", "127.0.0.1:0"], "Ctrl-C");
    let pair = pair_of_demo(&server).await;
    // Whoever reads keeps the server from copying what comes later out of the log.
    let url = format!("sqlite:{}?mode=ro", folder.join(FILE_NAME).display());
    let mut reader = SqliteConnection::connect(&url).await.unwrap();
    let mut reading = reader.begin().await.unwrap();
    let before: i64 = sqlx::query_scalar("select count(*) from report")
        .fetch_one(&mut *reading)
        .await
        .unwrap();
    let assignment = clamp_plate(&pair.get("/my").await.body);
    let csv = super::site::any_report("CP-23", "CP-23-01");
    let (status, _, said) = hand_in(&pair, &assignment, &csv).await;
    assert_eq!(status, 200, "{said}");
    server.child.kill().unwrap();
    server.child.wait().unwrap();
    drop(reading);
    reader.close().await.unwrap();
    before + 1
}

#[tokio::test(flavor = "multi_thread")]
async fn reports_in_the_log_of_a_killed_server_are_there_when_the_school_set_aside_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let (outside, folder) = (tempfile::tempdir().unwrap(), folder.path());
    let old = outside.path().join("old.db");
    back_up_new_school(folder, &old).await;
    let all = hand_in_and_kill(folder).await;
    let file = folder.join(FILE_NAME);
    // A copy of both files by hand, and of the one alone: there the report is not.
    let (hot, alone) = (outside.path().join("hot.db"), outside.path().join("alone.db"));
    std::fs::copy(&file, &hot).unwrap();
    std::fs::copy(&file, &alone).unwrap();
    std::fs::copy(folder.join("platemark.db-wal"), outside.path().join("hot.db-wal")).unwrap();
    assert_eq!((reports(&hot).await, reports(&alone).await), (all, all - 1));

    let said = restore(&old, folder);
    assert!(!said.contains("belong together"), "{said}");
    assert_eq!(reports(&file).await, all - 1);
    // What was set aside is one whole file, also for who sends it from a page.
    let aside = set_aside(folder);
    let sent = outside.path().join("sent.db");
    std::fs::copy(&aside, &sent).unwrap();
    assert_eq!(reports(&sent).await, all);
    restore(&aside, folder);
    assert_eq!(reports(&file).await, all);
    whole(&file).await;

    // The copy of two files comes back with both, also by another name.
    restore(&old, folder);
    assert_eq!(reports(&file).await, all - 1);
    let link = outside.path().join("link.db");
    std::os::unix::fs::symlink(&hot, &link).unwrap();
    restore(&link, folder);
    assert_eq!(reports(&file).await, all);
    whole(&file).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_school_is_set_aside_with_its_log_and_that_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let (outside, folder) = (tempfile::tempdir().unwrap(), folder.path());
    let old = outside.path().join("old.db");
    back_up_new_school(folder, &old).await;
    hand_in_and_kill(folder).await;
    let (file, log) = (folder.join(FILE_NAME), folder.join("platemark.db-wal"));
    let mut spoiled = std::fs::read(&file).unwrap();
    spoiled[4096..].fill(0xA5);
    std::fs::write(&file, &spoiled).unwrap();
    let logged = std::fs::read(&log).unwrap();
    assert!(!logged.is_empty());
    let said = restore(&old, folder);
    let aside = set_aside(folder);
    let name = aside.file_name().unwrap().to_string_lossy().into_owned();
    assert!(
        said.contains(&format!("Its last changes are in {name}-wal: the two belong together")),
        "{said}"
    );
    assert!(std::fs::read(&aside).unwrap() == spoiled);
    assert!(std::fs::read(folder.join(format!("{name}-wal"))).unwrap() == logged);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_for_which_a_full_disk_has_no_room_is_told_and_put_back_when_it_has() {
    use reqwest::multipart::{Form, Part};
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let server = serve_on_full_disk(data, 1 << 20);
    let browser = Browser::at(&server.address());
    let [name, secret] = server.instructor();
    let fields = [("name", name.as_str()), ("secret", secret.as_str())];
    browser.send("/sign-in", &fields).await.is(200);
    let outside = tempfile::tempdir().unwrap();
    let copy = outside.path().join("copy.db");
    platemark::store::backup::copy(folder.path(), &copy).await.unwrap();
    let bytes = std::fs::read(&copy).unwrap();
    let length = u64::try_from(bytes.len()).unwrap();
    let offered = async || {
        let part = Part::bytes(bytes.clone()).file_name("school.db");
        browser.send_files("/restore", Form::new().part("backup", part)).await
    };
    // Much too little room, and too little for its very last bytes.
    for room in [100_000, length - 1] {
        let_files_grow_to(&server, room);
        offered()
            .await
            .is(503)
            .has("full or write-protected")
            .has("Nothing was changed")
            .has("Make room on the disk");
        let names = std::fs::read_dir(folder.path())
            .unwrap()
            .map(|e| e.unwrap().file_name());
        let left: Vec<_> = names
            .filter(|n| n.to_string_lossy().starts_with("restore-offered-"))
            .collect();
        assert!(left.is_empty(), "{left:?}");
    }
    let_files_grow(&server);
    let token = offered().await.is(200).field("token");
    // Enough for the proof of who it is, not for the copy of the school as it is.
    let_files_grow_to(&server, length / 2);
    let apply = [("token", token.as_str()), ("passphrase", secret.as_str())];
    browser
        .send("/restore/apply", &apply)
        .await
        .is(503)
        .has("full or write-protected")
        .has("Nothing was changed");
    assert!(!folder.path().join("restore.db").exists());
    browser.get("/classes").await.is(200);
    let_files_grow(&server);
    let token = offered().await.is(200).field("token");
    let apply = [("token", token.as_str()), ("passphrase", secret.as_str())];
    browser.send("/restore/apply", &apply).await.is(200);
    assert!(server.stop());
}
