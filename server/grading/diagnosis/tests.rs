//! Reports with known faults, made by the forward model with fixed seeds.

use super::*;
use crate::exercise::file::{read_exercise, read_plates};
use crate::exercise::model::Axis;
use crate::exercise::plate::Plates;
use crate::procedure::fault::{Family, PlanAxis, Procedure, QuarterTurn};
use crate::procedure::sampler::Sampler;
use crate::procedure::simulate::Conditions;
use crate::procedure::written::Habits;
use crate::units::Reading;

const EXERCISE: &str = include_str!("../../../exercises/SB-11/exercise.toml");
const PLATES: &str = include_str!("../../../exercises/SB-11/plates.toml");

struct Bench {
    exercise: Exercise,
    plates: Plates,
}

impl Bench {
    fn new(exercise: &str) -> Self {
        Self::with(exercise, PLATES)
    }

    fn with(exercise: &str, plates: &str) -> Self {
        let exercise = read_exercise("exercise.toml", exercise).0.unwrap();
        let plates = read_plates("plates.toml", plates, &exercise).0.unwrap();
        Self { exercise, plates }
    }

    fn diagnoser(&self) -> Diagnoser {
        Diagnoser::new(&self.exercise, &self.plates.plates, Priors::default()).unwrap()
    }

    fn report(&self, d: &Diagnoser, faults: Vec<Fault>, conditions: Conditions, seed: u64) -> (Serial, Report) {
        let mut sampler = Sampler::new(seed, "diagnosis");
        let serial = serial(&self.plates, &mut sampler);
        let procedure = Procedure::with(faults).unwrap();
        let measured = d.model.simulate(&serial, &procedure, conditions, &mut sampler).unwrap();
        let rules = &self.exercise.marks;
        let report = d
            .model
            .write_report(&self.exercise, rules, &measured, Habits::default(), &mut sampler);
        (serial, report)
    }
}

fn serial(plates: &Plates, sampler: &mut Sampler) -> Serial {
    plates.plates[sampler.below(plates.plates.len())].serial.clone()
}

fn no(n: &str) -> crate::exercise::names::BalloonNo {
    n.parse().unwrap()
}

/// One fault of every family on this plate, each well above what the print can tell.
fn one_of_each(bench: &Bench) -> Vec<Fault> {
    let items = |n: &[&str]| n.iter().map(|n| no(n)).collect::<Vec<_>>();
    let mistaken = &bench.exercise.mistaken_surfaces[0];
    vec![
        Fault::OriginShift {
            axis: Axis::X,
            amount: 1.3,
        },
        Fault::MistakenSurface {
            datum: mistaken.instead_of,
            name: mistaken.name.clone(),
        },
        Fault::OppositeCorner { axis: PlanAxis::X },
        Fault::FrameRotated { angle_deg: 0.31 },
        Fault::FrameTilted {
            about: PlanAxis::Y,
            angle_deg: 0.4,
        },
        Fault::PartTurned {
            angle_deg: QuarterTurn::Two,
        },
        Fault::AxesExchanged {},
        Fault::AxisReversed { axis: Axis::Y },
        Fault::TipIgnoredOnDatum { datum: 'B' },
        Fault::TipIgnoredOnSize {},
        Fault::TipIgnoredOnSurface {},
        Fault::TipWrong { amount: 0.45 },
        Fault::WrongUnit { factor: 1.0 / 25.4 },
        Fault::RadiusForDiameter {
            items: items(&["7", "12"]),
        },
        Fault::DeviationForValue {
            items: items(&["5", "6", "7", "8"]),
        },
        Fault::NominalsCopied {
            items: items(&["5", "6", "7", "8", "9"]),
        },
        Fault::FeaturesExchanged {
            a: "hole-1".parse().unwrap(),
            b: "hole-3".parse().unwrap(),
        },
        Fault::WrongPlate {
            serial: bench.plates.plates[1].serial.clone(),
        },
        Fault::DigitsTransposed {
            item: no("8"),
            place: Some(0),
        },
        Fault::DecimalSlipped {
            item: no("8"),
            power: 1,
        },
        Fault::SignDropped { item: no("9") },
        Fault::GrossError {
            item: no("13"),
            amount: Some(-0.83),
        },
    ]
}

