//! Databases of every schema that was released open in this program, with everything in them. `tests/data/schemas/` has
//! a small school of each, named by the last migration that it had: the demo's school after some days of work in it
//! (rounds, drafts, evidence, regrading, pairs anew; since 0100 also another plate, the one check, a second step, a swap of
//! turns and a class whose names are out; in 0170 the school of 0100 after some work in it, in 0190 that of 0170, with grades as
//! JSON, as packed JSON and as MessagePack, and stopped by a kill before points by hand were in a grade; in 0200 that of 0190 with
//! grades by columns), as the shell of SQLite dumps it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use platemark::store::FILE_NAME;
use sqlx::{Connection, SqliteConnection};

use super::program::Running;
use super::site::Browser;

/// What was released as a schema: what stands on main at the end of a working day. Of the days before the last of these here, the
/// schemas of these numbers were kept.
const RELEASED: [&str; 6] = ["0001", "0060", "0100", "0170", "0190", "0200"];

fn school(schema: &str) -> PathBuf {
    let folder = format!("{}/tests/data/schemas", env!("CARGO_MANIFEST_DIR"));
    PathBuf::from(folder).join(format!("{schema}.sql"))
}

/// A file that is lost, or one that nobody has named, is seen.
#[test]
fn each_released_schema_has_its_school() {
    let folder = school("").parent().unwrap().to_owned();
    let files = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
    let files: BTreeSet<PathBuf> = files.collect();
    assert_eq!(files, RELEASED.map(school).into());
}

/// What people find in a school after it was opened: who (sign-in and secret), where, and a text there.
const FOUND: [(&str, (&str, &str), &str, &str); 24] = [
    (
        "0060",
        FENNIMAR,
        "/exercises/5/plates/46/rounds",
        "after the lunch break",
    ),
    ("0060", FENNIMAR, "/exercises/5/plates/46", "Jun Takamori"),
    ("0060", FENNIMAR, "/regrades/2", "6 of 6"),
    ("0060", FENNIMAR, "/reports/3", "our own mistake with the datum"),
    ("0060", FENNIMAR, "/reports/2", "confirmed: "),
    ("0060", ("d26-101", "314159"), "/my/3/entry", "45.01"),
    (
        "0060",
        ("d25-203", "314159"),
        "/my/reports/30",
        "/my/reports/30/evidence/1",
    ),
    (
        "0100",
        FENNIMAR,
        "/exercises/5/plates/46/rounds",
        "after the lunch break",
    ),
    ("0100", FENNIMAR, "/regrades/3", " of "),
    ("0100", FENNIMAR, "/reports/37", "was given SB-11-03"),
    ("0100", FENNIMAR, "/reports/40", "Read beside the sheet"),
    // The list of whose names are out has another form since: nobody is lost from it.
    ("0100", FENNIMAR, "/classes/3/end-of-term", "were taken out on"),
    (
        "0100",
        ("d26-101", "314159"),
        "/my/3/entry",
        "granite table near the door",
    ),
    (
        "0100",
        ("d25-203", "314159"),
        "/my/reports/39",
        "/my/reports/39/evidence/",
    ),
    ("0170", FENNIMAR, "/reports/37", "was given SB-11-03"),
    // Grades that are kept packed: a first one, and one in place of a plain one.
    ("0170", FENNIMAR, "/reports/41", "second look with the longer stylus"),
    ("0170", FENNIMAR, "/reports/2", "value=\"7\""),
    // The same in the next one; and grades as MessagePack: a first one, and one in place of a plain one that points by hand took
    // the place of, after which the program was killed.
    ("0190", FENNIMAR, "/reports/41", "second look with the longer stylus"),
    ("0190", FENNIMAR, "/reports/2", "value=\"7\""),
    ("0190", FENNIMAR, "/reports/42", "after the door was shut"),
    ("0190", FENNIMAR, "/reports/40", "value=\"6\""),
    // Grades by columns: a first one, and those of a whole assignment anew.
    ("0200", FENNIMAR, "/reports/43", "after the blinds were down"),
    ("0200", FENNIMAR, "/reports/2", "value=\"7\""),
    ("0200", ("d26-101", "314159"), "/my/reports/43", "45.001"),
];

/// Who has a second step in the schools since 0100, and a recovery code that was used there and one that was not.
const SECOND_STEP: (&str, &str, [&str; 2]) = (
    "brackwell",
    "feeler gauge drawer",
    ["KEZR-JMTZ-MZ7R-PTPQ", "B5RM-SCRA-5ZMC-H3X7"],
);

/// The second step is asked for as before. Its key file is not there, as on a new machine: recovery codes open, each once.
async fn second_step_is_asked_for(server: &Running) {
    let (name, secret, [used, fresh]) = SECOND_STEP;
    for (code, status) in [(used, 422), (fresh, 200), (fresh, 422)] {
        let browser = Browser::at(&server.address());
        let page = browser.send("/sign-in", &[("name", name), ("secret", secret)]).await;
        let half = page.is(200).has("Code of your second step").field("half");
        let fields = [("half", half.as_str()), ("next", "/classes"), ("code", code)];
        browser.send("/sign-in/code", &fields).await.is(status);
    }
}

const FENNIMAR: (&str, &str) = ("fennimar", "plates on granite");

