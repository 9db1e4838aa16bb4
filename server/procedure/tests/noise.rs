//! The noise of an honest pair: what is declared, and what 20,000 simulated reports show.

use super::plate::{model, serial};
use crate::procedure::fault::{Fault, Procedure};
use crate::procedure::sampler::Sampler;
use crate::procedure::simulate::Conditions;

const REPORTS: u32 = 20_000;

/// Mean, and covariance row by row, of the simulated values on these lines.
fn simulated(serial_text: &str, conditions: Conditions, lines: &[usize]) -> (Vec<f64>, Vec<Vec<f64>>) {
    let model = model();
    let mut sampler = Sampler::new(11, "noise statistics");
    let n = lines.len();
    let (mut sum, mut products) = (vec![0.0; n], vec![vec![0.0; n]; n]);
    let plate = model.plate(&serial(serial_text)).unwrap();
    let mut work = crate::procedure::reads::Work::default();
    model.predict_into(plate, &model.edit(&[]).unwrap(), &mut work);
    for _ in 0..REPORTS {
        let found = model
            .simulate(&serial(serial_text), &Procedure::perfect(), conditions, &mut sampler)
            .unwrap();
        let off: Vec<f64> = lines.iter().map(|i| found.values[*i] - work.values[*i]).collect();
        for i in 0..n {
            sum[i] += off[i];
            for j in 0..=i {
                products[i][j] += off[i] * off[j];
            }
        }
    }
    let count = f64::from(REPORTS);
    let mean: Vec<f64> = sum.iter().map(|s| s / count).collect();
    for i in 0..n {
        for j in 0..=i {
            products[i][j] = products[i][j] / count - mean[i] * mean[j];
        }
    }
    (mean, products)
}

/// Lines whose noise is not cut at 0: all but form, orientation, coaxiality (far from 0) and the slot's position.
fn uncut(line: usize) -> bool {
    ![10, 12, 15, 16, 18, 23, 33].contains(&(line + 1))
}

#[test]
fn simulated_reports_have_the_declared_covariance() {
    let model = model();
    let noise = model.noise(model.plate(&serial("T-1-01")).unwrap()).unwrap();
    let frame = noise.frame_covariance();
    let lines: Vec<usize> = (0..model.len()).filter(|i| uncut(*i)).collect();
    let (mean, covariance) = simulated("T-1-01", Conditions::default(), &lines);
    let n = f64::from(REPORTS);
    for (a, &i) in lines.iter().enumerate() {
        let half: f64 = if [4, 32].contains(&(i + 1)) { 0.01 } else { 0.005 };
        let declared = half.max(noise.frame_standard(i));
        // Source: U_lab / 2 or the frame's share; tolerance five standard errors: 5 s/sqrt n and 5 s^2 sqrt(2/n).
        assert!((noise.standard(i) - declared).abs() < 1e-12, "{}", i + 1);
        assert!(
            mean[a].abs() < 5.0 * declared / n.sqrt(),
            "mean of {}: {}",
            i + 1,
            mean[a]
        );
        let variance = declared * declared;
        assert!(
            (covariance[a][a] - variance).abs() < 5.0 * variance * (2.0 / n).sqrt(),
            "variance of {}",
            i + 1
        );
        for (b, &j) in lines.iter().enumerate().take(a) {
            // Source: the frame's covariance; standard error sqrt((si^2 sj^2 + cij^2) / n).
            let (other, shared) = (noise.standard(j), frame[(i, j)]);
            let error = ((variance * other * other + shared * shared) / n).sqrt();
            assert!(
                (covariance[a][b] - shared).abs() < 5.0 * error,
                "covariance of {} and {}",
                i + 1,
                j + 1
            );
        }
    }
}

