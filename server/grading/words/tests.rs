use super::*;
use crate::exercise::file::read_exercise;
use crate::procedure::fault::{Family, QuarterTurn};

fn exercise(code: &str) -> Exercise {
    let text = match code {
        "CP-23" => include_str!("../../../exercises/CP-23/exercise.toml"),
        _ => include_str!("../../../exercises/GC-40/exercise.toml"),
    };
    read_exercise("exercise.toml", text).0.unwrap()
}

fn no(n: &str) -> BalloonNo {
    n.parse().unwrap()
}

/// One fault of every family.
fn one_of_each(exercise: &Exercise) -> Vec<Fault> {
    let items = vec![no("1"), no("2"), no("3")];
    let mistaken = &exercise.mistaken_surfaces[0];
    let key = |i: usize| exercise.features[i].key.clone();
    vec![
        Fault::OriginShift {
            axis: Axis::X,
            amount: 1.5,
        },
        Fault::MistakenSurface {
            datum: mistaken.instead_of,
            name: mistaken.name.clone(),
        },
        Fault::OppositeCorner { axis: PlanAxis::Y },
        Fault::FrameRotated { angle_deg: 0.2 },
        Fault::FrameTilted {
            about: PlanAxis::X,
            angle_deg: 0.2,
        },
        Fault::PartTurned {
            angle_deg: QuarterTurn::One,
        },
        Fault::AxesExchanged {},
        Fault::AxisReversed { axis: Axis::Z },
        Fault::TipIgnoredOnDatum { datum: 'B' },
        Fault::TipIgnoredOnSize {},
        Fault::TipIgnoredOnSurface {},
        Fault::TipWrong { amount: 0.4 },
        Fault::WrongUnit { factor: 25.4 },
        Fault::Temperature { ppm: 90.0 },
        Fault::RadiusForDiameter { items: items.clone() },
        Fault::DeviationForValue {
            items: items[..1].to_vec(),
        },
        Fault::NominalsCopied { items },
        Fault::FeaturesExchanged { a: key(0), b: key(1) },
        Fault::WrongPlate {
            serial: "GC-40-02".parse().unwrap(),
        },
        Fault::DigitsTransposed {
            item: no("5"),
            place: None,
        },
        Fault::DecimalSlipped {
            item: no("5"),
            power: 1,
        },
        Fault::SignDropped { item: no("5") },
        Fault::GrossError {
            item: no("5"),
            amount: None,
        },
    ]
}

#[test]
fn every_family_has_three_whole_sentences_that_give_no_amount_away() {
    for code in ["CP-23", "GC-40"] {
        let exercise = exercise(code);
        let faults = one_of_each(&exercise);
        assert_eq!(faults.len(), Family::ALL.len());
        for fault in &faults {
            let w = words(&exercise, fault);
            for sentence in [&w.happened, &w.look, &w.next_time] {
                assert!(
                    sentence.ends_with('.') && sentence.starts_with(char::is_uppercase),
                    "{sentence}"
                );
                assert!(
                    !sentence.contains('!') && !sentence.contains("you forgot"),
                    "{sentence}"
                );
            }
            for amount in ["1.5", "0.2", "0.4", "90.0"] {
                assert!(!w.text().contains(amount), "{}", w.text());
            }
            assert!(!title(&exercise, fault).is_empty());
        }
    }
}

#[test]
fn amounts_are_in_the_unit_of_the_shop() {
    // Worked by hand.
    for (units, value, expected) in [
        (LengthUnit::Mm, 1.5, "1.500 mm"),
        (LengthUnit::Mm, 0.012, "0.012 mm"),
        (LengthUnit::Mm, -0.0004, "\u{2212}0.0004 mm"),
        (LengthUnit::Inch, 0.001, "1 thousandth of an inch"),
        (LengthUnit::Inch, 0.0125, "12.5 thousandths of an inch"),
        (LengthUnit::Inch, 0.25, "0.2500 inch"),
    ] {
        assert_eq!(length(units, value), expected);
    }
}

