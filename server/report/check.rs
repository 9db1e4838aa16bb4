//! The check at the machine, before a report is handed in: what is missing, in another unit, with the other sign, or
//! impossible by the print. It knows the print alone and nothing of what a plate really is.

use rust_decimal::Decimal;

use super::model::{Report, ReportItem};
use crate::exercise::model::{Characteristic, Exercise};
use crate::units::{LengthUnit, show_length, show_reading};

/// What may be wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Doubt {
    /// No value.
    NoValue,
    /// A value and no call.
    NoCall,
    /// It looks like the other unit of length.
    Unit,
    /// It looks like the nominal with the other sign.
    Sign,
    /// No part made to this print can have it.
    Impossible,
}

/// One thing to look at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remark {
    /// What kind.
    pub doubt: Doubt,
    /// Balloon numbers that it speaks of, in sheet order.
    pub nos: Vec<String>,
    /// The sentence.
    pub text: String,
}

/// Of a nominal that a value in the other unit, or with the other sign, may be off by. Common practice, no published
/// source: planted deviations and setting-up mistakes stay far below it.
const NEAR: Decimal = Decimal::from_parts(3, 0, 0, false, 2);

/// Least share of a nominal (in mm) from which a unit can be told by a value: below it the limits are as wide.
const TELLING_MM: Decimal = Decimal::ONE;

/// From how many values on that tell the other unit, with none that tells the print's, the whole sheet is taken to be in it.
const WHOLE: usize = 3;

/// Looks a report over.
#[must_use]
pub fn check(exercise: &Exercise, report: &Report) -> Vec<Remark> {
    let lines = || exercise.characteristics.iter().zip(&report.items);
    let mut remarks = Vec::new();
    let nos = |test: &dyn Fn(&Characteristic, &ReportItem) -> bool| -> Vec<String> {
        lines()
            .filter(|(c, i)| test(c, i))
            .map(|(c, _)| c.no.to_string())
            .collect()
    };
    let mut say = |doubt, nos: Vec<String>, text: &dyn Fn(&str) -> String| {
        if !nos.is_empty() {
            let text = text(&nos.join(", "));
            remarks.push(Remark { doubt, nos, text });
        }
    };
    say(Doubt::NoValue, nos(&|_, i| i.measured.is_none()), &|at| {
        format!("No value at {at}.")
    });
    say(
        Doubt::NoCall,
        nos(&|_, i| i.measured.is_some() && i.call.is_none()),
        &|at| format!("No call at {at}."),
    );
    let (own, other) = match exercise.units {
        LengthUnit::Mm => ("millimetres", "inches"),
        LengthUnit::Inch => ("inches", "millimetres"),
    };
    let mut unit = nos(&|c, i| value(i).is_some_and(|x| is_other_unit(exercise, c, x)));
    let is_own = |c: &Characteristic, x| can_tell(exercise, c) && near(x, c.nominal);
    if unit.len() >= WHOLE && !lines().any(|(c, i)| value(i).is_some_and(|x| is_own(c, x))) {
        // Whoever read all these in the other unit read the small lengths in it too, of which it cannot be told.
        let goes_along = |c: &Characteristic| !c.of.is_angle() && !can_tell(exercise, c);
        unit = nos(&|c, i| value(i).is_some_and(|x| goes_along(c) || is_other_unit(exercise, c, x)));
    }
    let is_unit = |c: &Characteristic| unit.contains(&c.no.to_string());
    let sign = nos(&|c, i| value(i).is_some_and(|x| is_other_sign(c, x)));
    say(Doubt::Unit, unit.clone(), &|at| {
        format!("The print is in {own}; what is written at {at} looks like {other}.")
    });
    say(Doubt::Sign, sign, &|at| {
        format!(
            "At {at} the value looks like the nominal with the other sign. Mind on which side of the datum it lies."
        )
    });
    let size = extent(exercise);
    for (c, item) in lines() {
        if let Some(reading) = &item.measured
            && !is_unit(c)
            && let Some(why) = impossible(exercise, c, reading.decimal(), size)
        {
            remarks.push(Remark {
                doubt: Doubt::Impossible,
                nos: vec![c.no.to_string()],
                text: format!("{} at {}: {why}", show_reading(reading), c.no),
            });
        }
    }
    remarks
}

fn value(item: &ReportItem) -> Option<Decimal> {
    item.measured.as_ref().map(crate::units::Reading::decimal)
}

fn near(value: Decimal, nominal: Decimal) -> bool {
    (value - nominal).abs() <= nominal.abs() * NEAR
}

