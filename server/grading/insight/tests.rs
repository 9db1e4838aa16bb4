//! Sizes held against reports of the forward model, and against cases worked by hand.

use super::*;
use crate::exercise::file::read_exercise;
use crate::exercise::plate::PlateKind;
use crate::procedure::fault::{Family, Procedure};
use crate::procedure::model::Model;
use crate::procedure::sampler::Sampler;
use crate::procedure::simulate::Conditions;
use crate::procedure::written::Habits;

/// A block with holes; each line is `key x y quantities`.
fn block(holes: &[(&str, &str, &str, &[&str])]) -> Exercise {
    let mut text = String::from(
        r#"format = 1
code = "TS-01"
title = "Test block"
units = "mm"
decimals = 3
general_tolerance = "±0.05"
[body]
outline = [[0, 0], [100, 0], [100, 60], [0, 60]]
thickness = 20
material = "steel"
[datum_frame]
A = { face = "top", sets = "z", at = 0, touches = [[8, 8], [92, 8], [92, 52], [8, 52]] }
B = { face = "front", sets = "y", at = 0, touches = [[10, -8], [90, -8]] }
C = { face = "left", sets = "x", at = 0, touches = [[30, -8]] }
[measurement]
expanded_uncertainty = 0.008
per_length = 0
repeatability = 0
tip_diameter = 2.0
"#,
    );
    let mut no = 0;
    for (key, x, y, quantities) in holes {
        text.push_str(&format!(
            "[[feature]]\nkey = \"{key}\"\nname = \"Hole {key}\"\nkind = \"circle\"\nat = [{x}, {y}, 0]\ndiameter = 8\nside = \"inside\"\n"
        ));
        for of in *quantities {
            no += 1;
            text.push_str(&format!(
                "  [[feature.characteristic]]\n  no = \"{no}\"\n  of = \"{of}\"\n"
            ));
        }
    }
    let (exercise, problems) = read_exercise("exercise.toml", &text);
    exercise.unwrap_or_else(|| panic!("{problems:?}"))
}

fn of<'i>(insight: &'i Insight, family: Family, axis: &str) -> &'i FaultInsight {
    let named =
        |f: &&FaultInsight| f.fault.family() == family && serde_json::to_string(&f.fault).unwrap().contains(axis);
    insight.faults.iter().find(named).unwrap()
}

#[test]
fn one_amount_worked_by_hand() {
    // Four X values, nothing else on the sheet moves with X: U = 0.008, so u = 0.004, and rounding 0.001/sqrt 12.
    let exercise = block(&[
        ("a", "20", "20", &["x", "y", "diameter"]),
        ("b", "80", "20", &["x", "y", "diameter"]),
        ("c", "80", "45", &["x", "y", "diameter"]),
        ("d", "20", "45", &["x", "y", "diameter"]),
    ]);
    let found = insight(&exercise);
    let shift = of(&found, Family::OriginShift, "\"x\"");
    // Variance of one value 1.6e-5 + 8.333e-8 = 1.60833e-5; information 4 / 1.60833e-5 = 248,705 per mm^2; with the prior's
    // 2 mm: s^2 i = 994,819, its logarithm 13.810. Odds of clean 0.75 against 0.2125 / 26.5 / 3: logarithm 5.637. So the
    // critical value is the root of 2 x 5.637 + 13.810 = 25.08, 5.008; plus 1.645: 6.653; over 498.70 per mm: 0.0133 mm.
    let total: f64 = Priors::default().weights.iter().sum();
    let odds = (0.75 / (0.25 * 0.85 / total / 3.0)).ln();
    let si = 4.0 * 248_704.66;
    let critical = ((2.0 * odds + (1.0_f64 + si).ln()) * (1.0 + si) / si).sqrt();
    // Non-central chi-square with one degree of freedom: the far tail is nothing, so the root of the non-centrality is
    // the critical value plus the normal quantile of 95 %, 1.6449.
    let expected = (critical + 1.644_854) / 248_704.66_f64.sqrt();
    // Tolerance: the digits above.
    let scope = Scope::new(&exercise, &[], &Priors::default()).unwrap();
    let i = scope.suspects.iter().position(|s| s.fault == shift.fault).unwrap();
    let bound = scope.detectable(&scope.through(&scope.sheet()).unwrap()[i]).unwrap();
    assert!((bound - expected).abs() < 1e-6, "{bound} {expected}");
    assert!((expected - 0.0133).abs() < 5e-5, "{expected}");
    // Not knowing the noise's scale costs something, and naming costs more than detecting.
    let (detectable, identifiable) = (shift.detectable.unwrap(), shift.identifiable.unwrap());
    assert!(bound <= detectable && detectable <= identifiable && identifiable < 4.0 * bound);
}

