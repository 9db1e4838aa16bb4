//! Plans by hand, and against trials with the real frame and fits (JCGM 101).

use super::*;
use crate::exercise::file::{read_exercise, read_plates};
use crate::exercise::geometry;
use crate::exercise::plate::Plate;
use crate::procedure::points::{Setting, probed_points};
use crate::procedure::reduce::{Probed, reduce};
use crate::procedure::sampler::Sampler;
use crate::procedure::tests::plate::{dec, exercise, plate as check_plate};

fn close(found: f64, expected: f64, what: &str) {
    // Source: by hand; tolerance: that of differences of the reduction.
    assert!(
        (found - expected).abs() < 1e-7 + 1e-5 * expected,
        "{what}: {found}, not {expected}"
    );
}

/// The check plate: datum A touched at (10|90, 10|50), B at y = 10 and 50 on the left face, C at x = 40 on the front;
/// repeatability 0.002; steel. With a machine error and conditions of our own.
fn by_hand() -> (Exercise, Plan) {
    let mut exercise = exercise();
    exercise.measurement.per_length = dec("0.00001");
    let conditions = Conditions {
        tip: Some(0.003),
        temperature: 22.0,
        within: 0.6,
        expansion_within: 0.1,
    };
    let plan = plan(&exercise, &conditions);
    (exercise, plan)
}

fn budget_of<'a>(plan: &'a Plan, no: &str) -> &'a Budget {
    let line = plan.lines.iter().find(|l| l.no.as_str() == no).unwrap();
    line.budget.as_ref().unwrap()
}

#[test]
fn a_bore_by_hand() {
    let (_, plan) = by_hand();
    let s = 0.002;
    // The diameter of the bore, 20, from four touches: twice the radius, which has a quarter of the variance of a touch.
    let found = budget_of(&plan, "1");
    close(found.from_points(), s, "points");
    close(found.from_frame(), 0.0, "frame");
    close(found.tip, 0.003, "tip");
    close(found.length, 20.0 * 0.5e-5, "length");
    // Steel, 11.5e-6: half-widths 0.6 K, and a tenth of the coefficient over 2 K.
    let expansion = 11.5e-6 * (0.6_f64.hypot(0.2)) / 3.0_f64.sqrt();
    close(found.temperature, 20.0 * expansion, "temperature");
    // X of the bore at (70, 40): touched at z = -4. B at height -6, middle at y = 30, 20 to either side; A about (50, 30).
    let found = budget_of(&plan, "2");
    close(found.from_points(), s * 0.5_f64.sqrt(), "points");
    // Turned by B: lever 40 - 30 over 2 x 20^2. Tilted by A about y: lever 0 - -6 over 4 x 40^2; the bore's place is at z = 0.
    let turn = 0.5 + 10.0_f64.powi(2) / 800.0;
    close(found.frame[1], s * turn.sqrt(), "secondary");
    // A's tilt moves what is touched at z = -4 against B's height, -6.
    close(found.frame[0], s * (2.0_f64.powi(2) / 6400.0).sqrt(), "primary");
    close(found.frame[2], 0.0, "tertiary");
    close(found.tip, 0.003 / 2.0, "tip");
    close(found.length, 70.0 * 0.5e-5, "length");
    // Distance of bore and pin in plan, sqrt(50^2 + 30^2): the frame cancels but for tilts.
    let found = budget_of(&plan, "27");
    close(found.points[0], s * 0.5_f64.sqrt(), "first");
    close(found.points[1], s * 0.5_f64.sqrt(), "second");
    close(found.tip, 0.0, "tip");
    close(found.length, 3400.0_f64.sqrt() * 0.5e-5, "length");
    assert!(found.frame[1] < 1e-9 && found.frame[2] < 1e-9, "{found:?}");
}

