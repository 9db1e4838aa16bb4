//! What follows from an exercise file: nominal values, limits, uncertainties, defaults.

use platemark::exercise::file::read_exercise;
use platemark::exercise::model::{Criterion, Exercise, Material, Shape, Side};
use platemark::metrology::conformity::DecisionRule;
use platemark::units::decimal_to_f64;
use rust_decimal::Decimal;

use super::{EXERCISE, fixture};

fn dec(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn check(exercise: &Exercise, no: &str, nominal: &str, lower: Option<&str>, upper: &str, u_lab: f64) {
    let (_, c) = exercise.characteristic(&no.parse().unwrap()).unwrap();
    assert_eq!(c.nominal, dec(nominal), "nominal of {no}");
    assert_eq!(c.limits.lower, lower.map(dec), "lower limit of {no}");
    assert_eq!(c.limits.upper, Some(dec(upper)), "upper limit of {no}");
    let off = decimal_to_f64(c.u_lab) - u_lab;
    assert!(off.abs() < 1e-9, "U of {no}: {} and not {u_lab}", c.u_lab);
}

#[test]
fn nominals_limits_and_uncertainties_follow() {
    let e = fixture();
    // U = 0.010 + 5e-6 x length, angles 0.010 / length in degrees; worked out by hand, tolerance 1e-9.
    // Source of the limits: ISO 286-1, 25.05 H7 = 0/+21 and 8 h9 = -36/0 micrometres; tolerance none.
    check(&e, "1", "25.05", Some("25.05"), "25.071", 0.010_125_25);
    check(&e, "2", "60", Some("59.98"), "60.05", 0.010_3);
    check(&e, "3", "0", None, "0.15", 0.020_6);
    // Source: ISO 2768-1, table 3, class m, 30 mm: 30 minutes of arc; tolerance none.
    check(&e, "4", "90", Some("89.5"), "90.5", (0.010_f64 / 30.0).to_degrees());
    check(&e, "5", "30", Some("29.9"), "30.1", 0.010_15);
    check(
        &e,
        "6.1",
        "45",
        Some("44.8"),
        "45.2",
        (0.010 / 512_f64.sqrt()).to_degrees(),
    );
    check(&e, "6.2", "0", None, "0.04", 0.010);
    check(&e, "7", "0", None, "0.05", 0.010);
    check(&e, "8", "-6", Some("-6.1"), "-5.9", 0.010_03);
    check(&e, "9", "8", Some("7.964"), "8", 0.010_04);
    check(&e, "10", "90", Some("89.5"), "90.5", (0.010_f64 / 4.0).to_degrees());
    check(&e, "11", "0", None, "0.03", 0.010);
    // sqrt(30^2 + 20^2) = 36.05551, as a report of three places has it.
    check(&e, "12", "36.056", Some("36.006"), "36.106", 0.010_180_28);
    check(&e, "13", "45", Some("44.9"), "45.1", 0.03);
}

#[test]
fn numbers_are_exactly_as_written() {
    let e = fixture();
    let Shape::Circle { diameter, depth, .. } = &e.features[0].shape else {
        panic!("the bore is a circle")
    };
    assert_eq!((diameter.to_string().as_str(), depth), ("25.05", &None));
    assert_eq!(e.measurement.per_length, dec("0.000005"));
    assert_eq!(e.measurement.expanded_uncertainty.to_string(), "0.010");
}

#[test]
fn what_is_left_out_is_as_the_format_says() {
    let e = fixture();
    let feature = |i: usize| &e.features[i];
    assert_eq!((feature(0).name.as_str(), feature(1).name.as_str()), ("Bore", "pocket"));
    assert_eq!(feature(0).side, Some(Side::Inside));
    assert_eq!((feature(2).side, feature(7).side), (None, Some(Side::Outside)));
    assert_eq!((feature(1).points, feature(1).points_given), (6, false));
    assert_eq!((feature(5).points, feature(0).points_given), (6, true));
    assert_eq!((e.marks.call_for_plate, e.marks.full_within), (dec("25"), dec("1")));
    assert_eq!(
        (e.marks.decision_rule, e.marks.none_beyond),
        (DecisionRule::ThreeWay, dec("2.5"))
    );
    assert_eq!(e.body.material, Material::Named("steel"));
    let criteria: Vec<_> = e.characteristics.iter().filter_map(|c| c.criterion).collect();
    assert_eq!(criteria, [Criterion::MinimumZone, Criterion::LeastSquares]);
    let weights: Vec<_> = e.characteristics.iter().filter(|c| c.weight != Decimal::ONE).collect();
    assert_eq!((weights.len(), weights[0].no.as_str()), (1, "9"));
}

#[test]
fn fitness_has_limits_of_its_own() {
    let text = EXERCISE.replace("none_beyond = 2.5", "score = \"fitness\"\nfitness = 0.02");
    let (exercise, problems) = read_exercise("f", &text);
    assert_eq!(problems, []);
    let marks = exercise.unwrap().marks;
    assert_eq!((marks.full_within, marks.none_beyond), (dec("2"), dec("3")));
}

#[test]
fn inch_codes_and_newer_toml_are_read() {
    let text = EXERCISE
        .replace("units    = \"mm\"", "units    = \"inch\"")
        .replace("general_tolerance = \"±0.1\"", "general_tolerance = \"ISO 2768-c\"")
        .replace("tolerance = \"H7\"", "tolerance = \"+0.05/0\"")
        .replace("tolerance = \"h9\"", "tolerance = \"h14\"")
        // Line breaks and a last comma in an inline table came with TOML 1.1.
        .replace("C = { face = \"left\",", "C = {\n  face = \"left\",\n")
        .replace("touches = [[30, -8]] }", "touches = [[30, -8]],\n}");
    let (exercise, problems) = read_exercise("f", &text);
    assert_eq!(problems, []);
    let e = exercise.unwrap();
    // Source: ISO 286-1, 203.2 mm is above 180 up to 250, IT14 = 1150 micrometres = 0.04528 inch; tolerance none.
    check(&e, "9", "8", Some("7.955"), "8", 0.010_04);
    // Source: ISO 2768-1, table 1, class c, 762 mm: 2 mm = 0.0787 inch; tolerance none.
    check(&e, "5", "30", Some("29.922"), "30.078", 0.010_15);
}
