//! What the servers of all stories log, looked through: neither a person, nor a secret, nor a number of a report stands in it,
//! whatever the case of its letters. Servers in this process log through [`watch`]; what those that are programs log is read
//! when they end. Names, school identifiers and sign-in names come from where stories make persons and from the school of each
//! server when it ends, secrets from what is typed and from the cookies that come. A finding fails the story at whose end it is seen.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::Path;
use std::sync::{Mutex, MutexGuard, Once, PoisonError};

use platemark::store::FILE_NAME;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{Connection, SqliteConnection};

use super::site::{PASSPHRASE, PIN};

/// What must not be logged, in small letters. One word is looked for as such, several as they stand.
struct Known {
    words: BTreeSet<String>,
    /// By their first word.
    phrases: BTreeMap<String, BTreeSet<String>>,
    /// What servers in this process have logged: each word, and each line without what differs every time.
    logged: (BTreeSet<String>, BTreeSet<String>),
    /// What came of it.
    found: Vec<String>,
}

static KNOWN: Mutex<Known> = Mutex::new(Known {
    words: BTreeSet::new(),
    phrases: BTreeMap::new(),
    logged: (BTreeSet::new(), BTreeSet::new()),
    found: Vec::new(),
});

/// Secrets of the stories' school and of the demo's.
const EVERYWHERE: [&str; 5] = [PASSPHRASE, PIN, "314159", "plates on granite", "feeler gauge drawer"];

/// Names that stories give to persons or type, and that are words of the log too: levels, fields and parts of the program.
const WORDS_OF_THE_LOG: [&str; 4] = ["info", "name", "platemark", "somebody else"];

fn known() -> MutexGuard<'static, Known> {
    static ONCE: Once = Once::new();
    let held = || KNOWN.lock().unwrap_or_else(PoisonError::into_inner);
    ONCE.call_once(|| EVERYWHERE.iter().for_each(|text| held().add(text)));
    held()
}

/// Letters that a word of a log may have within it; the others part words.
fn within(c: char) -> bool {
    c.is_alphanumeric() || matches!(c, '.' | '-' | '_')
}

/// The words of a text in small letters.
fn words(text: &str) -> impl Iterator<Item = &str> {
    let words = text
        .split(|c| !within(c))
        .map(|word| word.trim_matches(['.', '-', '_']));
    words.filter(|word| !word.is_empty())
}

impl Known {
    /// From here on this must not be logged, and must not have been.
    fn add(&mut self, text: &str) {
        let text = text.trim_matches(|c: char| !c.is_alphanumeric()).to_lowercase();
        // What is so short stands in a log by chance.
        if text.chars().count() < 4 || WORDS_OF_THE_LOG.contains(&text.as_str()) {
            return;
        }
        if text.chars().all(within) {
            if self.logged.0.contains(&text) {
                self.tell(&text);
            }
            self.words.insert(text);
            return;
        }
        let first = words(&text).next().unwrap_or_default().to_owned();
        if self.logged.0.contains(&first) {
            self.tell(&text);
        }
        self.phrases.entry(first).or_default().insert(text);
    }

    /// The lines of servers in this process that have a text, which is a finding.
    fn tell(&mut self, text: &str) {
        let has = |line: &&String| found_within(line, text);
        if let Some(line) = self.logged.1.iter().find(has) {
            self.found.push(format!("`{text}` in the log: {line}"));
        }
    }

    /// What of the known stands in a piece of a log.
    fn found_in(&self, log: &str) -> Vec<String> {
        let log = log.to_lowercase();
        let mut found = BTreeSet::new();
        for word in words(&log) {
            if self.words.contains(word) {
                found.insert(word.to_owned());
            }
            let phrases = self.phrases.get(word).into_iter().flatten();
            found.extend(phrases.filter(|phrase| log.contains(phrase.as_str())).cloned());
        }
        found.into_iter().collect()
    }

    /// Line by line: where the first word of a phrase stands, all of what is looked through is searched for the phrase.
    fn look_through(&mut self, log: &str) {
        for line in log.lines().map(without_statement) {
            let found = self.found_in(&line);
            self.found
                .extend(found.iter().map(|text| format!("`{text}` in the log: {line}")));
        }
    }

