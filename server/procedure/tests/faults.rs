//! Every family on the check plate, with numbers worked by hand.
//!
//! Middles of the touches: A (50, 30, 0), B (0, 30, -6), C (40, 0, -6); r = 2. At half a degree s = 0.008726535,
//! c = 0.999961923.

use super::plate::{model, serial};
use crate::exercise::model::Axis;
use crate::exercise::names::BalloonNo;
use crate::procedure::edit::FaultError;
use crate::procedure::fault::{Family, Fault, PlanAxis, QuarterTurn};

pub(super) fn no(text: &str) -> BalloonNo {
    text.parse().unwrap()
}

fn nos(items: &[&str]) -> Vec<BalloonNo> {
    items.iter().map(|i| no(i)).collect()
}

/// Faults, and what stands at some numbers; all numbers that are not listed keep the plate's value.
#[track_caller]
fn check(faults: &[Fault], expected: &[(&str, f64)]) {
    let model = model();
    let plate = model.plate(&serial("T-1-01")).unwrap();
    let clean = model.predict(plate, &[]).unwrap();
    let found = model.predict(plate, faults).unwrap();
    for (i, (value, clean)) in found.iter().zip(&clean).enumerate() {
        let number = (i + 1).to_string();
        let wanted = expected
            .iter()
            .find(|(n, _)| *n == number)
            .map_or(clean.unwrap(), |(_, v)| *v);
        let value = value.unwrap();
        // Source: worked by hand from the definition of the fault; tolerance 2e-6.
        assert!(
            (value - wanted).abs() < 2e-6,
            "{faults:?}: {number} is {value}, not {wanted}"
        );
    }
}

#[test]
fn the_plate_itself() {
    let exact = [
        ("1", 20.02),
        ("2", 70.1),
        ("3", 39.95),
        ("4", 0.223_606_798),
        ("9", 30.0),
        ("13", 90.0),
        ("16", 0.02),
        ("22", 45.0),
        ("27", 58.369_619_7),
        ("28", 50.1),
        ("29", 15.0),
        ("30", 12.0),
        ("31", 60.0),
        ("32", 82.680_408_8),
    ];
    check(&[], &exact);
}

#[test]
fn origin_shift_adds_to_one_axis() {
    let fault = Fault::OriginShift {
        axis: Axis::X,
        amount: 1.5,
    };
    // Position: 2 sqrt(1.6^2 + 0.05^2); of the slot twice 1.5 sin 30, across its width.
    let expected = [
        ("2", 71.6),
        ("4", 3.201_562_1),
        ("6", 21.5),
        ("10", 1.5),
        ("11", 101.5),
        ("17", 61.5),
        ("21", 101.5),
        ("24", 31.5),
    ];
    check(&[fault], &expected);
    check(
        &[Fault::OriginShift {
            axis: Axis::Z,
            amount: -0.3,
        }],
        &[("14", -8.3), ("19", 4.7)],
    );
}

#[test]
fn a_mistaken_surface_takes_its_height_off() {
    let fault = Fault::MistakenSurface {
        datum: 'C',
        name: "upper step".to_owned(),
    };
    // y - 6; position 2 sqrt(0.1^2 + 6.05^2); of the slot 2 x 6 cos 30.
    check(
        &[fault],
        &[("3", 33.95), ("4", 12.101_652_8), ("10", 10.392_304_8), ("25", 44.0)],
    );
}

#[test]
fn the_opposite_corner_counts_from_the_far_face() {
    // x - 100: 70.1 becomes -29.9.
    let expected = [
        ("2", -29.9),
        ("4", 199.800_025),
        ("6", -80.0),
        ("10", 100.0),
        ("11", 0.0),
        ("17", -40.0),
        ("21", 0.0),
        ("24", -70.0),
    ];
    check(&[Fault::OppositeCorner { axis: PlanAxis::X }], &expected);
}

