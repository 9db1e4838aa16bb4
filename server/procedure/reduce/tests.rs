//! Points of plates, reduced again: what comes out is what the plate is.

use super::*;
use crate::exercise::file::{read_exercise, read_plates};
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

#[test]
fn shipped_plates_come_back_from_their_own_points() {
    for (file, plates) in [
        (
            include_str!("../../../exercises/SB-11/exercise.toml"),
            include_str!("../../../exercises/SB-11/plates.toml"),
        ),
        (
            include_str!("../../../exercises/JP-14/exercise.toml"),
            include_str!("../../../exercises/JP-14/plates.toml"),
        ),
        (
            include_str!("../../../exercises/PC-21/exercise.toml"),
            include_str!("../../../exercises/PC-21/plates.toml"),
        ),
        (
            include_str!("../../../exercises/CP-23/exercise.toml"),
            include_str!("../../../exercises/CP-23/plates.toml"),
        ),
        (
            include_str!("../../../exercises/SG-31/exercise.toml"),
            include_str!("../../../exercises/SG-31/plates.toml"),
        ),
        (
            include_str!("../../../exercises/GC-40/exercise.toml"),
            include_str!("../../../exercises/GC-40/plates.toml"),
        ),
    ] {
        let exercise = read_exercise("exercise.toml", file).0.unwrap();
        let plates = read_plates("plates.toml", plates, &exercise).0.unwrap();
        let nominal = geometry::nominal_states(&exercise);
        let radius = decimal_to_f64(exercise.measurement.tip_diameter) / 2.0;
        for plate in &plates.plates {
            let mut sampler = Sampler::new(11, "shipped");
            let points = probed_points(&exercise, plate, &SETTING, 0.0, &mut sampler);
            let found = reduce(&exercise, &nominal, &Probed::of(&exercise, &points), radius).unwrap();
            let states = plate::true_states(&exercise, plate);
            for c in &exercise.characteristics {
                let value = found.value(&exercise, &nominal, c).unwrap().unwrap();
                let (features, between) = (&exercise.features, &exercise.between);
                let truth = geometry::value(features, between, &nominal, &states, Asked::from(c)).unwrap();
                // Source: what the plate is; tolerance 1e-4 mm or degrees, second order of its turns.
                let off = (value - truth).abs();
                let allowed = if c.of.is_angle() {
                    1e-4
                } else {
                    exercise.units.from_mm_f64(1e-4)
                };
                assert!(
                    off < allowed,
                    "{} {} {:?}: {value}, not {truth}",
                    plate.serial,
                    c.no,
                    c.of
                );
            }
        }
    }
}
