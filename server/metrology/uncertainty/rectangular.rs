//! The exact distribution of a sum of independent rectangular quantities, where the normal interval is too wide
//! (JCGM 101:2008, 9.2).

use std::f64::consts::PI;

use super::UncertaintyError;
use super::error::{between_0_and_1, not_negative};

/// A quantity this much narrower than the widest changes the interval by the square of that share, which is nothing.
const NOTHING: f64 = 1e-9;
/// Largest number of terms of the series.
const MOST_TERMS: u32 = 2_000_000;
/// Terms below this do not matter.
const SMALLEST_TERM: f64 = 1e-16;
/// Halvings that take an interval down to neighbouring doubles.
const HALVINGS: u32 = 60;

/// Half-width of the symmetric interval that holds the sum with this probability; `u` are the standard uncertainties,
/// 1/sqrt(3) of the half-widths.
///
/// # Errors
/// Negative uncertainties, none above zero, a probability that is not between 0 and 1.
pub fn half_width_of_rectangulars(u: &[f64], probability: f64) -> Result<f64, UncertaintyError> {
    between_0_and_1(probability)?;
    for value in u {
        not_negative("a standard uncertainty", *value)?;
    }
    let largest = u.iter().fold(0.0, |m: f64, v| m.max(*v));
    if largest <= 0.0 {
        return Err(UncertaintyError::Nothing);
    }
    // In units of the widest half-width.
    let mut widths: Vec<f64> = u.iter().map(|v| v / largest).filter(|w| *w > NOTHING).collect();
    widths.sort_by(|a, b| b.total_cmp(a));
    let half = match widths.as_slice() {
        [_] => probability,
        [a, b] => of_two(*a, *b, probability),
        _ => of_many(&widths, probability),
    };
    Ok(half * largest * 3.0_f64.sqrt())
}

/// A trapezoid: level in the middle, falling over twice the narrower width.
fn of_two(a: f64, b: f64, probability: f64) -> f64 {
    let edge = a + b - (4.0 * a * b * (1.0 - probability)).sqrt();
    if edge >= a - b { edge } else { probability * a }
}

/// By the Fourier series on the support: the sum never leaves -L..L, so with phi its characteristic function
/// P(|sum| <= x) = x/L + 2 sum phi(k pi / L) sin(k pi x / L) / (k pi) without any error but that of stopping.
fn of_many(widths: &[f64], probability: f64) -> f64 {
    let support: f64 = widths.iter().sum();
    let terms = terms(widths, support);
    let covered = |x: f64| x / support + 2.0 * sine_series(&terms, PI * x / support);
    let (mut low, mut high) = (0.0, support);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if covered(middle) < probability {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

fn terms(widths: &[f64], support: f64) -> Vec<f64> {
    let mut terms = Vec::new();
    for k in 1..=MOST_TERMS {
        let frequency = f64::from(k) * PI / support;
        let (mut term, mut bound) = (1.0, 1.0);
        for w in widths {
            let angle = w * frequency;
            term *= angle.sin() / angle;
            bound *= (1.0 / angle).min(1.0);
        }
        terms.push(term / (f64::from(k) * PI));
        if bound < SMALLEST_TERM {
            break;
        }
    }
    terms
}

/// Sum of terms[k - 1] sin(k x), by the recurrence of Clenshaw.
fn sine_series(terms: &[f64], x: f64) -> f64 {
    let twice = 2.0 * x.cos();
    let (mut next, mut after) = (0.0, 0.0);
    for term in terms.iter().rev() {
        (next, after) = (term + twice * next - after, next);
    }
    next * x.sin()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_widths_have_closed_forms() {
        let half = |n: usize, p: f64| half_width_of_rectangulars(&vec![1.0; n], p).unwrap() / 3.0_f64.sqrt();
        for p in [0.5, 0.9, 0.95, 0.999] {
            assert!((half(1, p) - p).abs() < 1e-14);
            // Triangle: 2 - 2 sqrt(1 - p).
            assert!((half(2, p) - (2.0 - 2.0 * (1.0 - p).sqrt())).abs() < 1e-13);
            // Three: in the outer parts, (3 - x)^3 / 24 on either side.
            let outer = 3.0 - (24.0 * (1.0 - p)).cbrt();
            if outer >= 1.0 {
                assert!((half(3, p) - outer).abs() < 1e-11, "{p}: {} {outer}", half(3, p));
            }
        }
    }

    #[test]
    fn a_narrow_one_changes_little_and_many_are_normal() {
        for u in [vec![1.0, 1e-12], vec![1.0, 1e-6, 1e-6], vec![1.0, 1e-7]] {
            let found = half_width_of_rectangulars(&u, 0.95).unwrap();
            assert!((found / (0.95 * 3.0_f64.sqrt()) - 1.0).abs() < 1e-8, "{u:?}: {found}");
        }
        let found = half_width_of_rectangulars(&[1.0; 60], 0.95).unwrap() / 60.0_f64.sqrt();
        // The excess of kurtosis is -1.2 / 60: close to the normal quantile.
        assert!((found - 1.959_964).abs() < 0.002, "{found}");
    }

    #[test]
    fn trapezoids_join_on_to_sums_of_three() {
        for p in [0.3, 0.7, 0.95] {
            let two = half_width_of_rectangulars(&[2.0, 1.0], p).unwrap();
            let three = half_width_of_rectangulars(&[2.0, 1.0, 1e-5], p).unwrap();
            assert!((two - three).abs() < 1e-9, "{p}: {two} {three}");
        }
    }

    #[test]
    fn nothing_is_refused() {
        assert!(half_width_of_rectangulars(&[], 0.95).is_err());
        assert!(half_width_of_rectangulars(&[0.0], 0.95).is_err());
        assert!(half_width_of_rectangulars(&[1.0, -1.0], 0.95).is_err());
        assert!(half_width_of_rectangulars(&[1.0], 1.0).is_err());
    }
}