#[test]
fn a_rotated_frame_turns_about_the_middle_of_the_secondary() {
    // x' = c x + s (y - 30), y' = -s (x - 40) + c y.
    let expected = [
        ("2", 70.184_159_8),
        ("3", 39.685_810_1),
        ("4", 0.728_368_4),
        ("6", 19.824_707_8),
        ("9", 29.5),
        ("10", 0.063_297_9),
        ("11", 99.996_192_3),
        ("13", 89.5),
        ("17", 59.997_715_4),
        ("21", 99.996_192_3),
        ("24", 30.173_388_4),
        ("25", 50.085_361_5),
        ("28", 50.359_452_1),
    ];
    check(&[Fault::FrameRotated { angle_deg: 0.5 }], &expected);
}

#[test]
fn a_tilted_frame_makes_z_grow() {
    // About y: x' = c x - s (z + 6), z' = s (x - 50) + c z; the zone of the step is its 30 mm in x, that of the wall its 8
    // mm in z, that of the hole its depth of 15 mm.
    let about_y = [
        ("2", 70.044_971_6),
        ("4", 0.134_498_2),
        ("6", 20.016_691_5),
        // atan(sin 30 / (c cos 30)).
        ("9", 30.000_944_7),
        ("10", 0.054_263_0),
        ("11", 99.987_465_8),
        ("14", -7.737_899_3),
        ("16", 0.02 + 0.261_796_1),
        ("17", 59.980_262_3),
        ("18", 0.015 + 0.069_812_3),
        ("19", 4.650_748_2),
        ("21", 100.031_098_5),
        // acos(c cos 45).
        ("22", 45.002_181_6),
        ("23", 0.012 + 0.130_898_0),
        ("24", 29.946_498_5),
        ("27", 58.308_072_4),
        ("28", 50.028_280_1),
        ("32", 82.677_446_7),
    ];
    check(
        &[Fault::FrameTilted {
            about: PlanAxis::Y,
            angle_deg: 0.5,
        }],
        &about_y,
    );
    let found = predicted(&[Fault::FrameTilted {
        about: PlanAxis::X,
        angle_deg: 0.5,
    }]);
    // About x: y' = c y + s (z + 6), z' = -s (y - 30) + c z; the step's zone is its 40 mm in y, the wall stands along it.
    for (number, wanted) in [
        (3, 40.000_838_0),
        (14, -7.999_695_4),
        (16, 0.02 + 0.349_061_4),
        (18, 0.015),
        (19, 4.825_278_9),
        (22, 45.5),
        (23, 0.012 + 0.130_898_0),
    ] {
        let value = found[number - 1];
        assert!((value - wanted).abs() < 2e-6, "{number} is {value}, not {wanted}");
    }
}

fn predicted(faults: &[Fault]) -> Vec<f64> {
    let model = model();
    let plate = model.plate(&serial("T-1-01")).unwrap();
    model
        .predict(plate, faults)
        .unwrap()
        .into_iter()
        .map(Option::unwrap)
        .collect()
}

#[test]
fn a_turned_part_is_set_against_the_datums_again() {
    // 90 degrees: x' = 60 - y, y' = x.
    let quarter = [
        ("2", 20.05),
        ("3", 70.1),
        ("4", 116.636_400_8),
        ("6", 50.0),
        ("9", 120.0),
        ("10", 61.961_524_2),
        ("11", 30.0),
        ("13", 180.0),
        ("17", 30.0),
        ("21", 30.0),
        ("24", 10.0),
        ("25", 30.0),
        ("28", 29.95),
    ];
    check(
        &[Fault::PartTurned {
            angle_deg: QuarterTurn::One,
        }],
        &quarter,
    );
    // 180 degrees: x' = 100 - x, y' = 60 - y.
    let half = predicted(&[Fault::PartTurned {
        angle_deg: QuarterTurn::Two,
    }]);
    for (number, wanted) in [
        (2, 29.9),
        (3, 20.05),
        (4, 89.577_061_8),
        (9, 30.0),
        (21, 0.0),
        (29, 15.0),
    ] {
        assert!(
            (half[number - 1] - wanted).abs() < 2e-6,
            "{number} is {}, not {wanted}",
            half[number - 1]
        );
    }
    // 270 degrees: x' = y, y' = 100 - x.
    let three = predicted(&[Fault::PartTurned {
        angle_deg: QuarterTurn::Three,
    }]);
    assert!((three[1] - 39.95).abs() < 1e-9 && (three[2] - 29.9).abs() < 1e-9);
}

