//! A set of faults that is given, not searched for: amounts from the report, what each explains, the values without them.

use super::assess::{Assessed, assess};
use super::family::{self, Pick, Weights};
use super::scene::Scene;
use super::{Diagnoser, Finding, stated, subsets, unexplained};
use crate::exercise::names::Serial;
use crate::grading::grade::DiagnosisState;
use crate::procedure::fault::Fault;
use crate::report::model::Report;

/// Most ways in which digits may have been exchanged that are tried together.
const MOST: usize = 64;

impl Diagnoser {
    /// What the report comes to with exactly these faults; `true` beside one keeps its amount. `None` where they do not go
    /// together, or speak of values that are not there.
    #[must_use]
    pub fn given(&self, (serial, report): (&Serial, &Report), faults: &[(Fault, bool)]) -> Option<Finding> {
        let scene = self.scene(serial, report, None)?;
        let weights = Weights::new(&scene);
        let mut sets: Vec<Vec<Pick>> = vec![Vec::new()];
        for (fault, fixed) in faults {
            let picks = picks(&scene, &weights, fault, *fixed);
            sets = sets
                .iter()
                .flat_map(|set| picks.iter().map(|p| set.iter().cloned().chain([p.clone()]).collect()))
                .take(MOST)
                .collect();
        }
        let best = sets
            .iter()
            .filter_map(|set| assess(&scene, set, &scene.priors.noise))
            .max_by(|a: &Assessed, b: &Assessed| a.log_weight.total_cmp(&b.log_weight))?;
        let each = vec![1.0; best.picks.len()];
        Some(Finding {
            state: DiagnosisState::FaultStated,
            probability: Some(1.0),
            faults: stated(&scene, &best, &each),
            others: Vec::new(),
            unexplained: unexplained(&scene, &best),
            corrections: subsets(&scene, &best),
            weighed: sets.len(),
            left_out: 0.0,
        })
    }
}

/// The ways in which a fault may have happened to this report.
fn picks(scene: &Scene<'_>, weights: &Weights, fault: &Fault, fixed: bool) -> Vec<Pick> {
    let of_line = |item| -> Vec<Pick> {
        let Some(line) = scene.line_of(item).filter(|i| scene.seen[*i]) else {
            return Vec::new();
        };
        let same = |p: &Pick| match (&p.fault, fault) {
            (Fault::DecimalSlipped { power: a, .. }, Fault::DecimalSlipped { power: b, .. }) => a == b,
            (a, b) => a.family() == b.family(),
        };
        weights.item(scene, line).iter().filter(|p| same(p)).cloned().collect()
    };
    match fault {
        Fault::DigitsTransposed { item, .. }
        | Fault::DecimalSlipped { item, .. }
        | Fault::SignDropped { item }
        | Fault::GrossError { item, .. } => of_line(item),
        _ => vec![Pick {
            key: family::key(fault),
            fault: fault.clone(),
            log_weight: 0.0,
            sd: family::sd(scene, fault).filter(|_| !fixed),
            undone: None,
            dropped: family::nominals_copied::lines(scene, fault),
        }],
    }
}