#[test]
fn a_skewed_line_and_a_shifted_origin_need_a_second_place() {
    // One Y value alone: a skewed line, a shifted origin and one wrong value all move it.
    let poor = block(&[
        ("a", "20", "20", &["x", "y", "diameter"]),
        ("b", "80", "20", &["x", "diameter"]),
    ]);
    let found = insight(&poor);
    let set = found.confusable.iter().find(|c| {
        c.faults.iter().any(|f| {
            matches!(
                f,
                Fault::OriginShift {
                    axis: crate::exercise::model::Axis::Y,
                    ..
                }
            )
        }) && !c.alike
    });
    let set = set.unwrap();
    let families: Vec<Family> = set.faults.iter().map(Fault::family).collect();
    assert!(families.contains(&Family::GrossError), "{families:?}");
    let text = words::confusable(&poor, set);
    assert!(text.starts_with("Nothing on this print tells"), "{text}");
    let add = set.add.as_ref().unwrap();
    assert_eq!((add.feature.as_str(), add.of), ("b", Quantity::Y), "{text}");
    assert!(text.contains("add characteristic Y of Hole b."), "{text}");
    // With what is proposed the set is gone.
    let better = block(&[
        ("a", "20", "20", &["x", "y", "diameter"]),
        ("b", "80", "20", &["x", "y", "diameter"]),
    ]);
    let still = insight(&better).confusable.into_iter().any(|c| {
        !c.alike
            && c.faults.iter().any(|f| {
                matches!(
                    f,
                    Fault::OriginShift {
                        axis: crate::exercise::model::Axis::Y,
                        ..
                    }
                )
            })
    });
    assert!(!still);
}

#[test]
fn what_no_number_shows_is_said() {
    let flat = block(&[
        ("a", "20", "20", &["x", "diameter"]),
        ("b", "80", "45", &["x", "diameter"]),
    ]);
    let found = insight(&flat);
    let unseen = found.unseen.iter().find(|u| {
        matches!(
            u.fault,
            Fault::OriginShift {
                axis: crate::exercise::model::Axis::Y,
                ..
            }
        )
    });
    let unseen = unseen.unwrap();
    assert_eq!(unseen.add.as_ref().map(|a| a.of), Some(Quantity::Y));
    assert!(words::unseen(&flat, unseen).contains("would"));
    assert!(found.first.is_some());
}

struct Bench {
    exercise: Exercise,
    model: Model,
    plate: Plate,
}

impl Bench {
    fn new(code: &str) -> Self {
        let text = match code {
            "SB-11" => include_str!("../../../exercises/SB-11/exercise.toml"),
            _ => include_str!("../../../exercises/GC-40/exercise.toml"),
        };
        let exercise = read_exercise("exercise.toml", text).0.unwrap();
        let plate = Plate {
            serial: "AS-PRINTED".parse().unwrap(),
            kind: PlateKind::Virtual,
            seed: None,
            shop_uncertainty: None,
            planted: std::collections::BTreeMap::new(),
            references: std::collections::BTreeMap::new(),
        };
        let model = Model::new(&exercise, std::slice::from_ref(&plate)).unwrap();
        Self { exercise, model, plate }
    }

    /// Written values less nominal, of a report with a fault.
    fn report(&self, fault: &Fault, seed: u64) -> Vec<f64> {
        let mut sampler = Sampler::new(seed, "insight-test");
        let procedure = Procedure::with(vec![fault.clone()]).unwrap();
        let simulated = self
            .model
            .simulate(&self.plate.serial, &procedure, Conditions::default(), &mut sampler);
        let measured = simulated.unwrap();
        let rules = &self.exercise.marks;
        let report = self
            .model
            .write_report(&self.exercise, rules, &measured, Habits::default(), &mut sampler);
        let written = report.items.iter().map(|i| i.measured.as_ref().unwrap().approx());
        let perfect = self
            .model
            .predict(self.model.plate(&self.plate.serial).unwrap(), &[])
            .unwrap();
        written.zip(perfect).map(|(w, p)| w - p.unwrap()).collect()
    }
}

#[test]
fn at_the_smallest_sizes_reports_are_detected_and_named_as_often_as_is_said() {
    const REPORTS: u64 = 300;
    for code in ["SB-11", "GC-40"] {
        let bench = Bench::new(code);
        let found = insight(&bench.exercise);
        let scope = Scope::new(&bench.exercise, &[], &Priors::default()).unwrap();
        let lines = scope.sheet();
        let trials = Trials::new(&scope, &lines, &Priors::default()).unwrap();
        let seen = trials.seen();
        for one in found.faults.iter().filter(|f| f.detectable.is_some()) {
            let i = scope.suspects.iter().position(|s| s.fault == one.fault).unwrap();
            let rate = |size: f64, named: bool| {
                let fault = suspects::with_amount(&one.fault, size);
                let right = |seed: &u64| {
                    // Form and position turn at 0: the amounts do not look at them, so what they show stays out.
                    let mut off = bench.report(&fault, *seed);
                    for (o, c) in off.iter_mut().zip(&bench.exercise.characteristics) {
                        if c.of.is_geometrical() {
                            *o = 0.0;
                        }
                    }
                    let shares = trials.weigh(&off);
                    if !named {
                        return shares[0] < 0.5;
                    }
                    let alike = (0..seen.len()).filter(|j| *j == i || scope.alike(seen, i, size, *j));
                    alike.map(|j| shares[j + 1]).sum::<f64>() >= 0.90
                };
                count((0..REPORTS).filter(right).count()) / 300.0
            };
            // Source: the meaning of the sizes; tolerance four standard errors of 300 reports and of the 500 trials
            // that found them: 0.016 together.
            let detected = rate(one.detectable.unwrap(), false);
            assert!(
                (detected - 0.95).abs() < 0.064,
                "{code} {:?}: detected {detected}",
                one.fault
            );
            if let Some(size) = one.identifiable {
                let named = rate(size, true);
                assert!(
                    (named - 0.95).abs() < 0.064,
                    "{code} {:?} {size}: named {named}",
                    one.fault
                );
            }
        }
    }
}

