//! From values to sheets: rounding, slips, calls, habits.

use super::plate::{dec, exercise, model, serial};
use crate::exercise::model::MarksRules;
use crate::metrology::conformity::DecisionRule;
use crate::procedure::fault::{Fault, Procedure};
use crate::procedure::sampler::Sampler;
use crate::procedure::simulate::Conditions;
use crate::procedure::written::Habits;
use crate::report::call::Call;
use crate::report::model::Report;

fn report(faults: Vec<Fault>, rules: &MarksRules, habits: Habits, seed: u64) -> Report {
    let model = model();
    let mut sampler = Sampler::new(seed, "reports");
    let procedure = Procedure::with(faults).unwrap();
    let measured = model
        .simulate(&serial("T-1-01"), &procedure, Conditions::NOISELESS, &mut sampler)
        .unwrap();
    model.write_report(&exercise(), rules, &measured, habits, &mut sampler)
}

fn written(report: &Report, number: usize) -> String {
    report.items[number - 1].measured.as_ref().unwrap().to_string()
}

#[test]
fn a_careful_pair_writes_rounded_values_and_right_calls() {
    let found = report(Vec::new(), &MarksRules::default(), Habits::default(), 1);
    for (number, value, call) in [
        (1, "20.020", Call::Conforming),
        // 0.1 off with limits of 0.1: on the limit, which conforms.
        (2, "70.100", Call::Conforming),
        (4, "0.224", Call::Nonconforming),
        (14, "-8.000", Call::Conforming),
        (27, "58.370", Call::Conforming),
    ] {
        assert_eq!(written(&found, number), value);
        assert_eq!(found.items[number - 1].call, Some(call), "{number}");
    }
}

#[test]
fn slips_strike_what_is_written_and_the_call_follows_it() {
    let item = || "2".parse().unwrap();
    let of = |fault: Fault| report(vec![fault], &MarksRules::default(), Habits::default(), 1);
    let digits = of(Fault::DigitsTransposed {
        item: item(),
        place: Some(-2),
    });
    assert_eq!(written(&digits, 2), "70.010");
    let point = of(Fault::DecimalSlipped {
        item: item(),
        power: -1,
    });
    assert_eq!(written(&point, 2), "7.0100");
    assert_eq!(point.items[1].call, Some(Call::Nonconforming));
    let inch = of(Fault::WrongUnit { factor: 1.0 / 25.4 });
    assert_eq!(written(&inch, 2), "2.760");
    assert_eq!(
        written(
            &of(Fault::SignDropped {
                item: "14".parse().unwrap()
            }),
            14
        ),
        "8.000"
    );
}

#[test]
fn guard_bands_and_the_rule_of_three_reach_the_calls() {
    let rules = |decision_rule| MarksRules {
        decision_rule,
        ..MarksRules::default()
    };
    let call = |rule, number: usize| report(Vec::new(), &rules(rule), Habits::default(), 1).items[number - 1].call;
    // x of the bore lies on its limit, U = 0.01.
    assert_eq!(call(DecisionRule::GuardedAcceptance, 2), Some(Call::Nonconforming));
    assert_eq!(call(DecisionRule::ThreeWay, 2), Some(Call::Undecided));
    assert_eq!(call(DecisionRule::ThreeWay, 3), Some(Call::Conforming));
}

#[test]
fn a_bonus_is_the_pairs_own() {
    let mut exercise = exercise();
    exercise.characteristics[3].maximum_material = true;
    let model = model();
    let call = |faults: Vec<Fault>| {
        let mut sampler = Sampler::new(1, "bonus");
        let procedure = Procedure::with(faults).unwrap();
        let measured = model
            .simulate(&serial("T-1-01"), &procedure, Conditions::NOISELESS, &mut sampler)
            .unwrap();
        let rules = MarksRules::default();
        model
            .write_report(&exercise, &rules, &measured, Habits::default(), &mut sampler)
            .items[3]
            .call
    };
    // Limit 0.2, size 20.020 with lower limit 19.9: bonus 0.12, so that 0.224 conforms.
    assert_eq!(exercise.characteristics[3].limits.upper, Some(dec("0.2")));
    assert_eq!(call(Vec::new()), Some(Call::Conforming));
    // The radius written as the diameter is out of limits, and the position with it.
    let radius = Fault::RadiusForDiameter {
        items: vec!["1".parse().unwrap()],
    };
    assert_eq!(call(vec![radius]), Some(Call::Nonconforming));
}

