//! Which column of a roster holds what: by its heading, or by what stands in it.

use std::collections::BTreeSet;

use serde::Serialize;

use crate::report::table::split::Record;
use crate::report::table::words;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Holds {
    /// The whole name.
    Name,
    /// Given name.
    Given,
    /// Family name.
    Family,
    /// The school's identifier.
    SchoolId,
    /// Address.
    Email,
    /// Pair or group.
    Pair,
    /// Nothing that is used here.
    Nothing,
}

impl Holds {
    /// All, in the order of a list to choose from.
    pub const ALL: [Self; 7] = [
        Self::Name,
        Self::Given,
        Self::Family,
        Self::SchoolId,
        Self::Email,
        Self::Pair,
        Self::Nothing,
    ];

    /// Its word, as in a form or on the command line.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Name => "name",
            Self::Given => "given",
            Self::Family => "family",
            Self::SchoolId => "school-id",
            Self::Email => "email",
            Self::Pair => "pair",
            Self::Nothing => "nothing",
        }
    }

    /// The one with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|h| h.word() == word)
    }
}

/// One column.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Column {
    /// Its heading as written; empty where there is none.
    pub heading: String,
    /// What it holds.
    pub holds: Holds,
    /// What stands in its first line.
    pub example: String,
}

/// Headings as people write them. Common practice, no published source.
const HEADINGS: [(Holds, &str); 6] = [
    (
        Holds::Name,
        "name, full name, student, student name, participant, learner, nombre completo, nom complet, nombre y apellidos, name vorname",
    ),
    (
        Holds::Given,
        "given, given name, given names, first, first name, firstname, forename, vorname, prénom, prénoms, nombre, nombres, fornavn",
    ),
    (
        Holds::Family,
        "family, family name, last, last name, lastname, surname, nachname, familienname, nom, nom de famille, apellido, apellidos, etternavn",
    ),
    (
        Holds::SchoolId,
        "id, no, number, student id, student no, student number, school id, identifier, matriculation number, matrikelnummer, matrikel, \
         numéro étudiant, matrícula, número de alumno, enrolment, enrolment no, enrollment id, personnel no",
    ),
    (
        Holds::Email,
        "email, e-mail, mail, e-mail address, email address, correo, correo electrónico, courriel, adresse e-mail",
    ),
    (
        Holds::Pair,
        "pair, group, team, paar, gruppe, groupe, grupo, pareja, binôme, pair name",
    ),
];

fn by_heading(text: &str) -> Option<Holds> {
    let folded = words::fold_heading(words::trim(text));
    if folded.is_empty() {
        return None;
    }
    let is = |list: &str| list.split(", ").any(|word| words::fold_heading(word.trim()) == folded);
    HEADINGS.iter().find(|(_, list)| is(list)).map(|(holds, _)| *holds)
}

/// Whether a line is a heading row: one heading that is known, and nothing in it that only a person's line has.
pub(super) fn is_heading(record: &Record<'_>) -> bool {
    record.cells.iter().any(|c| by_heading(c).is_some()) && !record.cells.iter().any(|c| is_email(c))
}

fn is_email(text: &str) -> bool {
    let text = words::trim(text);
    text.split_once('@')
        .is_some_and(|(who, whose)| !who.is_empty() && whose.contains('.') && !text.contains(char::is_whitespace))
}

/// Whether there are names among what the columns hold.
pub(super) fn has_names(mut holds: impl Iterator<Item = Holds>) -> bool {
    holds.any(|h| matches!(h, Holds::Name | Holds::Given | Holds::Family))
}

/// The columns of a table: as a person said, else by heading, else by what stands in them. Each thing is held once, by
/// the first column that has it.
pub(super) fn of(head: Option<&Record<'_>>, body: &[Record<'_>], width: usize, said: Option<&[Holds]>) -> Vec<Column> {
    let heading = |at: usize| head.map_or("", |h| words::trim(h.cell(at)));
    let mut holds: Vec<Holds> = match said {
        Some(said) => (0..width)
            .map(|at| said.get(at).copied().unwrap_or(Holds::Nothing))
            .collect(),
        None if head.is_some() => (0..width)
            .map(|at| by_heading(heading(at)).unwrap_or(Holds::Nothing))
            .collect(),
        None => by_content(body, width),
    };
    if said.is_none() {
        settle_names(&mut holds);
    }
    let mut seen = BTreeSet::new();
    for held in &mut holds {
        if *held != Holds::Nothing && !seen.insert(*held) {
            *held = Holds::Nothing;
        }
    }
    let column = |(at, holds): (usize, Holds)| Column {
        heading: heading(at).to_owned(),
        holds,
        example: body.first().map_or_else(String::new, |r| super::clean(r.cell(at))),
    };
    holds.into_iter().enumerate().map(column).collect()
}

/// `Name` beside `Vorname` or `First name` means the family name.
fn settle_names(holds: &mut [Holds]) {
    if holds.contains(&Holds::Given) && !holds.contains(&Holds::Family) {
        for held in holds.iter_mut().filter(|h| **h == Holds::Name) {
            *held = Holds::Family;
        }
    }
}

/// What columns without headings hold: addresses have an @, identifiers digits and no two alike, pairs few different
/// short texts; of two columns of letters the first is the given name, a single one the name.
fn by_content(body: &[Record<'_>], width: usize) -> Vec<Holds> {
    let mut holds: Vec<Holds> = (0..width).map(|at| kind(body, at)).collect();
    let letters: Vec<usize> = (0..width).filter(|at| holds.get(*at) == Some(&Holds::Name)).collect();
    if let [first, second, ..] = letters[..] {
        for (at, held) in [(first, Holds::Given), (second, Holds::Family)] {
            if let Some(place) = holds.get_mut(at) {
                *place = held;
            }
        }
    }
    holds
}

fn kind(body: &[Record<'_>], at: usize) -> Holds {
    let cells: Vec<&str> = body
        .iter()
        .map(|r| words::trim(r.cell(at)))
        .filter(|c| !c.is_empty())
        .collect();
    let different = cells.iter().collect::<BTreeSet<_>>().len();
    let all = |test: fn(&str) -> bool| !cells.is_empty() && cells.iter().all(|c| test(c));
    let has_digit = |c: &str| c.chars().any(|c| c.is_ascii_digit());
    if cells.is_empty() {
        Holds::Nothing
    } else if all(is_email) {
        Holds::Email
    } else if all(has_digit) {
        if different == cells.len() {
            Holds::SchoolId
        } else {
            Holds::Pair
        }
    } else if cells.iter().filter(|c| has_digit(c)).count() * 2 > cells.len() {
        // Mostly figures below a heading that is not known: no names, in any case.
        Holds::Nothing
    } else if different * 2 <= cells.len() && all(|c| c.chars().count() <= 12) {
        Holds::Pair
    } else {
        Holds::Name
    }
}
