//! Headings: which column is which.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use crate::units::ValueUnit;

use super::note::{Code, Warning};
use super::role::Role;
use super::split::Record;
use super::words;

/// Which of the two tables a file holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A pair's report.
    Report,
    /// Probed points.
    Points,
}

/// Headings of a report, as people write them. Common practice, no published source.
const REPORT_WORDS: [(Role, &str); 20] = [
    (
        Role::Label,
        "no, nr, n°, #, num, number, balloon, balloon no, balloon number",
    ),
    (Role::Label, "nummer, numéro, repère, número, núm"),
    (
        Role::Name,
        "label, characteristic, feature, name, dimension, merkmal, bezeichnung",
    ),
    (Role::Name, "caractéristique, cote, característica, cota"),
    (
        Role::Nominal,
        "nominal, nominal value, target, nennmaß, nennwert, soll, sollwert, sollmaß",
    ),
    (
        Role::Nominal,
        "nominale, valeur nominale, cote nominale, valor nominal, cota nominal",
    ),
    (
        Role::Minus,
        "minus, tol -, lower tol, lower tolerance, lower deviation, untere tol, untere toleranz",
    ),
    (
        Role::Minus,
        "unteres abmaß, tol inf, tolérance inférieure, écart inférieur",
    ),
    (Role::Minus, "tolerancia inferior, desviación inferior"),
    (
        Role::Plus,
        "plus, tol +, upper tol, upper tolerance, upper deviation, obere tol, obere toleranz",
    ),
    (
        Role::Plus,
        "oberes abmaß, tol sup, tolérance supérieure, écart supérieur",
    ),
    (Role::Plus, "tolerancia superior, desviación superior"),
    (
        Role::Tolerance,
        "tol, tolerance, ±, tol ±, tol +/-, toleranz, tolérance, tolerancia",
    ),
    (
        Role::Measured,
        "measured, measured value, actual, actual value, value, ist, istwert, istmaß, messwert",
    ),
    (
        Role::Measured,
        "mesuré, mesurée, mesure, valeur, valeur mesurée, medido, medida, valor, valor medido",
    ),
    (Role::Unit, "unit, units, einheit, unité, unidad"),
    (
        Role::Call,
        "call, verdict, decision, conformance, conformity, pass/fail, status, ergebnis, urteil, entscheid",
    ),
    (
        Role::Call,
        "bewertung, décision, conformité, dictamen, decisión, conformidad, veredicto",
    ),
    (
        Role::Comment,
        "comment, comments, remark, remarks, note, notes, bemerkung, kommentar",
    ),
    (
        Role::Comment,
        "commentaire, remarque, comentario, observación, observaciones",
    ),
];

/// Headings of a file of points.
const POINT_WORDS: [(Role, &str); 7] = [
    (Role::Feature, "feature"),
    (Role::X, "x"),
    (Role::Y, "y"),
    (Role::Z, "z"),
    (Role::I, "i"),
    (Role::J, "j"),
    (Role::K, "k"),
];

type Dictionary = BTreeMap<String, Role>;

static REPORT: LazyLock<Dictionary> = LazyLock::new(|| dictionary(&REPORT_WORDS));
static POINTS: LazyLock<Dictionary> = LazyLock::new(|| dictionary(&POINT_WORDS));

fn dictionary(lists: &[(Role, &str)]) -> Dictionary {
    let mut dictionary = Dictionary::new();
    for (role, list) in lists {
        dictionary.extend(list.split(", ").map(|word| (words::fold_heading(word), *role)));
    }
    dictionary
}

/// Longer cells are no headings that are known; they need not be folded.
const LONGEST_HEADING: usize = 200;

/// One heading, understood as far as it can be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Heading {
    /// What is compared when the heading row comes again.
    pub(super) folded: String,
    in_report: Option<Role>,
    in_points: Option<Role>,
    unit: Option<ValueUnit>,
}

impl Heading {
    pub(super) fn read(cell: &str) -> Self {
        let cell = words::trim(cell);
        if cell.len() > LONGEST_HEADING {
            return Self {
                folded: cell.to_owned(),
                in_report: None,
                in_points: None,
                unit: None,
            };
        }
        let folded = words::fold_heading(cell);
        let (words, unit) = match unit_in_brackets(cell) {
            Some((words, unit)) => (words::fold_heading(words), Some(unit)),
            None => (folded.clone(), None),
        };
        let (in_report, in_points) = (REPORT.get(&words).copied(), POINTS.get(&words).copied());
        Self {
            folded,
            in_report,
            in_points,
            unit,
        }
    }
}