#[test]
fn exchanged_columns_change_coordinates_only() {
    // Where the sheet has no y of a feature, its y stands in the place of x.
    let expected = [
        ("2", 39.95),
        ("3", 70.1),
        ("6", 10.0),
        ("11", 30.0),
        ("17", 30.0),
        ("21", 30.0),
        ("24", 50.0),
        ("25", 30.0),
    ];
    check(&[Fault::AxesExchanged {}], &expected);
}

#[test]
fn a_reversed_axis_changes_signs_only() {
    check(&[Fault::AxisReversed { axis: Axis::Z }], &[("14", 8.0), ("19", -5.0)]);
    check(
        &[Fault::AxisReversed { axis: Axis::Y }],
        &[("3", -39.95), ("25", -50.0)],
    );
}

#[test]
fn a_tip_ignored_on_a_datum_shifts_by_its_radius() {
    // Left face, n = -x: x' = x + 2. Top face, n = +z: z' = z - 2.
    let left = [
        ("2", 72.1),
        ("4", 4.201_190_3),
        ("6", 22.0),
        ("10", 2.0),
        ("11", 102.0),
        ("17", 62.0),
        ("21", 102.0),
        ("24", 32.0),
    ];
    check(&[Fault::TipIgnoredOnDatum { datum: 'B' }], &left);
    check(
        &[Fault::TipIgnoredOnDatum { datum: 'A' }],
        &[("14", -10.0), ("19", 3.0)],
    );
}

#[test]
fn a_tip_ignored_on_sizes_makes_holes_small_and_pins_large() {
    let expected = [
        ("1", 16.02),
        ("5", 12.0),
        ("7", 26.0),
        ("8", 6.0),
        ("20", 16.0),
        ("26", 6.0),
        ("29", 11.0),
        ("30", 16.0),
    ];
    check(&[Fault::TipIgnoredOnSize {}], &expected);
}

#[test]
fn a_tip_ignored_on_surfaces_moves_them_out() {
    // p' = p + 2 m; the facing walls come 4 closer, the opposite faces 4 apart.
    let expected = [
        ("11", 102.0),
        ("14", -6.0),
        ("17", 62.0),
        ("21", 102.0),
        ("29", 11.0),
        ("30", 16.0),
    ];
    check(&[Fault::TipIgnoredOnSurface {}], &expected);
}

#[test]
fn tip_ignored_on_sizes_and_surfaces_counts_once() {
    let found = predicted(&[Fault::TipIgnoredOnSize {}, Fault::TipIgnoredOnSurface {}]);
    assert!((found[28] - 11.0).abs() < 1e-9 && (found[29] - 16.0).abs() < 1e-9);
}

#[test]
fn a_wrong_tip_is_off_everywhere_and_a_step_keeps_its_value() {
    // amount 0.2: inside + 0.2, outside - 0.2; B (n = -x) - 0.1, C (n = -y) - 0.1, A (n = +z) + 0.1; surfaces - 0.1 m.
    // Edge, wall and point face +x: -0.1 of the datum and -0.1 of their own. The step faces +z: it keeps its value.
    let expected = [
        ("1", 20.22),
        ("2", 70.0),
        ("3", 39.85),
        ("4", 0.3),
        ("5", 7.8),
        ("6", 19.9),
        ("7", 30.2),
        ("8", 10.2),
        ("10", 0.073_205_1),
        ("11", 99.8),
        ("17", 59.8),
        ("19", 5.1),
        ("20", 11.8),
        ("21", 99.8),
        ("24", 29.9),
        ("25", 49.9),
        ("26", 10.2),
        ("29", 15.2),
        ("30", 11.8),
    ];
    check(&[Fault::TipWrong { amount: 0.2 }], &expected);
}

