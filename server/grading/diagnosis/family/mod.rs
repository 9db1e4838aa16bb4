//! The fault families, one file each: where a fault may have happened and with which share of its family's prior.
//!
//! Families act in three ways. *Near* ones move values by amounts to which the report is nearly linear, or by one known
//! step. *World* ones change what whole groups of values mean. *Item* ones spoil one value; what stood there before can
//! be worked out from what is written.

mod axes_exchanged;
mod axis_reversed;
mod decimal_slipped;
mod deviation_for_value;
mod digits_transposed;
mod features_exchanged;
mod frame_rotated;
mod frame_tilted;
pub(super) mod gross_error;
mod mistaken_surface;
pub(super) mod nominals_copied;
mod opposite_corner;
mod origin_shift;
mod part_turned;
mod radius_for_diameter;
mod runs;
mod sign_dropped;
mod temperature;
mod tip_ignored_on_datum;
mod tip_ignored_on_size;
mod tip_ignored_on_surface;
mod tip_wrong;
mod wrong_plate;
mod wrong_unit;

use std::cell::OnceCell;

use super::scene::Scene;
use super::set_up;
use crate::procedure::fault::{Family, Fault};

/// A fault that may have happened, with its share of the family's prior.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    pub(super) fault: Fault,
    pub(super) share: f64,
}

/// Candidates with equal shares.
pub(super) fn equal(faults: Vec<Fault>) -> Vec<Candidate> {
    let share = 1.0 / super::scene::count(faults.len().max(1));
    faults.into_iter().map(|fault| Candidate { fault, share }).collect()
}

/// A candidate ready to be weighed.
#[derive(Debug, Clone)]
pub(super) struct Pick {
    pub(super) fault: Fault,
    /// What kind of fault it is, without a free amount; equal faults have equal keys.
    pub(super) key: u64,
    /// Logarithm of its prior among all faults.
    pub(super) log_weight: f64,
    /// Prior standard deviation of its free amount, in the fault's own unit.
    pub(super) sd: Option<f64>,
    /// What stood on a line before the fault: line and value.
    pub(super) undone: Option<(usize, f64)>,
    /// Lines that are wrong for no known reason: a Gaussian says nothing of them.
    pub(super) dropped: Vec<usize>,
}

impl Pick {
    /// Whether the forward model is asked about it, or the written value was put right beforehand.
    pub(super) const fn is_predicted(&self) -> bool {
        self.undone.is_none() && !matches!(self.fault, Fault::GrossError { .. })
    }
}

/// Relative weights of families made into probabilities of this exercise.
#[derive(Debug, Clone)]
pub(super) struct Weights {
    total: f64,
    /// What may have happened to each line, worked out when it is first asked for.
    items: Vec<OnceCell<Vec<Pick>>>,
}

impl Weights {
    pub(super) fn new(scene: &Scene<'_>) -> Self {
        let available = |family: Family| match family {
            Family::MistakenSurface => !scene.exercise.mistaken_surfaces.is_empty(),
            Family::WrongPlate => scene.serials.len() > 1,
            Family::FeaturesExchanged => !features_exchanged::candidates(scene).is_empty(),
            _ => true,
        };
        let total = Family::ALL
            .iter()
            .filter(|(_, f)| available(*f))
            .map(|(_, f)| scene.priors.weight(*f));
        Self {
            total: total.sum::<f64>().max(f64::MIN_POSITIVE),
            items: vec![OnceCell::new(); scene.len()],
        }
    }

    fn log_weight(&self, scene: &Scene<'_>, candidate: &Candidate) -> f64 {
        let told = set_up::factor(scene, &candidate.fault);
        (scene.priors.weight(candidate.fault.family()) * candidate.share * told / self.total).ln()
    }

    fn picks(&self, scene: &Scene<'_>, candidates: Vec<Candidate>) -> Vec<Pick> {
        let pick = |c: Candidate| Pick {
            key: key(&c.fault),
            log_weight: self.log_weight(scene, &c),
            sd: sd(scene, &c.fault),
            undone: None,
            dropped: Vec::new(),
            fault: c.fault,
        };
        candidates
            .into_iter()
            .map(pick)
            .filter(|p| p.log_weight.is_finite())
            .collect()
    }

    /// Faults that move values nearly linearly or by a known step.
    pub(super) fn near(&self, scene: &Scene<'_>) -> Vec<Pick> {
        let all = [
            origin_shift::candidates(),
            frame_rotated::candidates(),
            frame_tilted::candidates(),
            tip_wrong::candidates(),
            temperature::candidates(),
            mistaken_surface::candidates(scene),
            opposite_corner::candidates(),
            tip_ignored_on_datum::candidates(scene),
            tip_ignored_on_size::candidates(),
            tip_ignored_on_surface::candidates(),
        ];
        let mut picks = self.picks(scene, all.into_iter().flatten().collect());
        for fault in set_up::amounts(scene) {
            // The amount that the record names takes half of what its family has.
            let Some(free) = picks
                .iter_mut()
                .find(|p| p.sd.is_some() && p.fault.family() == fault.family())
            else {
                continue;
            };
            free.log_weight -= std::f64::consts::LN_2;
            let known = Pick {
                key: free.key ^ amount(&fault).map_or(0, f64::to_bits),
                sd: None,
                fault,
                ..free.clone()
            };
            picks.push(known);
        }
        picks
    }