#[test]
fn numbers_are_counted_as_people_do() {
    let list = |n: &[&str]| numbers(&n.iter().map(|n| no(n)).collect::<Vec<_>>());
    assert_eq!(list(&["5"]), "number 5");
    assert_eq!(list(&["5", "7"]), "numbers 5 and 7");
    assert_eq!(list(&["5", "7", "9"]), "numbers 5, 7 and 9");
    assert_eq!(list(&["1", "2", "3", "4", "5", "6", "7", "8"]), "8 numbers from 1 to 8");
}

#[test]
fn a_mistaken_surface_is_told_as_an_instructor_would() {
    let exercise = exercise("CP-23");
    let fault = Fault::MistakenSurface {
        datum: 'B',
        name: "far wall of the groove".to_owned(),
    };
    assert_eq!(
        words(&exercise, &fault).happened,
        "The far wall of the groove was probably touched in place of the front face (datum B)."
    );
}

#[test]
fn one_value_is_told_as_one_and_what_the_display_should_read_is_said() {
    let mut exercise = exercise("CP-23");
    let fault = Fault::OriginShift {
        axis: Axis::Y,
        amount: 0.4,
    };
    let w = words(&exercise, &fault);
    assert!(
        w.happened.starts_with("All Y values are off by the same amount"),
        "{}",
        w.happened
    );
    assert_eq!(
        w.look,
        "Touch the front face (datum B) again: the display should read Y 0 there."
    );
    let mut kept = false;
    exercise.characteristics.retain(|c| {
        let y = c.of.axis() == Some(Axis::Y);
        !y || !std::mem::replace(&mut kept, true)
    });
    let w = words(&exercise, &fault);
    assert!(w.happened.starts_with("The one Y value is off, so"), "{}", w.happened);
}

/// Families whose sentences count: items, then how the first sentence begins and what else it holds.
#[test]
fn one_number_is_told_as_one_and_several_as_several() {
    let check = |fault: Fault, begins: &str, holds: &str| {
        let happened = words(&exercise("GC-40"), &fault).happened;
        assert!(happened.starts_with(begins) && happened.contains(holds), "{happened}");
    };
    let of = |n: &[&str]| n.iter().map(|n| no(n)).collect::<Vec<_>>();
    let radius = |n: &[&str]| Fault::RadiusForDiameter { items: of(n) };
    check(radius(&["3"]), "Number 3 is about half", "the radius was written down.");
    check(
        radius(&["3", "9"]),
        "Numbers 3 and 9 are about half",
        "the radii were written down.",
    );
    let deviation = |n: &[&str]| Fault::DeviationForValue { items: of(n) };
    check(
        deviation(&["3"]),
        "Number 3 looks like the difference from",
        "like the measured value.",
    );
    check(
        deviation(&["3", "4", "5"]),
        "Numbers 3, 4 and 5 look like the differences from",
        "like the measured values.",
    );
    let copied = |n: &[&str]| Fault::NominalsCopied { items: of(n) };
    check(copied(&["3"]), "Number 3 is exactly", "to the last place.");
    check(copied(&["3", "4"]), "Numbers 3 and 4 are exactly", "to the last place.");
}

#[test]
fn temperatures_and_amounts_are_those_of_the_shop() {
    let warm = Fault::Temperature { ppm: 100.0 };
    // Source: ISO 1, reference temperature 20 °C, which is 68 °F exactly.
    for (code, degrees, amount_in) in [
        ("CP-23", "20 °C", "0.010 mm in 100 mm"),
        ("GC-40", "68 °F", "0.4 thousandths of an inch in 4 inch"),
    ] {
        let exercise = exercise(code);
        assert!(words(&exercise, &warm).happened.ends_with(&format!("than {degrees}.")));
        assert!(title(&exercise, &warm).ends_with(degrees));
        let told = amount(&exercise, &warm).unwrap();
        assert!(told.starts_with(amount_in), "{told}");
    }
}
