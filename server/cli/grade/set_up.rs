//! The set-up record on the command line: from options, and from columns beside the serials.

use std::collections::BTreeMap;

use anyhow::{anyhow, bail};

use crate::exercise::model::{Exercise, Face};
use crate::report::setup_record::SetUp;
use crate::units::LengthUnit;

/// What the form calls the field of a word: `tip`, `unit`, `temperature`, or the letter of a datum.
pub(super) fn field(exercise: &Exercise, word: &str) -> Option<String> {
    let word = word.trim().trim_start_matches('\u{feff}');
    let lower = word.to_ascii_lowercase();
    if matches!(lower.as_str(), "tip" | "unit" | "temperature") {
        return Some(format!("s-{lower}"));
    }
    let mut letters = word.chars();
    let letter = letters
        .next()
        .filter(|_| letters.next().is_none())?
        .to_ascii_uppercase();
    exercise
        .datum_frame
        .by_letter(letter)
        .map(|datum| format!("s-{}", datum.letter))
}

/// The fields of the options, by the names of the form.
///
/// # Errors
/// When an option is none of the record's fields, or stands twice.
pub fn options(exercise: &Exercise, given: &[String]) -> anyhow::Result<BTreeMap<String, String>> {
    let mut fields = BTreeMap::new();
    for option in given {
        let read = option
            .split_once('=')
            .and_then(|(word, value)| Some((field(exercise, word)?, value.trim().to_owned())));
        let (field, value) = read.ok_or_else(|| {
            anyhow!(
                "--set-up {option}: write it as tip=4, unit=mm, temperature=21.5, or the letter of a datum of {} and the \
                 face touched, as A=top",
                exercise.code
            )
        })?;
        if fields.insert(field, value).is_some() {
            bail!("--set-up {option}: this stands twice; give it once");
        }
    }
    Ok(fields)
}

/// The record of one report: its own fields, then those of the options. None where nothing is said.
///
/// # Errors
/// When a field cannot be read, with the words that can.
pub fn read(
    exercise: &Exercise,
    report: &str,
    own: Option<&BTreeMap<String, String>>,
    options: &BTreeMap<String, String>,
) -> anyhow::Result<Option<SetUp>> {
    let said = |name: &str| {
        let found = own.and_then(|own| own.get(name)).or_else(|| options.get(name));
        found.map(|text| text.trim().to_ascii_lowercase()).unwrap_or_default()
    };
    for datum in exercise.datum_frame.all() {
        let letter = datum.letter;
        let word = said(&format!("s-{letter}"));
        let is_known = word == "other" || Face::ALL.iter().any(|(known, _)| *known == word);
        if !word.is_empty() && !is_known {
            let known: Vec<&str> = Face::ALL.iter().map(|(known, _)| *known).collect();
            bail!(
                "{report}: set-up, datum {letter}: `{word}` is no face; write {} or other",
                known.join(", ")
            );
        }
    }
    let unit = said("s-unit");
    if !unit.is_empty() && unit.parse::<LengthUnit>().is_err() {
        bail!("{report}: set-up, unit: `{unit}` is no unit; write mm or inch");
    }
    let record = SetUp::from_fields(exercise, said).map_err(|wrong| {
        let words: Vec<&str> = wrong.iter().map(|w| w.text.as_str()).collect();
        anyhow!("{report}: set-up: {}", words.join(" "))
    })?;
    Ok((!record.is_empty()).then_some(record))
}
