//! Follow-through: a mistake is charged once instead of at every number that it spoils.
//!
//! For every subset of the stated faults the values that it explains are corrected and scored again; for these a call that
//! is right for the pair's own number also earns the plate's part. A gross error is never corrected; another plate and
//! copied nominals only once the instructor has confirmed them.

use rust_decimal::Decimal;

use super::diagnosis::Finding;
use super::marks::{Followed, Scored};
use super::measurement::{self, Value};
use super::words;
use crate::exercise::model::{Exercise, MarksRules};
use crate::exercise::plate::Reference;
use crate::procedure::fault::Fault;
use crate::units::decimal_from_f64;

/// One graded line as following through needs it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row<'a> {
    pub(super) reference: Option<&'a Reference>,
    pub(super) u_lab: Decimal,
    pub(super) value: Option<Value>,
    pub(super) scored: Option<Scored>,
}

/// Whether a stated fault may be taken out. `confirmed` is whether the instructor has confirmed it.
pub(super) const fn may_be_corrected(fault: &Fault, confirmed: bool) -> bool {
    match fault {
        Fault::GrossError { .. } => false,
        Fault::WrongPlate { .. } | Fault::NominalsCopied { .. } => confirmed,
        _ => true,
    }
}

/// Bits of the faults that may be taken out; `confirmed` says for each whether the instructor has confirmed it.
fn allowed(finding: &Finding, confirmed: &[bool]) -> usize {
    let bit = |(place, fault): (usize, &super::diagnosis::Stated)| {
        if may_be_corrected(&fault.fault, confirmed.get(place) == Some(&true)) {
            1 << place
        } else {
            0
        }
    };
    finding.faults.iter().enumerate().map(bit).sum()
}

