//! Two reports side by side.

use rust_decimal::Decimal;

use super::{AtLeast, Chance, Likeness, TwoValues, tally};
use crate::cohort::CohortError;

/// One characteristic that both pairs reported.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Value of the first report, as written.
    pub first: Decimal,
    /// Value of the second.
    pub second: Decimal,
    /// What honest values do: standard deviations U_lab / 2, the step of writing, and as bias the difference of the two
    /// plates' references (on one plate zero, so that the residuals alone count).
    pub honest: TwoValues,
}

/// What two reports have in common.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Values that both reported.
    pub compared: usize,
    /// Positions of those that are the same.
    pub same: Vec<usize>,
    /// The chance of so many, for independent, honest reports.
    pub chance: AtLeast,
    /// How many such agreements are expected among all comparisons that were made.
    pub expected_among_all: f64,
}

/// Expected number among all comparisons below which an agreement is worth a look. A choice of ours.
pub const REMARKABLE: f64 = 0.01;

impl Comparison {
    /// Whether a person should look at both side by side.
    #[must_use]
    pub fn is_remarkable(&self) -> bool {
        self.expected_among_all < REMARKABLE
    }
}

/// Compares two reports, being one of so many comparisons.
///
/// # Errors
/// Noise that makes no distribution.
pub fn compare(lines: &[Line], comparisons: usize) -> Result<Comparison, CohortError> {
    let chances: Vec<Chance> = lines
        .iter()
        .map(|l| l.honest.chance(Likeness::Same))
        .collect::<Result<_, _>>()?;
    let same: Vec<usize> = (0..lines.len())
        .filter(|i| lines[*i].first == lines[*i].second)
        .collect();
    let chance = tally(&chances, same.len())?;
    Ok(Comparison {
        compared: lines.len(),
        same,
        chance,
        expected_among_all: chance.at_least * crate::cohort::count(comparisons),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn copied_digits_stand_out_and_honest_ones_do_not() {
        let honest = TwoValues {
            sigma_1: 0.004,
            sigma_2: 0.004,
            step: 0.001,
            bias: 0.0,
        };
        let lines = |same: usize| -> Vec<Line> {
            (0..20)
                .map(|i| Line {
                    first: Decimal::new(25_000 + i, 3),
                    second: Decimal::new(25_000 + i + i64::from(usize::try_from(i).unwrap() >= same), 3),
                    honest,
                })
                .collect()
        };
        let comparisons = 21;
        let copied = compare(&lines(12), comparisons).unwrap();
        assert!(copied.is_remarkable() && copied.same.len() == 12, "{copied:?}");
        let plain = compare(&lines(2), comparisons).unwrap();
        assert!(!plain.is_remarkable() && plain.compared == 20, "{plain:?}");
        let nothing = compare(&[], comparisons).unwrap();
        assert!(!nothing.is_remarkable());
    }
}
