//! What to touch more often.

use std::collections::BTreeMap;

use super::budget::{Budget, budget};
use super::sensitivity::Sensitivities;
use super::{Conditions, Line};
use crate::exercise::model::{Characteristic, DatumFrame, Exercise};

/// A change of the measuring plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Change {
    /// More points on a feature, by its place in the file.
    Points {
        /// Which feature.
        feature: usize,
        /// Points in place of those it has.
        to: u32,
    },
    /// More touches on a datum, at the places that it has, by its letter.
    Touches {
        /// Which datum.
        datum: char,
        /// Touches in place of those it has.
        to: u32,
    },
}

/// A change and what it does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Advice {
    /// What to change.
    pub change: Change,
    /// Expanded uncertainty of the characteristic that it is for, afterwards.
    pub expanded: f64,
    /// Whether that is what the exercise states.
    pub reaches: bool,
    /// How many characteristics reach what is stated that did not before.
    pub mends: usize,
    /// Place of the characteristic that it is for.
    pub line: usize,
}

/// Most points on a feature, and most touches on a datum, that anyone is told to take.
const MOST_POINTS: u32 = 40;
const MOST_TOUCHES: u32 = 16;

/// A change that leaves more of U than this does nothing to speak of.
const WORTH_IT: f64 = 0.98;

impl Change {
    fn target(self) -> Self {
        match self {
            Self::Points { feature, .. } => Self::Points { feature, to: 0 },
            Self::Touches { datum, .. } => Self::Touches { datum, to: 0 },
        }
    }

    /// How many there would be.
    #[must_use]
    pub const fn to(self) -> u32 {
        match self {
            Self::Points { to, .. } | Self::Touches { to, .. } => to,
        }
    }

    fn with(self, to: u32) -> Self {
        match self {
            Self::Points { feature, .. } => Self::Points { feature, to },
            Self::Touches { datum, .. } => Self::Touches { datum, to },
        }
    }

    /// How many there are now.
    #[must_use]
    pub fn from(self, exercise: &Exercise) -> u32 {
        match self {
            Self::Points { feature, .. } => exercise.features.get(feature).map_or(0, |f| f.points),
            Self::Touches { datum, .. } => exercise
                .datum_frame
                .by_letter(datum)
                .and_then(|d| u32::try_from(d.touches.len()).ok())
                .unwrap_or(0),
        }
    }

    /// The exercise with it.
    fn made(self, exercise: &Exercise) -> Exercise {
        let mut changed = exercise.clone();
        match self {
            Self::Points { feature, to } => {
                if let Some(feature) = changed.features.get_mut(feature) {
                    feature.points = to;
                }
            }
            Self::Touches { datum, to } => repeat_touches(&mut changed.datum_frame, datum, to),
        }
        changed
    }
}

/// The touches of a datum over again, until there are so many.
fn repeat_touches(frame: &mut DatumFrame, letter: char, to: u32) {
    for datum in [&mut frame.primary, &mut frame.secondary, &mut frame.tertiary] {
        if datum.letter == letter {
            let count = usize::try_from(to).unwrap_or(datum.touches.len());
            datum.touches = datum.touches.iter().copied().cycle().take(count).collect();
        }
    }
}

/// Works out one characteristic under a change.
fn under(exercise: &Exercise, conditions: &Conditions, c: &Characteristic, change: Change) -> Option<Budget> {
    let changed = change.made(exercise);
    let all = Sensitivities::of(&changed, Some(&changed.features_of(c))).ok()?;
    budget(&changed, conditions, c, &all).ok()
}

/// The fewest more touches in one place that bring a characteristic to what is stated, or else as near as touches
/// there do.
pub(super) fn reaching(
    exercise: &Exercise,
    conditions: &Conditions,
    c: &Characteristic,
    line: &Line,
) -> Option<Advice> {
    let found = line.budget.as_ref().ok()?;
    let tried = targets(exercise, c, found)
        .into_iter()
        .filter_map(|target| fewest(exercise, conditions, c, line, target));
    let added = |advice: &Advice| advice.change.to().saturating_sub(advice.change.from(exercise));
    tried.min_by(|a, b| match (a.reaches, b.reaches) {
        (true, true) => added(a).cmp(&added(b)).then(a.expanded.total_cmp(&b.expanded)),
        (false, false) => a.expanded.total_cmp(&b.expanded),
        (a, b) => b.cmp(&a),
    })
}