#[test]
fn habits_have_their_share() {
    let habits = Habits {
        missing: 0.2,
        wrong_calls: 0.3,
        no_call: 0.1,
    };
    let rules = MarksRules::default();
    let (mut missing, mut wrong, mut none, mut all) = (0_u32, 0_u32, 0_u32, 0_u32);
    for seed in 0..200 {
        let right = report(Vec::new(), &rules, Habits::default(), seed);
        let found = report(Vec::new(), &rules, habits, seed);
        for (found, right) in found.items.iter().zip(&right.items) {
            all += 1;
            match (&found.measured, found.call) {
                (None, call) => {
                    assert_eq!(call, None, "no call without a value");
                    missing += 1;
                }
                (Some(_), None) => none += 1,
                (Some(value), call) => {
                    assert_eq!(Some(value), right.measured.as_ref());
                    wrong += u32::from(call != right.call);
                }
            }
        }
    }
    // Source: binomial of 6,600 lines, and of those that are left; tolerance five standard deviations.
    let check = |count: u32, of: u32, p: f64| {
        let (count, of) = (f64::from(count), f64::from(of));
        assert!(
            (count - of * p).abs() < 5.0 * (of * p * (1.0 - p)).sqrt(),
            "{count} of {of}, not {p}"
        );
    };
    check(missing, all, 0.2);
    check(none, all - missing, 0.1);
    check(wrong, all - missing - none, 0.3);
}

/// Seeded reports must never change: samples, demo and benchmark are made of them.
#[test]
fn a_seeded_report_is_the_same_everywhere() {
    let model = model();
    let mut sampler = Sampler::new(42, "golden report");
    let shift = Fault::OriginShift {
        axis: crate::exercise::model::Axis::Y,
        amount: -0.75,
    };
    let procedure = Procedure::with(vec![shift]).unwrap();
    let measured = model
        .simulate(&serial("T-1-01"), &procedure, Conditions::default(), &mut sampler)
        .unwrap();
    let habits = Habits {
        missing: 0.1,
        wrong_calls: 0.1,
        no_call: 0.1,
    };
    let report = model.write_report(&exercise(), &MarksRules::default(), &measured, habits, &mut sampler);
    let lines = report.items.iter().map(|i| {
        let measured = i.measured.as_ref().map_or("", |m| m.as_str());
        format!("{},{measured},{}", i.no, i.call.map_or("", Call::as_str))
    });
    insta::assert_snapshot!(lines.collect::<Vec<_>>().join("\n"), @r"
    1,20.019,
    2,70.109,conforming
    3,39.202,nonconforming
    4,,
    5,8.000,conforming
    6,19.999,conforming
    7,29.994,conforming
    8,9.987,conforming
    9,30.005,conforming
    10,1.296,nonconforming
    11,100.003,conforming
    12,0.009,conforming
    13,,
    14,-8.005,conforming
    15,0.010,
    16,0.019,conforming
    17,60.005,conforming
    18,0.014,conforming
    19,4.995,conforming
    20,11.995,conforming
    21,100.000,conforming
    22,44.990,nonconforming
    23,0.018,conforming
    24,29.999,conforming
    25,49.248,
    26,10.003,conforming
    27,58.367,
    28,50.091,conforming
    29,15.005,conforming
    30,11.997,conforming
    31,59.995,conforming
    32,82.693,nonconforming
    33,0.023,conforming
    ");
}