#[test]
fn the_frame_covariance_is_that_of_its_touches() {
    let model = model();
    let noise = model.noise(model.plate(&serial("T-1-01")).unwrap()).unwrap();
    let c = noise.frame_covariance();
    let s2 = 0.002_f64 * 0.002;
    // Source: 3-2-1 by least squares. B: mean of two touches s^2/2, slope s^2/(2 x 20^2) = s^2/800 about (0, 30).
    // A: mean s^2/4, slope in x s^2/(4 x 40^2), in y s^2/(4 x 20^2) about (50, 30). C: s^2. Tolerance 1e-6 of each.
    let slope = [s2 / 6400.0, s2 / 1600.0, s2 / 800.0];
    let check = |i: usize, j: usize, expected: f64| {
        let found = c[(i - 1, j - 1)];
        assert!(
            (found - expected).abs() < 1e-6 * expected.abs().max(1e-9),
            "{i},{j}: {found} {expected}"
        );
    };
    // x of the bore: mean of B, y - 30 = 9.95 times its slope, z + 6 = 6 times the tilt about y, which is A's slope in x.
    check(2, 2, s2 / 2.0 + 9.95 * 9.95 * slope[2] + 36.0 * slope[0]);
    // y of the bore: C alone, x - 40 = 30.1 times B's slope, z + 6 = 6 times A's slope in y.
    check(3, 3, s2 + 30.1 * 30.1 * slope[2] + 36.0 * slope[1]);
    // x and y of the bore share B's slope and no tilt.
    check(2, 3, -9.95 * 30.1 * slope[2]);
    // z of the step: mean of A and 30 times its slope in x.
    check(14, 14, s2 / 4.0 + 900.0 * slope[0]);
    // z of the ball: 40 the other way and 20 in y.
    check(19, 19, s2 / 4.0 + 1600.0 * slope[0] + 400.0 * slope[1]);
    check(14, 19, s2 / 4.0 - 1200.0 * slope[0]);
    // Angle of the edge: B's slope in degrees. Sizes and form: nothing.
    check(13, 13, slope[2] * (180.0 / std::f64::consts::PI).powi(2));
    check(1, 1, 0.0);
    check(15, 15, 0.0);
    // Position of the bore is off along (0.1, -0.05), twice the unit direction of it.
    let along = |x: f64, y: f64, xy: f64| 4.0 * (0.8 * x + 0.2 * y - 2.0 * 0.4 * xy);
    let (x, y, xy) = (c[(1, 1)], c[(2, 2)], c[(1, 2)]);
    let found = c[(3, 3)];
    assert!(
        (found - along(x, y, xy)).abs() < 1e-3 * found,
        "{found} {}",
        along(x, y, xy)
    );
}

#[test]
fn the_reference_is_not_the_truth() {
    // Reference 2 of the physical plate has U = 0.003, k = 2.
    let (_, covariance) = simulated("T-1-02", Conditions::NOISELESS, &[1, 0]);
    let expected = 0.0015_f64 * 0.0015;
    let error = expected * (2.0 / f64::from(REPORTS)).sqrt();
    assert!(
        (covariance[0][0] - expected).abs() < 5.0 * error,
        "{} {expected}",
        covariance[0][0]
    );
    assert!(covariance[1][1] < 1e-20);
}

#[test]
fn stress_scales_what_it_says() {
    let model = model();
    let noise = model.noise(model.plate(&serial("T-1-01")).unwrap()).unwrap();
    let n = f64::from(REPORTS);
    let line = 1;
    let (frame, own) = (noise.frame_standard(line).powi(2), noise.independent[line].powi(2));
    let check = |conditions: Conditions, expected: f64, loose: f64| {
        let (_, covariance) = simulated("T-1-01", conditions, &[line]);
        let error = expected * (2.0 / n).sqrt() * loose;
        assert!((covariance[0][0] - expected).abs() < 5.0 * error, "{conditions:?}");
    };
    check(
        Conditions {
            frame: 2.0,
            ..Conditions::default()
        },
        4.0 * frame + own,
        1.0,
    );
    check(
        Conditions {
            all: 2.0,
            ..Conditions::default()
        },
        4.0 * (frame + own),
        1.0,
    );
    // The fourth moment of t(4) is infinite: the variance comes out loosely.
    check(
        Conditions {
            heavy_tails: true,
            ..Conditions::default()
        },
        frame + own,
        3.0,
    );
}

#[test]
fn one_seed_gives_one_noise_under_every_fault() {
    let model = model();
    let at = |faults: Vec<Fault>| {
        let mut sampler = Sampler::new(3, "same noise");
        let procedure = Procedure::with(faults).unwrap();
        model
            .simulate(&serial("T-1-01"), &procedure, Conditions::default(), &mut sampler)
            .unwrap()
            .values
    };
    let shift = Fault::OriginShift {
        axis: crate::exercise::model::Axis::X,
        amount: 1.5,
    };
    let (clean, shifted) = (at(Vec::new()), at(vec![shift]));
    assert!((shifted[1] - clean[1] - 1.5).abs() < 1e-9);
    assert_eq!(shifted[2].to_bits(), clean[2].to_bits());
    let inch = at(vec![Fault::WrongUnit { factor: 25.4 }]);
    assert!((inch[1] - clean[1] * 25.4).abs() < 1e-9);
    let radius = at(vec![Fault::RadiusForDiameter {
        items: vec!["1".parse().unwrap()],
    }]);
    assert!((radius[0] - clean[0] / 2.0).abs() < 1e-12);
    let copied = at(vec![Fault::NominalsCopied {
        items: vec!["1".parse().unwrap()],
    }]);
    assert!((copied[0] - 20.0).abs() < 1e-12);
    // Exchanged columns carry the noise of the place where the sheet has only one of the two.
    let crossed = at(vec![Fault::AxesExchanged {}]);
    assert_eq!(crossed[1].to_bits(), clean[2].to_bits());
    assert!((crossed[5] - 10.0 - (clean[5] - 20.0)).abs() < 1e-9);
}
