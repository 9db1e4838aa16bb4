//! What a print can tell, in words for its author.

use super::{Confusable, FaultInsight, Insight, Proposal, Unseen};
use crate::exercise::model::Exercise;
use crate::grading::extra;
use crate::grading::words as faults;
use crate::procedure::fault::{Fault, PlanAxis};
use crate::units::show_f64;

/// A mistake as a thing: `a shifted origin along Y`.
#[must_use]
pub fn thing(exercise: &Exercise, fault: &Fault) -> String {
    let letter = |axis: PlanAxis| axis.axis().letter();
    let name = |key| {
        exercise
            .feature(key)
            .map_or_else(|| key.to_string(), |(_, f)| f.name.clone())
    };
    match fault {
        Fault::OriginShift { axis, .. } => format!("a shifted origin along {}", axis.letter()),
        Fault::MistakenSurface { datum, name } => format!("the {name} taken for datum {datum}"),
        Fault::OppositeCorner { axis } => format!("an origin at the far end of {}", letter(*axis)),
        Fault::FrameRotated { .. } => format!("a skewed line at datum {}", exercise.datum_frame.secondary.letter),
        Fault::FrameTilted { about, .. } => format!(
            "a plane at datum {} that is tilted about {}",
            exercise.datum_frame.primary.letter,
            letter(*about)
        ),
        Fault::PartTurned { angle_deg } => format!("a plate turned by {} degrees", angle_deg.degrees()),
        Fault::AxesExchanged {} => "exchanged X and Y".to_owned(),
        Fault::AxisReversed { axis } => format!("a reversed {}", axis.letter()),
        Fault::TipIgnoredOnDatum { datum } => format!("a tip radius left in at datum {datum}"),
        Fault::TipIgnoredOnSize {} => "a tip diameter left in the sizes".to_owned(),
        Fault::TipIgnoredOnSurface {} => "a tip radius left in at the measured faces".to_owned(),
        Fault::TipWrong { .. } => "a wrong tip diameter".to_owned(),
        Fault::WrongUnit { factor } => {
            let way = if *factor > 1.0 {
                "millimetres for inches"
            } else {
                "inches for millimetres"
            };
            format!("the other unit ({way})")
        }
        Fault::Temperature { .. } => "a warm or cold plate".to_owned(),
        Fault::RadiusForDiameter { .. } => "radii for diameters".to_owned(),
        Fault::DeviationForValue { .. } => "deviations for values".to_owned(),
        Fault::NominalsCopied { .. } => "copied nominal values".to_owned(),
        Fault::FeaturesExchanged { a, b } => format!("exchanged values of {} and {}", name(a), name(b)),
        Fault::WrongPlate { serial } => format!("plate {serial} in place of this one"),
        Fault::DigitsTransposed { item, .. } => format!("exchanged digits in number {item}"),
        Fault::DecimalSlipped { item, .. } => format!("a slipped point in number {item}"),
        Fault::SignDropped { item } => format!("a lost sign of number {item}"),
        Fault::GrossError { item, .. } => format!("one wrong value at number {item}"),
    }
}

/// `characteristic Y of Hole 5`.
#[must_use]
pub fn proposal(exercise: &Exercise, proposal: &Proposal) -> String {
    let name = exercise
        .feature(&proposal.feature)
        .map_or_else(|| proposal.feature.to_string(), |(_, f)| f.name.clone());
    format!("characteristic {} of {name}", extra::quantity(proposal.of))
}

fn list(things: &[String], last: &str) -> String {
    match things {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., end] => format!("{} {last} {end}", most.join(", ")),
    }
}

/// One sentence for a set that cannot be told apart, and what would tell it.
#[must_use]
pub fn confusable(exercise: &Exercise, set: &Confusable) -> String {
    let things: Vec<String> = set.faults.iter().map(|f| thing(exercise, f)).collect();
    let told = match things.as_slice() {
        [one, other] => format!("Nothing on this print tells {one} from {other}"),
        many => format!("Nothing on this print tells apart {}", list(many, "and")),
    };
    let mark = if set.alike {
        " (the corrections are the same, and so is the mark)"
    } else {
        ""
    };
    match &set.add {
        Some(add) => format!("{told}{mark}; add {}.", proposal(exercise, add)),
        None => format!("{told}{mark}; no single further place or size of its features would."),
    }
}