/// Where more touches would help, the largest share first.
fn targets(exercise: &Exercise, c: &Characteristic, found: &Budget) -> Vec<Change> {
    let features = exercise.features_of(c);
    let mut all: Vec<(f64, Change)> = features
        .into_iter()
        .zip(found.points)
        .map(|(feature, share)| (share, Change::Points { feature, to: 0 }))
        .collect();
    let letters = exercise.datum_frame.all().map(|d| d.letter);
    let datums = letters.into_iter().zip(found.frame);
    all.extend(datums.map(|(datum, share)| (share, Change::Touches { datum, to: 0 })));
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    let largest = all.first().map_or(0.0, |a| a.0);
    // What is a tenth of the largest share changes nothing.
    all.into_iter()
        .filter(|(share, _)| *share > 0.1 * largest)
        .map(|(_, change)| change)
        .collect()
}

fn fewest(
    exercise: &Exercise,
    conditions: &Conditions,
    c: &Characteristic,
    line: &Line,
    target: Change,
) -> Option<Advice> {
    let from = target.from(exercise);
    let most = match target {
        Change::Points { .. } => MOST_POINTS,
        Change::Touches { .. } => MOST_TOUCHES,
    };
    let tried = |to: u32| {
        let change = target.with(to);
        let expanded = under(exercise, conditions, c, change)?.expanded();
        let reaches = expanded <= line.stated * super::SLACK;
        Some(Advice {
            change,
            expanded,
            reaches,
            mends: usize::from(reaches),
            line: exercise.characteristics.iter().position(|other| other.no == c.no)?,
        })
    };
    let end = tried(most.max(from))?;
    if !end.reaches {
        // However many: as far as four times as many go, which halve this share, if they do anything.
        let now = line.budget.as_ref().map_or(0.0, Budget::expanded);
        return tried((4 * from).min(most.max(from))).filter(|a| a.expanded < WORTH_IT * now);
    }
    (from + 1..=most).find_map(|to| tried(to).filter(|advice| advice.reaches))
}

/// The change that mends the most lines, with the fewest touches among equals; where nothing needs mending, twice the
/// touches where the tightest line that they ease has its largest share.
pub(super) fn first(exercise: &Exercise, conditions: &Conditions, lines: &[Line]) -> Option<Advice> {
    let mut by_target: BTreeMap<Change, Advice> = BTreeMap::new();
    for advice in lines.iter().filter_map(|l| l.advice) {
        let place = by_target.entry(advice.change.target()).or_insert(advice);
        if advice.change.to() > place.change.to() {
            *place = advice;
        }
    }
    if by_target.is_empty() {
        return ease(exercise, conditions, lines);
    }
    let mended = by_target.into_values().map(|advice| Advice {
        mends: mends(exercise, conditions, lines, advice.change),
        ..advice
    });
    mended.max_by(|a, b| {
        let added = |advice: &Advice| advice.change.to().saturating_sub(advice.change.from(exercise));
        a.mends.cmp(&b.mends).then(added(b).cmp(&added(a)))
    })
}

fn mends(exercise: &Exercise, conditions: &Conditions, before: &[Line], change: Change) -> usize {
    let after = super::lines(&change.made(exercise), conditions);
    let pairs = before.iter().zip(&after);
    pairs.filter(|(b, a)| !b.is_reached() && a.is_reached()).count()
}

fn ease(exercise: &Exercise, conditions: &Conditions, lines: &[Line]) -> Option<Advice> {
    let share = |line: &Line| line.share().unwrap_or(0.0);
    let mut order: Vec<(usize, &Line)> = lines.iter().enumerate().collect();
    order.sort_by(|a, b| share(b.1).total_cmp(&share(a.1)));
    order.into_iter().find_map(|(at, line)| {
        let (c, now) = (exercise.characteristics.get(at)?, line.budget.as_ref().ok()?);
        let target = *targets(exercise, c, now).first()?;
        let change = target.with(2 * target.from(exercise));
        let expanded = under(exercise, conditions, c, change)?.expanded();
        (expanded < WORTH_IT * now.expanded()).then_some(Advice {
            change,
            expanded,
            reaches: true,
            mends: 0,
            line: at,
        })
    })
}
