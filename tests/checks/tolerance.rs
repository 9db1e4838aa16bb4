//! Limits of size, general tolerances, fits, position and length at 20 C against figures from outside.
//!
//! Source of the cases and tables: `tests/data/statistics/README.md` and the `source` of each file.

use std::fs;
use std::path::PathBuf;

use platemark::metrology::tolerance::{Grade, IsoClass, Letter, SizeContext, Tolerance, ToleranceKind};
use platemark::units::LengthUnit;
use rust_decimal::Decimal;

use super::statistics::passes;

/// A row: above and up to in mm, then the columns by name; blank cells are left out.
type Row = Vec<(String, Decimal)>;

fn table(name: &str) -> Vec<Row> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/statistics")
        .join(name);
    let text = fs::read_to_string(path).unwrap();
    let mut lines = text.lines().map(|line| line.split(',').map(str::to_owned));
    let names: Vec<String> = lines.next().unwrap().collect();
    let row = |cells: &mut dyn Iterator<Item = String>| {
        let named = names.iter().cloned().zip(cells);
        named
            .filter(|(_, cell)| !cell.is_empty())
            .map(|(name, cell)| (name, cell.parse().unwrap()))
            .collect()
    };
    lines.map(|mut cells| row(&mut cells)).collect()
}

/// The ends of a row's range that belong to it: just above its start, its middle, and its end.
fn sizes(row: &[(String, Decimal)]) -> [Decimal; 3] {
    let (above, to) = (row[0].1, row[1].1);
    [above + Decimal::new(1, 3), (above + to) / Decimal::TWO, to]
}

fn deviations(class: &str, nominal: Decimal) -> (Decimal, Decimal) {
    let found = class.parse::<IsoClass>().unwrap().deviations(nominal).unwrap();
    (found.lower_um, found.upper_um)
}

#[test]
fn cases_of_iso_286() {
    passes("iso286_limits.json", 27);
}

#[test]
fn cases_of_tolerance_arithmetic() {
    passes("tolerance_arithmetic.json", 71);
}

#[test]
fn the_table_of_grades() {
    let mut count = 0;
    let coarse = Grade::new(14).unwrap();
    for row in [table("iso286_it_grades.csv"), table("iso286_textbook_grades.csv")].concat() {
        for (name, expected) in &row[2..] {
            let grade = name.trim_start_matches("IT").trim_end_matches("_um");
            let grade = Grade::all().find(|known| known.to_string() == grade).unwrap();
            // Grades from 14 on are not for sizes up to 1 mm.
            for nominal in sizes(&row).into_iter().filter(|n| grade < coarse || *n > Decimal::ONE) {
                assert_eq!(grade.width_um(nominal), Some(*expected), "{name} {nominal}");
                count += 1;
            }
        }
    }
    assert_eq!(count, (7 * 10 + 13 * 8) * 3 - 3);
}

#[test]
fn the_table_of_shaft_deviations() {
    let mut count = 0;
    for row in table("iso286_shaft_deviations.csv") {
        for (name, expected) in &row[2..] {
            let letter = name.split('_').next().unwrap();
            let grades: &[u8] = match name.as_str() {
                "k_IT4_to_IT7_um" => &[4, 5, 6, 7],
                "k_other_um" => &[3, 8, 11],
                _ => &[3, 6, 8, 11],
            };
            for (nominal, grade) in sizes(&row).into_iter().flat_map(|n| grades.iter().map(move |g| (n, g))) {
                let (lower, upper) = deviations(&format!("{letter}{grade}"), nominal);
                let found = if letter <= "h" { upper } else { lower };
                assert_eq!(found, *expected, "{letter}{grade} {nominal}");
                count += 1;
            }
        }
    }
    assert_eq!(count, 13 * 3 * (10 * 4 + 4 + 3));
}