/// All ways in which stated faults may be taken out.
pub(super) fn ways(
    (exercise, rules): (&Exercise, &MarksRules),
    rows: &[Row<'_>],
    finding: &Finding,
    confirmed: &[bool],
) -> Vec<Followed> {
    let allowed = allowed(finding, confirmed);
    let taken = finding
        .corrections
        .iter()
        .enumerate()
        .filter(|(bits, _)| *bits != 0 && bits & !allowed == 0);
    taken
        .map(|(bits, corrected)| Followed {
            scored: rows
                .iter()
                .zip(corrected)
                .filter_map(|(row, value)| rescored(rules, row, *value))
                .collect(),
            charges: charges(exercise, rules, finding, bits),
        })
        .collect()
}

fn charges(exercise: &Exercise, rules: &MarksRules, finding: &Finding, bits: usize) -> Vec<(String, Decimal)> {
    let charged = finding
        .faults
        .iter()
        .enumerate()
        .filter(|(place, _)| bits >> place & 1 == 1);
    charged
        .map(|(_, stated)| {
            let charge = if stated.fault.family().is_clerical() {
                rules.clerical_charge
            } else {
                rules.fault_charge
            };
            // What only instructors are told is not named on a receipt that the pair may see.
            let why = if super::feedback::is_for_instructors(stated.fault.family().code()) {
                "what the instructor has confirmed".to_owned()
            } else {
                words::title(exercise, &stated.fault)
            };
            (why, charge)
        })
        .collect()
}

fn rescored(rules: &MarksRules, row: &Row<'_>, corrected: Option<f64>) -> Option<Scored> {
    let scored = row.scored?;
    let (Some(value), Some(reference), Some(to)) = (row.value, row.reference, corrected) else {
        return Some(scored);
    };
    if to.to_bits() == value.approx.to_bits() {
        return Some(scored);
    }
    let Some(decimal) = decimal_from_f64(to) else {
        return Some(scored);
    };
    let after = measurement::measure(rules, row.u_lab, reference, &Value { decimal, approx: to });
    Some(Scored {
        measurement: after.score,
        for_plate: scored.for_plate || scored.for_own_value,
        ..scored
    })
}

/// Values with all faults taken out that may be, where that changes them.
pub(super) fn corrected(finding: &Finding, values: &[Option<f64>], confirmed: &[bool]) -> Vec<Option<f64>> {
    let Some(all) = finding.corrections.get(allowed(finding, confirmed)) else {
        return vec![None; values.len()];
    };
    let changed = |(to, from): (&Option<f64>, &Option<f64>)| {
        let (to, from) = (to.as_ref()?, from.as_ref()?);
        (to.to_bits() != from.to_bits()).then_some(*to)
    };
    all.iter().zip(values).map(changed).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exercise::file::{read_exercise, read_plates};
    use crate::exercise::model::Axis;
    use crate::exercise::plate::Plates;
    use crate::grading::diagnosis::Stated;
    use crate::grading::grade::DiagnosisState;
    use crate::procedure::fault::{Family, PlanAxis, QuarterTurn};

    fn shipped() -> (Exercise, Plates) {
        let exercise = include_str!("../../exercises/SB-11/exercise.toml");
        let exercise = read_exercise("exercise.toml", exercise).0.unwrap();
        let plates = include_str!("../../exercises/SB-11/plates.toml");
        let plates = read_plates("plates.toml", plates, &exercise).0.unwrap();
        (exercise, plates)
    }

    /// One of each family, as far as its words and its charge need it.
    fn fault(family: Family) -> Fault {
        let items = || vec!["5".parse().unwrap(), "6".parse().unwrap()];
        let item = || "8".parse().unwrap();
        match family {
            Family::OriginShift => Fault::OriginShift {
                axis: Axis::X,
                amount: 1.0,
            },
            Family::MistakenSurface => Fault::MistakenSurface {
                datum: 'B',
                name: "relieved end of the front face".to_owned(),
            },
            Family::OppositeCorner => Fault::OppositeCorner { axis: PlanAxis::X },
            Family::FrameRotated => Fault::FrameRotated { angle_deg: 0.3 },
            Family::FrameTilted => Fault::FrameTilted {
                about: PlanAxis::X,
                angle_deg: 0.3,
            },
            Family::PartTurned => Fault::PartTurned {
                angle_deg: QuarterTurn::Two,
            },
            Family::AxesExchanged => Fault::AxesExchanged {},
            Family::AxisReversed => Fault::AxisReversed { axis: Axis::Y },
            Family::TipIgnoredOnDatum => Fault::TipIgnoredOnDatum { datum: 'B' },
            Family::TipIgnoredOnSize => Fault::TipIgnoredOnSize {},
            Family::TipIgnoredOnSurface => Fault::TipIgnoredOnSurface {},
            Family::TipWrong => Fault::TipWrong { amount: 0.4 },
            Family::WrongUnit => Fault::WrongUnit { factor: 1.0 / 25.4 },
            Family::Temperature => Fault::Temperature { ppm: 150.0 },
            Family::RadiusForDiameter => Fault::RadiusForDiameter { items: items() },
            Family::DeviationForValue => Fault::DeviationForValue { items: items() },
            Family::NominalsCopied => Fault::NominalsCopied { items: items() },
            Family::FeaturesExchanged => Fault::FeaturesExchanged {
                a: "hole-1".parse().unwrap(),
                b: "hole-2".parse().unwrap(),
            },
            Family::WrongPlate => Fault::WrongPlate {
                serial: "SB-11-02".parse().unwrap(),
            },
            Family::DigitsTransposed => Fault::DigitsTransposed {
                item: item(),
                place: None,
            },
            Family::DecimalSlipped => Fault::DecimalSlipped { item: item(), power: 1 },
            Family::SignDropped => Fault::SignDropped { item: item() },
            Family::GrossError => Fault::GrossError {
                item: item(),
                amount: None,
            },
        }
    }

    /// Charges of all ways in which these faults may be taken out; `confirmed` for each.
    fn charged(faults: &[(Family, bool)]) -> Vec<Vec<(String, i64)>> {
        let (exercise, _) = shipped();
        let rules = MarksRules {
            fault_charge: Decimal::from(15),
            clerical_charge: Decimal::from(5),
            ..MarksRules::default()
        };
        let stated = |(family, _): &(Family, bool)| Stated {
            fault: fault(*family),
            probability: 1.0,
            sd: 0.0,
            explains: vec![0],
        };
        let finding = Finding {
            state: DiagnosisState::FaultStated,
            probability: Some(1.0),
            faults: faults.iter().map(stated).collect(),
            corrections: vec![vec![Some(1.0)]; 1 << faults.len()],
            ..Finding::nothing()
        };
        let confirmed: Vec<bool> = faults.iter().map(|f| f.1).collect();
        let ways = ways((&exercise, &rules), &[], &finding, &confirmed);
        let whole = |(why, charge): (String, Decimal)| (why, i64::try_from(charge).unwrap());
        ways.into_iter()
            .map(|w| w.charges.into_iter().map(whole).collect())
            .collect()
    }

    #[test]
    fn each_family_is_charged_as_the_page_has_it() {
        use Family as F;
        // Source: the pages of diagnosis, table of families, and of grading, follow-through: the seven marked (writing) are
        // charged as slips of writing, all others as mistakes of setting up; a gross error is never corrected.
        let writing = [
            F::WrongUnit,
            F::RadiusForDiameter,
            F::DeviationForValue,
            F::FeaturesExchanged,
            F::DigitsTransposed,
            F::DecimalSlipped,
            F::SignDropped,
        ];
        for (code, family) in F::ALL {
            let wanted = if writing.contains(&family) { 5 } else { 15 };
            let ways = |confirmed| -> Vec<i64> {
                let all = charged(&[(family, confirmed)]);
                all.into_iter().flatten().map(|(_, charge)| charge).collect()
            };
            let (open, confirmed) = match family {
                F::GrossError => (vec![], vec![]),
                // Earned only once the instructor has confirmed it.
                F::WrongPlate | F::NominalsCopied => (vec![], vec![15]),
                _ => (vec![wanted], vec![wanted]),
            };
            assert_eq!((ways(false), ways(true)), (open, confirmed), "{code}");
        }
    }

    #[test]
    fn every_fault_of_a_subset_is_charged_and_no_other() {
        use Family as F;
        let sums = |faults: &[(Family, bool)]| -> Vec<i64> {
            let mut sums: Vec<i64> = charged(faults)
                .iter()
                .map(|w| w.iter().map(|(_, charge)| charge).sum())
                .collect();
            sums.sort_unstable();
            sums
        };
        // Worked by hand: 15 and 5 alone and together; three of them in all seven ways.
        assert_eq!(sums(&[(F::OriginShift, false), (F::SignDropped, false)]), [5, 15, 20]);
        assert_eq!(
            sums(&[(F::OriginShift, false), (F::SignDropped, false), (F::TipWrong, true)]),
            [5, 15, 15, 20, 20, 30, 35]
        );
        // What is not confirmed is in no subset, what is confirmed is.
        assert_eq!(sums(&[(F::WrongPlate, false), (F::SignDropped, false)]), [5]);
        assert_eq!(sums(&[(F::WrongPlate, true), (F::SignDropped, false)]), [5, 15, 20]);
        assert_eq!(sums(&[(F::NominalsCopied, true), (F::GrossError, true)]), [15]);
    }

    #[test]
    fn a_receipt_does_not_name_what_only_instructors_are_told() {
        for family in [Family::WrongPlate, Family::NominalsCopied] {
            let ways = charged(&[(family, true)]);
            assert_eq!(ways[0][0].0, "what the instructor has confirmed");
        }
    }
}
