//! What holds for every procedure of a family.

use proptest::prelude::*;

use super::plate::{exercise, model, plate, serial};
use crate::exercise::geometry::{self, Asked};
use crate::exercise::model::{Axis, Quantity};
use crate::exercise::plate as plates;
use crate::procedure::fault::{Fault, PlanAxis};
use crate::procedure::frame::Frame;

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
fn the_perfect_procedure_gives_the_references() {
    let exercise = exercise();
    let references = plates::references(&exercise, &plate());
    for (value, reference) in predicted(&[]).iter().zip(&references) {
        let reference = crate::units::decimal_to_f64(reference.as_ref().unwrap().value);
        assert_eq!(value.to_bits(), reference.to_bits());
    }
}

#[test]
fn the_model_reads_characteristics_as_the_exercise_does() {
    let exercise = exercise();
    let model = model();
    let nominal = geometry::nominal_states(&exercise);
    let states = plates::true_states(&exercise, &plate());
    for (i, c) in exercise.characteristics.iter().enumerate() {
        let value = geometry::value(&exercise.features, &exercise.between, &nominal, &states, Asked::from(c)).unwrap();
        assert!((model.plates[0].perfect[i] - value).abs() < 1e-12, "{}", c.no);
    }
}

#[test]
fn what_is_not_established_is_not_predicted() {
    let model = model();
    let plate = model.plate(&serial("T-1-02")).unwrap();
    let found = model
        .predict(
            plate,
            &[Fault::OriginShift {
                axis: Axis::X,
                amount: 1.0,
            }],
        )
        .unwrap();
    assert!((found[1].unwrap() - 70.9502).abs() < 1e-9);
    assert_eq!(found.iter().filter(|v| v.is_some()).count(), 1);
}

proptest! {
    #[test]
    fn a_shift_changes_coordinates_of_its_axis_and_position_only(amount in -20.0..20.0, axis in 0..3_usize) {
        let axis = [Axis::X, Axis::Y, Axis::Z][axis];
        let exercise = exercise();
        let (clean, found) = (predicted(&[]), predicted(&[Fault::OriginShift { axis, amount }]));
        for (c, (clean, found)) in exercise.characteristics.iter().zip(clean.iter().zip(&found)) {
            if c.of.axis() == Some(axis) {
                prop_assert!((found - clean - amount).abs() < 1e-9, "{}", c.no);
            } else if c.of == Quantity::Position {
                prop_assert!(*found >= 0.0);
            } else {
                prop_assert!((found - clean).abs() < 1e-9, "{}", c.no);
            }
        }
    }

    #[test]
    fn a_wrong_unit_and_back_is_nothing(factor in prop::sample::select(vec![25.4, 1.0 / 25.4])) {
        let twice = [Fault::WrongUnit { factor }, Fault::WrongUnit { factor: 1.0 / factor }];
        for (found, clean) in predicted(&twice).iter().zip(predicted(&[])) {
            prop_assert!((found - clean).abs() <= 1e-12 * clean.abs());
        }
    }

    #[test]
    fn a_turned_frame_leaves_sizes_distances_in_plan_and_form(angle_deg in -2.0..2.0) {
        let exercise = exercise();
        let (clean, found) = (predicted(&[]), predicted(&[Fault::FrameRotated { angle_deg }]));
        for (c, (clean, found)) in exercise.characteristics.iter().zip(clean.iter().zip(&found)) {
            let free = c.of.is_size() || c.of.is_form() || (c.of == Quantity::Distance && c.along.is_none());
            if free || matches!(c.of, Quantity::Parallelism | Quantity::Perpendicularity | Quantity::Z) {
                prop_assert!((found - clean).abs() < 1e-9, "{}", c.no);
            }
        }
    }

    #[test]
    fn datums_keep_their_coordinates_however_the_frame_is_turned(a in -5.0..5.0, b in -5.0..5.0, c in -5.0..5.0) {
        let datums = &model().datums;
        let frame = Frame::posed(datums, [a, b, c], [0.0; 3]);
        for (axis, datum) in datums.iter().enumerate() {
            prop_assert!((frame.place(datum.middle)[axis] - datum.at).abs() < 1e-12);
        }
        // A rigid movement: lengths stay.
        let (p, q) = (frame.place([10.0, 20.0, -3.0]), frame.place([70.0, 50.0, -9.0]));
        let length = (0..3).map(|i| (p[i] - q[i]).powi(2)).sum::<f64>().sqrt();
        prop_assert!((length - (3600.0_f64 + 900.0 + 36.0).sqrt()).abs() < 1e-9);
    }

    #[test]
    fn a_tilt_never_makes_an_orientation_smaller(angle_deg in -2.0..2.0, about in 0..2_usize) {
        let about = PlanAxis::ALL[about];
        let (clean, found) = (predicted(&[]), predicted(&[Fault::FrameTilted { about, angle_deg }]));
        for i in [15, 17, 22] {
            prop_assert!(found[i] >= clean[i] - 1e-12);
        }
    }

    #[test]
    fn faults_come_in_any_order(a in -3.0..3.0, b in -0.8..0.8, c in -200.0..200.0) {
        let faults = [
            Fault::OriginShift { axis: Axis::Y, amount: a },
            Fault::FrameRotated { angle_deg: b },
            Fault::Temperature { ppm: c },
        ];
        let mut turned = faults.clone();
        turned.reverse();
        prop_assert_eq!(predicted(&faults), predicted(&turned));
    }
}