#[test]
fn the_tables_of_the_textbook() {
    let mut count = 0;
    for row in table("iso286_textbook.csv") {
        for (name, expected) in &row[2..] {
            let letter = name.trim_end_matches("_um");
            for nominal in sizes(&row).into_iter().filter(|nominal| *nominal > Decimal::ONE) {
                let (lower, upper) = deviations(&format!("{letter}8"), nominal);
                let hole = deviations(&format!("{}8", letter.to_uppercase()), nominal);
                assert_eq!(
                    if letter <= "h" { upper } else { lower },
                    *expected,
                    "{letter} {nominal}"
                );
                // From grade 8 on the hole mirrors the shaft.
                assert_eq!(hole, (-upper, -lower), "{letter} {nominal}");
                count += 1;
            }
        }
        let blank = |letter: &str| !row.iter().any(|(name, _)| name == &format!("{letter}_um"));
        for letter in ["t", "v", "y"].into_iter().filter(|letter| blank(letter)) {
            assert!(
                format!("{letter}8")
                    .parse::<IsoClass>()
                    .unwrap()
                    .deviations(row[1].1)
                    .is_err(),
                "{letter}"
            );
        }
    }
    for row in table("iso286_textbook_j.csv") {
        for (name, expected) in &row[2..] {
            let class = name.trim_end_matches("_um");
            for nominal in sizes(&row) {
                let (lower, upper) = deviations(class, nominal);
                assert_eq!(
                    if class.starts_with('J') { upper } else { lower },
                    *expected,
                    "{class} {nominal}"
                );
                count += 1;
            }
        }
    }
    assert_eq!(count, (25 * 12 - 6 - 4 - 5) * 3 - 9 + 13 * 6 * 3);
}

#[test]
fn the_table_of_the_correction_of_holes() {
    for row in table("iso286_hole_delta.csv") {
        for (name, delta) in &row[2..] {
            let grade: u8 = name
                .trim_start_matches("delta_IT")
                .trim_end_matches("_um")
                .parse()
                .unwrap();
            for nominal in sizes(&row) {
                let hole = |letter: &str| deviations(&format!("{letter}{grade}"), nominal).1;
                let shaft = |letter: &str| deviations(&format!("{letter}6"), nominal).0;
                let m6_exception = grade == 6 && nominal > Decimal::from(250) && nominal <= Decimal::from(315);
                if !m6_exception {
                    assert_eq!(hole("M"), *delta - shaft("m"), "M{grade} {nominal}");
                }
                assert_eq!(hole("N"), *delta - shaft("n"), "N{grade} {nominal}");
                let for_p = if grade <= 7 { *delta } else { Decimal::ZERO };
                assert_eq!(hole("P"), for_p - shaft("p"), "P{grade} {nominal}");
            }
        }
    }
}

#[test]
fn every_class_gives_limits_in_either_unit_that_lie_within_the_exact_ones() {
    let mut count = 0;
    for nominal in ["2.5", "9", "17", "25", "62", "130", "290", "410"] {
        let nominal: Decimal = nominal.parse().unwrap();
        for (letter, grade, inside) in Letter::ALL
            .into_iter()
            .flat_map(|letter| Grade::all().flat_map(move |grade| [true, false].map(|inside| (letter, grade, inside))))
        {
            let class = IsoClass::new(letter, grade, inside);
            let Ok(exact) = class.deviations(nominal) else { continue };
            let tolerance: Tolerance = class.to_string().parse().unwrap();
            for unit in [LengthUnit::Mm, LengthUnit::Inch] {
                let kind = ToleranceKind::Size { inside };
                let written = unit.from_mm(nominal);
                let context = SizeContext {
                    unit,
                    decimals: 6,
                    kind,
                };
                let found = tolerance.limits(written, &context).unwrap();
                let mm = |limit: Option<Decimal>| unit.to_mm(limit.unwrap()) - nominal;
                let step = unit.to_mm(Decimal::new(1, 6));
                let (lower, upper) = (
                    exact.lower_um / Decimal::ONE_THOUSAND,
                    exact.upper_um / Decimal::ONE_THOUSAND,
                );
                // A nominal in inch that has no end is cut at 28 digits.
                let cut = Decimal::new(1, 20);
                assert!(
                    mm(found.lower) >= lower - cut && mm(found.lower) < lower + step,
                    "{class} {nominal} {unit}"
                );
                assert!(
                    mm(found.upper) <= upper + cut && mm(found.upper) > upper - step,
                    "{class} {nominal} {unit}"
                );
                count += 1;
            }
        }
    }
    assert!(count > 5000, "{count}");
}
