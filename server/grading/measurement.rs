//! The measurement score: how near the pair's number is to what the plate is.

use rust_decimal::{Decimal, RoundingStrategy};

use crate::exercise::geometry::at_nearest_half_turn;
use crate::exercise::model::{Characteristic, MarksRules, ScoreKind, Shape};
use crate::exercise::plate::Reference;
use crate::units::{Reading, decimal_from_f64, decimal_to_f64};

/// The statistic of one measured value and the score it earns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// `E_n` or z'.
    pub statistic: f64,
    /// 0 to 1, rounded to 1e-6.
    pub score: Decimal,
}

/// Scores a value against its reference.
///
/// `E_n = (x - X) / sqrt(U_lab^2 + U_ref^2)` after ISO 13528 and ISO/IEC 17043, with the class's assigned `U_lab` in
/// place of the participant's own; or, for a fitness score, `z' = (x - X) / sqrt(fitness^2 + u_ref^2)`. Score 1 up to
/// `full_within`, 0 from `none_beyond`, linear between.
#[must_use]
pub fn measure(rules: &MarksRules, u_lab: Decimal, reference: &Reference, value: &Value) -> Measured {
    let spread = match rules.score {
        ScoreKind::En => decimal_to_f64(u_lab).hypot(decimal_to_f64(reference.expanded)),
        ScoreKind::Fitness(sigma) => decimal_to_f64(sigma).hypot(reference.standard()),
    };
    let difference = value.less(reference.value);
    // Perfectly known on both sides: agreement is all or nothing.
    let statistic = if spread > 0.0 {
        // A value out of all reason stays a number.
        (difference / spread).clamp(f64::MIN, f64::MAX)
    } else if difference.abs() > 0.0 {
        f64::MAX.copysign(difference)
    } else {
        0.0
    };
    Measured {
        statistic,
        score: score(rules, statistic.abs()),
    }
}

fn score(rules: &MarksRules, size: f64) -> Decimal {
    let (full, none) = (decimal_to_f64(rules.full_within), decimal_to_f64(rules.none_beyond));
    // Comparisons that hold the limits themselves: exactly `full_within` earns all, exactly `none_beyond` nothing.
    if size <= full {
        Decimal::ONE
    } else if size >= none {
        Decimal::ZERO
    } else {
        let exact = decimal_from_f64((none - size) / (none - full)).unwrap_or_default();
        exact.round_dp_with_strategy(6, RoundingStrategy::MidpointAwayFromZero)
    }
}

/// A written value, ready for comparison.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    /// As a decimal, for limits.
    pub decimal: Decimal,
    /// As a double, for statistics; also far beyond what a decimal holds.
    pub approx: f64,
}

impl Value {
    /// The value of a reading of this characteristic. Angles of lines and slots mean the same every half turn and are
    /// read at the half turn nearest to the nominal.
    #[must_use]
    pub fn of(reading: &Reading, characteristic: &Characteristic, half_turn: bool) -> Self {
        let value = Self {
            decimal: reading.decimal(),
            approx: reading.approx(),
        };
        let far = Decimal::from(100_000);
        if !half_turn || value.decimal.abs() > far {
            return value;
        }
        let decimal = at_nearest_half_turn(value.decimal, characteristic.nominal);
        Self {
            decimal,
            approx: decimal_to_f64(decimal),
        }
    }

    /// The value less another, exact where a decimal holds it.
    #[must_use]
    pub fn less(&self, other: Decimal) -> f64 {
        let exact = decimal_to_f64(self.decimal);
        // A clamped decimal is far from its double; there the double tells more.
        if (exact - self.approx).abs() <= 1e-9 * self.approx.abs() {
            decimal_to_f64(self.decimal - other)
        } else {
            self.approx - decimal_to_f64(other)
        }
    }
}

/// Whether angles of this shape are directions in plan view.
#[must_use]
pub const fn has_plan_direction(shape: &Shape) -> bool {
    shape.has_plan_direction()
}