fn same(a: &Fault, b: &Fault, sd: f64) -> bool {
    let close = family::amount(a)
        .zip(family::amount(b))
        .is_none_or(|(x, y)| (x - y).abs() < 5.0 * sd);
    let bare = |f: &Fault| match family::with_amount(f, 0.0) {
        Fault::DigitsTransposed { item, .. } => Fault::DigitsTransposed { item, place: None },
        Fault::GrossError { item, .. } => Fault::GrossError { item, amount: None },
        f => f,
    };
    close && bare(a) == bare(b)
}

#[test]
fn every_family_is_recovered() {
    let bench = Bench::new(EXERCISE);
    let d = bench.diagnoser();
    let faults = one_of_each(&bench);
    let families: std::collections::BTreeSet<Family> = faults.iter().map(Fault::family).collect();
    // Temperature is below what this plate of 100 mm can tell.
    assert_eq!(families.len() + 1, Family::ALL.len());
    for fault in faults {
        let (mut serial, mut report) = bench.report(&d, vec![fault.clone()], Conditions::default(), 11);
        if matches!(&fault, Fault::WrongPlate { serial: s } if *s == serial) {
            (serial, report) = bench.report(&d, vec![fault.clone()], Conditions::default(), 12);
        }
        let found = d.diagnose(&serial, &report);
        assert_eq!(found.state, DiagnosisState::FaultStated, "{fault:?}: {found:?}");
        assert!(
            found.faults.len() == 1 && same(&found.faults[0].fault, &fault, found.faults[0].sd),
            "{fault:?}: {found:?}"
        );
        assert!(!found.faults[0].explains.is_empty(), "{fault:?}");
    }
}

#[test]
fn temperature_is_recovered_on_a_long_plate() {
    let bench = Bench::with(
        include_str!("../../../exercises/GC-40/exercise.toml"),
        include_str!("../../../exercises/GC-40/plates.toml"),
    );
    let d = bench.diagnoser();
    let fault = Fault::Temperature { ppm: 260.0 };
    let (serial, report) = bench.report(&d, vec![fault.clone()], Conditions::default(), 4);
    let found = d.diagnose(&serial, &report);
    assert_eq!(found.state, DiagnosisState::FaultStated, "{found:?}");
    assert!(
        found.faults.len() == 1 && same(&found.faults[0].fault, &fault, found.faults[0].sd),
        "{found:?}"
    );
}

#[test]
fn clean_reports_stay_clean() {
    let bench = Bench::new(EXERCISE);
    let d = bench.diagnoser();
    let double = Conditions {
        all: 2.0,
        ..Conditions::default()
    };
    let tails = Conditions {
        heavy_tails: true,
        ..Conditions::default()
    };
    for (conditions, seeds) in [(Conditions::default(), 0..150), (double, 0..15), (tails, 0..25)] {
        for seed in seeds {
            let (serial, report) = bench.report(&d, Vec::new(), conditions, seed);
            let found = d.diagnose(&serial, &report);
            assert_eq!(found.state, DiagnosisState::Clean, "{seed} {conditions:?}: {found:?}");
        }
    }
}

#[test]
fn two_and_three_faults_are_told_apart() {
    let bench = Bench::new(EXERCISE);
    let d = bench.diagnoser();
    let all = one_of_each(&bench);
    // Shift, sizes and one value; skew and a slipped point.
    for set in [vec![0, 9, 21], vec![3, 20], vec![12, 4]] {
        let faults: Vec<Fault> = set.iter().map(|i| all[*i].clone()).collect();
        let (serial, report) = bench.report(&d, faults.clone(), Conditions::default(), 5);
        let found = d.diagnose(&serial, &report);
        assert_eq!(found.state, DiagnosisState::FaultStated, "{faults:?}: {found:?}");
        let each = |f: &Fault| found.faults.iter().any(|s| same(&s.fault, f, s.sd));
        assert!(
            found.faults.len() == faults.len() && faults.iter().all(each),
            "{faults:?}: {found:?}"
        );
    }
}