/// Whether a value tells its unit by the nominal.
fn can_tell(exercise: &Exercise, c: &Characteristic) -> bool {
    !(c.of.is_angle() || c.of.is_geometrical() || exercise.units.to_mm(c.nominal).abs() < TELLING_MM)
}

/// Whether a length is near the nominal once it is taken from the other unit, and far from it as it stands.
fn is_other_unit(exercise: &Exercise, c: &Characteristic, x: Decimal) -> bool {
    if !can_tell(exercise, c) {
        return false;
    }
    // Far beyond anything that is measured nothing is multiplied.
    if x.abs() > Decimal::from(1_000_000) {
        return false;
    }
    let taken = match exercise.units {
        LengthUnit::Mm => LengthUnit::Inch.to_mm(x),
        LengthUnit::Inch => LengthUnit::Inch.from_mm(x),
    };
    near(taken, c.nominal) && !near(x, c.nominal)
}

fn is_other_sign(c: &Characteristic, x: Decimal) -> bool {
    !c.nominal.is_zero() && near(-x, c.nominal) && !near(x, c.nominal)
}

/// The longest way through the body, from corner to corner, and never shorter: the sum of its three sides.
fn extent(exercise: &Exercise) -> Decimal {
    let span = |i: usize| {
        let all = || exercise.body.outline.iter().map(|p| p[i]);
        all().max().unwrap_or_default() - all().min().unwrap_or_default()
    };
    span(0) + span(1) + exercise.body.thickness
}

fn impossible(exercise: &Exercise, c: &Characteristic, x: Decimal, extent: Decimal) -> Option<String> {
    let unit = exercise.units;
    if c.of.is_geometrical() && x < Decimal::ZERO {
        return Some(format!("{} is never below zero.", c.of.word()));
    }
    if c.of.is_size() && x <= Decimal::ZERO {
        return Some(format!("a {} is more than zero.", c.of.word()));
    }
    if c.of.is_angle() {
        return (x.abs() > Decimal::from(360)).then(|| "an angle is at most 360 degrees.".to_owned());
    }
    // Datums lie on the body, so no coordinate is farther from them than the body is long.
    (x.abs() > extent).then(|| {
        let as_decimals = x / Decimal::ONE_THOUSAND;
        if near(as_decimals, c.nominal) {
            return format!(
                "the comma in it was read as a mark between thousands; write {} with a point.",
                show_length(as_decimals, exercise.decimals)
            );
        }
        format!(
            "the whole plate is not {} {unit} long, wide and thick together.",
            show_length(x.abs(), exercise.decimals)
        )
    })
}

