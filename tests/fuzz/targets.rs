//! What is fuzzed: every reader of what comes from outside. Each takes any bytes and must neither panic nor hang; where
//! something can be written again, it must read as the same. The ordinary tests run the findings in `tests/data/fuzz/`
//! through the same functions.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use platemark::actions::reference_rounds;
use platemark::config::Given;
use platemark::exercise::file::{read_exercise, read_plates, write_exercise, write_plates};
use platemark::exercise::form::{from_posted, look, read_table, take};
use platemark::exercise::model::Exercise;
use platemark::grading::grade::Grade;
use platemark::metrology::tolerance::Tolerance;
use platemark::report;
use platemark::report::assemble::{Field, assemble, from_form};
use platemark::report::draft::Written;
use platemark::report::entry::fill;
use platemark::report::roster::RosterOptions;
use platemark::report::setup_record::SetUp;
use platemark::report::table::{ReadOptions, Table, read};

/// Takes any bytes.
pub(crate) type Reader = fn(&[u8]);

/// All of them by name.
pub(crate) const READERS: [(&str, Reader); 16] = [
    ("exercise", exercise),
    ("plates", plates),
    ("table", table),
    ("form", form),
    ("tolerance", tolerance),
    ("settings", settings),
    ("reference-cases", reference_cases),
    ("stored-grade", stored_grade),
    ("points", points),
    ("roster", roster),
    ("rounds", rounds),
    ("balloon-table", balloon_table),
    ("exercise-form", exercise_form),
    ("set-up", set_up),
    ("draft", draft),
    ("evidence", evidence),
];

/// The reader of this name.
pub(crate) fn reader(name: &str) -> Option<Reader> {
    READERS.iter().find(|(of, _)| *of == name).map(|(_, reader)| *reader)
}

const SHIPPED: &str = include_str!("../../exercises/SB-11/exercise.toml");

static PLATE_EXERCISE: LazyLock<Exercise> = LazyLock::new(|| {
    read_exercise("exercise.toml", SHIPPED)
        .0
        .unwrap_or_else(|| unreachable!("it is shipped"))
});

fn exercise(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let (Some(exercise), _) = read_exercise("e.toml", text) {
        let written = write_exercise(&exercise);
        let (again, problems) = read_exercise("e.toml", &written);
        assert_eq!(again.as_ref(), Some(&exercise), "{problems:?}\n{written}");
    }
}

fn plates(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let (Some(plates), _) = read_plates("p.toml", text, &PLATE_EXERCISE) {
        let written = write_plates(&plates);
        let (again, problems) = read_plates("p.toml", &written, &PLATE_EXERCISE);
        assert_eq!(again.as_ref(), Some(&plates), "{problems:?}\n{written}");
    }
}

fn table(bytes: &[u8]) {
    if let Ok(Table::Report(table)) = read(bytes, &ReadOptions::default()) {
        // What is wrong with it is the answer that is wanted.
        drop(assemble(&PLATE_EXERCISE, &table, None));
    }
    drop(fill(&PLATE_EXERCISE, &[], bytes, &ReadOptions::default(), None));
}

fn form(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let mut parts = text.split('\n');
    let mut fields = Vec::new();
    while let (Some(no), Some(measured), Some(call)) = (parts.next(), parts.next(), parts.next()) {
        let [no, measured, call] = [no, measured, call].map(str::to_owned);
        fields.push(Field { no, measured, call });
    }
    drop(from_form(&PLATE_EXERCISE, &fields, &ReadOptions::default()));
}

fn tolerance(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(tolerance) = text.parse::<Tolerance>() {
        let written = tolerance.to_string();
        assert_eq!(
            written.parse::<Tolerance>().as_ref(),
            Ok(&tolerance),
            "{text} {written}"
        );
    }
}

fn settings(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    drop(Given::from_toml("settings.toml", text));
}

