//! Independent contributions and their combination (GUM 5.1.2), effective degrees of freedom (Welch-Satterthwaite, GUM
//! G.4.1), expanded uncertainty (GUM 6, G.6.4).

use super::UncertaintyError;
use super::coverage::coverage_factor;
use super::error::{finite, not_negative};

/// One line of an uncertainty budget.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// Change of the result per change of the quantity.
    pub sensitivity: f64,
    /// Standard uncertainty of the quantity.
    pub u: f64,
    /// Degrees of freedom of that; `None` is infinitely many.
    pub degrees: Option<f64>,
}

impl Contribution {
    /// A contribution with infinitely many degrees of freedom.
    #[must_use]
    pub const fn known(sensitivity: f64, u: f64) -> Self {
        Self {
            sensitivity,
            u,
            degrees: None,
        }
    }

    /// Standard uncertainty of the result from this quantity alone.
    #[must_use]
    pub fn of_result(&self) -> f64 {
        (self.sensitivity * self.u).abs()
    }
}

/// A combined standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// Standard uncertainty of the result.
    pub u: f64,
    /// Effective degrees of freedom; `None` is infinitely many.
    pub degrees: Option<f64>,
}

/// An expanded uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expanded {
    /// Coverage factor.
    pub k: f64,
    /// k times the standard uncertainty.
    pub expanded: f64,
}

/// A result this close below a whole number of degrees of freedom is that number, because rounding alone can take it
/// there: 1/4 + 1/4 of equal parts are 8 degrees, not 7.
const ROUNDING: f64 = 1e-12;

/// The root sum of squares, with u^4 / sum (u_i^4 / nu_i) degrees of freedom.
///
/// # Errors
/// Negative uncertainties, numbers that are not finite, degrees of freedom that are not above zero; no contribution
/// above zero.
pub fn combine(contributions: &[Contribution]) -> Result<Combined, UncertaintyError> {
    for c in contributions {
        not_negative("a standard uncertainty", c.u)?;
        finite("a sensitivity", c.sensitivity)?;
        if let Some(degrees) = c.degrees.filter(|d| !(d.is_finite() && *d > 0.0)) {
            return Err(UncertaintyError::OutOfRange {
                what: "a number of degrees of freedom",
                value: degrees,
                wanted: "above zero",
            });
        }
    }
    let parts = contributions.iter().map(Contribution::of_result);
    let u = parts.clone().fold(0.0, f64::hypot);
    if !(u > 0.0 && u.is_finite()) {
        return Err(UncertaintyError::Nothing);
    }
    // Shares of u, so that fourth powers neither vanish nor overflow.
    let loss: f64 = contributions
        .iter()
        .filter_map(|c| Some((c.of_result() / u).powi(4) / c.degrees?))
        .sum();
    Ok(Combined {
        u,
        degrees: (loss > 0.0).then(|| 1.0 / loss).filter(|d| d.is_finite()),
    })
}

impl Combined {
    /// Effective degrees of freedom, truncated to a whole number (GUM G.4.1, note 1).
    #[must_use]
    pub fn truncated_degrees(&self) -> Option<f64> {
        self.degrees.map(|d| (d * (1.0 + ROUNDING)).floor())
    }

    /// Expanded uncertainty for a coverage probability, with truncated degrees of freedom.
    ///
    /// # Errors
    /// A probability that is not between 0 and 1; fewer than one effective degree of freedom.
    pub fn expanded(&self, probability: f64) -> Result<Expanded, UncertaintyError> {
        let degrees = self.truncated_degrees();
        if degrees.is_some_and(|d| d < 1.0) {
            return Err(UncertaintyError::NoFreedom(self.degrees.unwrap_or(0.0)));
        }
        let k = coverage_factor(probability, degrees)?;
        Ok(Expanded {
            k,
            expanded: k * self.u,
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn equal_parts_have_the_sum_of_their_degrees() {
        let part = Contribution {
            sensitivity: 1.0,
            u: 0.1,
            degrees: Some(4.0),
        };
        let found = combine(&[part, part]).unwrap();
        assert_eq!(found.truncated_degrees(), Some(8.0));
        let found = combine(&[part, Contribution::known(0.0, 3.0)]).unwrap();
        assert_eq!(
            (found.truncated_degrees(), found.u.to_bits()),
            (Some(4.0), 0.1_f64.to_bits())
        );
    }

    #[test]
    fn what_is_no_budget_is_refused() {
        assert_eq!(combine(&[]), Err(UncertaintyError::Nothing));
        assert_eq!(
            combine(&[Contribution::known(1.0, 0.0)]),
            Err(UncertaintyError::Nothing)
        );
        for (c, u, degrees) in [
            (1.0, -0.1, None),
            (f64::NAN, 0.1, None),
            (1.0, 0.1, Some(0.0)),
            (1.0, f64::INFINITY, None),
        ] {
            let line = Contribution {
                sensitivity: c,
                u,
                degrees,
            };
            assert!(combine(&[line]).is_err(), "{line:?}");
        }
        let half = Contribution {
            sensitivity: 1.0,
            u: 1.0,
            degrees: Some(0.5),
        };
        assert_eq!(
            combine(&[half]).unwrap().expanded(0.95),
            Err(UncertaintyError::NoFreedom(0.5))
        );
    }

    proptest! {
        /// Units and order do not matter, and degrees lie between the smallest and the sum.
        #[test]
        fn combination_keeps_its_bounds(parts in prop::collection::vec((0.01..10.0_f64, 1_u32..60), 1..8), scale in -60_i32..60) {
            let lines = |s: f64| parts.iter().map(move |(u, d)| Contribution { sensitivity: s, u: *u, degrees: Some(f64::from(*d)) });
            let found = combine(&lines(1.0).collect::<Vec<_>>()).unwrap();
            let scale = 10.0_f64.powi(scale);
            let other = combine(&lines(scale).rev().collect::<Vec<_>>()).unwrap();
            prop_assert!((other.u / scale / found.u - 1.0).abs() < 1e-13);
            let degrees = found.degrees.unwrap();
            prop_assert!((other.degrees.unwrap() / degrees - 1.0).abs() < 1e-12);
            let least = parts.iter().map(|p| p.1).min().unwrap();
            let all: u32 = parts.iter().map(|p| p.1).sum();
            prop_assert!(degrees > f64::from(least) * (1.0 - 1e-12) && degrees < f64::from(all) * (1.0 + 1e-12));
        }
    }
}
