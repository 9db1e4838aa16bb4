//! Sums carried with twice the digits of a double, so that what statistics subtract from each other leaves all digits
//! that the data have.

use rust_decimal::Decimal;

/// An unevaluated sum of two doubles, about 32 digits (T. J. Dekker, Numerische Mathematik 18, 1971, 224-242; D. E.
/// Knuth, The Art of Computer Programming 2, 4.2.2). Whole numbers up to 2^106 are exact in it, and so are their sums
/// and products that stay below.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Double2 {
    high: f64,
    low: f64,
}

impl Double2 {
    pub(super) const ZERO: Self = Self { high: 0.0, low: 0.0 };

    pub(super) const fn new(value: f64) -> Self {
        Self { high: value, low: 0.0 }
    }

    /// A number of things.
    pub(super) fn count(things: usize) -> Self {
        Self::new(super::count(things))
    }

    /// The nearest double.
    pub(super) fn value(self) -> f64 {
        self.high + self.low
    }

    /// The exact sum of two doubles (Knuth's two-sum).
    fn sum(a: f64, b: f64) -> Self {
        let high = a + b;
        let part = high - a;
        Self {
            high,
            low: (a - (high - part)) + (b - part),
        }
    }

    /// The exact difference of two doubles.
    pub(super) fn difference(a: f64, b: f64) -> Self {
        Self::sum(a, -b)
    }

    pub(super) fn plus(self, other: Self) -> Self {
        let (high, low) = (Self::sum(self.high, other.high), Self::sum(self.low, other.low));
        let first = Self::sum(high.high, high.low + low.high);
        Self::sum(first.high, first.low + low.low)
    }

    pub(super) fn minus(self, other: Self) -> Self {
        self.plus(Self {
            high: -other.high,
            low: -other.low,
        })
    }

    pub(super) fn times(self, other: Self) -> Self {
        let high = self.high * other.high;
        let error = self.high.mul_add(other.high, -high);
        Self::sum(high, error + (self.high * other.low + self.low * other.high))
    }

    pub(super) fn square(self) -> Self {
        self.times(self)
    }

    /// The quotient, by two corrections of the quotient of doubles. The divisor must not be zero.
    pub(super) fn over(self, other: Self) -> Self {
        let mut quotient = Self::new(self.high / other.high);
        for _ in 0..2 {
            let rest = self.minus(quotient.times(other));
            quotient = quotient.plus(Self::new(rest.high / other.high));
        }
        quotient
    }

    pub(super) fn total(values: impl IntoIterator<Item = Self>) -> Self {
        values.into_iter().fold(Self::ZERO, Self::plus)
    }

    pub(super) fn is_zero(self) -> bool {
        self.value().abs() <= 0.0
    }

    fn whole(number: i128) -> Self {
        // Limbs of 40 bits, each of which a double holds, from the highest down.
        (0..4).rev().fold(Self::ZERO, |sum, limb: u32| {
            let part = (number.unsigned_abs() >> (40 * limb)) & ((1 << 40) - 1);
            let part = u64::try_from(part).unwrap_or(0);
            let (upper, lower) = (u32::try_from(part >> 20), u32::try_from(part & 0xf_ffff));
            let part = f64::from(upper.unwrap_or(0)) * 1_048_576.0 + f64::from(lower.unwrap_or(0));
            let signed = if number < 0 { -part } else { part };
            sum.plus(Self::new(signed * 2.0_f64.powi(i32::try_from(40 * limb).unwrap_or(0))))
        })
    }
}

/// Values as whole steps from an origin, so that sums of them are exact: what differs by nothing differs by zero.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Steps {
    /// Number of steps of each value above the origin.
    pub(super) steps: Vec<Double2>,
    /// The first value.
    pub(super) origin: f64,
    /// Steps in one unit.
    pub(super) per_unit: f64,
}

impl Steps {
    /// Values as typed: a step is one unit in the last decimal place that any of them has. 12.503 is not a double, but it
    /// is 12503 steps. Where that does not fit, the doubles themselves as in [`Steps::doubles`].
    pub(super) fn typed(values: &[f64]) -> Self {
        Self::decimals(values).unwrap_or_else(|| Self::doubles(values))
    }