    /// Faults that change what groups of values mean, beside `parent`; `beside` are sets of near faults under which runs
    /// of values are looked for as well.
    pub(super) fn worlds(&self, scene: &Scene<'_>, parent: &[Fault], beside: &[Vec<Fault>]) -> Vec<Pick> {
        let mut runs: Vec<Candidate> = Vec::new();
        for near in std::iter::once(&Vec::new()).chain(beside) {
            let faults: Vec<Fault> = parent.iter().chain(near).cloned().collect();
            let Some(predicted) = scene.predict(&faults) else {
                continue;
            };
            let found = radius_for_diameter::candidates(scene, &faults, &predicted)
                .into_iter()
                .chain(deviation_for_value::candidates(scene, &faults, &predicted));
            for candidate in found {
                if !runs.iter().any(|r| r.fault == candidate.fault) {
                    runs.push(candidate);
                }
            }
        }
        let all = [
            runs,
            part_turned::candidates(),
            axes_exchanged::candidates(),
            axis_reversed::candidates(),
            wrong_unit::candidates(scene),
            nominals_copied::candidates(scene, parent),
            features_exchanged::candidates(scene),
            wrong_plate::candidates(scene),
            // A near fault, whose step does not add up with those of surfaces and of halved diameters.
            tip_ignored_on_size::candidates(),
        ];
        let has = |fault: &Fault| parent.iter().any(|p| excludes(p, fault));
        let free = all.into_iter().flatten().filter(|c| !has(&c.fault));
        self.picks(scene, free.collect())
    }

    /// A copied run shorter by a value at either end.
    pub(super) fn shorter(&self, scene: &Scene<'_>, fault: &Fault) -> Vec<Pick> {
        self.picks(scene, nominals_copied::shorter(scene, fault))
    }

    /// What may have happened to one value, with what stood there before.
    pub(super) fn item(&self, scene: &Scene<'_>, line: usize) -> &[Pick] {
        let cell = self.items.get(line);
        cell.map_or(&[], |cell| cell.get_or_init(|| self.item_picks(scene, line)))
    }

    fn item_picks(&self, scene: &Scene<'_>, line: usize) -> Vec<Pick> {
        let mut found = digits_transposed::undo(scene, line);
        found.extend(decimal_slipped::undo(scene, line));
        found.extend(sign_dropped::undo(scene, line));
        let pick = |(candidate, value): (Candidate, f64)| Pick {
            key: key(&candidate.fault),
            log_weight: self.log_weight(scene, &candidate),
            sd: None,
            undone: Some((line, value)),
            dropped: Vec::new(),
            fault: candidate.fault,
        };
        let mut picks: Vec<Pick> = found.into_iter().map(pick).collect();
        // More places than a report carries are left by a point that slipped, hardly by anything else.
        if !scene.ends_at(line, 0) {
            for pick in picks
                .iter_mut()
                .filter(|p| !matches!(p.fault, Fault::DecimalSlipped { .. }))
            {
                pick.log_weight += ODD_PLACES.ln();
            }
        }
        let gross = gross_error::candidate(scene, line);
        picks.push(Pick {
            key: key(&gross.fault),
            log_weight: self.log_weight(scene, &gross) + if scene.ends_at(line, 0) { 0.0 } else { ODD_PLACES.ln() },
            sd: None,
            undone: None,
            dropped: vec![line],
            fault: gross.fault,
        });
        picks
    }
}

/// A copied run beside `parent` with what must have happened to its spoilt lines; any other pick as it is.
pub(super) fn completed(scene: &Scene<'_>, weights: &Weights, parent: &[Fault], pick: &Pick) -> Vec<Vec<Pick>> {
    let mut sets = vec![vec![pick.clone()]];
    for (line, nominal) in nominals_copied::spoilt(scene, parent, &pick.fault) {
        let fits = |p: &Pick| match p.undone {
            Some((_, value)) => nominals_copied::shows(scene, value, nominal),
            None => gross_error::log_density(scene, line, scene.y[line] - nominal).is_some(),
        };
        let happened: Vec<Pick> = weights.item(scene, line).iter().filter(|p| fits(p)).cloned().collect();
        let with = |set: &Vec<Pick>| {
            let set = set.clone();
            happened
                .iter()
                .map(move |p| set.iter().cloned().chain([p.clone()]).collect())
                .collect::<Vec<Vec<Pick>>>()
        };
        sets = sets.iter().flat_map(with).collect();
    }
    sets
}

/// The kinds of world that are looked at two at a time from the start: turned, exchanged, reversed.
pub(super) const fn is_orientation(fault: &Fault) -> bool {
    matches!(
        fault,
        Fault::PartTurned { .. } | Fault::AxesExchanged {} | Fault::AxisReversed { .. }
    )
}

