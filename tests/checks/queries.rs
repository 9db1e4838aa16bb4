//! What pages ask of the database takes as long as what they show, and no longer for everything that was ever handed in:
//! no statement reads a table from end to end that grows with the years. Where one does, it stands here with the reason.

use std::collections::{BTreeMap, BTreeSet};

use platemark::store::{FILE_NAME, Store};
use sqlx::{AssertSqlSafe, Connection, Row, SqliteConnection};

/// Tables with a row for every report, draft or person of every class, and those that hang on them.
const GROWING: [&str; 24] = [
    "assignment",
    "assignment_plate",
    "attention",
    "attention_search",
    "audit",
    "check_answer",
    "class_person",
    "draft",
    "evidence",
    "evidence_bytes",
    "fault_decision",
    "grade",
    "hand_mark",
    "machine_turn",
    "mark_override",
    "other_plate",
    "pair",
    "pair_person",
    "query",
    "regrade_report",
    "remark",
    "report",
    "report_note",
    "reviewed",
];

/// Beginnings of statements that may, and why.
const MAY: [(&str, &str); 11] = [
    (
        "select r.id as \"id!\" from report r where not exists (select 1 from grade",
        "once at the start and each hour",
    ),
    (
        "select g.report as \"id!\" from grade g where g.superseded_at is null and not",
        "once at the start and each hour",
    ),
    (
        "select json_object( 'name', p.name",
        "everything about one person, on request",
    ),
    (
        "select t.id as \"id!: ReportId\", t.items as",
        "everything about one person, on request",
    ),
    (
        "update report set source_bytes = x''",
        "when names are taken out, after the term",
    ),
    (
        "update report_note set remarks = null",
        "when names are taken out, after the term",
    ),
    (
        "update query set text = 'taken out'",
        "when names are taken out, after the term",
    ),
    (
        "update remark set text = 'taken out'",
        "when names are taken out, after the term",
    ),
    (
        "update mark_override set reason = 'taken out'",
        "when names are taken out, after the term",
    ),
    (
        "update audit set detail = json_replace(detail, '$.reason', 'taken out', '$.text', 'taken out')",
        "when names are taken out, after the term",
    ),
    (
        "delete from evidence where added_by",
        "when names are taken out, after the term",
    ),
];

/// Which tables stand behind the names of a statement.
fn names(statement: &str) -> BTreeMap<&str, BTreeSet<&str>> {
    const NO_NAME: [&str; 13] = [
        "where", "on", "join", "left", "order", "set", "group", "limit", "select", "using", "union", "cross", "inner",
    ];
    let words: Vec<&str> = statement
        .split(|c: char| !(c.is_ascii_alphanumeric() || c == '_'))
        .filter(|w| !w.is_empty())
        .collect();
    let mut names: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (i, word) in words.iter().enumerate() {
        if !matches!(*word, "from" | "join" | "update" | "into") {
            continue;
        }
        let Some(table) = words.get(i + 1) else { continue };
        names.entry(table).or_default().insert(table);
        let name = words.get(i + 2).filter(|n| !NO_NAME.contains(n));
        if let Some(name) = name {
            names.entry(name).or_default().insert(table);
        }
    }
    names
}

#[tokio::test]
async fn no_statement_reads_a_growing_table_from_end_to_end() {
    let folder = tempfile::tempdir().unwrap();
    Store::open(folder.path()).await.unwrap().close().await;
    let file = folder.path().join(FILE_NAME);
    let mut database = SqliteConnection::connect(&format!("sqlite:{}", file.display()))
        .await
        .unwrap();
    let (mut looked_at, mut wrong, mut used) = (0, Vec::new(), BTreeSet::new());
    for entry in std::fs::read_dir(format!("{}/.sqlx", env!("CARGO_MANIFEST_DIR"))).unwrap() {
        let text = std::fs::read_to_string(entry.unwrap().path()).unwrap();
        let known: serde_json::Value = serde_json::from_str(&text).unwrap();
        let statement = known["query"].as_str().unwrap();
        let one_line = statement.split_whitespace().collect::<Vec<_>>().join(" ");
        // Without statistics the planner takes every table for a large one.
        let plan = sqlx::query(AssertSqlSafe(format!("explain query plan {statement}")))
            .fetch_all(&mut database)
            .await
            .unwrap_or_else(|error| panic!("{one_line}: {error}"));
        looked_at += 1;
        let names = names(statement);
        for step in plan.iter().map(|row| row.get::<String, _>("detail")) {
            let Some(scanned) = step.strip_prefix("SCAN ").and_then(|s| s.split(' ').next()) else {
                continue;
            };
            let tables = names.get(scanned).into_iter().flatten();
            if !tables.clone().any(|table| GROWING.contains(table)) {
                continue;
            }
            match MAY.iter().find(|(begins, _)| one_line.starts_with(begins)) {
                Some((begins, _)) => drop(used.insert(*begins)),
                None => wrong.push(format!("{step}: {one_line}")),
            }
        }
    }
    assert!(looked_at > 200, "{looked_at}");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let stale: Vec<&str> = MAY.iter().map(|(b, _)| *b).filter(|b| !used.contains(b)).collect();
    assert!(stale.is_empty(), "these need no leave any more: {stale:?}");
}