fn reference_cases(bytes: &[u8]) {
    let Ok(file) = serde_json::from_slice(bytes) else {
        return;
    };
    drop(platemark::metrology::verify::run_with(
        &platemark::cohort::verify::families(),
        &file,
        None,
        None,
    ));
}

fn stored_grade(bytes: &[u8]) {
    drop(serde_json::from_slice::<Grade>(bytes));
}

/// Probed points, whatever the rest is.
fn points(bytes: &[u8]) {
    let heading: &[u8] = b"feature,x,y,z,i,j,k\n";
    drop(read(&[heading, bytes].concat(), &ReadOptions::default()));
}

fn roster(bytes: &[u8]) {
    if let Ok(roster) = report::roster::read(bytes, &RosterOptions::default()) {
        // As the person says it back after the first look.
        let said = RosterOptions {
            columns: Some(roster.columns.iter().map(|c| c.holds).collect()),
            heading: Some(roster.heading),
        };
        let again = report::roster::read(bytes, &said);
        assert_eq!(again.map(|r| r.people.len()), Ok(roster.people.len()));
    }
}

fn rounds(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let typed = reference_rounds::Typed {
        measured_on: text.lines().next().unwrap_or_default().to_owned(),
        temperature: text.lines().nth(1).unwrap_or_default().to_owned(),
        values: lines(&text).collect(),
        table: bytes.to_vec(),
        ..reference_rounds::Typed::default()
    };
    if let Ok(today) = "2026-11-25".parse() {
        drop(reference_rounds::read(&PLATE_EXERCISE, &typed, today));
    }
}

/// Names and values, `name=value` on each line.
fn lines(text: &str) -> impl Iterator<Item = (String, String)> {
    text.lines()
        .filter_map(|line| line.split_once('='))
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
}

fn balloon_table(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let mut form = take(SHIPPED).form;
    let pasted = read_table(text, &[]);
    drop(form.where_to(&pasted));
    form.put_table(&pasted);
    drop(look(&form));
}

fn exercise_form(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    drop(look(&take(&text).form));
    // What a browser sends of the form that was just shown, with some of its fields changed.
    let fields: Vec<(String, String)> = lines(&text).collect();
    let form = from_posted(&fields);
    let seen = look(&form);
    assert_eq!(look(&take(&seen.toml).form).exercise, seen.exercise, "{}", seen.toml);
}

fn set_up(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let fields: BTreeMap<String, String> = lines(&text).collect();
    if let Ok(record) = SetUp::from_fields(&PLATE_EXERCISE, |name| fields.get(name).cloned().unwrap_or_default()) {
        drop(record.otherwise(&PLATE_EXERCISE));
    }
    drop(serde_json::from_slice::<SetUp>(bytes));
}

/// Two devices by turns: what one wrote last is in the draft or asked about. A field that was emptied gives way to what the
/// other device wrote there meanwhile.
fn draft(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let mut written = Written::default();
    let mut bases = [written.base(), written.base()];
    for (i, part) in text.split("\n\n").take(20).enumerate() {
        let sent: BTreeMap<String, String> = lines(part).collect();
        let at = i % 2;
        written.lay_over(&sent, Some(&bases[at]), i64::try_from(at).unwrap_or(0));
        for (name, value) in sent.iter().filter(|(name, _)| name.starts_with("m-")) {
            let before = bases[at].get(name).map_or("", |(_, text)| text.as_str());
            let kept = written.fields.get(name).map_or("", String::as_str);
            let asked = written.versions.get(name).and_then(|v| v.other.as_ref());
            assert!(
                value == before
                    || value == kept
                    || (value.is_empty() && !kept.is_empty())
                    || asked.is_some_and(|(text, _)| text == value),
                "{name}: {value}"
            );
        }
        bases[at] = written.base();
    }
}

fn evidence(bytes: &[u8]) {
    if let Ok((_, kept)) = report::evidence::prepared(bytes) {
        assert!(!kept.is_empty());
    }
}
