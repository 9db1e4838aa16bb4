//! What the servers of all stories log, looked through as it comes: neither a person, nor a secret, nor a number of a report
//! stands in it. Servers in this process log through [`watch`], those that are programs into a file that is read when they
//! end; a finding fails the story at whose end it is seen.

use std::collections::BTreeSet;
use std::io::Write;
use std::sync::{Mutex, MutexGuard, Once, PoisonError};

use super::site::{PASSPHRASE, PIN};

/// What must not be logged. One word is looked for as such, several as they stand.
struct Known {
    words: BTreeSet<String>,
    phrases: BTreeSet<String>,
}

static KNOWN: Mutex<Known> = Mutex::new(Known {
    words: BTreeSet::new(),
    phrases: BTreeSet::new(),
});

static FOUND: Mutex<Vec<String>> = Mutex::new(Vec::new());

/// Persons and secrets of the stories' school and of the demo's.
const EVERYWHERE: [&str; 14] = [
    PASSPHRASE,
    PIN,
    "anna",
    "aron",
    "bela",
    "bora",
    "ferro",
    "fennimar",
    "brackwell",
    "d26-101",
    "d25-203",
    "314159",
    "plates on granite",
    "feeler gauge drawer",
];

fn held<T>(what: &'static Mutex<T>) -> MutexGuard<'static, T> {
    what.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Letters that a word of a log may have within it; the others part words.
fn within(c: char) -> bool {
    c.is_alphanumeric() || matches!(c, '.' | '-' | '_')
}

/// From here on this must not be logged. What is so short that it stands in a log by chance is left alone.
pub(crate) fn never(text: &str) {
    let text = text.trim_matches(|c: char| !c.is_alphanumeric());
    if text.chars().count() < 4 {
        return;
    }
    let mut known = held(&KNOWN);
    if text.chars().all(within) {
        known.words.insert(text.to_owned());
    } else {
        known.phrases.insert(text.to_owned());
    }
}

/// What is typed into these fields, and numbers of reports that are long enough to be told from times that something took.
pub(crate) fn never_of_form<'a>(fields: impl IntoIterator<Item = (&'a str, &'a str)>) {
    const SECRET: [&str; 9] = [
        "secret",
        "again",
        "code",
        "passphrase",
        "half",
        "school_id",
        "remarks",
        "remark",
        "reason",
    ];
    for (name, text) in fields {
        let number = name.starts_with("m-") && text.len() >= 7;
        if number || SECRET.contains(&name) && text.len() >= 6 {
            never(text);
        }
    }
}

/// What of the known stands in a piece of a log.
fn found_in(log: &str) -> Vec<String> {
    let known = held(&KNOWN);
    let words = log.split(|c| !within(c)).map(|word| word.trim_matches(['.', '-', '_']));
    let words = words.filter(|word| known.words.contains(*word) || EVERYWHERE.contains(word));
    let phrases = known.phrases.iter().map(String::as_str).chain(EVERYWHERE);
    let phrases = phrases.filter(|phrase| phrase.contains(' ') && log.contains(phrase));
    words.chain(phrases).map(str::to_owned).collect()
}

pub(crate) fn look_through(log: &str) {
    for word in found_in(log) {
        let line = log.lines().find(|line| line.contains(&word)).unwrap_or_default();
        held(&FOUND).push(format!("`{word}` in the log: {line}"));
    }
}

/// Fails where something was found.
pub(crate) fn hold() {
    if !std::thread::panicking() {
        let found = std::mem::take(&mut *held(&FOUND));
        assert!(found.is_empty(), "{found:#?}");
    }
}

struct Lines;

impl Write for Lines {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        look_through(&String::from_utf8_lossy(bytes));
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// From the first story on, whatever servers in this process log is looked through.
pub(crate) fn watch() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let log = tracing_subscriber::fmt().json();
        let log = log.with_env_filter("info,platemark=debug,tower_http=debug");
        log.with_writer(|| Lines).init();
    });
}

#[test]
fn what_must_not_be_logged_is_found_where_it_is() {
    never("K-4711.x");
    never("\u{2212}27.9995");
    never("warm near the door");
    for (log, found) in [
        (r#"{"path":"/my/1","latency":"2 ms"}"#, None),
        (r#"{"name":"ferro"}"#, Some("ferro")),
        (r#"{"what":"ferrous"}"#, None),
        (r#"{"body":"m-1=27.9995&c-1="}"#, Some("27.9995")),
        (r#"{"took":"127.9995 ms"}"#, None),
        (r#"{"error":"no such person: K-4711.x"}"#, Some("K-4711.x")),
        (r#"{"said":"it was warm near the door"}"#, Some("warm near the door")),
        (r#"{"secret":"granite and a level"}"#, Some(PASSPHRASE)),
    ] {
        assert_eq!(found_in(log).first().map(String::as_str), found, "{log}");
    }
}