/// One sentence for a mistake that no number shows.
#[must_use]
pub fn unseen(exercise: &Exercise, unseen: &Unseen) -> String {
    let thing = thing(exercise, &unseen.fault);
    match &unseen.add {
        Some(add) => format!(
            "No number of this sheet shows {thing}; {} would.",
            proposal(exercise, add)
        ),
        None => format!("No number of this sheet shows {thing}: it changes none of them."),
    }
}

/// An amount of a mistake as its family has it: a length, an angle, or a growth.
#[must_use]
pub fn amount(exercise: &Exercise, fault: &Fault, amount: f64) -> String {
    match fault {
        Fault::FrameRotated { .. } | Fault::FrameTilted { .. } => format!("{}°", show_f64(amount, 4)),
        Fault::Temperature { .. } => format!("{} \u{d7} 10\u{207b}\u{2076}", show_f64(amount, 0)),
        _ => faults::length(exercise.units, amount),
    }
}

/// What is said of one mistake: from which amounts on it is detected and named, or how likely a known step is.
#[must_use]
pub fn sizes(exercise: &Exercise, one: &FaultInsight) -> (String, String) {
    let has_amount = super::suspects::amount(&one.fault).is_some();
    let share = |p: f64| {
        if p >= 0.995 {
            "always".to_owned()
        } else if p < 0.005 {
            "never".to_owned()
        } else {
            format!("in {} % of cases", show_f64(100.0 * p, 0))
        }
    };
    let size = |found: Option<f64>, chance: f64| match found {
        Some(a) => format!("from {}", amount(exercise, &one.fault, a)),
        None if has_amount => "at no amount".to_owned(),
        None => share(chance),
    };
    (
        size(one.detectable, one.chance_detected),
        size(one.identifiable, one.chance_identified),
    )
}

/// Marks a mistake whose sizes are estimates among others that were tried.
#[must_use]
pub fn mark(insight: &Insight, one: &FaultInsight) -> &'static str {
    if one.reports == 0 && insight.faults.iter().any(|f| f.reports > 0) {
        " *"
    } else {
        ""
    }
}

/// How the sizes were found, as one sentence or two.
#[must_use]
pub fn basis(insight: &Insight) -> String {
    let tried = insight.faults.iter().filter(|f| f.reports > 0).count();
    let reports = insight.faults.iter().map(|f| f.reports).max().unwrap_or(0);
    if tried == 0 {
        return "Sizes are estimates for one mistake at a time; slips of writing are not among the rivals.".to_owned();
    }
    let many = if reports == 1 { "report" } else { "reports" };
    let found = format!("Sizes are tried on the diagnosis itself, with {reports} drawn {many} each.");
    if tried < insight.faults.len() {
        format!("{found} Those marked with * were not tried any more and are estimates.")
    } else {
        found
    }
}

/// What helps most, as one sentence.
#[must_use]
pub fn first(exercise: &Exercise, insight: &Insight) -> Option<String> {
    let add = insight.first.as_ref()?;
    let mended = insight
        .confusable
        .iter()
        .filter(|c| c.add.as_ref() == Some(add))
        .count();
    let shown = insight.unseen.iter().filter(|u| u.add.as_ref() == Some(add)).count();
    let mut does = Vec::new();
    if mended > 0 {
        let what = if mended == 1 { "one set" } else { "sets" };
        does.push(format!("tells apart {what} of mistakes that this print cannot"));
    }
    if shown > 0 {
        does.push("shows a mistake that no number shows now".to_owned());
    }
    if does.is_empty() {
        does.push("helps most".to_owned());
    }
    Some(format!("Add {}: it {}.", proposal(exercise, add), list(&does, "and")))
}

/// Where nothing is left open.
pub const NOTHING_OPEN: &str = "This print tells every mistake from every other, once it is large enough.";