/// The text of a value with the other unit behind it, for a pair that says that it read that unit. One that has a unit
/// keeps it.
#[must_use]
pub fn with_other_unit(exercise: &Exercise, typed: &str) -> String {
    if typed
        .chars()
        .any(|c| c.is_alphabetic() || matches!(c, '"' | '\u{2033}'))
    {
        return typed.to_owned();
    }
    let unit = match exercise.units {
        LengthUnit::Mm => "inch",
        LengthUnit::Inch => "mm",
    };
    format!("{} {unit}", typed.trim())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exercise::file::read_exercise;

    fn exercise(code: &str) -> Exercise {
        let text = match code {
            "SB-11" => include_str!("../../exercises/SB-11/exercise.toml"),
            "PC-21" => include_str!("../../exercises/PC-21/exercise.toml"),
            "GC-40" => include_str!("../../exercises/GC-40/exercise.toml"),
            _ => include_str!("../../exercises/JP-14/exercise.toml"),
        };
        let (exercise, problems) = read_exercise("exercise.toml", text);
        assert!(exercise.is_some(), "{problems:?}");
        exercise.unwrap_or_else(|| unreachable!())
    }

    /// The nominals of an exercise, all called conforming, with some values changed.
    fn report(exercise: &Exercise, changed: &[(usize, &str)]) -> Report {
        let mut report = Report::blank(exercise);
        for (item, c) in report.items.iter_mut().zip(&exercise.characteristics) {
            item.measured = c.nominal.to_string().parse().ok();
            item.call = Some(crate::report::call::Call::Conforming);
        }
        for (i, text) in changed {
            report.items[*i].measured = text.parse().ok();
        }
        report
    }

    fn found(exercise: &Exercise, changed: &[(usize, &str)]) -> Vec<(Doubt, Vec<String>)> {
        let remarks = check(exercise, &report(exercise, changed));
        remarks.into_iter().map(|r| (r.doubt, r.nos)).collect()
    }

    #[test]
    fn a_clean_sheet_gives_no_remark() {
        for code in ["SB-11", "JP-14", "PC-21", "GC-40"] {
            assert_eq!(found(&exercise(code), &[]), [], "{code}");
        }
    }

    #[test]
    fn what_may_be_wrong_is_named_with_its_number() {
        for code in ["SB-11", "PC-21"] {
            let exercise = exercise(code);
            let at = |test: &dyn Fn(&Characteristic) -> bool| {
                exercise.characteristics.iter().position(test).unwrap_or_default()
            };
            let long = at(&|c| {
                exercise.units.to_mm(c.nominal).abs() > Decimal::from(5) && !c.of.is_angle() && !c.of.is_size()
            });
            let (size, form) = (at(&|c| c.of.is_size()), at(&|c| c.of.is_geometrical()));
            let no = |i: usize| vec![exercise.characteristics[i].no.to_string()];
            let nominal = exercise.characteristics[long].nominal;
            let other = match exercise.units {
                LengthUnit::Mm => nominal / Decimal::new(254, 1),
                LengthUnit::Inch => nominal * Decimal::new(254, 1),
            };
            for (i, text, doubt) in [
                (long, "".to_owned(), Doubt::NoValue),
                (long, other.round_dp(4).to_string(), Doubt::Unit),
                (long, (-nominal).to_string(), Doubt::Sign),
                (long, "99999".to_owned(), Doubt::Impossible),
                (size, "0".to_owned(), Doubt::Impossible),
                (form, "-0.01".to_owned(), Doubt::Impossible),
            ] {
                let remarks = found(&exercise, &[(i, &text)]);
                assert!(remarks.contains(&(doubt, no(i))), "{code} {text}: {remarks:?}");
            }
        }
    }

    #[test]
    fn a_comma_that_was_read_between_thousands_is_named() {
        let exercise = exercise("SB-11");
        let long = exercise
            .characteristics
            .iter()
            .position(|c| c.nominal.abs() > Decimal::from(5) && !c.of.is_angle() && !c.of.is_geometrical());
        let long = long.unwrap();
        let thousands = (exercise.characteristics[long].nominal * Decimal::ONE_THOUSAND).to_string();
        let remarks = check(&exercise, &report(&exercise, &[(long, &thousands)]));
        assert!(
            remarks
                .iter()
                .any(|r| r.text.contains("write") && r.text.contains("with a point")),
            "{remarks:?}"
        );
    }

    #[test]
    fn a_sheet_that_was_read_in_the_other_unit_is_so_down_to_its_small_lengths() {
        for code in ["SB-11", "PC-21", "GC-40"] {
            let exercise = exercise(code);
            let in_other = |c: &Characteristic| match exercise.units {
                LengthUnit::Mm => c.nominal / Decimal::new(254, 1),
                LengthUnit::Inch => c.nominal * Decimal::new(254, 1),
            };
            let is_length = |c: &&Characteristic| !c.of.is_angle();
            let all: Vec<(usize, String)> = (0..)
                .zip(&exercise.characteristics)
                .filter(|(_, c)| is_length(c))
                .map(|(i, c)| (i, in_other(c).round_dp(4).to_string()))
                .collect();
            let mut typed: Vec<(usize, &str)> = all.iter().map(|(i, t)| (*i, t.as_str())).collect();
            let lengths: Vec<String> = exercise
                .characteristics
                .iter()
                .filter(is_length)
                .map(|c| c.no.to_string())
                .collect();
            assert_eq!(found(&exercise, &typed), [(Doubt::Unit, lengths)], "{code}");
            // One length in the print's own unit: the rest is asked about one by one, and what cannot tell is left.
            let telling = exercise
                .characteristics
                .iter()
                .filter(|c| can_tell(&exercise, c))
                .count();
            let first = exercise
                .characteristics
                .iter()
                .position(|c| can_tell(&exercise, c))
                .unwrap_or_default();
            typed.retain(|(i, _)| *i != first);
            let asked = found(&exercise, &typed);
            assert!(
                asked
                    .iter()
                    .any(|(d, nos)| *d == Doubt::Unit && nos.len() == telling - 1),
                "{code} {asked:?}"
            );
        }
        let exercise = exercise("PC-21");
        assert_eq!(with_other_unit(&exercise, " 0.02 "), "0.02 mm");
        assert_eq!(with_other_unit(&exercise, "0.001 inch"), "0.001 inch");
    }

    #[test]
    fn the_print_alone_decides() {
        // A value that is far outside its limits and possible is the pair's to judge: nothing is said of it.
        let exercise = exercise("SB-11");
        let long = exercise
            .characteristics
            .iter()
            .position(|c| c.nominal > Decimal::TEN)
            .unwrap_or_default();
        let nominal = exercise.characteristics[long].nominal;
        assert_eq!(found(&exercise, &[(long, &(nominal + Decimal::ONE).to_string())]), []);
    }
}
