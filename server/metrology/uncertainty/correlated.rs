//! Correlated quantities (GUM 5.2.2): variances and covariances of results from those of the input.

use super::UncertaintyError;
use super::error::{finite, not_negative};

/// Differences of this share of the largest term are rounding.
const ROUNDING: f64 = 1e-14;

/// Standard uncertainty of sum c_i x_i with correlation coefficients r: sqrt(sum c_i c_j u_i u_j r_ij).
///
/// # Errors
/// Lists of different lengths, negative uncertainties, correlations that no quantities can have.
pub fn correlated_sum(sensitivities: &[f64], u: &[f64], r: &[Vec<f64>]) -> Result<f64, UncertaintyError> {
    same_length("sensitivities", sensitivities.len(), u.len())?;
    for value in u {
        not_negative("a standard uncertainty", *value)?;
    }
    for value in sensitivities {
        finite("a sensitivity", *value)?;
    }
    check_correlations(r, u.len())?;
    let parts: Vec<f64> = sensitivities.iter().zip(u).map(|(c, u)| c * u).collect();
    let terms = || {
        parts
            .iter()
            .zip(r)
            .flat_map(|(a, row)| parts.iter().zip(row).map(move |(b, r)| a * b * r))
    };
    let (variance, largest) = (terms().sum::<f64>(), terms().fold(0.0, |m: f64, t| m.max(t.abs())));
    Ok(if variance <= ROUNDING * largest {
        0.0
    } else {
        variance.sqrt()
    })
}

/// Covariance of results y = J x from that of x: J V J^T (GUM H.2.3; JCGM 102). `jacobian[result][quantity]`.
///
/// # Errors
/// Sizes that do not fit, numbers that are not finite.
pub fn propagate(jacobian: &[Vec<f64>], covariance: &[Vec<f64>]) -> Result<Vec<Vec<f64>>, UncertaintyError> {
    let n = covariance.len();
    for row in jacobian.iter().chain(covariance) {
        same_length("entries of a row", row.len(), n)?;
        for value in row {
            finite("an entry", *value)?;
        }
    }
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let of = |row: &Vec<f64>| covariance.iter().map(|v| dot(row, v)).collect::<Vec<f64>>();
    let half: Vec<Vec<f64>> = jacobian.iter().map(of).collect();
    Ok(half
        .iter()
        .map(|h| jacobian.iter().map(|j| dot(h, j)).collect())
        .collect())
}

/// Whether a matrix can be one of correlations: square, symmetric, 1 on the diagonal, and not negative for any sum.
///
/// # Errors
/// Which of these it is not.
pub fn check_correlations(r: &[Vec<f64>], n: usize) -> Result<(), UncertaintyError> {
    same_length("rows of correlations", r.len(), n)?;
    for (i, row) in r.iter().enumerate() {
        same_length("correlations in a row", row.len(), n)?;
        for (j, value) in row.iter().enumerate() {
            let wrong =
                |words: &str| UncertaintyError::Correlations(format!("r[{}][{}] is {value}; {words}", i + 1, j + 1));
            if !(-1.0..=1.0).contains(value) {
                return Err(wrong("it must be between -1 and 1"));
            }
            if i == j && (value - 1.0).abs() > 0.0 {
                return Err(wrong("on the diagonal it must be 1"));
            }
            if (value - r[j][i]).abs() > 0.0 {
                return Err(wrong("it must be the same both ways round"));
            }
        }
    }
    if is_possible(r) {
        return Ok(());
    }
    Err(UncertaintyError::Correlations(
        "they contradict each other: some sum of the quantities would have a negative variance".to_owned(),
    ))
}

/// No negative pivot in Gauss's elimination, up to rounding.
fn is_possible(r: &[Vec<f64>]) -> bool {
    let small = 1e-12 * super::super::fit::count(r.len().max(1));
    let mut rest: Vec<Vec<f64>> = r.to_vec();
    while let Some((top, below)) = rest.split_first() {
        let pivot = top[0];
        // Without a variance of its own left, nothing can hang together with it.
        let alone = pivot <= small && top[1..].iter().any(|v| v.abs() > small.sqrt());
        if pivot < -small || alone {
            return false;
        }
        let eliminated = |row: &Vec<f64>| {
            let share = if pivot > small { row[0] / pivot } else { 0.0 };
            row[1..].iter().zip(&top[1..]).map(|(v, t)| v - share * t).collect()
        };
        rest = below.iter().map(eliminated).collect();
    }
    true
}

fn same_length(what: &'static str, given: usize, wanted: usize) -> Result<(), UncertaintyError> {
    if given == wanted {
        return Ok(());
    }
    Err(UncertaintyError::Length { what, given, wanted })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(r: f64) -> Vec<Vec<f64>> {
        vec![vec![1.0, r], vec![r, 1.0]]
    }

    #[test]
    fn ends_of_correlation_add_and_cancel() {
        let check = |c: [f64; 2], r: f64, expected: f64| {
            let found = correlated_sum(&c, &[0.3, 0.3], &pair(r)).unwrap();
            assert!((found - expected).abs() < 1e-15, "{c:?} {r}: {found}");
        };
        check([1.0, 1.0], 1.0, 0.6);
        check([1.0, -1.0], 1.0, 0.0);
        check([1.0, 1.0], -1.0, 0.0);
        check([1.0, 1.0], 0.0, 0.3 * std::f64::consts::SQRT_2);
    }

    #[test]
    fn impossible_correlations_are_refused() {
        let check = |r: Vec<Vec<f64>>, words: &str| {
            let n = r[0].len();
            let error = correlated_sum(&vec![1.0; n], &vec![1.0; n], &r)
                .unwrap_err()
                .to_string();
            assert!(error.contains(words), "{error}");
        };
        check(pair(1.2), "between -1 and 1");
        check(vec![vec![1.0, 0.1], vec![0.2, 1.0]], "both ways round");
        check(vec![vec![0.9]], "diagonal");
        check(vec![vec![1.0, 0.0]], "1 given, 2 wanted");
        // Two quantities that move with a third move with each other.
        check(
            vec![vec![1.0, 0.9, 0.9], vec![0.9, 1.0, -0.9], vec![0.9, -0.9, 1.0]],
            "contradict each other",
        );
        check(
            vec![vec![1.0, 1.0, 0.0], vec![1.0, 1.0, 1.0], vec![0.0, 1.0, 1.0]],
            "contradict each other",
        );
        assert!(correlated_sum(&[1.0], &[1.0, 1.0], &pair(0.0)).is_err());
    }

    #[test]
    fn covariances_go_through_a_jacobian() {
        // y = (a + b, a - b) with u(a) = 1, u(b) = 2, uncorrelated: variances 5, covariance 1 - 4.
        let found = propagate(&[vec![1.0, 1.0], vec![1.0, -1.0]], &[vec![1.0, 0.0], vec![0.0, 4.0]]).unwrap();
        assert_eq!(found, [[5.0, -3.0], [-3.0, 5.0]]);
        assert!(propagate(&[vec![1.0]], &[vec![1.0, 0.0], vec![0.0, 4.0]]).is_err());
    }
}
