//! Scores of a value against a reference: E_n, z, z', zeta (ISO 13528:2015, clause 9; ISO/IEC 17043:2010, annex B).
//!
//! A score that lies on a limit lies there in decimal and hardly ever in binary, so verdicts are made of the typed
//! decimals: |E_n| <= 1 is (x - X)^2 <= U_x^2 + U_X^2.

use rust_decimal::Decimal;
use serde::Serialize;

use super::CohortError;
use crate::units::decimal_to_f64;

/// What an E_n score says (ISO/IEC 17043:2010, B.4.1.1; there 1 itself is satisfactory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum EnVerdict {
    /// At most 1 in size.
    Satisfactory,
    /// Above 1.
    Unsatisfactory,
}

/// What a z, z' or zeta score says (ISO 13528:2015, 9.4.2).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum ZVerdict {
    /// At most 2 in size.
    Acceptable,
    /// Between 2 and 3.
    Warning,
    /// 3 and above.
    Action,
}

/// A score with its verdict.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Score<V> {
    /// The score.
    pub value: f64,
    /// What it says.
    pub verdict: V,
}

/// An uncertainty as given: expanded, and its coverage factor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stated {
    /// U, in the unit of the value.
    pub expanded: Decimal,
    /// k; 1 makes `expanded` a standard uncertainty.
    pub k: Decimal,
}

impl Stated {
    /// A standard uncertainty.
    #[must_use]
    pub const fn standard(u: Decimal) -> Self {
        Self {
            expanded: u,
            k: Decimal::ONE,
        }
    }

    fn as_standard(self) -> f64 {
        decimal_to_f64(self.expanded) / decimal_to_f64(self.k)
    }
}

/// E_n = (x - X) / sqrt(U_x^2 + U_X^2), with expanded uncertainties (ISO 13528:2015, 9.7).
///
/// # Errors
/// Negative uncertainties, or both zero.
pub fn en(
    x: Decimal,
    reference: Decimal,
    expanded: Decimal,
    of_reference: Decimal,
) -> Result<Score<EnVerdict>, CohortError> {
    not_negative("U of the value", expanded)?;
    not_negative("U of the reference", of_reference)?;
    let (difference, squares) = (x - reference, [expanded, of_reference]);
    let value = ratio(difference, squares.map(decimal_to_f64))?;
    let exact = Squares::new(&[difference, expanded, of_reference])
        .and_then(|s| Some(s.of(0)? <= s.of(1)?.checked_add(s.of(2)?)?));
    let verdict = if exact.unwrap_or(value.abs() <= 1.0) {
        EnVerdict::Satisfactory
    } else {
        EnVerdict::Unsatisfactory
    };
    Ok(Score { value, verdict })
}

/// z = (x - X) / sigma_pt (ISO 13528:2015, 9.4).
///
/// # Errors
/// A standard deviation for assessment that is not above zero.
pub fn z(x: Decimal, reference: Decimal, sigma: Decimal) -> Result<Score<ZVerdict>, CohortError> {
    above_zero("the standard deviation for assessment", sigma)?;
    z_like(
        x - reference,
        [Stated::standard(sigma), Stated::standard(Decimal::ZERO)],
    )
}

/// z' = (x - X) / sqrt(sigma_pt^2 + u_X^2) (ISO 13528:2015, 9.5).
///
/// # Errors
/// A standard deviation for assessment that is not above zero; a negative uncertainty.
pub fn z_prime(
    x: Decimal,
    reference: Decimal,
    sigma: Decimal,
    of_reference: Stated,
) -> Result<Score<ZVerdict>, CohortError> {
    above_zero("the standard deviation for assessment", sigma)?;
    usable("u of the reference", of_reference)?;
    z_like(x - reference, [Stated::standard(sigma), of_reference])
}

/// zeta = (x - X) / sqrt(u_x^2 + u_X^2), with standard uncertainties (ISO 13528:2015, 9.6).
///
/// # Errors
/// Negative uncertainties, or both zero; a coverage factor that is not above zero.
pub fn zeta(
    x: Decimal,
    reference: Decimal,
    of_value: Stated,
    of_reference: Stated,
) -> Result<Score<ZVerdict>, CohortError> {
    usable("u of the value", of_value)?;
    usable("u of the reference", of_reference)?;
    z_like(x - reference, [of_value, of_reference])
}

/// Whether the reference's uncertainty may be left out of a z score: u_X <= 0.3 sigma_pt (ISO 13528:2015, 9.2.1).
#[must_use]
pub fn is_negligible(of_reference: Stated, sigma: Decimal) -> bool {
    let limit = Decimal::new(3, 1);
    let exact = limit
        .checked_mul(sigma)
        .and_then(|allowed| Some(of_reference.expanded <= allowed.checked_mul(of_reference.k)?));
    exact.unwrap_or(of_reference.as_standard() <= 0.3 * decimal_to_f64(sigma))
}