/// Tables whose rows come and go by themselves.
const PASSING: [&str; 5] = ["session", "sign_in_try", "attention", "attention_search", "grade_due"];

/// The first schema of programs that pack grades as MessagePack and say so.
const MESSAGEPACK: i64 = 200;

/// Waits until nothing is left to be graded of what a kill cut off.
async fn made_up_for(file: &Path) {
    let mut database = opened(file).await;
    for _ in 0..300 {
        let due: i64 = sqlx::query_scalar("select count(*) from grade_due")
            .fetch_one(&mut database)
            .await
            .unwrap();
        if due == 0 {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    unreachable!("what was cut off is never graded");
}

async fn opened(file: &Path) -> SqliteConnection {
    let address = format!("sqlite:{}?mode=rwc", file.display());
    SqliteConnection::connect(&address).await.unwrap()
}

/// The number of its last migration, and how many grades it has as MessagePack.
async fn schema_and_grades(database: &mut SqliteConnection) -> (i64, i64) {
    let schema = sqlx::query_scalar("select max(version) from _sqlx_migrations");
    let grades = sqlx::query_scalar("select count(*) from grade where substr(result, 1, 1) = x'02'");
    (
        schema.fetch_one(&mut *database).await.unwrap(),
        grades.fetch_one(&mut *database).await.unwrap(),
    )
}

/// How many rows every table has.
async fn counts(database: &mut SqliteConnection) -> BTreeMap<String, i64> {
    let tables: Vec<String> = sqlx::query_scalar("select name from sqlite_schema where type = 'table'")
        .fetch_all(&mut *database)
        .await
        .unwrap();
    let mut counts = BTreeMap::new();
    for table in tables.into_iter().filter(|t| !PASSING.contains(&t.as_str())) {
        let count = sqlx::AssertSqlSafe(format!("select count(*) from {table}"));
        let count = sqlx::query_scalar(count).fetch_one(&mut *database).await.unwrap();
        counts.insert(table, count);
    }
    counts
}

/// Makes the file of a school out of its dump; how many rows it has.
async fn made(dump: &Path, file: &Path) -> BTreeMap<String, i64> {
    let mut database = opened(file).await;
    let text = std::fs::read_to_string(dump).unwrap();
    sqlx::raw_sql(sqlx::AssertSqlSafe(text))
        .execute(&mut database)
        .await
        .unwrap();
    let counts = counts(&mut database).await;
    let (schema, _) = schema_and_grades(&mut database).await;
    assert!(dump.ends_with(format!("{schema:04}.sql")), "{dump:?}: {schema}");
    database.close().await.unwrap();
    counts
}

/// Marks in the gradebook, in the order of the page.
fn marks(page: &str) -> Vec<String> {
    let cells = page.split("<a href=\"/reports/").skip(1);
    let text = |cell: &str| cell.split(['>', '<']).nth(1).unwrap().to_owned();
    cells.map(text).filter(|mark| mark.parse::<f64>().is_ok()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_school_of_each_released_schema_opens_with_its_marks() {
    for (name, school) in RELEASED.map(|name| (name, school(name))) {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join(FILE_NAME);
        let before_opening = made(&school, &file).await;

        let data = folder.path().to_str().unwrap();
        let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
        made_up_for(&file).await;
        let instructor = Browser::at(&server.address());
        let fields = [("name", FENNIMAR.0), ("secret", FENNIMAR.1)];
        instructor.send("/sign-in", &fields).await.is(200).has("Tuesday group");
        let gradebook = instructor.get("/classes/1/gradebook").await;
        let before = marks(&gradebook.body);
        assert!(before.len() >= 3, "{school:?}: {before:?}");
        instructor.get("/reports/2").await.is(200).has("<svg");
        for (_, (sign_in, secret), path, text) in FOUND.iter().filter(|f| f.0 == name) {
            let person = Browser::at(&server.address());
            person
                .send("/sign-in", &[("name", *sign_in), ("secret", *secret)])
                .await
                .is(200);
            person.get(path).await.is(200).has(text);
        }
        if name >= "0100" {
            second_step_is_asked_for(&server).await;
        }
        // What was graded then is graded alike now.
        instructor.send("/assignments/1/grade-again", &[]).await.is(200);
        let after = marks(&instructor.get("/classes/1/gradebook").await.body);
        assert_eq!(before, after, "{school:?}");
        assert!(server.stop());

        let mut database = opened(&file).await;
        // Programs that read grades of before alone say that this school is too new, and do not fail at each new grade.
        let (schema, packed) = schema_and_grades(&mut database).await;
        assert!(packed > 0 && schema >= MESSAGEPACK, "{school:?}: {schema}, {packed}");
        for (table, count) in counts(&mut database).await {
            let had = before_opening.get(&table).copied().unwrap_or_default();
            assert!(count >= had, "{school:?}: {table} had {had} rows and has {count}");
        }
        let said: String = sqlx::query_scalar("pragma integrity_check")
            .fetch_one(&mut database)
            .await
            .unwrap();
        assert_eq!(said, "ok");
        let broken = sqlx::query("pragma foreign_key_check")
            .fetch_all(&mut database)
            .await
            .unwrap();
        assert!(broken.is_empty(), "{school:?}");
    }
}
