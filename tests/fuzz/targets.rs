//! What is fuzzed: every reader of what comes from outside. Each takes any bytes and must neither panic nor hang; where
//! something can be written again, it must read as the same. The ordinary tests run the findings in `tests/data/fuzz/`
//! through the same functions.

use std::sync::LazyLock;

use platemark::config::Given;
use platemark::exercise::file::{read_exercise, read_plates, write_exercise, write_plates};
use platemark::exercise::model::Exercise;
use platemark::grading::grade::Grade;
use platemark::metrology::tolerance::Tolerance;
use platemark::report::assemble::{Field, assemble, from_form};
use platemark::report::entry::fill;
use platemark::report::table::{ReadOptions, Table, read};

/// Takes any bytes.
pub(crate) type Reader = fn(&[u8]);

/// All of them by name.
pub(crate) const READERS: [(&str, Reader); 8] = [
    ("exercise", exercise),
    ("plates", plates),
    ("table", table),
    ("form", form),
    ("tolerance", tolerance),
    ("settings", settings),
    ("reference-cases", reference_cases),
    ("stored-grade", stored_grade),
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