    /// Keeps a line for what is known later.
    fn keep(&mut self, line: &str) {
        let line = without_times(&without_statement(line)).to_lowercase();
        if !self.logged.1.contains(&line) {
            self.logged.0.extend(words(&line).map(str::to_owned));
            self.logged.1.insert(line);
        }
    }
}

/// Whether a line has a text, a single word as such.
fn found_within(line: &str, text: &str) -> bool {
    if text.chars().all(within) {
        words(line).any(|word| word == text)
    } else {
        line.contains(text)
    }
}

/// A line without the text of a statement of SQL, which is the program's own with all its comments: "late" and "nobody" stand there, and
/// what stories give persons as names. What is bound to one is in no log.
fn without_statement(line: &str) -> Cow<'_, str> {
    const STATEMENT: &str = "db.statement";
    let read = || -> Option<String> {
        let mut value: serde_json::Value = serde_json::from_str(line).ok()?;
        let fields = value.get_mut("fields")?.as_object_mut()?;
        fields.remove(STATEMENT)?;
        fields.remove("summary");
        Some(value.to_string())
    };
    let stands = line.contains(STATEMENT).then(read).flatten();
    stands.map_or(Cow::Borrowed(line), Cow::Owned)
}

/// A line without what is another one each time: when, how long, which request.
fn without_times(line: &str) -> String {
    fn strip(value: &mut serde_json::Value) {
        let Some(fields) = value.as_object_mut() else { return };
        for name in ["timestamp", "latency", "id"] {
            fields.remove(name);
        }
        for (_, field) in fields.iter_mut() {
            strip(field);
            field.as_array_mut().into_iter().flatten().for_each(strip);
        }
    }
    serde_json::from_str(line).map_or_else(
        |_| line.to_owned(),
        |mut value| {
            strip(&mut value);
            value.to_string()
        },
    )
}

/// From here on this must not be logged, and must not have been.
pub(crate) fn never(text: &str) {
    known().add(text);
}

/// What is typed into these fields of the form at this path, and numbers of reports that are long enough to be told from times
/// that something took.
pub(crate) fn never_of_form<'a>(path: &str, fields: impl IntoIterator<Item = (&'a str, &'a str)>) {
    const SECRET: [&str; 8] = [
        "secret",
        "again",
        "code",
        "passphrase",
        "half",
        "remarks",
        "remark",
        "reason",
    ];
    const PERSON: [&str; 5] = ["school_id", "staff_name", "staff_sign_in", "email", "sign_in"];
    let of_people = path.ends_with("/sign-in") || path.contains("/people") || path.ends_with("/seat");
    for (name, text) in fields {
        let number = name.starts_with("m-") && text.len() >= 7;
        let person = PERSON.contains(&name) || (name == "name" && of_people);
        if number || person || SECRET.contains(&name) && text.len() >= 6 {
            never(text);
        }
    }
}

/// The persons of a school, read from the file or, where no server runs on it, from a copy of it.
pub(crate) fn never_of_school(folder: &Path, runs: bool) {
    let copy = tempfile::tempdir().unwrap();
    let mut file = folder.join(FILE_NAME);
    if !runs {
        for name in [FILE_NAME.to_owned(), format!("{FILE_NAME}-wal")] {
            std::fs::copy(folder.join(&name), copy.path().join(&name)).ok();
        }
        file = copy.path().join(FILE_NAME);
    }
    let read = std::thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        runtime.block_on(persons(&file))
    });
    // Stories break files too; then there is nobody to be read.
    for text in read.join().unwrap().unwrap_or_default() {
        never(&text);
    }
}

async fn persons(file: &Path) -> sqlx::Result<Vec<String>> {
    let options = SqliteConnectOptions::new().filename(file).read_only(true);
    let mut database = SqliteConnection::connect_with(&options).await?;
    let all = "select name from person union select sign_in from person union select school_id from person \
               where school_id is not null union select email from person where email is not null";
    let persons = sqlx::query_scalar(all).fetch_all(&mut database).await?;
    database.close().await?;
    Ok(persons)
}

pub(crate) fn look_through(log: &str) {
    known().look_through(log);
}

