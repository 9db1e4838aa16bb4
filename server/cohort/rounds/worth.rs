//! Whether a plate is good enough to teach with.

use rust_decimal::Decimal;

use crate::exercise::model::{Characteristic, Exercise};
use crate::exercise::plate::{Plate, Reference, references};
use crate::report::judge::judged_limits;

/// The answer and its reasons.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Worth {
    /// Whether it is good enough.
    pub is_good: bool,
    /// What stands against it, in words with what to do.
    pub against: Vec<String>,
    /// What to know about it that does not stand against it.
    pub remarks: Vec<String>,
}

/// Share of U of the class beyond which a reference blurs the score (common practice: a third; `classwork.md` asks for the
/// warning).
const THIRD: Decimal = Decimal::from_parts(333_333, 0, 0, false, 6);

/// Looks at every characteristic.
#[must_use]
pub fn worth(exercise: &Exercise, plate: &Plate) -> Worth {
    let known = references(exercise, plate);
    let pairs: Vec<(&Characteristic, Option<&Reference>)> = exercise
        .characteristics
        .iter()
        .zip(known.iter().map(Option::as_ref))
        .collect();
    let named = |test: &dyn Fn(&Characteristic, &Reference) -> bool| {
        let all = pairs.iter().filter_map(|(c, r)| Some((*c, (*r)?)));
        all.filter(|(c, r)| test(c, r))
            .map(|(c, _)| c.no.to_string())
            .collect::<Vec<String>>()
    };
    let open: Vec<String> = pairs
        .iter()
        .filter(|(_, r)| r.is_none())
        .map(|(c, _)| c.no.to_string())
        .collect();
    let blurred = named(&|c, r| r.expanded > c.u_lab);
    let weak = named(&|c, r| r.expanded > c.u_lab * THIRD && r.expanded <= c.u_lab);
    let near = |c: &Characteristic, r: &Reference| {
        let sum = (c.u_lab * c.u_lab + r.expanded * r.expanded).max(Decimal::ZERO);
        let off = judged_limits(c, None).limits.distance_to_nearest(r.value);
        off.is_some_and(|off| off * off <= sum)
    };
    let doubtful = named(&near);
    let off = named(&|c, r| !c.limits.contains(r.value));
    let found = Found {
        open,
        blurred,
        weak,
        doubtful,
        conforms: off.is_empty(),
        all: pairs.len(),
    };
    let (against, remarks) = (found.against(), found.remarks());
    Worth {
        is_good: against.is_empty(),
        against,
        remarks,
    }
}

/// Numbers by what is to be said of them.
struct Found {
    open: Vec<String>,
    blurred: Vec<String>,
    weak: Vec<String>,
    doubtful: Vec<String>,
    conforms: bool,
    all: usize,
}

impl Found {
    fn against(&self) -> Vec<String> {
        let mut against = Vec::new();
        if self.open.len() == self.all && self.all > 1 {
            against.push("Nothing is established yet: measure it or give a certificate's values.".to_owned());
        } else if !self.open.is_empty() {
            against.push(format!(
                "Nothing is established at {}: measure it or give a certificate's value.",
                numbers(&self.open)
            ));
        }
        if !self.blurred.is_empty() {
            against.push(format!(
                "At {} the plate is known less well than a pair can measure it: more rounds, or a better machine.",
                numbers(&self.blurred)
            ));
        }
        if self.doubtful.len() * 2 > self.all.max(1) {
            against.push(format!(
                "{} of {} lie so near a limit that either call is right: it teaches nobody to decide.",
                self.doubtful.len(),
                self.all
            ));
        }
        against
    }

    fn remarks(&self) -> Vec<String> {
        let mut remarks = Vec::new();
        if !self.weak.is_empty() {
            remarks.push(format!(
                "U of the reference is more than a third of the class's at {}.",
                numbers(&self.weak)
            ));
        }
        if !self.doubtful.is_empty() {
            remarks.push(format!(
                "Near a limit, so that any call earns its part: {}.",
                numbers(&self.doubtful)
            ));
        }
        if self.conforms && self.open.is_empty() {
            remarks.push("Everything conforms: a pair that measures well finds nothing.".to_owned());
        }
        remarks
    }
}

/// Most numbers that are named one by one.
const NAMED: usize = 10;

fn numbers(nos: &[String]) -> String {
    let shown = nos.iter().take(NAMED).cloned().collect::<Vec<_>>().join(", ");
    match nos.len() {
        0 => String::new(),
        1 => format!("number {shown}"),
        n if n > NAMED => format!("numbers {shown} and {} more", n - NAMED),
        _ => format!("numbers {shown}"),
    }
}