#[test]
fn faces_and_angles_by_hand() {
    let (_, plan) = by_hand();
    let s = 0.002;
    // Height of the step at (80, 30), four touches; A: 1/4 + 30^2 / (4 x 40^2).
    let found = budget_of(&plan, "14");
    close(found.from_points(), s * 0.5, "points");
    close(found.frame[0], s * (0.25 + 900.0 / 6400.0_f64).sqrt(), "primary");
    close(found.tip, 0.0, "tip");
    // The groove's width, 15, between two faces of four touches each: the tip counts once.
    let found = budget_of(&plan, "29");
    close(found.from_points(), s * 0.5_f64.sqrt(), "points");
    close(found.tip, 0.003, "tip");
    // Angle of the edge: three touches, 0.8 of 40 long: variance 1 / (2 x 16^2); B: 1 / (2 x 20^2).
    let found = budget_of(&plan, "13");
    close(found.from_points(), (s / 512.0_f64.sqrt()).to_degrees(), "points");
    close(found.frame[1], (s / 800.0_f64.sqrt()).to_degrees(), "secondary");
    close(found.length, 0.0, "length");
    // Straightness from three touches: in the mean over all pairs 2 (3 - 2) / (3 - 1) of the variance of a touch.
    close(budget_of(&plan, "12").standard(), s, "form");
    // Position: twice the worse of x and y and of what lies between; not below twice the larger of both.
    let found = budget_of(&plan, "4").standard();
    let [x, y] = ["2", "3"].map(|no| budget_of(&plan, no).standard());
    assert!(
        found >= 2.0 * x.max(y) - 1e-9 && found <= 2.0 * x.hypot(y) + 1e-9,
        "{found} {x} {y}"
    );
}

/// Standard deviations of every characteristic over seeded trials on a plate, touches alone.
fn trials(exercise: &Exercise, plate: &Plate, count: usize) -> Vec<f64> {
    let nominal = geometry::nominal_states(exercise);
    let mut sampler = Sampler::new(7, "trials of plans");
    let radius = decimal_to_f64(exercise.measurement.tip_diameter) / 2.0;
    let setting = Setting::by_eye(exercise.units, &mut sampler);
    let mut sums = vec![[0.0_f64; 3]; exercise.characteristics.len()];
    for _ in 0..count {
        let points = probed_points(exercise, plate, &setting, 1.0, &mut sampler);
        let found = reduce(exercise, &nominal, &Probed::of(exercise, &points), radius).unwrap();
        for (sum, c) in sums.iter_mut().zip(&exercise.characteristics) {
            let value = found.value(exercise, &nominal, c).unwrap().unwrap();
            // About the first, so that the squares keep their digits.
            if sum[0] <= 0.0 {
                sum[0] = value.abs().max(1e-300);
            }
            let d = value - sum[0];
            sum[1] += d;
            sum[2] += d * d;
        }
    }
    let n = (0..count).map(|_| 1.0).sum::<f64>();
    sums.iter()
        .map(|[_, sum, squares]| ((squares - sum * sum / n) / (n - 1.0)).max(0.0).sqrt())
        .collect()
}

/// How the trials' standard deviation may lie to the plan's.
fn allowed(c: &Characteristic, count: usize) -> (f64, f64) {
    let error = 5.0 / (2.0 * (0..count).map(|_| 1.0).sum::<f64>()).sqrt();
    if c.of.is_geometrical() {
        // Where a value has several slopes the plan takes the worst, and a plate has another; near 0 a distance varies less
        // than the places do, and the largest of many heights less than each of them.
        return (0.3, 1.0 + error + 0.1);
    }
    (1.0 - error - 0.01, 1.0 + error + 0.01)
}

fn held_against_trials(exercise: &Exercise, plate: &Plate, count: usize) {
    let plan = plan(exercise, &Conditions::default());
    let found = trials(exercise, plate, count);
    for ((line, c), sd) in plan.lines.iter().zip(&exercise.characteristics).zip(found) {
        let Ok(budget) = &line.budget else {
            // Touches that show no form: the trials show none either.
            assert!(sd < 1e-9, "{} {}: {sd} {:?}", exercise.code, c.no, line.budget);
            continue;
        };
        let expected = budget.from_points().hypot(budget.from_frame());
        let (low, high) = allowed(c, count);
        let ratio = sd / expected;
        assert!(
            ratio > low && ratio < high,
            "{} {} {:?} of {}: {sd:e} in trials, {expected:e} in the plan ({ratio:.3})",
            exercise.code,
            c.no,
            c.of,
            line.owner
        );
    }
}

