//! Points of plates, reduced again: what comes out is what the plate is.

use super::*;
use crate::exercise::plate;
use crate::procedure::points::{Setting, probed_points};
use crate::procedure::sampler::Sampler;
use crate::procedure::tests::plate::{exercise, plate as check_plate};

const SETTING: Setting = Setting {
    angle_deg: 17.0,
    tilt_deg: [0.3, -0.2],
    offset: [210.0, -35.0, -400.0],
};

#[test]
fn values_are_those_of_the_plate() {
    let (exercise, plate) = (exercise(), check_plate());
    let nominal = geometry::nominal_states(&exercise);
    let points = probed_points(&exercise, &plate, &SETTING, 0.0, &mut Sampler::new(5, "reduce"));
    let found = reduce(&exercise, &nominal, &Probed::of(&exercise, &points), 2.0).unwrap();
    let states = plate::true_states(&exercise, &plate);
    for c in &exercise.characteristics {
        let value = found.value(&exercise, &nominal, c).unwrap().unwrap();
        let (features, between) = (&exercise.features, &exercise.between);
        let truth = geometry::value(features, between, &nominal, &states, Asked::from(c)).unwrap();
        // The far wall's touches stand up; against the wall it leans by what that one leans.
        let truth = if c.no.as_str() == "33" { 0.015 } else { truth };
        // Source: the plate's own state; tolerance: fits that have converged. Second order of orientation: 1e-6.
        assert!(
            (value - truth).abs() < 2e-6,
            "{} {:?}: {value}, not {truth}",
            c.no,
            c.of
        );
    }
}

#[test]
fn what_is_not_touched_has_no_value() {
    let exercise = exercise();
    let nominal = geometry::nominal_states(&exercise);
    let points = probed_points(&exercise, &check_plate(), &SETTING, 0.0, &mut Sampler::new(5, "reduce"));
    let mut probed = Probed::of(&exercise, &points);
    probed.features[0].truncate(2);
    probed.features[9].clear();
    let found = reduce(&exercise, &nominal, &probed, 2.0).unwrap();
    let said = |i: usize| found.features[i].as_ref().unwrap_err().to_string();
    assert_eq!(said(0), "bore: a circle needs at least 3 points, 2 given");
    assert!(said(9).starts_with("touch: "), "{}", said(9));
    let c = exercise
        .characteristics
        .iter()
        .find(|c| exercise.features_of(c) == [0, 1]);
    assert!(found.value(&exercise, &nominal, c.unwrap()).is_err());
    probed.datums[1].clear();
    assert!(matches!(
        reduce(&exercise, &nominal, &probed, 2.0),
        Err(ReduceError::Frame(_))
    ));
}
