//! Coverage factors from the normal and Student's t distribution (GUM G.3, table G.2).

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::UncertaintyError;
use super::error::between_0_and_1;

/// Degrees of freedom from which the expansion about the normal quantile has all digits; and where the library's
/// distribution function begins to lose some.
const MANY: f64 = 1000.0;

/// Halvings of the logarithm of k: from e^-700..e^700 down to neighbouring doubles.
const HALVINGS: u32 = 64;

/// k with this probability between -k and k; t with `degrees` of freedom, which need not be whole, normal for `None`.
///
/// # Errors
/// A probability that is not between 0 and 1; degrees of freedom that are not above zero.
pub fn coverage_factor(probability: f64, degrees: Option<f64>) -> Result<f64, UncertaintyError> {
    between_0_and_1(probability)?;
    for_tail(0.5 * (1.0 - probability), degrees)
}

/// k that covers as much as so many standard deviations of a normal variable do: 1, 2, 3 for 68.27, 95.45, 99.73 %.
///
/// # Errors
/// A number of standard deviations that is not above zero; degrees of freedom that are not above zero.
pub fn factor_for_sigmas(sigmas: f64, degrees: Option<f64>) -> Result<f64, UncertaintyError> {
    let tail = Normal::standard().sf(sigmas);
    if !(sigmas > 0.0 && tail > 0.0) {
        return Err(UncertaintyError::OutOfRange {
            what: "the number of standard deviations",
            value: sigmas,
            wanted: "between 0 and 37, ends excluded",
        });
    }
    for_tail(tail, degrees)
}

/// k with this probability above it, which is below a half.
fn for_tail(tail: f64, degrees: Option<f64>) -> Result<f64, UncertaintyError> {
    let normal = || -Normal::standard().inverse_cdf(tail);
    match degrees {
        None => Ok(normal()),
        Some(degrees) if degrees >= MANY => Ok(expansion(normal(), degrees)),
        Some(degrees) => by_halving(tail, degrees),
    }
}

/// The inverse of the library's distribution function, by halving: its own inverse loses its way in far tails and does
/// not end with 10^9 degrees of freedom.
fn by_halving(tail: f64, degrees: f64) -> Result<f64, UncertaintyError> {
    let t = StudentsT::new(0.0, 1.0, degrees).ok().filter(|_| degrees.is_finite());
    let t = t.ok_or(UncertaintyError::OutOfRange {
        what: "the number of degrees of freedom",
        value: degrees,
        wanted: "above zero",
    })?;
    let (mut low, mut high) = (-700.0_f64, 350.0_f64);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if t.sf(middle.exp()) > tail {
            low = middle;
        } else {
            high = middle;
        }
    }
    let log = 0.5 * (low + high);
    if log < 349.0 {
        return Ok(log.exp());
    }
    Err(UncertaintyError::OutOfRange {
        what: "the number of degrees of freedom",
        value: degrees,
        wanted: "large enough that a finite factor covers so much",
    })
}

/// Expansion of the t quantile in 1/nu about the normal quantile (Abramowitz and Stegun 26.7.5).
fn expansion(z: f64, degrees: f64) -> f64 {
    let s = z * z;
    let terms = [
        z,
        z * (s + 1.0) / 4.0,
        z * ((5.0 * s + 16.0) * s + 3.0) / 96.0,
        z * (((3.0 * s + 19.0) * s + 17.0) * s - 15.0) / 384.0,
        z * ((((79.0 * s + 776.0) * s + 1482.0) * s - 1920.0) * s - 945.0) / 92160.0,
    ];
    terms.iter().rev().fold(0.0, |sum, term| sum / degrees + term)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, expected: f64, relative: f64) {
        assert!((found / expected - 1.0).abs() < relative, "{found:e} for {expected:e}");
    }

    #[test]
    fn closed_forms_hold() {
        for p in [0.01, 0.5, 0.9, 0.9999] {
            // One degree: tan(pi p / 2); two: p sqrt(2 / (1 - p^2)).
            close(
                coverage_factor(p, Some(1.0)).unwrap(),
                (std::f64::consts::FRAC_PI_2 * p).tan(),
                1e-12,
            );
            close(
                coverage_factor(p, Some(2.0)).unwrap(),
                p * (2.0 / (1.0 - p * p)).sqrt(),
                1e-12,
            );
        }
        close(coverage_factor(0.95, None).unwrap(), 1.959_963_984_540_054_2, 1e-15);
        close(factor_for_sigmas(2.0, None).unwrap(), 2.0, 1e-10);
    }

    #[test]
    fn many_degrees_join_on_and_end_at_the_normal() {
        for p in [0.1, 0.6827, 0.95, 0.9973, 0.999_999] {
            let (below, above) = (coverage_factor(p, Some(999.999_999)), coverage_factor(p, Some(1000.0)));
            close(below.unwrap(), above.unwrap(), 1e-11);
            close(
                coverage_factor(p, Some(1e12)).unwrap(),
                coverage_factor(p, None).unwrap(),
                1e-10,
            );
        }
        // Source: 40-digit arithmetic, tail 0.025 of t with 1000 degrees; tolerance 1e-12.
        close(
            coverage_factor(0.95, Some(1000.0)).unwrap(),
            1.962_339_080_826_408,
            1e-12,
        );
    }

    #[test]
    fn what_has_no_factor_is_refused() {
        for (p, degrees) in [
            (0.0, None),
            (1.0, None),
            (f64::NAN, None),
            (0.9, Some(0.0)),
            (0.9, Some(-1.0)),
            (0.9, Some(f64::NAN)),
        ] {
            assert!(coverage_factor(p, degrees).is_err(), "{p} {degrees:?}");
        }
        assert!(coverage_factor(0.99, Some(1e-3)).is_err());
        assert!(factor_for_sigmas(0.0, None).is_err() && factor_for_sigmas(99.0, None).is_err());
        assert!(coverage_factor(1e-300, Some(3.0)).is_ok());
    }
}
