//! The Q method in the arithmetic of the reference file.
//!
//! The file says of a number that its typed decimals are its value, but its q was worked out with binary numbers of 50
//! digits, in which 5.6 - 4.9 and 5.2 - 4.5 come out as different in the last place. The method makes one step of equal
//! differences and two of different ones, so that the rounding of the fiftieth digit changes the second digit of q. What
//! we use is [`q_method`](crate::cohort::robust::q_method), exact and shown as `q_exact`; the figure here is for holding
//! the rest of the method against the file.

use crate::cohort::CohortError;
use crate::cohort::double2::as_typed;
use crate::cohort::robust::q_with_ties;

/// Binary digits of numbers of 50 decimal ones: (50 + 1) log2 10, to the nearest.
const BITS: i32 = 169;

/// q where differences are equal only if they are so in binary numbers of 50 digits.
pub(super) fn q_of_50_digits(values: &[f64]) -> Result<f64, CohortError> {
    let roundings: Vec<(i128, i32)> = values.iter().map(|v| rounding(*v)).collect();
    let finest = roundings.iter().map(|r| r.1).max().unwrap_or(0);
    let scale = values
        .iter()
        .filter_map(|v| as_typed(*v))
        .map(|d| d.scale())
        .max()
        .unwrap_or(0);
    let at = |i: usize| {
        let (rest, places) = roundings[i];
        // To one binary grid and one power of ten.
        let binary = u32::try_from(finest - places).unwrap_or(0);
        let decimal = as_typed(values[i]).map_or(0, |d| scale - d.scale());
        rest.checked_shl(binary)
            .and_then(|r| r.checked_mul(10_i128.checked_pow(decimal)?))
            .unwrap_or(0)
    };
    q_with_ties(values, |larger, smaller| at(larger) - at(smaller))
}

/// What rounding a decimal m / 10^s to so many bits adds, as a multiple of 2^-places / 10^s, and those places.
fn rounding(value: f64) -> (i128, i32) {
    let nothing = (0, 0);
    let Some(typed) = as_typed(value).filter(|d| d.scale() <= 18 && !d.is_zero()) else {
        return nothing;
    };
    let places = BITS - (exponent(value) + 1);
    let Ok(power) = u32::try_from(places) else {
        return nothing;
    };
    let modulus = 10_u128.pow(typed.scale());
    // m 2^places modulo 10^s: what is left over when the number is cut off there.
    let rest = (0..power).fold(typed.mantissa().unsigned_abs() % modulus, |rest, _| 2 * rest % modulus);
    let up = 2 * rest > modulus;
    let added = if up { modulus - rest } else { rest };
    let signed = i128::try_from(added).unwrap_or(0);
    (if up == (value > 0.0) { signed } else { -signed }, places)
}

/// The power of two of the largest binary digit.
fn exponent(value: f64) -> i32 {
    i32::try_from((value.to_bits() >> 52) & 0x7ff).unwrap_or(0) - 1023
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn binary_fractions_are_not_rounded() {
        for value in [1.0, 0.5, -12.375, 1024.0, 0.0] {
            assert_eq!(rounding(value).0, 0, "{value}");
        }
        // 0.1 = 1/10 in binary is 0.000110011...: of its period 0011, 169 digits from the first 1 on end in 1100|1 for a
        // remainder of 6/10 of the last place, which is rounded up by 4/10.
        let (added, places) = rounding(0.1);
        assert_eq!((added, places), (4, 172));
        assert_eq!(rounding(-0.1).0, -4);
        assert_eq!((exponent(5.7), exponent(0.1)), (2, -4));
    }
}