/// Words and unit of a heading like `Measured (mm)`. What is in the brackets and is no unit belongs to the words:
/// the unit of such a column is not known, and its numbers must not be taken for something else.
fn unit_in_brackets(heading: &str) -> Option<(&str, ValueUnit)> {
    let heading = heading.trim_end_matches([':', '.']).trim_end();
    let (words, unit) = match heading.strip_suffix(')') {
        Some(inner) => inner.rsplit_once('(')?,
        None => heading.strip_suffix(']')?.rsplit_once('[')?,
    };
    Some((words, ValueUnit::parse_word(words::trim(unit))?))
}

/// A unit alone in a cell, in brackets or not, as in a row of units.
pub(crate) fn bare_unit(cell: &str) -> Option<ValueUnit> {
    let cell = words::trim(cell);
    let inner = match cell.strip_prefix('(') {
        Some(rest) => rest.strip_suffix(')')?,
        None => match cell.strip_prefix('[') {
            Some(rest) => rest.strip_suffix(']')?,
            None => cell,
        },
    };
    ValueUnit::parse_word(words::trim(inner))
}

/// One column of the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Column {
    /// What it holds; `None` where it is not used.
    pub(crate) role: Option<Role>,
    /// Unit that its heading names.
    pub(crate) unit: Option<ValueUnit>,
    /// Why it is not used.
    problem: Option<Code>,
    /// Heading as written.
    heading: String,
}

impl Column {
    /// A column whose use a person has said.
    pub(super) const fn named(role: Option<Role>) -> Self {
        Self {
            role,
            unit: None,
            problem: None,
            heading: String::new(),
        }
    }

    /// The reservation about a column that is not used. A column without a heading has one only if something
    /// stands in it: delimiters at the ends of all lines are no column of anybody's.
    pub(super) fn warning(&self, line: u32, index: usize, has_text: bool) -> Option<Warning> {
        let code = self.problem?;
        if words::is_blank(&self.heading) && !has_text {
            return None;
        }
        let mut warning = Warning::new(line, code, &self.heading);
        warning.column = Some(index + 1);
        Some(warning)
    }
}

/// Which table a heading row belongs to, and how many of its headings are known; `None` where it is no heading row.
///
/// A report has a measured column and a number or name column, points have feature, x, y and z. Where a row could be
/// either, the one in which more of its headings are known.
pub(super) fn kind_of(headings: &[Heading]) -> Option<(Kind, usize)> {
    let has = |role: Role| headings.iter().any(|h| h.in_report == Some(role));
    let is_report = has(Role::Measured) && (has(Role::Label) || has(Role::Name));
    let is_points = [Role::Feature, Role::X, Role::Y, Role::Z]
        .iter()
        .all(|role| headings.iter().any(|h| h.in_points == Some(*role)));
    let in_report = headings.iter().filter(|h| h.in_report.is_some()).count();
    let in_points = headings.iter().filter(|h| h.in_points.is_some()).count();
    match (is_report, is_points) {
        (true, true) if in_points > in_report => Some((Kind::Points, in_points)),
        (true, _) => Some((Kind::Report, in_report)),
        (false, true) => Some((Kind::Points, in_points)),
        (false, false) => None,
    }
}

/// The columns of a heading row.
pub(super) fn columns(headings: &[Heading], record: &Record<'_>, kind: Kind) -> Vec<Column> {
    let mut columns: Vec<Column> = headings
        .iter()
        .enumerate()
        .map(|(index, heading)| {
            let role = match kind {
                Kind::Report => heading.in_report,
                Kind::Points => heading.in_points,
            };
            let problem = role.is_none().then_some(Code::UnknownColumn);
            Column {
                role,
                unit: heading.unit,
                problem,
                heading: record.cell(index).to_owned(),
            }
        })
        .collect();
    settle(&mut columns);
    columns
}

