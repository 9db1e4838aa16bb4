//! The picture of what was off: the plan view, and at each feature an arrow from where it should be towards where it
//! was found, so many times enlarged. As reported in ink, after correction in pencil: a full line and a full head, a
//! dashed line and an open head, so that it is the same in black. Arrows that are all alike say "the origin is off".

use super::arrows::{Hand, draw_arrow, draw_key, key_height};
use super::enlarged::{Enlarged, small_unit};
use super::links::Notes;
use super::paper::Point;
use super::plan::Plan;
use super::sheet::Sheet;
use super::svg::Svg;
use super::view::{Composed, Wanted, finished};
use super::{DrawingOptions, Picture};
use crate::exercise::model::{Characteristic, Exercise, Owner};
use crate::units::{decimal_from_f64, show_signed};

/// How far one feature was off in plan view, in the unit of the exercise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// Index of the feature.
    pub feature: usize,
    /// Along X.
    pub dx: f64,
    /// Along Y.
    pub dy: f64,
    /// Whether it takes a characteristic out of its limits.
    pub outside: bool,
}

/// A value other than a place that was off, as text beside its balloon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Remark {
    /// Index of the characteristic.
    pub characteristic: usize,
    /// How much, in the unit of the characteristic.
    pub by: f64,
    /// Whether it is out of its limits.
    pub outside: bool,
}

/// What a picture shows.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DeviationSet {
    /// As the pair reported.
    pub reported: Vec<Deviation>,
    /// After the faults that explain it are taken out; empty where nothing is corrected.
    pub corrected: Vec<Deviation>,
    /// Sizes and heights that are off.
    pub remarks: Vec<Remark>,
}

/// Draws the plan view with deviations; the magnification and a scale bar stand below it.
#[must_use]
pub fn deviations(exercise: &Exercise, set: &DeviationSet, options: &DrawingOptions) -> Picture {
    let enlarged = Enlarged::of(exercise.units, &Plan::of(exercise), set);
    let notes = notes(exercise, set, &enlarged);
    let arrows = |sheet: &Sheet, places: &[Point]| enlarged.areas(set, sheet, places);
    let wanted = Wanted {
        room: [options.room_mm[0], options.room_mm[1] - key_height(set)],
        balloons: true,
        notes: &notes,
        arrows: &arrows,
    };
    let composed = Composed::of(exercise, &wanted);
    let mut out = Svg::default();
    out.open("g", "class=\"d-back in-faded\"");
    composed.draw(
        &mut out,
        exercise,
        &DrawingOptions {
            touches: false,
            ..options.clone()
        },
    );
    out.close("g");
    for (deviations, hand) in [(&set.corrected, Hand::Pencil), (&set.reported, Hand::Ink)] {
        for d in deviations {
            if let Some(place) = composed.plan.places.get(d.feature) {
                let arrow = enlarged.arrow(composed.sheet.at(place.middle()), d);
                draw_arrow(&mut out, &arrow, hand, d.outside);
            }
        }
    }
    let view = composed.extent();
    let key = draw_key(&mut out, &enlarged, set, [view.min[0] + 1.0, view.max[1] + 1.0]);
    let title = format!(
        "Plan view of {} with deviations, drawn {}",
        exercise.title,
        enlarged.stated()
    );
    finished(
        &composed,
        &out.into_text(),
        view.joined(key),
        &composed.lettering(),
        &title,
        "plan off",
    )
}

/// Lines of text beside balloons: the remarks, and the amounts of what is too gross to be drawn at its length.
fn notes(exercise: &Exercise, set: &DeviationSet, enlarged: &Enlarged) -> Notes {
    let text = |r: &Remark| {
        let c = exercise.characteristics.get(r.characteristic)?;
        Some((r.characteristic, said(exercise, c, r)?))
    };
    let mut notes: Notes = set.remarks.iter().filter_map(text).collect();
    for d in set.reported.iter().filter(|d| enlarged.is_gross(d)) {
        let own = |c: &Characteristic| c.owner == Owner::Feature(d.feature);
        if let Some(i) = exercise.characteristics.iter().position(own) {
            let amount = enlarged.amount(d);
            notes
                .entry(i)
                .and_modify(|n| n.push_str(&format!(", {amount}")))
                .or_insert(amount);
        }
    }
    notes
}

/// `12 +31 µm`, `12 +1.2 thou out`, `14 -0.05°`.
fn said(exercise: &Exercise, c: &Characteristic, remark: &Remark) -> Option<String> {
    let out = if remark.outside { " out" } else { "" };
    let amount = if c.of.is_angle() {
        format!("{}°", show_signed(decimal_from_f64(remark.by)?, exercise.decimals))
    } else {
        let places = exercise.decimals.saturating_sub(3);
        format!(
            "{} {}",
            show_signed(decimal_from_f64(remark.by * 1e3)?, places),
            small_unit(exercise.units)
        )
    };
    Some(format!("{} {amount}{out}", c.no))
}