#[test]
fn a_wrong_unit_multiplies_every_length() {
    let clean = predicted(&[]);
    let found = predicted(&[Fault::WrongUnit { factor: 25.4 }]);
    for (i, (found, clean)) in found.iter().zip(&clean).enumerate() {
        let angle = [9, 13, 22, 31].contains(&(i + 1));
        let factor = if angle { 1.0 } else { 25.4 };
        assert!((found - clean * factor).abs() < 1e-9, "{}", i + 1);
    }
}

#[test]
fn temperature_scales_lengths_before_position_is_computed() {
    let found = predicted(&[Fault::Temperature { ppm: 100.0 }]);
    // Source: 100e-6 of each length; position 2 sqrt(0.10701^2 + 0.046005^2); tolerance 2e-6.
    for (number, wanted) in [
        (1, 20.022_002),
        (2, 70.107_01),
        (4, 0.232_960_1),
        (9, 30.0),
        (14, -8.000_8),
        (15, 0.010_001),
        (27, 58.375_456_6),
        (29, 15.001_5),
        (30, 12.001_2),
    ] {
        assert!(
            (found[number - 1] - wanted).abs() < 2e-6,
            "{number} is {}, not {wanted}",
            found[number - 1]
        );
    }
}

#[test]
fn bulk_writing_changes_the_named_values_only() {
    check(
        &[Fault::RadiusForDiameter {
            items: nos(&["1", "5"]),
        }],
        &[("1", 10.01), ("5", 4.0)],
    );
    let deviations = Fault::DeviationForValue {
        items: nos(&["1", "2", "3", "15"]),
    };
    check(&[deviations], &[("1", 0.02), ("2", 0.1), ("3", -0.05), ("15", 0.01)]);
    let copied = Fault::NominalsCopied {
        items: nos(&["1", "2", "3", "4"]),
    };
    check(&[copied], &[("1", 20.0), ("2", 70.0), ("3", 40.0), ("4", 0.0)]);
}

#[test]
fn exchanged_features_exchange_like_values() {
    let fault = Fault::FeaturesExchanged {
        a: "bore".parse().unwrap(),
        b: "pin".parse().unwrap(),
    };
    // y and position of the bore have no like at the pin: they stay.
    check(&[fault], &[("1", 8.0), ("2", 20.0), ("5", 20.02), ("6", 70.1)]);
}

#[test]
fn another_plate_gives_its_own_references() {
    let model = model();
    let plate = model.plate(&serial("T-1-01")).unwrap();
    let found = model
        .predict(
            plate,
            &[Fault::WrongPlate {
                serial: serial("T-1-02"),
            }],
        )
        .unwrap();
    let expected = |number: usize| if number == 2 { Some(69.9502) } else { None };
    for (i, value) in found.iter().enumerate() {
        assert_eq!(*value, expected(i + 1));
    }
}

#[test]
fn single_slips_strike_one_value() {
    check(
        &[Fault::DigitsTransposed {
            item: no("2"),
            place: Some(0),
        }],
        &[("2", 7.1)],
    );
    check(
        &[Fault::DigitsTransposed {
            item: no("3"),
            place: None,
        }],
        &[("3", 93.95)],
    );
    check(
        &[Fault::DecimalSlipped {
            item: no("2"),
            power: -1,
        }],
        &[("2", 7.01)],
    );
    check(&[Fault::SignDropped { item: no("14") }], &[("14", 8.0)]);
    check(
        &[Fault::GrossError {
            item: no("14"),
            amount: Some(0.7),
        }],
        &[("14", -7.3)],
    );
    let model = model();
    let plate = model.plate(&serial("T-1-01")).unwrap();
    let found = model
        .predict(
            plate,
            &[Fault::GrossError {
                item: no("14"),
                amount: None,
            }],
        )
        .unwrap();
    assert_eq!(found[13], None);
    assert!(found[12].is_some());
}