/// Fails where something was found.
pub(crate) fn hold() {
    if !std::thread::panicking() {
        let found = std::mem::take(&mut known().found);
        assert!(found.is_empty(), "{found:#?}");
    }
}

struct Lines;

impl Write for Lines {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let mut known = known();
        let log = String::from_utf8_lossy(bytes);
        known.look_through(&log);
        log.lines().for_each(|line| known.keep(line));
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
    never("Zo\u{eb} Quillfeather");
    never("ferrox");
    for (log, found) in [
        (r#"{"path":"/my/1","latency":"2 ms"}"#, None),
        (r#"{"name":"ferrox"}"#, Some("ferrox")),
        (r#"{"name":"FerroX"}"#, Some("ferrox")),
        (r#"{"what":"ferroxes"}"#, None),
        (r#"{"body":"m-1=27.9995&c-1="}"#, Some("27.9995")),
        (r#"{"took":"127.9995 ms"}"#, None),
        (r#"{"error":"no such person: k-4711.X"}"#, Some("k-4711.x")),
        (r#"{"said":"it was warm near the door"}"#, Some("warm near the door")),
        ("{\"by\":\"ZO\u{cb} QUILLFEATHER\"}", Some("zo\u{eb} quillfeather")),
        (r#"{"secret":"granite and a level"}"#, Some(PASSPHRASE)),
    ] {
        assert_eq!(known().found_in(log).first().map(String::as_str), found, "{log}");
    }
}

#[test]
fn the_text_of_a_statement_is_the_programs_own() {
    let line = r#"{"level":"DEBUG","fields":{"summary":"-- Who is late ...","db.statement":"-- Who is late","elapsed":"1 ms"},"target":"sqlx::query"}"#;
    assert_eq!(
        without_statement(line),
        r#"{"fields":{"elapsed":"1 ms"},"level":"DEBUG","target":"sqlx::query"}"#
    );
    for said in [r#"{"fields":{"message":"asked by Late"}}"#, "db.statement: not JSON"] {
        assert_eq!(without_statement(said), said);
    }
}

/// What is known only after it was logged is found all the same.
#[test]
fn what_was_logged_before_it_was_known_is_found_too() {
    let mut known = Known {
        words: BTreeSet::new(),
        phrases: BTreeMap::new(),
        logged: (BTreeSet::new(), BTreeSet::new()),
        found: Vec::new(),
    };
    for time in 0..3 {
        let line = format!(r#"{{"timestamp":"{time}","fields":{{"message":"asked by Otta Brisk, Marrowby"}}}}"#);
        known.keep(&line);
    }
    assert_eq!(known.logged.1.len(), 1);
    for text in ["Otto Brisk", "otta", "marrow", "message by"] {
        known.add(text);
    }
    assert_eq!(known.found.len(), 1, "{:?}", known.found);
    for text in ["OTTA BRISK", "marrowby"] {
        known.add(text);
    }
    assert_eq!(known.found.len(), 3, "{:?}", known.found);
}

/// The persons of a school are known when its server has ended, whoever made them.
#[tokio::test(flavor = "multi_thread")]
async fn whoever_is_in_a_school_is_looked_for() {
    let folder = tempfile::tempdir().unwrap();
    let added = super::program::add_instructor(folder.path(), "ferro", "long enough a phrase\n");
    assert!(added.status.success());
    let options = SqliteConnectOptions::new().filename(folder.path().join(FILE_NAME));
    let mut database = SqliteConnection::connect_with(&options).await.unwrap();
    let made = "insert into person (role, name, sign_in, school_id, email, created_at) \
                values ('student', 'Tilda Vosk', 'tv-90', 'K-90-77', 'tilda@vosk.example', 0)";
    sqlx::query(made).execute(&mut database).await.unwrap();
    let log = r#"{"error":"asked by TILDA VOSK, tv-90 (k-90-77, Tilda@vosk.example)"}"#;
    assert_eq!(known().found_in(log), Vec::<String>::new());
    never_of_school(folder.path(), false);
    let found = ["k-90-77", "tilda vosk", "tilda@vosk.example", "tv-90"];
    assert_eq!(known().found_in(log), found);
    database.close().await.unwrap();
}