    /// The doubles as they are, exactly.
    pub(super) fn doubles(values: &[f64]) -> Self {
        let origin = values.first().copied().unwrap_or(0.0);
        Self {
            steps: values.iter().map(|v| Double2::difference(*v, origin)).collect(),
            origin,
            per_unit: 1.0,
        }
    }

    fn decimals(values: &[f64]) -> Option<Self> {
        let typed: Vec<Decimal> = values.iter().map(|v| as_typed(*v)).collect::<Option<_>>()?;
        let scale = typed.iter().map(Decimal::scale).max().unwrap_or(0);
        let whole = |d: &Decimal| d.mantissa().checked_mul(10_i128.checked_pow(scale - d.scale())?);
        let first = typed.first().map_or(Some(0), whole)?;
        let steps = typed
            .iter()
            .map(|d| Some(Double2::whole(whole(d)?.checked_sub(first)?)))
            .collect::<Option<_>>()?;
        Some(Self {
            steps,
            origin: values.first().copied().unwrap_or(0.0),
            // Up to 10^22 a power of ten is a double.
            per_unit: (scale <= 22).then(|| 10.0_f64.powi(i32::try_from(scale).unwrap_or(0)))?,
        })
    }

    /// A square of steps in the square of the unit.
    pub(super) fn squared(&self, steps: Double2) -> Double2 {
        steps
            .over(Double2::new(self.per_unit))
            .over(Double2::new(self.per_unit))
    }

    /// A number of steps above the origin as a value.
    pub(super) fn place(&self, steps: Double2) -> f64 {
        Double2::new(self.origin)
            .plus(steps.over(Double2::new(self.per_unit)))
            .value()
    }
}

/// The shortest decimal that reads back to the same double, which is what somebody typed. None beyond 28 digits.
pub(super) fn as_typed(value: f64) -> Option<Decimal> {
    let text = format!("{value:e}");
    let typed = Decimal::from_scientific(&text).ok()?.normalize();
    // A number too small for 28 places is silently rounded by the reader.
    let back: f64 = typed.to_string().parse().ok()?;
    (back.to_bits() == value.to_bits() || value.abs() <= 0.0).then_some(typed)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn typed_values_are_whole_steps() {
        let steps = Steps::typed(&[12.503, 12.5, 13.0, 12.5031]);
        let found: Vec<f64> = steps.steps.iter().map(|s| s.value()).collect();
        assert_eq!(found, [0.0, -30.0, 4970.0, 1.0]);
        assert!((steps.per_unit - 1e4).abs() < 1e-9);
        assert!((steps.place(Double2::new(-30.0)) - 12.5).abs() < 1e-15);
        // Nothing that decimals hold: the doubles.
        let steps = Steps::typed(&[1e300, 3e300]);
        assert!((steps.steps[1].value() - 2e300).abs() < 1e285);
    }

    #[test]
    fn what_a_double_loses_is_kept() {
        let (large, small) = (Double2::new(1e16), Double2::new(1.0));
        assert!((large.plus(small).minus(large).value() - 1.0).abs() < 1e-15);
        let third = Double2::new(1.0).over(Double2::new(3.0));
        // Source: three thirds are one; tolerance 2^-104.
        assert!(third.times(Double2::new(3.0)).minus(Double2::new(1.0)).value().abs() < 1e-31);
        let odd = Double2::new(2.0_f64.powi(52) + 1.0);
        let square = odd.square();
        // (2^52 + 1)^2 = 2^104 + 2^53 + 1.
        let rest = square
            .minus(Double2::new(2.0_f64.powi(104)))
            .minus(Double2::new(2.0_f64.powi(53)));
        assert!((rest.value() - 1.0).abs() < 1e-15);
    }

    proptest! {
        #[test]
        fn whole_numbers_are_exact(number in -(1_i128 << 100)..(1_i128 << 100)) {
            let found = Double2::whole(number);
            let expected: f64 = number.to_string().parse().unwrap();
            prop_assert_eq!(found.value().to_bits(), expected.to_bits());
            let rest = found.minus(Double2::whole(number - 1));
            prop_assert!((rest.value() - 1.0).abs() < 1e-15);
        }
    }
}