#[test]
fn a_surface_at_the_tip_radius_is_either() {
    // Datum B is the left face at 0: a surface half a tip diameter to the left of it looks like the tip left in.
    let probe = Bench::new(EXERCISE);
    let mistaken = &probe.exercise.mistaken_surfaces[0];
    let datum = probe.exercise.datum_frame.by_letter(mistaken.instead_of).unwrap();
    let radius = probe.exercise.measurement.tip_diameter / rust_decimal::Decimal::TWO;
    let outward = if datum.face.normal().1 > 0.0 { radius } else { -radius };
    let mut exercise = probe.exercise.clone();
    exercise.mistaken_surfaces[0].at = datum.at + outward;
    let bench = Bench {
        exercise,
        plates: probe.plates,
    };
    let d = bench.diagnoser();
    let letter = bench.exercise.mistaken_surfaces[0].instead_of;
    let fault = Fault::TipIgnoredOnDatum { datum: letter };
    let (serial, report) = bench.report(&d, vec![fault], Conditions::default(), 3);
    let found = d.diagnose(&serial, &report);
    let mut named: Vec<Family> = found.faults.iter().map(|s| s.fault.family()).collect();
    named.extend(
        found
            .others
            .iter()
            .filter(|(f, p)| f.len() == 1 && *p > 0.2)
            .map(|(f, _)| f[0].family()),
    );
    named.sort();
    assert_eq!(found.state, DiagnosisState::FaultStated, "{found:?}");
    assert_eq!(named, [Family::MistakenSurface, Family::TipIgnoredOnDatum], "{found:?}");
    assert!(found.probability.unwrap() > 0.95);
}

/// A report with these values on the first lines, nothing elsewhere.
fn written(bench: &Bench, values: &[&str]) -> Report {
    let mut report = Report::blank(&bench.exercise);
    for (item, value) in report.items.iter_mut().zip(values) {
        item.measured = value.parse::<Reading>().ok();
    }
    report
}

#[test]
fn any_input_has_an_honest_answer() {
    let bench = Bench::new(EXERCISE);
    let d = bench.diagnoser();
    let serial = bench.plates.plates[0].serial.clone();
    let count = bench.exercise.characteristics.len();
    let huge = format!("1{}", "0".repeat(300));
    let (_, clean) = bench.report(&d, Vec::new(), Conditions::default(), 1);
    let mut one_huge = clean;
    one_huge.items[4].measured = huge.parse().ok();
    let random: Vec<String> = (0..count)
        .map(|i| format!("{}.{:03}", (i * 37) % 91, (i * 611) % 1000))
        .collect();
    let random: Vec<&str> = random.iter().map(String::as_str).collect();
    let check = |report: &Report, states: &[DiagnosisState]| {
        let found = d.diagnose(&serial, report);
        assert!(states.contains(&found.state), "{found:?}");
        assert!(found.probability.is_none_or(|p| (0.0..=1.0).contains(&p)), "{found:?}");
    };
    use DiagnosisState::{Clean, FaultSuspected, NotLookedInto, Unexplained};
    check(&written(&bench, &[]), &[NotLookedInto]);
    check(&written(&bench, &["0.021", "-8.011", "0.010"]), &[Clean]);
    check(&written(&bench, &["3", "4", "5"]), &[Unexplained, FaultSuspected]);
    check(&written(&bench, &vec!["7.000"; count]), &[Unexplained]);
    check(&written(&bench, &vec![huge.as_str(); count]), &[Unexplained]);
    check(&written(&bench, &random), &[Unexplained]);
    check(&one_huge, &[Unexplained, Clean]);
    let nobody: Serial = "X-99".parse().unwrap();
    // A growth that no plate has: nothing is accused, and it is not called clean.
    let (_, grown) = bench.report(&d, vec![Fault::Temperature { ppm: 2500.0 }], Conditions::default(), 1);
    check(&grown, &[Unexplained]);
    assert_eq!(d.diagnose(&nobody, &one_huge), Finding::nothing());
}