#[test]
fn steps_follow_their_order() {
    // Far corner and tip ignored there: n is the far face's, +x: x' = x - 100 - 2.
    let both = [
        Fault::OppositeCorner { axis: PlanAxis::X },
        Fault::TipIgnoredOnDatum { datum: 'B' },
    ];
    assert!((predicted(&both)[1] - (-31.9)).abs() < 1e-9);
    // A turned part that is 60 wide: its far corner is at 60.
    let turned = [
        Fault::OppositeCorner { axis: PlanAxis::X },
        Fault::PartTurned {
            angle_deg: QuarterTurn::One,
        },
    ];
    assert!((predicted(&turned)[1] - (20.05 - 60.0)).abs() < 1e-9);
    // The surface's normal turns with the part: m = +x becomes +y, so that x of the wall stays at 60 - 30.
    let tip = [
        Fault::TipIgnoredOnSurface {},
        Fault::PartTurned {
            angle_deg: QuarterTurn::One,
        },
    ];
    assert!((predicted(&tip)[16] - 30.0).abs() < 1e-9);
    // A shift is unscaled in the turned frame; then temperature, then the unit, then the deviation.
    let all = [
        Fault::DeviationForValue { items: nos(&["2"]) },
        Fault::WrongUnit { factor: 25.4 },
        Fault::OriginShift {
            axis: Axis::X,
            amount: 1.5,
        },
    ];
    assert!((predicted(&all)[1] - (71.6 * 25.4 - 70.0)).abs() < 1e-9);
    let two = [
        Fault::OriginShift {
            axis: Axis::X,
            amount: 1.5,
        },
        Fault::FrameRotated { angle_deg: 0.5 },
    ];
    assert!((predicted(&two)[1] - 71.684_159_8).abs() < 2e-6);
}

#[test]
fn names_that_do_not_exist_are_refused() {
    let model = model();
    let refuse = |fault: Fault| model.edit(&[fault]).unwrap_err();
    assert_eq!(
        refuse(Fault::SignDropped { item: no("99") }),
        FaultError::NoItem(no("99"))
    );
    assert_eq!(
        refuse(Fault::RadiusForDiameter { items: nos(&["2"]) }),
        FaultError::NoDiameter(no("2"))
    );
    assert_eq!(
        refuse(Fault::TipIgnoredOnDatum { datum: 'D' }),
        FaultError::NoDatum('D')
    );
    let name = "lower step".to_owned();
    let surface = Fault::MistakenSurface {
        datum: 'C',
        name: name.clone(),
    };
    assert_eq!(refuse(surface), FaultError::NoSurface { datum: 'C', name });
    let other = serial("T-1-03");
    assert_eq!(
        refuse(Fault::WrongPlate { serial: other.clone() }),
        FaultError::NoPlate(other)
    );
    let endless = refuse(Fault::OriginShift {
        axis: Axis::X,
        amount: f64::INFINITY,
    });
    assert_eq!(endless.to_string(), "amount is inf; it must be a number");
    assert!(matches!(
        refuse(Fault::WrongUnit { factor: 0.0 }),
        FaultError::Parameter { .. }
    ));
}

#[test]
fn all_families_are_checked_in_this_file() {
    let text = include_str!("faults.rs");
    for (code, _) in Family::ALL {
        let variant: String = code.split('-').map(|w| w[..1].to_uppercase() + &w[1..]).collect();
        assert!(text.contains(&format!("Fault::{variant} ")), "{variant}");
    }
}