/// Leaves one column to each role: the first. A name column is the label where there is no number column.
pub(super) fn settle(columns: &mut [Column]) {
    let mut seen = Vec::new();
    for column in columns.iter_mut() {
        let Some(role) = column.role else { continue };
        if seen.contains(&role) {
            column.role = None;
            column.problem = Some(Code::DuplicateColumn);
        }
        seen.push(role);
    }
    if !seen.contains(&Role::Label)
        && let Some(column) = columns.iter_mut().find(|column| column.role == Some(Role::Name))
    {
        column.role = Some(Role::Label);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn role(heading: &str) -> Option<Role> {
        Heading::read(heading).in_report
    }

    #[test]
    fn words_of_each_role() {
        let check = |expected: Role, headings: &str| {
            for heading in headings.split(", ") {
                assert_eq!(role(heading), Some(expected), "{heading:?}");
            }
        };
        check(
            Role::Label,
            "no, No., Nr., N°, Nº, #, Balloon No.:, Numéro, NÚMERO, Repe\u{300}re, núm.",
        );
        check(
            Role::Name,
            "Label, Feature, MERKMAL, Bezeichnung, Cote, Característica, dimension",
        );
        check(
            Role::Nominal,
            "Nominal, Nennmaß, NENNMASS, Nennmass, Soll, Valeur  nominale, target",
        );
        check(
            Role::Minus,
            "Tol -, Tol \u{2212}, tol-, Untere Tol., Tol. inf., Écart inférieur, unteres Abmaß",
        );
        check(
            Role::Plus,
            "Tol +, Upper \"tol\", Obere Toleranz, Tolérance supérieure, Desviacion superior",
        );
        check(Role::Tolerance, "Tol, ±, Tol ±, tol +/-, Toleranz, Tolerancia");
        check(
            Role::Measured,
            "measured, Measured\nvalue, Istmaß, Messwert, Mesurée, Valor medido, value",
        );
        check(Role::Unit, "Unit, Einheit, Unité, unidad");
        check(
            Role::Call,
            "call, Pass/Fail, pass / fail, Décision, Ergebnis, Veredicto, STATUS",
        );
        check(Role::Comment, "Remarks:, Bemerkung, Observación, notes");
    }

    #[test]
    fn what_is_no_known_heading() {
        for unknown in [
            "",
            "measured by",
            "Temperatura",
            "x",
            "tol +-",
            "value 1",
            &"no".repeat(200),
        ] {
            assert_eq!(role(unknown), None, "{unknown:?}");
        }
    }

    #[test]
    fn units_in_brackets() {
        let check = |heading: &str, expected: Option<Role>, unit: Option<ValueUnit>| {
            let read = Heading::read(heading);
            assert_eq!((read.in_report, read.unit), (expected, unit), "{heading:?}");
        };
        check("Measured (mm)", Some(Role::Measured), Some(ValueUnit::Millimetre));
        check("Measured [inch]:", Some(Role::Measured), Some(ValueUnit::Inch));
        check("Measured[ µm ]", Some(Role::Measured), Some(ValueUnit::Micrometre));
        check("Istwert (°)", Some(Role::Measured), Some(ValueUnit::Degree));
        check("Measured (\")", Some(Role::Measured), Some(ValueUnit::Inch));
        check("Measured (kg)", None, None);
        check("Measured (mm]", None, None);
        check("Measured ()", None, None);
        check("(mm)", None, Some(ValueUnit::Millimetre));
    }

    #[test]
    fn one_column_to_a_role() {
        let roles = |row: &[&str]| {
            let mut columns: Vec<Column> = row.iter().map(|h| Column::named(role(h))).collect();
            settle(&mut columns);
            columns.into_iter().map(|column| column.role).collect::<Vec<_>>()
        };
        assert_eq!(roles(&["name", "value"]), [Some(Role::Label), Some(Role::Measured)]);
        assert_eq!(
            roles(&["name", "no", "value"]),
            [Some(Role::Name), Some(Role::Label), Some(Role::Measured)]
        );
        assert_eq!(
            roles(&["name", "label", "value"]),
            [Some(Role::Label), None, Some(Role::Measured)]
        );
        assert_eq!(
            roles(&["no", "value", "actual"]),
            [Some(Role::Label), Some(Role::Measured), None]
        );
    }

    #[test]
    fn kinds() {
        let kind = |row: &str| kind_of(&row.split(',').map(Heading::read).collect::<Vec<_>>());
        assert_eq!(kind("no,measured,call"), Some((Kind::Report, 3)));
        assert_eq!(kind("k,z,y,x,Feature"), Some((Kind::Points, 5)));
        assert_eq!(kind("feature,x,y"), None);
        assert_eq!(kind("label,x,y,z"), None);
        assert_eq!(kind("no,nominal,call"), None);
        assert_eq!(kind("feature,x,y,z,value"), Some((Kind::Points, 4)));
        assert_eq!(kind("no,feature,x,y,z,measured,call"), Some((Kind::Report, 4)));
    }
}
