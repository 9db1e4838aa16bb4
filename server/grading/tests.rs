//! Whole grades of simulated reports: what a diagnosis does to a mark.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::grade::{DiagnosisState, Grade};
use super::{GradeInput, grade};
use crate::exercise::file::{read_exercise, read_plates};
use crate::exercise::model::{Axis, Exercise};
use crate::exercise::plate::Plates;
use crate::procedure::fault::{Fault, Procedure};
use crate::procedure::model::Model;
use crate::procedure::sampler::Sampler;
use crate::procedure::simulate::Conditions;
use crate::procedure::written::Habits;

fn shipped() -> (Exercise, Plates) {
    let exercise = read_exercise("exercise.toml", include_str!("../../exercises/SB-11/exercise.toml"))
        .0
        .unwrap();
    let text = include_str!("../../exercises/SB-11/plates.toml");
    let plates = read_plates("plates.toml", text, &exercise).0.unwrap();
    (exercise, plates)
}

/// The grade of a report with these faults on the first plate, with and without following through.
fn grades(faults: Vec<Fault>, seed: u64) -> [Grade; 2] {
    let (exercise, plates) = shipped();
    let model = Model::new(&exercise, &plates.plates).unwrap();
    let plate = &plates.plates[0];
    let mut sampler = Sampler::new(seed, "grades");
    let procedure = Procedure::with(faults).unwrap();
    let measured = model
        .simulate(&plate.serial, &procedure, Conditions::default(), &mut sampler)
        .unwrap();
    let report = model.write_report(&exercise, &exercise.marks, &measured, Habits::default(), &mut sampler);
    [true, false].map(|follow_through| {
        let rules = crate::exercise::model::MarksRules {
            follow_through,
            ..exercise.marks.clone()
        };
        grade(&GradeInput {
            name: "r1.csv",
            exercise: &exercise,
            plate,
            rules: &rules,
            report: &report,
            hand_marks: &BTreeMap::new(),
            siblings: &plates.plates,
            decided: &super::decided::UNDECIDED,
            set_up: None,
        })
    })
}

fn shift() -> Fault {
    Fault::OriginShift {
        axis: Axis::Y,
        amount: 2.4,
    }
}

#[test]
fn a_stated_shift_is_charged_once_and_the_lines_add_up() {
    let [with, without] = grades(vec![shift()], 3);
    assert_eq!(with.diagnosis.state, DiagnosisState::FaultStated);
    assert_eq!(with.diagnosis.faults[0].fault, "origin-shift");
    assert_eq!(with.diagnosis.faults[0].parameters["axis"], "y");
    assert!(with.diagnosis.faults[0].text.ends_with('.'));
    assert!(with.marks.r#final > without.marks.r#final);
    assert_eq!(with.marks.as_reported, without.marks.r#final);
    for g in [&with, &without] {
        assert_eq!(
            Some(g.marks.lines.iter().map(|l| l.points).sum::<Decimal>()),
            g.marks.r#final
        );
    }
    assert!(
        with.marks
            .lines
            .iter()
            .any(|l| l.text.starts_with("Charged once: origin off along Y"))
    );
    // What the fault explains is corrected to the plate, within U; what it does not touch stays as written.
    for item in &with.items {
        let explained = with.diagnosis.faults[0].explains.contains(&item.no);
        assert_eq!(item.corrected.is_some(), explained, "{}", item.no);
        if let (Some(corrected), Some(reference)) = (item.corrected, item.reference) {
            assert!(
                (corrected - reference).abs() < 0.015,
                "{}: {corrected} {reference}",
                item.no
            );
        }
    }
}

#[test]
fn what_only_an_instructor_confirms_and_what_nobody_knows_is_not_followed() {
    let (_, plates) = shipped();
    let other = Fault::WrongPlate {
        serial: plates.plates[3].serial.clone(),
    };
    let gross = Fault::GrossError {
        item: "8".parse().unwrap(),
        amount: Some(0.7),
    };
    for fault in [other, gross] {
        let [with, without] = grades(vec![fault.clone()], 5);
        assert_eq!(with.diagnosis.state, DiagnosisState::FaultStated, "{fault:?}");
        assert_eq!(with.marks, without.marks, "{fault:?}");
        assert!(with.items.iter().all(|i| i.corrected.is_none()), "{fault:?}");
    }
}

#[test]
fn nobody_loses_by_a_diagnosis() {
    let slip = Fault::DecimalSlipped {
        item: "9".parse().unwrap(),
        power: 1,
    };
    for seed in 0..6 {
        for faults in [
            Vec::new(),
            vec![slip.clone()],
            vec![shift(), slip.clone()],
            vec![Fault::TipIgnoredOnSize {}],
        ] {
            let [with, without] = grades(faults.clone(), seed);
            assert!(with.marks.r#final >= without.marks.r#final, "{seed} {faults:?}");
        }
    }
}
