use proptest::prelude::*;

use super::*;

fn dec(text: &str) -> Decimal {
    text.parse().unwrap()
}

const HOLE: ToleranceKind = ToleranceKind::Size { inside: true };
const SHAFT: ToleranceKind = ToleranceKind::Size { inside: false };

fn limits(
    tolerance: &str,
    nominal: &str,
    unit: LengthUnit,
    decimals: u32,
    kind: ToleranceKind,
) -> Result<Limits, ToleranceError> {
    tolerance
        .parse::<Tolerance>()
        .unwrap()
        .limits(dec(nominal), &SizeContext { unit, decimals, kind })
}

fn check(tolerance: &str, nominal: &str, kind: ToleranceKind, lower: &str, upper: &str) {
    let found = limits(tolerance, nominal, LengthUnit::Mm, 3, kind).unwrap();
    assert_eq!(found, Limits::between(dec(lower), dec(upper)), "{nominal} {tolerance}");
}

fn check_inch(tolerance: &str, nominal: &str, decimals: u32, kind: ToleranceKind, lower: &str, upper: &str) {
    let found = limits(tolerance, nominal, LengthUnit::Inch, decimals, kind).unwrap();
    assert_eq!(found, Limits::between(dec(lower), dec(upper)), "{nominal} {tolerance}");
}

fn refuse(tolerance: &str, nominal: &str, kind: ToleranceKind, words: &str) {
    let error = limits(tolerance, nominal, LengthUnit::Mm, 3, kind)
        .unwrap_err()
        .to_string();
    assert!(error.contains(words), "{nominal} {tolerance}: {error}");
}

#[test]
fn written_tolerances_are_exact() {
    check("\u{b1}0.05", "70", ToleranceKind::Coordinate, "69.95", "70.05");
    check("+0.05/0", "25", HOLE, "25", "25.05");
    check("-0.01/-0.03", "25", SHAFT, "24.97", "24.99");
    check("32.00..32.05", "32", HOLE, "32", "32.05");
    // Finer than the places of a report, and not rounded.
    check("\u{b1}0.00005", "70", ToleranceKind::Distance, "69.99995", "70.00005");
    check(
        "\u{b1}0.5",
        "45",
        ToleranceKind::Angle { shorter_side: None },
        "44.5",
        "45.5",
    );
    let position = limits("max 0.2", "0", LengthUnit::Mm, 3, ToleranceKind::Geometrical).unwrap();
    assert_eq!(position, Limits::at_most(dec("0.2")));
}

#[test]
fn codes_are_worked_out_in_mm_and_rounded_inwards() {
    // Source: ISO 286-1, 25 H7 = 0/+21, 20 JS7 = -10.5/+10.5; ISO 2768-1 tables 1 and 3; tolerance none.
    check("H7", "25", HOLE, "25", "25.021");
    check("g6", "25", SHAFT, "24.98", "24.993");
    check("JS7", "20", HOLE, "19.99", "20.01");
    check("ISO 2768-m", "30", ToleranceKind::Coordinate, "29.8", "30.2");
    check("ISO 2768-m", "-30", ToleranceKind::Coordinate, "-30.2", "-29.8");
    check(
        "ISO 2768-m",
        "45",
        ToleranceKind::Angle {
            shorter_side: Some(dec("80")),
        },
        "44.667",
        "45.333",
    );
    check(
        "ISO 2768-c",
        "45",
        ToleranceKind::Angle {
            shorter_side: Some(dec("10")),
        },
        "43.5",
        "46.5",
    );
    // 1 inch H7: 25.4 mm is above 18 up to 30, 21 um = 0.00082677 inch.
    check_inch("H7", "1", 4, HOLE, "1", "1.0008");
    // 1 inch h6: 13 um = 0.00051181 inch, so that -0.0005 lies within.
    check_inch("h6", "1", 4, SHAFT, "0.9995", "1");
    // 0.1 mm = 0.0039370 inch.
    check_inch("ISO 2768-f", "1", 3, ToleranceKind::Distance, "0.997", "1.003");
}

#[test]
fn the_reported_value_on_a_limit_is_within() {
    for (unit, nominal, tolerance, value) in [
        (LengthUnit::Mm, "25", "+0.05/0", "25.05"),
        (LengthUnit::Inch, "25", "+0.05/0", "25.050"),
        (LengthUnit::Inch, "1.0025", "\u{b1}0.0005", "1.0030"),
        (LengthUnit::Mm, "0.3", "\u{b1}0.1", "0.2"),
    ] {
        let found = limits(tolerance, nominal, unit, 3, HOLE).unwrap();
        assert!(
            found.contains(value.parse::<crate::units::Reading>().unwrap().decimal()),
            "{value}"
        );
    }
    let found = limits("+0.05/0", "25", LengthUnit::Mm, 3, HOLE).unwrap();
    assert!(!found.contains(dec("25.0501")) && !found.contains(dec("24.9999")));
}

