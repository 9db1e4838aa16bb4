//! What may go wrong on an exercise, one mistake at a time, with its share of the prior.

use crate::exercise::model::{Axis, Characteristic, Exercise, Owner, Quantity};
use crate::exercise::names::BalloonNo;
use crate::grading::diagnosis::priors::Priors;
use crate::procedure::fault::{Family, Fault, PlanAxis, QuarterTurn};
use crate::units::LengthUnit;

/// One mistake.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Suspect {
    /// With an amount of one standard deviation of its prior, where it has an amount.
    pub(super) fault: Fault,
    /// Logarithm of its prior among all mistakes, one alone.
    pub(super) log_prior: f64,
    /// Standard deviation of its amount.
    pub(super) sd: Option<f64>,
}

/// The free amount of a fault.
pub(in crate::grading) fn amount(fault: &Fault) -> Option<f64> {
    match fault {
        Fault::OriginShift { amount, .. } | Fault::TipWrong { amount } => Some(*amount),
        Fault::FrameRotated { angle_deg } | Fault::FrameTilted { angle_deg, .. } => Some(*angle_deg),
        Fault::Temperature { ppm } => Some(*ppm),
        _ => None,
    }
}

/// The fault with another amount; without one as it is.
pub(in crate::grading) fn with_amount(fault: &Fault, to: f64) -> Fault {
    let mut fault = fault.clone();
    match &mut fault {
        Fault::OriginShift { amount, .. } | Fault::TipWrong { amount } => *amount = to,
        Fault::FrameRotated { angle_deg } | Fault::FrameTilted { angle_deg, .. } => *angle_deg = to,
        Fault::Temperature { ppm } => *ppm = to,
        _ => {}
    }
    fault
}

/// All mistakes that move values by amounts or known steps; a spoilt digit or a wrong plate has no size on a print.
pub(super) fn all(exercise: &Exercise, priors: &Priors) -> Vec<Suspect> {
    let groups = [
        free(exercise, priors),
        datums(exercise),
        whole_columns(exercise),
        exchanged(exercise),
        signs(exercise),
    ];
    let faults: Vec<Fault> = groups.into_iter().flatten().collect();
    let total: f64 = priors.weights.iter().sum();
    let of_family = |family: Family| {
        let mut n = 0.0;
        for _ in faults.iter().filter(|f| f.family() == family) {
            n += 1.0;
        }
        n
    };
    let suspect = |fault: &Fault| {
        let share = share(exercise, fault).unwrap_or_else(|| 1.0 / of_family(fault.family()));
        Suspect {
            log_prior: (priors.count[1] * priors.weight(fault.family()) * share / total).ln(),
            sd: amount(fault),
            fault: fault.clone(),
        }
    };
    faults.iter().map(suspect).collect()
}

/// Families whose members are not equally likely.
fn share(exercise: &Exercise, fault: &Fault) -> Option<f64> {
    match fault {
        // As the diagnosis has it: the unit that the exercise does not have is the likely one.
        Fault::WrongUnit { factor } => Some(if (*factor > 1.0) == (exercise.units == LengthUnit::Inch) {
            0.8
        } else {
            0.2
        }),
        // Half for all of them at once, the other half for runs.
        Fault::RadiusForDiameter { .. } | Fault::DeviationForValue { .. } => Some(0.5),
        _ => None,
    }
}

fn free(exercise: &Exercise, priors: &Priors) -> Vec<Fault> {
    let mm = 1.0 / exercise.units.mm_per_unit_f64();
    let shift = |axis| Fault::OriginShift {
        axis,
        amount: priors.shift_mm * mm,
    };
    let tilt = |about| Fault::FrameTilted {
        about,
        angle_deg: priors.angle_deg,
    };
    let mut all = [Axis::X, Axis::Y, Axis::Z].map(shift).to_vec();
    all.push(Fault::FrameRotated {
        angle_deg: priors.angle_deg,
    });
    all.extend(PlanAxis::ALL.map(tilt));
    all.push(Fault::TipWrong {
        amount: priors.tip_mm * mm,
    });
    all.push(Fault::Temperature { ppm: priors.ppm });
    all
}

fn datums(exercise: &Exercise) -> Vec<Fault> {
    let declared = exercise.mistaken_surfaces.iter().map(|m| Fault::MistakenSurface {
        datum: m.instead_of,
        name: m.name.clone(),
    });
    let tip = exercise
        .datum_frame
        .all()
        .map(|d| Fault::TipIgnoredOnDatum { datum: d.letter });
    let mut all: Vec<Fault> = declared.chain(tip).collect();
    all.extend(PlanAxis::ALL.map(|axis| Fault::OppositeCorner { axis }));
    all.extend(QuarterTurn::ALL.map(|angle_deg| Fault::PartTurned { angle_deg }));
    all.push(Fault::AxesExchanged {});
    all.extend([Axis::X, Axis::Y, Axis::Z].map(|axis| Fault::AxisReversed { axis }));
    all
}

fn whole_columns(exercise: &Exercise) -> Vec<Fault> {
    let items = |test: &dyn Fn(&Characteristic) -> bool| -> Vec<BalloonNo> {
        let found = exercise.characteristics.iter().filter(|c| test(c));
        found.map(|c| c.no.clone()).collect()
    };
    let diameters = items(&|c| c.of == Quantity::Diameter);
    let values = items(&|c| !c.of.is_geometrical());
    let mut all = vec![Fault::TipIgnoredOnSize {}, Fault::TipIgnoredOnSurface {}];
    all.extend([1.0 / 25.4, 25.4].map(|factor| Fault::WrongUnit { factor }));
    if !diameters.is_empty() {
        all.push(Fault::RadiusForDiameter { items: diameters });
    }
    if !values.is_empty() {
        all.push(Fault::DeviationForValue { items: values });
    }
    all
}

fn exchanged(exercise: &Exercise) -> Vec<Fault> {
    let of = |feature| move |c: &&Characteristic| c.owner == Owner::Feature(feature);
    let all = &exercise.characteristics;
    let alike = |a: usize, b: usize| {
        let mut first = all.iter().filter(of(a));
        first.any(|c| all.iter().filter(of(b)).any(|o| o.of == c.of && o.datum == c.datum))
    };
    let mut faults = Vec::new();
    for (a, first) in exercise.features.iter().enumerate() {
        for (b, second) in exercise.features.iter().enumerate().skip(a + 1) {
            if alike(a, b) {
                faults.push(Fault::FeaturesExchanged {
                    a: first.key.clone(),
                    b: second.key.clone(),
                });
            }
        }
    }
    faults
}

fn signs(exercise: &Exercise) -> Vec<Fault> {
    let coordinates = exercise.characteristics.iter().filter(|c| c.of.axis().is_some());
    coordinates.map(|c| Fault::SignDropped { item: c.no.clone() }).collect()
}