#[test]
fn the_check_plate_against_trials() {
    held_against_trials(&exercise(), &check_plate(), 600);
}

#[test]
fn shipped_exercises_against_trials() {
    for (file, plates) in [
        (
            include_str!("../../../exercises/SB-11/exercise.toml"),
            include_str!("../../../exercises/SB-11/plates.toml"),
        ),
        (
            include_str!("../../../exercises/CP-23/exercise.toml"),
            include_str!("../../../exercises/CP-23/plates.toml"),
        ),
        (
            include_str!("../../../exercises/SG-31/exercise.toml"),
            include_str!("../../../exercises/SG-31/plates.toml"),
        ),
    ] {
        let exercise = read_exercise("exercise.toml", file).0.unwrap();
        let plates = read_plates("plates.toml", plates, &exercise).0.unwrap();
        held_against_trials(&exercise, &plates.plates[0], 400);
    }
}

#[test]
fn what_is_not_reached_is_mended_by_its_advice() {
    let mut exercise = exercise();
    let state = |exercise: &mut Exercise, no: &str, u: &str| {
        let c = exercise.characteristics.iter_mut().find(|c| c.no.as_str() == no);
        c.unwrap().u_lab = dec(u);
    };
    for no in 1..=33 {
        state(&mut exercise, &no.to_string(), "1");
    }
    // The bore's diameter, from four points and the tip: 2 s sqrt(4/n + 1) with s = 0.002 is 0.0048 with nine, and 0.0049 with eight.
    state(&mut exercise, "1", "0.00475");
    // The step's height, which hangs on the frame most.
    state(&mut exercise, "14", "0.0024");
    let conditions = Conditions::default();
    let before = plan(&exercise, &conditions);
    let line = |plan: &Plan, no: &str| plan.lines.iter().find(|l| l.no.as_str() == no).unwrap().clone();
    let advice = line(&before, "1").advice.unwrap();
    assert_eq!(
        (advice.change, advice.reaches),
        (Change::Points { feature: 0, to: 9 }, true)
    );
    // Taking it does what it says, and one touch less does not.
    let with = |points: u32| {
        let mut changed = exercise.clone();
        changed.features[0].points = points;
        line(&plan(&changed, &conditions), "1")
    };
    assert!(with(9).is_reached() && !with(8).is_reached());
    assert!((with(9).budget.unwrap().expanded() - advice.expanded).abs() < 1e-12);
    let step = line(&before, "14").advice.unwrap();
    assert!(
        step.reaches && matches!(step.change, Change::Touches { datum: 'A', .. }),
        "{step:?}"
    );
    assert!(before.first.unwrap().mends >= 1);
    // Form does not fall with the number of touches: no advice would help.
    state(&mut exercise, "15", "0.001");
    assert!(line(&plan(&exercise, &conditions), "15").advice.is_none());
}

#[test]
fn where_nothing_is_missing_the_tightest_is_eased() {
    let file = include_str!("../../../exercises/SB-11/exercise.toml");
    let exercise = read_exercise("exercise.toml", file).0.unwrap();
    let plan = plan(&exercise, &Conditions::default());
    let share = |l: &Line| l.share().unwrap_or(0.0);
    assert!(
        plan.lines.iter().all(|l| l.budget.is_err() || l.is_reached()),
        "{plan:?}"
    );
    let first = plan.first.unwrap();
    let eased = &plan.lines[first.line];
    assert!(first.expanded < 0.98 * eased.budget.as_ref().unwrap().expanded());
    assert!(share(eased) > 0.5, "{first:?}");
}