/// A report with these faults, looked at with a record and without: probabilities of the family's sets.
fn told(bench: &Bench, fault: &Fault, record: &SetUp, seed: u64) -> (Finding, Finding) {
    let d = bench.diagnoser();
    let (serial, report) = bench.report(&d, vec![fault.clone()], Conditions::default(), seed);
    (
        d.diagnose(&serial, &report),
        d.diagnose_with(&serial, &report, Some(record)),
    )
}

/// Joint probability of what is said and listed with a fault of this family.
fn with_family(found: &Finding, family: Family) -> f64 {
    let stated = found.faults.iter().any(|f| f.fault.family() == family);
    let own = found.probability.filter(|_| stated).unwrap_or(0.0);
    let others = found
        .others
        .iter()
        .filter(|(set, _)| set.iter().any(|f| f.family() == family));
    own + others.map(|(_, p)| p).sum::<f64>()
}

#[test]
fn a_record_moves_the_odds_and_does_not_decide() {
    let bench = Bench::new(EXERCISE);
    let warm = SetUp {
        temperature: Some(rust_decimal::Decimal::from(25)),
        ..SetUp::default()
    };
    // Steel or not, the growth that the record names: near what the print can tell, so that the odds show.
    let ppm = bench.exercise.body.material.expansion() * 1e6 * 5.0;
    let seeds = 1..=8;
    let mut moved = 0.0;
    for seed in seeds {
        let (without, with) = told(&bench, &Fault::Temperature { ppm }, &warm, seed);
        let (a, b) = (
            with_family(&without, Family::Temperature),
            with_family(&with, Family::Temperature),
        );
        moved += b - a;
    }
    assert!(moved > 0.05, "{moved}");
    // A shift that the numbers tell stays stated, whatever is said of unit, tip and temperature.
    let shift = Fault::OriginShift {
        axis: Axis::X,
        amount: 1.3,
    };
    let misled = SetUp {
        touched: Vec::new(),
        tip: Some(rust_decimal::Decimal::from(2)),
        unit: Some(crate::units::LengthUnit::Inch),
        ..warm
    };
    let (_, with) = told(&bench, &shift, &misled, 5);
    assert_eq!(with.state, DiagnosisState::FaultStated, "{with:?}");
    assert!(matches!(with.faults[0].fault, Fault::OriginShift { .. }), "{with:?}");
    // A clean report stays clean.
    let d = bench.diagnoser();
    let (serial, report) = bench.report(&d, Vec::new(), Conditions::default(), 2);
    let found = d.diagnose_with(&serial, &report, Some(&misled));
    assert_eq!(found.state, DiagnosisState::Clean, "{found:?}");
}

#[test]
fn a_tip_that_is_named_is_told_with_its_amount() {
    let bench = Bench::new(EXERCISE);
    let asked = bench.exercise.measurement.tip_diameter;
    let record = SetUp {
        tip: Some(asked - rust_decimal::Decimal::ONE),
        ..SetUp::default()
    };
    let (_, with) = told(&bench, &Fault::TipWrong { amount: -1.0 }, &record, 4);
    assert_eq!(with.state, DiagnosisState::FaultStated, "{with:?}");
    let Fault::TipWrong { amount } = with.faults[0].fault else {
        unreachable!("{with:?}")
    };
    assert!((amount + 1.0).abs() < 1e-12, "{with:?}");
}