#[test]
fn what_does_not_go_together_is_refused_in_words() {
    refuse("H7", "25", SHAFT, "write h7 if that was meant");
    refuse("g6", "25", HOLE, "write G6 if that was meant");
    refuse("H7", "25", ToleranceKind::Coordinate, "which is for sizes");
    refuse("H7", "25", ToleranceKind::Geometrical, "max 0.1");
    refuse("\u{b1}0.1", "0", ToleranceKind::Geometrical, "max 0.1");
    refuse("max 0", "0", ToleranceKind::Geometrical, "leaves no room");
    refuse("H7", "500.001", HOLE, "up to 500 mm");
    refuse("H7", "0", HOLE, "from above 0");
    refuse("T6", "20", HOLE, "gives no T6 at 20 mm");
    refuse("ISO 2768-m", "0.4", HOLE, "gives nothing for 0.4 mm");
    refuse("ISO 2768-m", "0", ToleranceKind::Coordinate, "gives nothing for 0 mm");
    refuse(
        "ISO 2768-m",
        "45",
        ToleranceKind::Angle { shorter_side: None },
        "shorter side",
    );
    refuse("max 0.1", "70", ToleranceKind::Coordinate, "not a deviation");
    let lost = limits("H7", "25", LengthUnit::Mm, 1, HOLE).unwrap_err();
    assert!(matches!(lost, ToleranceError::LostInRounding { decimals: 1, .. }));
    let context = SizeContext {
        unit: LengthUnit::Mm,
        decimals: 3,
        kind: HOLE,
    };
    for (tolerance, reversed) in [
        (Tolerance::PlusMinus(Decimal::ZERO), false),
        (Tolerance::PlusMinus(dec("-0.1")), true),
        (
            Tolerance::Deviations {
                upper: dec("0.1"),
                lower: dec("0.2"),
            },
            true,
        ),
        (
            Tolerance::Limits {
                upper: dec("25"),
                lower: dec("25"),
            },
            false,
        ),
    ] {
        let error = tolerance.limits(dec("25"), &context).unwrap_err();
        assert_eq!(matches!(error, ToleranceError::Reversed { .. }), reversed, "{error}");
    }
    let zero = Tolerance::Max(Decimal::ZERO);
    let bonus = SizeContext {
        kind: ToleranceKind::GeometricalWithBonus,
        ..context
    };
    assert_eq!(zero.limits(Decimal::ZERO, &bonus), Ok(Limits::at_most(Decimal::ZERO)));
    let huge = Tolerance::PlusMinus(Decimal::MAX).limits(Decimal::MAX, &context);
    assert!(matches!(huge, Err(ToleranceError::TooLarge(_))));
}

#[test]
fn limits_move_and_measure() {
    let limits = Limits::between(dec("11.95"), dec("12.05"));
    assert_eq!(
        limits.drawn_in(dec("0.012")),
        Limits::between(dec("11.962"), dec("12.038"))
    );
    assert_eq!(
        limits.widened(dec("0.012")),
        Limits::between(dec("11.938"), dec("12.062"))
    );
    assert!(limits.drawn_in(dec("0.06")).is_empty() && !limits.drawn_in(dec("0.05")).is_empty());
    assert_eq!(limits.distance_to_nearest(dec("12.07")), Some(dec("0.02")));
    assert_eq!(
        Limits::at_most(dec("0.1")).with_bonus(dec("0.02")).upper,
        Some(dec("0.12"))
    );
    assert_eq!(
        serde_json::to_string(&Limits::at_most(dec("0.10"))).unwrap(),
        r#"{"lower":null,"upper":"0.10"}"#
    );
}

proptest! {
    #[test]
    fn symmetrical_classes_bracket_the_nominal(um in 1_001_i64..500_000, grade in 0_u8..=18, inside in any::<bool>()) {
        let nominal = Decimal::new(um, 3);
        let class = format!("{}{grade}", if inside { "JS" } else { "js" });
        let tolerance: Tolerance = class.parse().unwrap();
        let kind = ToleranceKind::Size { inside };
        let found = tolerance.limits(nominal, &SizeContext { unit: LengthUnit::Mm, decimals: 6, kind }).unwrap();
        let (lower, upper) = (found.lower.unwrap(), found.upper.unwrap());
        prop_assert_eq!(upper - nominal, nominal - lower);
        prop_assert!(lower < nominal);
    }

    #[test]
    fn rounding_never_widens(um in 1_001_i64..500_000, grade in 8_u8..=12, decimals in 2_u32..6) {
        let nominal_inch = Decimal::new(um, 3) / dec("25.4");
        let tolerance: Tolerance = format!("H{grade}").parse().unwrap();
        let at = |decimals| tolerance.limits(nominal_inch, &SizeContext { unit: LengthUnit::Inch, decimals, kind: HOLE });
        let exact = at(20).unwrap();
        if let Ok(rounded) = at(decimals) {
            prop_assert!(rounded.lower >= exact.lower && rounded.upper <= exact.upper);
        }
    }
}
