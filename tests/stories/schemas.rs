//! Databases of every schema that was released open in this program, with everything in them. `tests/data/schemas/` has
//! a small school of each, named by the last migration that it had.

use std::path::PathBuf;

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
        let mut database = SqliteConnection::connect(&format!("sqlite:{}?mode=rwc", file.display()))
            .await
            .unwrap();
        let dump = std::fs::read_to_string(&school).unwrap();
        sqlx::raw_sql(sqlx::AssertSqlSafe(dump))
            .execute(&mut database)
            .await
            .unwrap();
        database.close().await.unwrap();

        let data = folder.path().to_str().unwrap();
        let server = Running::start(&["serve", "--data", data, "--listen", "127.0.0.1:0"], "listens on");
        let instructor = Browser::at(&server.address());
        let fields = [("name", "fennimar"), ("secret", "plates on granite")];
        instructor.send("/sign-in", &fields).await.is(200).has("Tuesday group");
        let gradebook = instructor.get("/classes/1/gradebook").await;
        let before = marks(&gradebook.body);
        assert!(before.len() >= 3, "{school:?}: {before:?}");
        instructor.get("/reports/2").await.is(200).has("<svg");
        // What was graded then is graded alike now.
        instructor.send("/assignments/1/grade-again", &[]).await.is(200);
        let after = marks(&instructor.get("/classes/1/gradebook").await.body);
        assert_eq!(before, after, "{school:?}");
        assert!(server.stop());

        let mut database = SqliteConnection::connect(&format!("sqlite:{}", file.display()))
            .await
            .unwrap();
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