/// Whether the fault is of a run of values, which is looked for anew beside another fault.
pub(super) const fn is_run(fault: &Fault) -> bool {
    matches!(fault, Fault::RadiusForDiameter { .. } | Fault::DeviationForValue { .. })
}

/// Share of values with more places than the report carries, where no point slipped.
const ODD_PLACES: f64 = 0.02;

/// Whether one fault of writing leaves no room for the other.
pub(super) fn excludes(a: &Fault, b: &Fault) -> bool {
    use Fault::{
        AxesExchanged, DeviationForValue, NominalsCopied, PartTurned, RadiusForDiameter, WrongPlate, WrongUnit,
    };
    match (a, b) {
        (PartTurned { .. }, PartTurned { .. })
        | (AxesExchanged {}, AxesExchanged {})
        | (WrongUnit { .. }, WrongUnit { .. })
        | (RadiusForDiameter { .. }, RadiusForDiameter { .. })
        | (DeviationForValue { .. }, DeviationForValue { .. })
        | (NominalsCopied { .. }, NominalsCopied { .. })
        | (WrongPlate { .. }, WrongPlate { .. }) => true,
        _ => a == b,
    }
}

/// A number for the kind of a fault without its free amount (FNV-1a of its parts, by Fowler, Noll and Vo).
pub(super) fn key(fault: &Fault) -> u64 {
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    let mut add = |bytes: &[u8]| {
        for byte in bytes.iter().chain(&[0xff]) {
            hash = (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
        }
    };
    add(fault.family().code().as_bytes());
    match fault {
        Fault::OriginShift { axis, .. } | Fault::AxisReversed { axis } => add(axis.letter().to_string().as_bytes()),
        Fault::OppositeCorner { axis } => add(axis.axis().letter().to_string().as_bytes()),
        Fault::FrameTilted { about, .. } => add(about.axis().letter().to_string().as_bytes()),
        Fault::MistakenSurface { datum, name } => {
            add(datum.to_string().as_bytes());
            add(name.as_bytes());
        }
        Fault::TipIgnoredOnDatum { datum } => add(datum.to_string().as_bytes()),
        Fault::PartTurned { angle_deg } => add(&angle_deg.degrees().to_le_bytes()),
        Fault::WrongUnit { factor } => add(&factor.to_le_bytes()),
        Fault::RadiusForDiameter { items } | Fault::DeviationForValue { items } | Fault::NominalsCopied { items } => {
            items.iter().for_each(|no| add(no.as_str().as_bytes()))
        }
        Fault::FeaturesExchanged { a, b } => {
            add(a.as_str().as_bytes());
            add(b.as_str().as_bytes());
        }
        Fault::WrongPlate { serial } => add(serial.as_str().as_bytes()),
        Fault::DigitsTransposed { item, .. } | Fault::SignDropped { item } | Fault::GrossError { item, .. } => {
            add(item.as_str().as_bytes())
        }
        Fault::DecimalSlipped { item, power } => {
            add(item.as_str().as_bytes());
            add(&power.to_le_bytes());
        }
        Fault::FrameRotated { .. }
        | Fault::AxesExchanged {}
        | Fault::TipIgnoredOnSize {}
        | Fault::TipIgnoredOnSurface {}
        | Fault::TipWrong { .. }
        | Fault::Temperature { .. } => {}
    }
    hash
}

/// Prior standard deviation of the free amount of a fault.
pub(super) fn sd(scene: &Scene<'_>, fault: &Fault) -> Option<f64> {
    let priors = scene.priors;
    match fault {
        Fault::OriginShift { .. } => Some(priors.shift_mm * scene.mm),
        Fault::TipWrong { .. } => Some(priors.tip_mm * scene.mm),
        Fault::FrameRotated { .. } | Fault::FrameTilted { .. } => Some(priors.angle_deg),
        Fault::Temperature { .. } => Some(priors.ppm),
        _ => None,
    }
}

/// The fault with another free amount; a fault without one as it is.
pub(super) fn with_amount(fault: &Fault, to: f64) -> Fault {
    let mut fault = fault.clone();
    match &mut fault {
        Fault::OriginShift { amount, .. } | Fault::TipWrong { amount } => *amount = to,
        Fault::FrameRotated { angle_deg } | Fault::FrameTilted { angle_deg, .. } => *angle_deg = to,
        Fault::Temperature { ppm } => *ppm = to,
        _ => {}
    }
    fault
}

/// The free amount of a fault.
pub(super) const fn amount(fault: &Fault) -> Option<f64> {
    match fault {
        Fault::OriginShift { amount, .. } | Fault::TipWrong { amount } => Some(*amount),
        Fault::FrameRotated { angle_deg } | Fault::FrameTilted { angle_deg, .. } => Some(*angle_deg),
        Fault::Temperature { ppm } => Some(*ppm),
        _ => None,
    }
}
