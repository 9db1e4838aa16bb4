//! The one reading that would tell what a diagnosis leaves open: of all places and sizes of the print's features, and of
//! the datum faces, the one on which the sets that are still possible differ the most.

use super::decided::Decided;
use super::diagnosis::Finding;
use super::extra::{Extended, Extra, of_faces, of_features};
use super::grade::{Check, DiagnosisState};
use crate::exercise::model::Exercise;
use crate::exercise::plate::Plate;
use crate::procedure::fault::Fault;
use crate::procedure::model::Model;

/// A set below this probability is not asked after.
const WORTH_ASKING: f64 = 0.05;
/// Standard deviations of one reading by which two sets must differ for it to tell them.
const TELLING: f64 = 4.0;
/// Beyond this many nothing more is gained.
const ENOUGH: f64 = 10.0;

/// The sets that are still possible, with their probabilities.
fn open(finding: &Finding) -> Vec<(Vec<Fault>, f64)> {
    let named = matches!(
        finding.state,
        DiagnosisState::FaultStated | DiagnosisState::FaultSuspected | DiagnosisState::Unexplained
    );
    if !named {
        return Vec::new();
    }
    let leading: Vec<Fault> = finding.faults.iter().map(|f| f.fault.clone()).collect();
    let mut sets = Vec::new();
    if let (false, Some(p)) = (leading.is_empty(), finding.probability) {
        let rest: f64 = finding.others.iter().map(|(_, p)| p).sum();
        // The joint probability of sets of equal effect holds those that are listed beside it.
        sets.push((leading, p.min(1.0 - rest).max(WORTH_ASKING)));
    }
    sets.extend(finding.others.iter().filter(|(_, p)| *p >= WORTH_ASKING).cloned());
    sets
}

/// What to ask for; none where nothing is open or no reading would tell.
pub(super) fn check(exercise: &Exercise, plates: &[&Plate], finding: &Finding, decided: &Decided) -> Option<Check> {
    let sets = open(finding);
    if sets.len() < 2 {
        return None;
    }
    let asked = |e: &Extra| decided.answers.iter().any(|a| a.extra == *e);
    let mut readings = of_faces(exercise);
    readings.extend(of_features(exercise));
    readings.retain(|e| !asked(e));
    let extended = Extended::new(exercise, &readings);
    let own = plates.first()?;
    let all: Vec<Plate> = plates.iter().map(|p| extended.plate(p)).collect();
    let model = Model::new(&extended.exercise, &all).ok()?;
    let plate = model.plate(&own.serial).ok()?;
    let noise = model.noise(plate)?;
    let step = 10.0_f64.powi(-i32::try_from(exercise.decimals).unwrap_or(0));
    let predicted: Vec<(Vec<Option<f64>>, f64)> = sets
        .iter()
        .filter_map(|(faults, p)| Some((model.predict(plate, faults).ok()?, *p)))
        .collect();
    let mut best: Option<(&Extra, f64)> = None;
    for (place, extra) in extended.extras.iter().enumerate() {
        let line = extended.sheet + place;
        let reference = noise.reference.get(line).copied().flatten();
        let Some(reference) = reference else { continue };
        let sd = noise.standard(line).hypot(reference).hypot(step / 12.0_f64.sqrt());
        let value = |p: &(Vec<Option<f64>>, f64)| p.0.get(line).copied().flatten();
        let mut worth = 0.0;
        for (i, a) in predicted.iter().enumerate() {
            for b in predicted.iter().skip(i + 1) {
                let Some((x, y)) = value(a).zip(value(b)) else { continue };
                let apart = (x - y).abs() / sd.max(f64::MIN_POSITIVE);
                if apart >= TELLING {
                    worth += a.1 * b.1 * apart.min(ENOUGH);
                }
            }
        }
        if worth > best.map_or(0.0, |(_, w)| w * 1.000_001) {
            best = Some((extra, worth));
        }
    }
    let (extra, _) = best?;
    Some(Check {
        reading: extra.clone(),
        request: extra.request(exercise)?,
        label: extra.label(exercise)?,
    })
}
