use std::collections::BTreeMap;

use super::*;
use crate::exercise::file::{read_exercise, read_plates};
use crate::exercise::model::Exercise;
use crate::exercise::plate::{Plate, references};
use crate::grading::grade::DiagnosisState;

fn step_block() -> (Exercise, Plate) {
    let file = |name: &str| {
        std::fs::read_to_string(format!("{}/exercises/SB-11/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap_or_default()
    };
    let (exercise, _) = read_exercise("exercise.toml", &file("exercise.toml"));
    let exercise = exercise.unwrap_or_else(|| unreachable!("the step block is shipped"));
    let (plates, _) = read_plates("plates.toml", &file("plates.toml"), &exercise);
    let plate = plates.and_then(|p| p.plates.into_iter().next());
    (exercise, plate.unwrap_or_else(|| unreachable!("so are its plates")))
}

const MEANS: Means = Means {
    error: 0.0015,
    error_per_length: 3e-6,
    tip: 0.0005,
    within: 0.5,
    expansion_within: 0.1,
    corrected: true,
};

fn round(exercise: &Exercise, plate: &Plate, change: impl Fn(&str, Decimal) -> Decimal) -> Round {
    let values = exercise.characteristics.iter().zip(references(exercise, plate));
    Round {
        values: values
            .filter_map(|(c, r)| Some((c.no.clone(), vec![change(c.no.as_str(), r?.value.round_dp(4))])))
            .collect(),
        celsius: Some(20.0),
    }
}

fn one(no: &str, rounds: &[&[&str]]) -> Vec<Round> {
    let no: BalloonNo = no.parse().unwrap_or_else(|_| unreachable!("a number"));
    let values = |texts: &[&str]| texts.iter().filter_map(|t| t.parse().ok()).collect();
    rounds
        .iter()
        .map(|texts| Round {
            values: BTreeMap::from([(no.clone(), values(texts))]),
            celsius: None,
        })
        .collect()
}

#[test]
fn a_budget_worked_by_hand() {
    let (exercise, _) = step_block();
    // Number 7, diameter 8: rounds 8.050, 8.052, 8.054; mean 8.052, s = 0.002, u = 0.002/sqrt 3 = 0.0011547, 2 degrees.
    // Machine (0.0015 + 3e-6 8)/sqrt 3 = 0.00087988; tip 0.0005; temperature 23.6e-6 8 0.5/sqrt 3 = 0.0000545;
    // last place 0.001/2/sqrt 3 = 0.00028868. u = 0.00156328; degrees 2 (u/uA)^4 = 6.719; k(95.45 %, 6) = 2.517.
    let rounds = one("7", &[&["8.050"], &["8.052"], &["8.054"]]);
    let found = budget(&exercise, 6, &rounds, &MEANS).unwrap();
    let near =
        |found: f64, expected: f64, tolerance: f64| assert!((found - expected).abs() < tolerance, "{found} {expected}");
    near(found.value, 8.052, 1e-12);
    near(found.parts[0].u, 0.001_154_7, 1e-7);
    near(found.parts[1].u, 0.000_879_88, 1e-8);
    near(found.parts[2].u, 0.000_5, 1e-12);
    near(found.parts[3].u, 0.000_054_5, 1e-7);
    near(found.parts[4].u, 0.000_288_68, 1e-8);
    near(found.combined.u, 0.001_563_275, 1e-8);
    near(found.combined.degrees.unwrap(), 6.719, 0.001);
    // Source: JCGM 100:2008, table G.2, 95.45 % with 6 degrees of freedom: 2.52; tolerance half the last place.
    near(found.k, 2.52, 0.005);
    let (value, expanded) = found.rounded(3).unwrap();
    assert_eq!(value.to_string(), "8.052");
    assert_eq!(
        expanded,
        crate::units::round_up(crate::units::decimal_from_f64(found.expanded).unwrap(), 5)
    );
}

#[test]
fn scatter_within_rounds_counts_where_it_is_larger() {
    let (exercise, _) = step_block();
    // Means 8.052 and 8.052, but readings 4 micrometres apart: within s = 0.0028284 of 2 degrees, over sqrt 4.
    let rounds = one("7", &[&["8.050", "8.054"], &["8.050", "8.054"]]);
    let found = budget(&exercise, 6, &rounds, &MEANS).unwrap();
    assert_eq!(found.parts[0].source, "repeatability within rounds");
    assert!((found.parts[0].u - 0.001_414_2).abs() < 1e-6, "{}", found.parts[0].u);
    assert_eq!(found.parts[0].degrees, Some(2.0));
    // With one round the class's own U stands in: half of 0.008 + 4e-6 8.
    let found = budget(&exercise, 6, &one("7", &[&["8.052"]]), &MEANS).unwrap();
    assert_eq!(found.parts[0].source, "one round only");
    assert!((found.parts[0].u - 0.004_016).abs() < 1e-9);
    assert_eq!(budget(&exercise, 5, &rounds, &MEANS), None);
}

#[test]
fn values_as_read_are_corrected_to_20_degrees() {
    let (exercise, _) = step_block();
    let mut rounds = one("6", &[&["100.0236"], &["100.0236"]]);
    for r in &mut rounds {
        r.celsius = Some(30.0);
    }
    let as_read = Means {
        corrected: false,
        ..MEANS
    };
    // Aluminium, 23.6e-6 over 10 K of 100: 0.0236.
    let found = budget(&exercise, 5, &rounds, &as_read).unwrap();
    assert!((found.value - 100.0).abs() < 1e-5, "{}", found.value);
    assert!(found.parts.iter().any(|p| p.source == "expansion"));
}

#[test]
fn a_round_from_the_wrong_face_is_named() {
    let (exercise, plate) = step_block();
    let noise = |n: i64| {
        move |no: &str, v: Decimal| v + Decimal::new((i64::try_from(no.len()).unwrap_or(0) * 7 + n * 5) % 11 - 5, 4)
    };
    let mut rounds: Vec<Round> = (0..3).map(|n| round(&exercise, &plate, noise(n))).collect();
    for at in 0..3 {
        let found = suspicion(&exercise, &rounds, at, &MEANS).unwrap();
        assert_eq!(found.state, DiagnosisState::Clean, "{found:?}");
    }
    // The relieved end of the front face, 5 mm behind datum B: every Y is 5 less.
    let y = |no: &str| ["9", "11", "14"].contains(&no);
    rounds.push(round(
        &exercise,
        &plate,
        |no, v| if y(no) { v - Decimal::from(5) } else { v },
    ));
    let found = suspicion(&exercise, &rounds, 3, &MEANS).unwrap();
    assert_eq!(found.state, DiagnosisState::FaultStated, "{found:?}");
    assert!(!found.sentences.is_empty());
    let away = away(&exercise, &rounds, &MEANS);
    let nos: Vec<&str> = away.iter().filter(|a| a.round == 3).map(|a| a.no.as_str()).collect();
    assert!(["9", "11", "14"].iter().all(|no| nos.contains(no)), "{nos:?}");
    assert!(suspicion(&exercise, &rounds[..1], 0, &MEANS).is_none());
}

#[test]
fn values_that_differ_by_less_than_the_machine_explains_are_no_outliers() {
    let (exercise, _) = step_block();
    // Twice the standard uncertainty of machine, tip, temperature and last place of number 7 is 0.0021 (worked above).
    for (third, expected) in [("8.052", 0), ("8.060", 1)] {
        let rounds = one("7", &[&["8.050"], &["8.050"], &[third]]);
        let found = away(&exercise, &rounds, &MEANS);
        assert_eq!(found.len(), expected, "{third}");
        // The test alone calls both outliers: of three values, two of them equal, the third always lies furthest.
        assert!(found.iter().all(|a| a.round == 2 && a.test.is_outlier()));
    }
}

#[test]
fn a_plate_is_good_enough_or_it_is_said_why_not() {
    let (exercise, mut plate) = step_block();
    let found = worth(&exercise, &plate);
    assert!(found.is_good, "{found:?}");
    let no: BalloonNo = "2".parse().unwrap();
    plate.references.get_mut(&no).unwrap().expanded = Decimal::new(2, 2);
    let found = worth(&exercise, &plate);
    assert!(
        !found.is_good && found.against[0].contains("number 2 the plate is known less well"),
        "{found:?}"
    );
    plate.references.remove(&no);
    plate.shop_uncertainty = None;
    let found = worth(&exercise, &plate);
    assert!(
        found.against[0].contains("Nothing is established at number"),
        "{found:?}"
    );
}