/// Difference over the root of two variances, with the verdict by exact squares:
/// |d / sqrt(a^2/k^2 + b^2/l^2)| <= n is (d k l)^2 <= (n a l)^2 + (n b k)^2.
fn z_like(difference: Decimal, parts: [Stated; 2]) -> Result<Score<ZVerdict>, CohortError> {
    let value = ratio(difference, parts.map(Stated::as_standard))?;
    let [a, b] = parts;
    let product = |factors: [Decimal; 3]| {
        let [f, g, h] = factors.map(|f| f.normalize());
        exact_product(exact_product(f, g)?, h)
    };
    let compared = |limit: i64| {
        let limit = Decimal::from(limit);
        let squares = Squares::new(&[
            product([difference, a.k, b.k])?,
            product([limit, a.expanded, b.k])?,
            product([limit, b.expanded, a.k])?,
        ])?;
        Some(squares.of(0)?.cmp(&squares.of(1)?.checked_add(squares.of(2)?)?))
    };
    let by_value = |limit: f64| value.abs().total_cmp(&limit);
    let verdict = if compared(2).unwrap_or_else(|| by_value(2.0)).is_le() {
        ZVerdict::Acceptable
    } else if compared(3).unwrap_or_else(|| by_value(3.0)).is_lt() {
        ZVerdict::Warning
    } else {
        ZVerdict::Action
    };
    Ok(Score { value, verdict })
}

fn ratio(difference: Decimal, parts: [f64; 2]) -> Result<f64, CohortError> {
    let root = parts[0].hypot(parts[1]);
    if root > 0.0 {
        // A difference of nothing is 0, not -0.
        Ok(decimal_to_f64(difference) / root + 0.0)
    } else {
        Err(CohortError::OutOfRange {
            what: "the uncertainty of the difference",
            value: root,
            wanted: "above zero, because a score is divided by it",
        })
    }
}

/// A product with all its digits, or none where they do not fit.
fn exact_product(a: Decimal, b: Decimal) -> Option<Decimal> {
    let mantissa = a.mantissa().checked_mul(b.mantissa())?;
    Decimal::try_from_i128_with_scale(mantissa, a.scale() + b.scale()).ok()
}

/// Numbers as whole multiples of one power of ten, for exact comparison of their squares.
struct Squares(Vec<i128>);

impl Squares {
    fn new(numbers: &[Decimal]) -> Option<Self> {
        let numbers: Vec<Decimal> = numbers.iter().map(Decimal::normalize).collect();
        let scale = numbers.iter().map(Decimal::scale).max()?;
        let whole = |d: &Decimal| d.mantissa().checked_mul(10_i128.checked_pow(scale - d.scale())?);
        numbers.iter().map(whole).collect::<Option<_>>().map(Self)
    }

    fn of(&self, at: usize) -> Option<i128> {
        let number = self.0.get(at)?;
        number.checked_mul(*number)
    }
}

fn above_zero(what: &'static str, value: Decimal) -> Result<(), CohortError> {
    if value > Decimal::ZERO {
        return Ok(());
    }
    Err(CohortError::OutOfRange {
        what,
        value: decimal_to_f64(value),
        wanted: "above zero",
    })
}

fn not_negative(what: &'static str, value: Decimal) -> Result<(), CohortError> {
    if value >= Decimal::ZERO {
        return Ok(());
    }
    Err(CohortError::OutOfRange {
        what,
        value: decimal_to_f64(value),
        wanted: "zero or more",
    })
}

fn usable(what: &'static str, stated: Stated) -> Result<(), CohortError> {
    not_negative(what, stated.expanded)?;
    above_zero("a coverage factor", stated.k)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn dec(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn limits_are_decimal() {
        // 3-4-5: E_n is exactly 1; one unit in the last place more is above it.
        let score = |x: &str| en(dec(x), dec("12"), dec("0.004"), dec("0.003")).unwrap().verdict;
        assert_eq!(score("12.005"), EnVerdict::Satisfactory);
        assert_eq!(score("12.0050000001"), EnVerdict::Unsatisfactory);
        let score = |x: &str| z(dec(x), dec("25.4"), dec("0.01")).unwrap().verdict;
        for (x, verdict) in [
            ("25.42", ZVerdict::Acceptable),
            ("25.420001", ZVerdict::Warning),
            ("25.429999", ZVerdict::Warning),
            ("25.37", ZVerdict::Action),
        ] {
            assert_eq!(score(x), verdict, "{x}");
        }
    }

    #[test]
    fn a_score_without_a_scale_is_refused() {
        let (zero, one) = (Decimal::ZERO, Decimal::ONE);
        assert!(en(one, one, zero, zero).is_err() && en(one, zero, -one, one).is_err());
        assert!(z(one, zero, zero).is_err());
        assert!(z_prime(one, zero, zero, Stated::standard(one)).is_err());
        let without_k = Stated { expanded: one, k: zero };
        assert!(zeta(one, zero, without_k, Stated::standard(one)).is_err());
        assert_eq!(
            z(one, zero, zero).unwrap_err().to_string(),
            "the standard deviation for assessment is 0; it must be above zero"
        );
    }

    proptest! {
        /// Shifted and scaled values have the same scores and verdicts.
        #[test]
        fn scores_do_not_see_unit_or_origin(d in -999_i64..999, u in 1_i64..99, v in 0_i64..99, shift in -9999_i64..9999, scale in 0_u32..6) {
            let at = |n: i64| Decimal::new(n, 0);
            let plain = zeta(at(d), at(0), Stated::standard(at(u)), Stated::standard(at(v))).unwrap();
            let moved = |n: i64| Decimal::new(n, scale);
            let other = zeta(moved(d + shift), moved(shift), Stated::standard(moved(u)), Stated::standard(moved(v))).unwrap();
            prop_assert_eq!(plain.verdict, other.verdict);
            prop_assert!((plain.value - other.value).abs() <= 1e-12 * plain.value.abs());
            let en = en(at(d), at(0), at(u), at(v)).unwrap();
            prop_assert!((en.value - plain.value).abs() < 1e-12);
        }
    }
}
