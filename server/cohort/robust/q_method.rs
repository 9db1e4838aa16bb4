//! The Q method for one result from each participant (ISO 13528:2015, C.5.2): a standard deviation from the differences
//! of all pairs, which needs no mean.

use super::super::double2::Steps;
use super::order::checked;
use crate::cohort::tails::normal_quantile;
use crate::cohort::{CohortError, count};

/// The robust standard deviation s* by the Q method. Differences that are equal as typed are one step.
///
/// # Errors
/// Fewer than two values, or so many equal ones that no spread is left.
pub fn q_method(values: &[f64]) -> Result<f64, CohortError> {
    q_with_ties(values, |_, _| 0)
}

/// The same where equal differences are told apart: `tie` of the larger and the smaller value's place orders them, and
/// only those of one tie are one step. For figures that were made in another arithmetic.
pub(in crate::cohort) fn q_with_ties(values: &[f64], tie: impl Fn(usize, usize) -> i128) -> Result<f64, CohortError> {
    checked(values)?;
    let (differences, per_unit) = differences(values, tie);
    let pairs = count(differences.len());
    let points = step_function(&differences, pairs);
    // H(0), the share of pairs that do not differ at all.
    let none = match points.first() {
        Some((x, h)) if *x <= 0.0 => *h,
        _ => 0.0,
    };
    let wanted = 0.25 + 0.75 * none;
    let place = inverse(&points, wanted) / per_unit;
    let divisor = std::f64::consts::SQRT_2 * normal_quantile(0.625 + 0.375 * none)?;
    let spread = place / divisor;
    if spread.is_finite() && spread > 0.0 {
        Ok(spread)
    } else {
        Err(CohortError::NoScatter(
            "too many of the values are the same, so that the Q method finds no spread",
        ))
    }
}

/// A difference with its tie.
type Difference = (f64, i128);

/// Differences of all pairs in steps of the last typed place, in order, and the steps in one unit.
fn differences(values: &[f64], tie: impl Fn(usize, usize) -> i128) -> (Vec<Difference>, f64) {
    let typed = Steps::typed(values);
    let mut found = Vec::new();
    for (i, a) in typed.steps.iter().enumerate() {
        for (j, b) in typed.steps.iter().enumerate().skip(i + 1) {
            let difference = a.minus(*b).value();
            let (larger, smaller) = if difference > 0.0 { (i, j) } else { (j, i) };
            found.push((difference.abs(), tie(larger, smaller)));
        }
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    (found, typed.per_unit)
}

/// The distinct differences with the share of pairs that differ by no more.
fn step_function(differences: &[Difference], pairs: f64) -> Vec<(f64, f64)> {
    let mut points: Vec<(f64, f64)> = Vec::new();
    let mut last = None;
    for (at, difference) in differences.iter().enumerate() {
        let share = count(at + 1) / pairs;
        match points.last_mut() {
            Some(point) if last == Some(difference) => point.1 = share,
            _ => points.push((difference.0, share)),
        }
        last = Some(difference);
    }
    points
}

/// The inverse of G, which joins the middles of the steps by straight lines, from 0 at 0.
fn inverse(points: &[(f64, f64)], wanted: f64) -> f64 {
    let (mut last_x, mut last_g, mut last_h) = (0.0, 0.0, 0.0);
    for (x, h) in points {
        // At zero itself G is 0, however many pairs are equal.
        let g = if *x > 0.0 { 0.5 * (h + last_h) } else { 0.0 };
        if g >= wanted {
            return last_x + (wanted - last_g) / (g - last_g) * (x - last_x);
        }
        (last_x, last_g, last_h) = (*x, g, *h);
    }
    last_x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn by_hand() {
        // Values 0, 1, 3: differences 1, 2, 3; H = 1/3, 2/3, 1; G = 1/6 at 1, 1/2 at 2. G = 1/4 at 1.25.
        // Source: worked by hand; normal quantile of 0.625 is 0.318639363964375; tolerance 1e-14.
        let expected = 1.25 / (std::f64::consts::SQRT_2 * 0.318_639_363_964_375_1);
        assert!((q_method(&[0.0, 1.0, 3.0]).unwrap() - expected).abs() < 1e-14);
        // 0, 0, 1: H(0) = 1/3, so 0.25 + 0.25 = 1/2; G(1) = 2/3, and 1/2 is reached at 0.75; quantile of 0.75.
        let expected = 0.75 / (std::f64::consts::SQRT_2 * 0.674_489_750_196_081_7);
        assert!((q_method(&[0.0, 0.0, 1.0]).unwrap() - expected).abs() < 1e-14);
        assert!(q_method(&[2.0, 2.0]).is_err() && q_method(&[2.0]).is_err());
    }
}
