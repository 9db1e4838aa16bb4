//! Quantities that were read together several times: means, their covariances and correlations (GUM 5.2.3, H.2).

use super::super::fit::count;
use super::UncertaintyError;
use super::error::finite;

/// Means of simultaneous readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Simultaneous {
    /// Mean of each quantity.
    pub means: Vec<f64>,
    /// Covariance of the means.
    pub covariance: Vec<Vec<f64>>,
}

/// Evaluates readings, one list for each quantity, in the order in which they were read together.
///
/// # Errors
/// Fewer than two readings, lists of different lengths, numbers that are not finite.
pub fn simultaneous(readings: &[Vec<f64>]) -> Result<Simultaneous, UncertaintyError> {
    let n = readings.first().map_or(0, Vec::len);
    for list in readings {
        if list.len() != n {
            return Err(UncertaintyError::Length {
                what: "readings of a quantity",
                given: list.len(),
                wanted: n,
            });
        }
        for value in list {
            finite("a reading", *value)?;
        }
    }
    if n < 2 {
        return Err(UncertaintyError::Length {
            what: "readings (two at least)",
            given: n,
            wanted: 2,
        });
    }
    // About the first reading, so that the means keep their digits.
    let mean = |list: &Vec<f64>| list[0] + list.iter().map(|v| v - list[0]).sum::<f64>() / count(n);
    let means: Vec<f64> = readings.iter().map(mean).collect();
    let of = |i: usize, j: usize| {
        let products = readings[i]
            .iter()
            .zip(&readings[j])
            .map(|(a, b)| (a - means[i]) * (b - means[j]));
        products.sum::<f64>() / (count(n) * count(n - 1))
    };
    let rows = 0..readings.len();
    Ok(Simultaneous {
        covariance: rows.clone().map(|i| rows.clone().map(|j| of(i, j)).collect()).collect(),
        means,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn by_hand() {
        let found = simultaneous(&[vec![1.0, 3.0], vec![10.0, 6.0]]).unwrap();
        assert_eq!(
            (found.means.as_slice(), found.covariance),
            ([2.0, 8.0].as_slice(), vec![vec![1.0, -2.0], vec![-2.0, 4.0]])
        );
        assert!(simultaneous(&[vec![1.0]]).is_err() && simultaneous(&[]).is_err());
        assert!(simultaneous(&[vec![1.0, 2.0], vec![1.0]]).is_err());
        assert!(simultaneous(&[vec![1.0, f64::NAN]]).is_err());
    }
}
