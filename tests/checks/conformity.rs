//! Decisions, probabilities and risks against figures from outside.
//!
//! Source of the cases: `tests/data/statistics/README.md` and the `source` of the file.

use platemark::metrology::conformity::{Conformity, DecisionRule, decide};
use platemark::metrology::tolerance::{Limits, SizeContext, Tolerance, ToleranceKind};
use platemark::units::{LengthUnit, Reading, decimal_from_f64};
use rust_decimal::Decimal;

use super::statistics::passes;

#[test]
fn cases_of_conformity() {
    passes("conformity.json", 23);
}

#[test]
fn digits_of_probabilities() {
    passes("conformity_digits.json", 126);
}

/// What simple acceptance makes of a reported text.
fn check(unit: LengthUnit, nominal: &str, tolerance: &str, reported: &str, expected: Conformity) {
    let context = SizeContext {
        unit,
        decimals: 3,
        kind: ToleranceKind::Coordinate,
    };
    let limits = tolerance
        .parse::<Tolerance>()
        .unwrap()
        .limits(nominal.parse().unwrap(), &context)
        .unwrap();
    let value = reported.parse::<Reading>().unwrap().decimal();
    let found = decide(value, &limits, DecisionRule::SimpleAcceptance, Decimal::ZERO);
    assert_eq!(found, expected, "{nominal} {tolerance} {unit}: {reported}");
}

#[test]
fn a_reported_value_on_the_limit_conforms_in_either_unit() {
    use Conformity::{Conforming, Nonconforming};
    // Source: the limits belong to the tolerance (JCGM 106; ISO 14253-1); decimal arithmetic, tolerance none.
    for unit in [LengthUnit::Mm, LengthUnit::Inch] {
        for (nominal, tolerance, reported, expected) in [
            ("25", "+0.05/0", "25.05", Conforming),
            ("25", "+0.05/0", "25.050", Conforming),
            ("25", "+0.05/0", "25.0500000000000000000000000000000001", Nonconforming),
            ("25", "+0.05/0", "25.051", Nonconforming),
            ("25", "+0.05/0", "24.9999999999999999999999999999999999", Nonconforming),
            ("70", "\u{b1}0.1", "70.1", Conforming),
            ("70", "\u{b1}0.1", "69.9", Conforming),
            ("0.3", "\u{b1}0.1", "0.2", Conforming),
            ("-0.3", "\u{b1}0.1", "-0.4", Conforming),
            ("1.1", "+2.2/0", "3.3", Conforming),
            ("70", "\u{b1}0.1", "999999999999999999999999999999999999", Nonconforming),
        ] {
            check(unit, nominal, tolerance, reported, expected);
        }
    }
}

#[test]
fn a_sum_of_doubles_is_judged_as_the_decimal_it_stands_for() {
    let limits = Limits::between(Decimal::from(70), Decimal::new(7012, 2));
    let sum = decimal_from_f64(70.0 + 0.12).unwrap();
    assert_eq!(
        decide(sum, &limits, DecisionRule::SimpleAcceptance, Decimal::ZERO),
        Conformity::Conforming
    );
}
