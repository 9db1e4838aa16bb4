//! The floors of the house, held to by reading the code.
//!
//! A floor may use the floors before it and none after it. Pure floors have no I/O, no clock, no randomness of their
//! own and no async. The list is the one of DEVELOPERS.md and `server/lib.rs`.

use std::fs;
use std::path::{Path, PathBuf};

/// Floors in order.
const FLOORS: [&str; 11] = [
    "units",
    "metrology",
    "exercise",
    "report",
    "procedure",
    "grading",
    "cohort",
    "store",
    "actions",
    "web",
    "cli",
];

/// The first of these have no I/O.
const PURE: usize = 7;

/// What a pure floor must not hold, and what that would be.
const IMPURE: [(&str, &str); 19] = [
    ("async fn", "async"),
    (".await", "async"),
    ("tokio::", "async runtime"),
    ("std::fs", "files"),
    ("std::io::stdin", "input"),
    ("std::io::stdout", "output"),
    ("println!", "output"),
    ("eprintln!", "output"),
    ("std::env", "environment"),
    ("env!(", "environment"),
    ("std::net", "network"),
    ("std::process", "processes"),
    ("std::thread", "threads"),
    ("SystemTime", "clock"),
    ("Instant::now", "clock"),
    ("Timestamp::now", "clock"),
    ("Zoned::now", "clock"),
    ("rand::rng(", "randomness of its own"),
    ("from_os_rng", "randomness of its own"),
];

/// What only some floors with I/O may hold.
const KEPT: [(&str, &str, &[&str]); 3] = [
    ("sqlx::", "SQL", &["store"]),
    ("axum::", "HTTP", &["web", "cli"]),
    ("anyhow::", "untyped errors", &["cli"]),
];

/// All that is wrong with a file on a floor.
fn violations(floor: &str, name: &str, text: &str) -> Vec<String> {
    let Some(here) = FLOORS.iter().position(|f| *f == floor) else {
        return vec![format!("{name}: `{floor}` is no floor of the list")];
    };
    let mut found = Vec::new();
    for (at, line) in code_lines(text) {
        for (there, other) in FLOORS.iter().enumerate() {
            if there > here && line.contains(&format!("crate::{other}")) {
                found.push(format!("{name}:{at}: `{floor}` uses the later floor `{other}`"));
            }
        }
        for (word, what) in IMPURE {
            if here < PURE && line.contains(word) {
                found.push(format!("{name}:{at}: {what} (`{word}`) in the pure floor `{floor}`"));
            }
        }
        for (word, what, floors) in KEPT {
            if line.contains(word) && !floors.contains(&floor) {
                found.push(format!(
                    "{name}:{at}: {what} (`{word}`) belongs to {}, not to `{floor}`",
                    floors.join(", ")
                ));
            }
        }
    }
    found
}

/// Lines of code with their numbers: no comments, nothing from the test module on.
fn code_lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let lines = text.lines().enumerate().map(|(i, l)| (i + 1, l));
    let code = lines.take_while(|(_, l)| l.trim() != "#[cfg(test)]");
    code.filter(|(_, l)| !l.trim_start().starts_with("//"))
}

