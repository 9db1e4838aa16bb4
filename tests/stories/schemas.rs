//! Databases of every schema that was released open in this program, with everything in them. `tests/data/schemas/` has
//! a small school of each, named by the last migration that it had: the demo's school after some days of work in it
//! (rounds, drafts, evidence, regrading, pairs anew), as the shell of SQLite dumps it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use platemark::store::FILE_NAME;
use sqlx::{Connection, SqliteConnection};

use super::program::Running;
use super::site::Browser;

fn schools() -> Vec<PathBuf> {
    let folder = format!("{}/tests/data/schemas", env!("CARGO_MANIFEST_DIR"));
    let mut schools: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    schools.sort();
    schools
}

/// What people find in a school after it was opened: who (sign-in and secret), where, and a text there.
const FOUND: [(&str, (&str, &str), &str, &str); 7] = [
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
];

const FENNIMAR: (&str, &str) = ("fennimar", "plates on granite");

/// Tables whose rows come and go by themselves.
const PASSING: [&str; 3] = ["session", "sign_in_try", "attention"];

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
    let mut database = SqliteConnection::connect(&format!("sqlite:{}?mode=rwc", file.display()))
        .await
        .unwrap();
    let dump = std::fs::read_to_string(dump).unwrap();
    sqlx::raw_sql(sqlx::AssertSqlSafe(dump))
        .execute(&mut database)
        .await
        .unwrap();
    let counts = counts(&mut database).await;
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
    for school in schools() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join(FILE_NAME);
        let before_opening = made(&school, &file).await;

        let data = folder.path().to_str().unwrap();
        let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
        let instructor = Browser::at(&server.address());
        let fields = [("name", FENNIMAR.0), ("secret", FENNIMAR.1)];
        instructor.send("/sign-in", &fields).await.is(200).has("Tuesday group");
        let gradebook = instructor.get("/classes/1/gradebook").await;
        let before = marks(&gradebook.body);
        assert!(before.len() >= 3, "{school:?}: {before:?}");
        instructor.get("/reports/2").await.is(200).has("<svg");
        let name = school.file_stem().unwrap().to_str().unwrap();
        for (_, (sign_in, secret), path, text) in FOUND.iter().filter(|f| f.0 == name) {
            let person = Browser::at(&server.address());
            person
                .send("/sign-in", &[("name", *sign_in), ("secret", *secret)])
                .await
                .is(200);
            person.get(path).await.is(200).has(text);
        }
        // What was graded then is graded alike now.
        instructor.send("/assignments/1/grade-again", &[]).await.is(200);
        let after = marks(&instructor.get("/classes/1/gradebook").await.body);
        assert_eq!(before, after, "{school:?}");
        assert!(server.stop());

        let mut database = SqliteConnection::connect(&format!("sqlite:{}", file.display()))
            .await
            .unwrap();
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
