//! Many classes out of one: rows are copied within the database, each class with 40 pairs, 30 assignments and 1,200
//! graded reports of its own, until so many items are stored.

use std::path::Path;
use std::str::FromStr;

use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{AssertSqlSafe, Connection, Row};

use crate::school::{self, School};
use platemark::actions::hand_in_report::{HandIn, hand_in_report};
use platemark::store::FILE_NAME;
use platemark::store::assignments;
use platemark::store::reports::{Note, SourceKind};

pub(crate) const PAIRS: usize = 40;
pub(crate) const ASSIGNMENTS: usize = 30;

/// Tables whose rows belong to a class, parents first, and the columns that move by a stride for each copy.
const COPIED: [(&str, &[(&str, &str)]); 11] = [
    ("class", &[("id", "class")]),
    ("person", &[("id", "person")]),
    ("pair", &[("id", "pair"), ("class", "class")]),
    ("assignment", &[("id", "assignment"), ("class", "class")]),
    (
        "assignment_plate",
        &[
            ("id", "assignment_plate"),
            ("assignment", "assignment"),
            ("pair", "pair"),
        ],
    ),
    (
        "report",
        &[
            ("id", "report"),
            ("assignment", "assignment"),
            ("pair", "pair"),
            ("person", "person"),
        ],
    ),
    ("grade", &[("id", "grade"), ("report", "report")]),
    // As in a school that has gone on for years: what was graded long ago is searched, and waits for nobody.
    ("attention", &[("report", "report")]),
    ("attention_search", &[("report", "report")]),
    ("class_person", &[("class", "class")]),
    (
        "pair_person",
        &[("id", "pair_person"), ("pair", "pair"), ("person", "person")],
    ),
];

/// Columns that must differ from row to row, and the instructor, who has all classes.
const OWN: [(&str, &str, &str); 3] = [
    ("report", "idempotency_key", "randomblob(32)"),
    ("person", "sign_in", "sign_in || '-#'"),
    (
        "class_person",
        "person",
        "case person when 1 then 1 else person + (select n from stride where t = 'person') * # end",
    ),
];

async fn run(database: &mut SqliteConnection, sql: String) {
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(database).await.unwrap();
}

async fn columns(database: &mut SqliteConnection, table: &str) -> Vec<String> {
    let sql = format!("select name from pragma_table_info('{table}')");
    let rows = sqlx::query(AssertSqlSafe(sql)).fetch_all(database).await.unwrap();
    rows.iter().map(|row| row.get(0)).collect()
}

/// The first class, made through the program: every pair has one graded report for every assignment.
pub(crate) async fn first(folder: &Path) -> School {
    let school = school::make(folder, PAIRS, ASSIGNMENTS).await;
    let samples = school::samples();
    for (n, person) in school.students.iter().enumerate() {
        for (m, assignment) in school.assignments.iter().enumerate() {
            let mine = assignments::mine(&school.service.store, *assignment, *person)
                .await
                .unwrap()
                .unwrap();
            let (source, report) = school::sample(&samples, mine.serial.as_deref().unwrap(), n, m);
            let hand_in = HandIn {
                mine: &mine,
                person: *person,
                attempt: 1,
                key: "1",
                report,
                source_kind: SourceKind::Csv,
                source_name: None,
                note: Note::default(),
                plate: "",
                source_bytes: source.clone().into_bytes(),
            };
            hand_in_report(&school.service, hand_in).await.unwrap();
        }
    }
    school
}

/// Copies the first class until so many items are stored; how many reports there are then.
pub(crate) async fn until(folder: &Path, items: u64) -> u64 {
    let file = folder.join(FILE_NAME);
    let options = SqliteConnectOptions::from_str(&format!("sqlite:{}", file.display())).unwrap();
    let mut database = SqliteConnection::connect_with(&options).await.unwrap();
    run(
        &mut database,
        "pragma foreign_keys = off; pragma synchronous = off;".to_owned(),
    )
    .await;
    let mut statements = Vec::new();
    for (table, moved) in COPIED {
        let names = columns(&mut database, table).await;
        let value = |name: &String| {
            if let Some((_, stride)) = moved.iter().find(|(column, _)| column == name) {
                return format!("{name} + (select n from stride where t = '{stride}') * #");
            }
            let own = OWN.iter().find(|(of, column, _)| of == &table && column == name);
            own.map_or_else(|| name.clone(), |(_, _, sql)| (*sql).to_owned())
        };
        let values: Vec<String> = names.iter().map(value).collect();
        // Rows without a number of their own go by what they belong to.
        let (key, of) = match table {
            "class_person" => ("class", "class"),
            "attention" | "attention_search" => ("report", "report"),
            _ => ("id", table),
        };
        let but = if table == "person" { " and role = 'student'" } else { "" };
        statements.push(format!(
            "insert into {table} ({}) select {} from {table} where {key} <= (select n from stride where t = '{of}'){but};",
            names.join(", "),
            values.join(", "),
        ));
        run(
            &mut database,
            "create temp table if not exists stride (t text primary key, n integer);".to_owned(),
        )
        .await;
        if key == "id" {
            run(
                &mut database,
                format!("insert or ignore into stride select '{table}', max(id) from {table};"),
            )
            .await;
        }
    }
    let per_class: u64 = (PAIRS * ASSIGNMENTS) as u64;
    let per_report = school::exercise().characteristics.len() as u64;
    let classes = items.div_ceil(per_class * per_report);
    for n in 1..classes {
        let all: String = statements.iter().map(|s| s.replace('#', &n.to_string())).collect();
        run(&mut database, format!("begin; {all} commit;")).await;
    }
    run(&mut database, "pragma wal_checkpoint(truncate); analyze;".to_owned()).await;
    database.close().await.unwrap();
    classes * per_class
}