fn rust_files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let path = entry.path();
        if path.is_dir() {
            rust_files(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

#[test]
fn every_floor_uses_only_what_it_may() {
    let server = Path::new(env!("CARGO_MANIFEST_DIR")).join("server");
    let mut found = Vec::new();
    for floor in FLOORS {
        let mut files = Vec::new();
        rust_files(&server.join(floor), &mut files);
        assert!(!files.is_empty(), "no code on the floor `{floor}`");
        for file in files {
            // A file that is only compiled for tests may read files.
            if file.file_stem().is_some_and(|s| s == "tests") || file.components().any(|c| c.as_os_str() == "tests") {
                continue;
            }
            let text = fs::read_to_string(&file).unwrap();
            found.extend(violations(floor, &file.display().to_string(), &text));
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// What puts a route beside others.
const ROUTING: [&str; 9] = [
    "Router::new(",
    ".route(",
    ".route_service(",
    ".nest(",
    ".nest_service(",
    ".merge(",
    ".fallback(",
    ".fallback_service(",
    ".method_not_allowed_fallback(",
];

/// The only lines that may: the table of all pages goes in line by line, so that the stories about who may what walk everything
/// that answers. The metrics have an address of their own.
const TABLE: [(&str, &str); 6] = [
    (
        "metrics.rs",
        r#"Router::new().route("/metrics", get(show)).with_state(app.clone())"#,
    ),
    (
        "routes.rs",
        "let (mut routes, mut long) = (Router::new(), Router::new());",
    ),
    ("routes.rs", "routes = routes.route(route.path, handler);"),
    ("routes.rs", "long = long.route(route.path, handler);"),
    (
        "routes.rs",
        "let routes = routes.fallback_service(lost.with_state(app.clone()));",
    ),
    (
        "routes.rs",
        "layers::around(routes.with_state(app.clone()), app, layers::LONGEST).merge(long)",
    ),
];

#[test]
fn every_route_stands_in_the_table() {
    let server = Path::new(env!("CARGO_MANIFEST_DIR")).join("server");
    let mut files = Vec::new();
    rust_files(&server, &mut files);
    let (mut beside, mut seen) = (Vec::new(), 0);
    for file in files {
        let text = fs::read_to_string(&file).unwrap();
        let name = file.file_name().unwrap().to_str().unwrap();
        let is_web = file.parent().is_some_and(|folder| folder.ends_with("web"));
        for (number, line) in code_lines(&text) {
            if !ROUTING.iter().any(|way| line.contains(way)) {
                continue;
            }
            if is_web && TABLE.contains(&(name, line.trim())) {
                seen += 1;
            } else {
                beside.push(format!("{}:{number}: {}", file.display(), line.trim()));
            }
        }
    }
    assert!(beside.is_empty(), "routes beside the table: {beside:#?}");
    assert_eq!(seen, TABLE.len());
}

#[test]
fn the_list_is_the_one_of_lib() {
    let lib = include_str!("../server/lib.rs");
    let modules: Vec<&str> = lib
        .lines()
        .filter_map(|l| l.strip_prefix("pub mod "))
        .filter_map(|l| l.strip_suffix(';'))
        .collect();
    let floors: Vec<&str> = modules.into_iter().filter(|m| *m != "config").collect();
    assert_eq!(floors, FLOORS);
}

/// The test itself must be able to fail: one violation of each kind is found, and nothing where there is none.
#[test]
fn violations_are_found() {
    let check = |floor: &str, code: &str, expected: Option<&str>| {
        let found = violations(floor, "f.rs", code);
        match expected {
            None => assert!(found.is_empty(), "{code}: {found:?}"),
            Some(part) => assert!(found.iter().any(|f| f.contains(part)), "{code}: {found:?}"),
        }
    };
    check(
        "metrology",
        "use crate::grading::grade;",
        Some("uses the later floor `grading`"),
    );
    check("web", "use crate::cli;", Some("uses the later floor `cli`"));
    check("grading", "use crate::metrology::conformity;", None);
    check("procedure", "use crate::report::model::Report;", None);
    check("grading", "pub async fn grade() {}", Some("async"));
    check("grading", "let t = std::time::SystemTime::now();", Some("clock"));
    check("exercise", "std::fs::read(path)", Some("files"));
    check("units", "std::env::var(\"HOME\")", Some("environment"));
    check("procedure", "let mut rng = rand::rng();", Some("randomness"));
    check("web", "sqlx::query!(\"SELECT 1\")", Some("SQL"));
    check("store", "use axum::Router;", Some("HTTP"));
    check("actions", "use anyhow::Context;", Some("untyped errors"));
    check(
        "grading",
        "// std::fs is not used here\n#[cfg(test)]\nmod tests { use std::fs; }",
        None,
    );
    check("attic", "", Some("no floor"));
}

/// Ways in which a text becomes markup or code in a script.
const MARKUP: [&str; 9] = [
    "innerHTML =",
    "innerHTML +=",
    "outerHTML =",
    "insertAdjacentHTML",
    "createContextualFragment",
    "document.write",
    "setHTMLUnsafe",
    "eval(",
    "new Function",
];

#[test]
fn no_text_becomes_markup_in_a_script() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("static");
    let mut read = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "js") {
            let text = fs::read_to_string(&path).unwrap();
            let found: Vec<_> = MARKUP.iter().filter(|way| text.contains(**way)).collect();
            assert!(found.is_empty(), "{}: {found:?}", path.display());
            read += 1;
        }
    }
    assert!(read > 5, "{read}");
}

/// What unpacks archives or expands entities is not there at all, so there is no file that grows on being read but pictures.
#[test]
fn nothing_reads_xml_or_archives() {
    let manifest = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml")).unwrap();
    let manifest: toml::Table = manifest.parse().unwrap();
    let names: Vec<&String> = manifest["dependencies"].as_table().unwrap().keys().collect();
    assert!(names.len() > 20, "{names:?}");
    let archives = ["xml", "zip", "tar", "flate", "brotli", "zstd"];
    let found: Vec<_> = names
        .iter()
        .filter(|name| archives.iter().any(|a| name.contains(a)))
        .collect();
    assert!(found.is_empty(), "{found:?}");
}
