//! What is particular about one graded line, in words for the instructor.

use crate::exercise::model::{Characteristic, Exercise};
use crate::units::show_length;

use super::call::Judged;
use super::grade::GradedItem;
use super::measurement::Value;

/// The line that a note speaks of.
pub(super) struct Noted<'a> {
    pub(super) exercise: &'a Exercise,
    pub(super) characteristic: &'a Characteristic,
    pub(super) own: &'a Judged,
    pub(super) own_value: Option<Value>,
}

/// All that there is to say, or `None`.
pub(super) fn note(line: &Noted<'_>, item: &GradedItem, plate: Option<&Judged>) -> Option<String> {
    let mut notes = Vec::new();
    if item.reference.is_none() {
        notes.push(
            "Not graded: this plate has neither a reference nor a shop uncertainty here, so nobody knows what it is."
                .to_owned(),
        );
    }
    if line.own_value.is_none() {
        notes.push("Not measured: no value, no marks for it.".to_owned());
    } else if item.call.is_none() {
        notes.push("No call was made.".to_owned());
    }
    if let (Some(call), Some(own)) = (item.call, item.call_by_own_value)
        && call != own
    {
        notes.push(format!("The call says {call}, the pair's own number says {own}."));
    }
    if item.in_doubt == Some(true) {
        notes.push("The plate lies so near a limit that an honest pair may read either side: any call that follows the own number earns the part for the plate.".to_owned());
    }
    notes.extend(bonus(line, line.own, "the pair's size"));
    notes.extend(plate.and_then(|judged| bonus(line, judged, "the plate's size")));
    if notes.is_empty() { None } else { Some(notes.join(" ")) }
}

fn bonus(line: &Noted<'_>, judged: &Judged, whose: &str) -> Option<String> {
    if !line.characteristic.maximum_material {
        return None;
    }
    let unit = line.exercise.units;
    let places = line.exercise.decimals;
    Some(if judged.size_out {
        format!("Nonconforming by {whose}: the size is out of its limits.")
    } else {
        let upper = judged.limits.upper.map(|u| show_length(u, places)).unwrap_or_default();
        format!(
            "Limit {upper} {unit} with a bonus of {} {unit} from {whose}.",
            show_length(judged.bonus, places)
        )
    })
}
