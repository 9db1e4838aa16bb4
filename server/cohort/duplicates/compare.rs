//! Two reports side by side.

use std::collections::BTreeMap;

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

/// Chances that were worked out already: many lines of many reports share theirs.
#[derive(Debug, Clone, Default)]
pub struct Chances(BTreeMap<[u64; 4], Chance>);

/// Chances kept at once.
const KEPT: usize = 8192;

impl Chances {
    fn same(&mut self, honest: &TwoValues) -> Result<Chance, CohortError> {
        let key = [honest.sigma_1, honest.sigma_2, honest.step, honest.bias].map(f64::to_bits);
        if let Some(known) = self.0.get(&key) {
            return Ok(*known);
        }
        let chance = honest.chance(Likeness::Same)?;
        if self.0.len() >= KEPT {
            self.0.clear();
        }
        self.0.insert(key, chance);
        Ok(chance)
    }
}

/// Compares two reports, being one of so many comparisons, where a person should look at them; none where not.
///
/// Where no more values are the same than are expected, nothing is worked out: the median of such a count lies within
/// one of its mean (Jogdeo and Samuels, Annals of Mathematical Statistics 39, 1968), so that the chance is one half or
/// more.
///
/// # Errors
/// Noise that makes no distribution.
pub fn remarkable(
    chances: &mut Chances,
    lines: &[Line],
    comparisons: usize,
) -> Result<Option<Comparison>, CohortError> {
    let same = lines.iter().filter(|l| l.first == l.second).count();
    let each: Vec<Chance> = lines
        .iter()
        .map(|l| chances.same(&l.honest))
        .collect::<Result<_, _>>()?;
    let expected: f64 = each.iter().map(|c| c.agree).sum();
    if crate::cohort::count(same) <= expected.floor() {
        return Ok(None);
    }
    // Far above the limit plain numbers decide, which take a thirtieth of the time.
    if roughly_at_least(&each, same) * crate::cohort::count(comparisons) > 2.0 * REMARKABLE {
        return Ok(None);
    }
    let compared = compared(&each, lines, comparisons)?;
    Ok(compared.is_remarkable().then_some(compared))
}

/// The chance of so many agreements or more, which is 0 where it is below what doubles hold. All terms are positive, so that
/// nothing cancels.
fn roughly_at_least(chances: &[Chance], k: usize) -> f64 {
    let mut exactly = vec![0.0; chances.len() + 1];
    if let Some(none) = exactly.first_mut() {
        *none = 1.0;
    }
    for (n, chance) in chances.iter().enumerate() {
        for j in (0..=n).rev() {
            exactly[j + 1] += exactly[j] * chance.agree;
            exactly[j] *= chance.differ;
        }
    }
    exactly.iter().skip(k).sum()
}

/// Compares two reports, being one of so many comparisons.
///
/// # Errors
/// Noise that makes no distribution.
pub fn compare(lines: &[Line], comparisons: usize) -> Result<Comparison, CohortError> {
    let mut chances = Chances::default();
    let each: Vec<Chance> = lines
        .iter()
        .map(|l| chances.same(&l.honest))
        .collect::<Result<_, _>>()?;
    compared(&each, lines, comparisons)
}

fn compared(chances: &[Chance], lines: &[Line], comparisons: usize) -> Result<Comparison, CohortError> {
    let same: Vec<usize> = (0..lines.len())
        .filter(|i| lines[*i].first == lines[*i].second)
        .collect();
    let chance = tally(chances, same.len())?;
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

    #[test]
    fn the_short_way_says_what_the_long_one_says() {
        let lines = |same: usize, sigma: f64, bias: f64| -> Vec<Line> {
            (0..24)
                .map(|i| Line {
                    first: Decimal::new(10_000 + i, 3),
                    second: Decimal::new(10_000 + i + i64::from(usize::try_from(i).unwrap() >= same), 3),
                    honest: TwoValues {
                        sigma_1: sigma,
                        sigma_2: sigma,
                        step: 0.001,
                        bias,
                    },
                })
                .collect()
        };
        let mut chances = Chances::default();
        for sigma in [0.0004, 0.001, 0.004] {
            for bias in [0.0, 0.002] {
                for same in 0..=24 {
                    let lines = lines(same, sigma, bias);
                    let long = compare(&lines, 30).unwrap();
                    let short = remarkable(&mut chances, &lines, 30).unwrap();
                    assert_eq!(short, long.is_remarkable().then_some(long), "{sigma} {bias} {same}");
                }
            }
        }
        assert_eq!(chances.0.len(), 6);
    }
}