#[test]
fn a_tried_size_holds_on_reports_that_it_was_not_found_with() {
    const REPORTS: u32 = 40;
    let bench = Bench::new("SB-11");
    let plates = [bench.plate.clone()];
    let mut found = insight_on(&bench.exercise, &plates);
    found.faults.retain(|f| f.fault.family() == Family::TipWrong);
    let effort = Effort {
        reports: REPORTS,
        most: 1000,
    };
    let trying = tried::Bench::new(&bench.exercise, &plates, "insight tried").unwrap();
    let mut left = effort.most;
    tried::sizes(&mut found, &trying, effort, &mut left);
    let one = &found.faults[0];
    assert_eq!(one.reports, REPORTS);
    assert!(left > 0 && left < effort.most, "{left}");
    let (detectable, identifiable) = (one.detectable.unwrap(), one.identifiable.unwrap());
    assert!(detectable <= identifiable, "{detectable} {identifiable}");
    let fresh = tried::Bench::new(&bench.exercise, &plates, "insight fresh").unwrap();
    let named = |size: f64| {
        let fault = suspects::with_amount(&one.fault, size);
        count((0..REPORTS).filter(|n| fresh.told(&fault, *n).named).count()) / f64::from(REPORTS)
    };
    // Source: the meaning of the size; tolerance three standard errors of the two times 40 reports, 0.049 together.
    let share = named(identifiable);
    assert!((share - 0.95).abs() < 0.15, "{share}");
    // A size that is far too small is not one that holds.
    assert!(named(0.6 * identifiable) < 0.6);
}

#[test]
fn work_is_bounded_and_what_is_not_tried_keeps_its_estimate() {
    let bench = Bench::new("SB-11");
    let estimated = insight(&bench.exercise);
    let effort = Effort { reports: 3, most: 40 };
    let found = tried(&bench.exercise, &[], effort).unwrap();
    assert_eq!(found.faults.len(), estimated.faults.len());
    let open = found
        .faults
        .iter()
        .zip(&estimated.faults)
        .filter(|(f, _)| f.reports == 0);
    let open: Vec<_> = open.collect();
    assert!(!open.is_empty());
    assert!(open.iter().all(|(f, e)| f == e));
    assert!(
        words::basis(&found).contains("marked with *"),
        "{}",
        words::basis(&found)
    );
    assert!(words::basis(&estimated).contains("estimates"));
}

#[test]
fn a_proposal_stands_only_where_reports_are_told_with_it() {
    let poor = block(&[
        ("a", "20", "20", &["x", "y", "diameter"]),
        ("b", "80", "20", &["x", "diameter"]),
        ("c", "80", "45", &["x", "diameter"]),
    ]);
    let found = proposed(&poor).unwrap();
    let along_y = |f: &Fault| {
        matches!(
            f,
            Fault::OriginShift {
                axis: crate::exercise::model::Axis::Y,
                ..
            }
        )
    };
    let set = found
        .confusable
        .iter()
        .find(|c| !c.alike && c.faults.iter().any(along_y));
    let set = set.unwrap();
    let add = set.add.as_ref().unwrap();
    assert_eq!(add.of, Quantity::Y);
    // Without it the diagnosis does not tell them, with it it does; with another diameter it would not.
    let plates: Vec<Plate> = tried::as_printed().into_iter().collect();
    let least = |extra: Option<Extra>| {
        let extended = Extended::new(&poor, extra.as_slice());
        let bench = tried::Bench::new(&extended.exercise, &plates, "insight mended").unwrap();
        mended::least(&bench, &set.faults)
    };
    let of = |feature: &str, of| Extra::Feature {
        feature: feature.parse().unwrap(),
        of,
    };
    assert!(least(None) < 0.9);
    assert!(least(Some(of("a", Quantity::Diameter))) < 0.9);
    assert!(least(Some(of(add.feature.as_str(), add.of))) >= 0.9);
}
