//! Coordinates as running dimensions from the datums (ISO 129-1): each at the end of an extension line, in a lane beside the
//! plate, sorted, so that no two can meet.

use super::block::{Block, Shows, Side};
use super::cut::is_upright;
use super::glyphs::Glyph;
use super::paper::{Point, shifted};
use super::plan::{Place, Plan};
use super::row::{Piece, Row};
use super::sheet::Sheet;
use super::target::Target;
use super::wording;
use crate::exercise::geometry::FeatureState;
use crate::exercise::model::{Axis, Characteristic, Exercise, Face, Owner, Quantity};
use crate::units::decimal_from_f64;

/// Where the extension line starts, beyond what it measures.
const OFF: f64 = 2.0;

/// One coordinate, of one feature or of several that share it.
#[derive(Debug, Clone)]
pub(super) struct Ordinate {
    pub(super) axis: Axis,
    /// In the unit of the part.
    value: f64,
    row: Row,
    features: Vec<usize>,
    /// Where the coordinate starts from.
    pub(super) is_origin: bool,
}

/// The side of the lane of an axis: where the datum is that sets it.
pub(super) fn lane(exercise: &Exercise, axis: Axis) -> Side {
    let other = if axis == Axis::X { Axis::Y } else { Axis::X };
    // X is read along the face that sets Y.
    match exercise.datum_frame.setting(other).map(|d| d.face) {
        Some(Face::Back) => Side::Top,
        Some(Face::Right) => Side::Right,
        Some(Face::Left) => Side::Left,
        _ if axis == Axis::X => Side::Bottom,
        _ => Side::Left,
    }
}

impl Ordinate {
    /// All coordinates along X and Y.
    pub(super) fn all(exercise: &Exercise, plan: &Plan, states: &[FeatureState]) -> Vec<Self> {
        let near = 10.0 * plan.nothing;
        let mut all: Vec<Self> = Vec::new();
        for (axis, of) in [(Axis::X, Quantity::X), (Axis::Y, Quantity::Y)] {
            let own = |i: usize| {
                exercise
                    .characteristics
                    .iter()
                    .find(|c| c.of == of && c.owner == Owner::Feature(i))
            };
            let mut plain = Vec::new();
            for (i, state) in states.iter().enumerate() {
                let value = state.at[axis.index()];
                match (own(i), exercise.features.get(i)) {
                    (Some(c), _) => add(&mut all, near, Self::stated(exercise, c, axis, value, i)),
                    (None, Some(f)) if is_upright(&f.shape, state) => {
                        let position = |c: &Characteristic| c.of == Quantity::Position && c.owner == Owner::Feature(i);
                        if exercise.characteristics.iter().any(position) {
                            add(&mut all, near, Self::unstated(exercise, axis, value, i, true));
                        } else {
                            plain.push(Self::unstated(exercise, axis, value, i, false));
                        }
                    }
                    _ => {}
                }
            }
            for ordinate in plain {
                let known = all
                    .iter_mut()
                    .find(|o| o.axis == axis && (o.value - ordinate.value).abs() < near);
                if let Some(known) = known {
                    known.features.extend(ordinate.features);
                } else {
                    all.push(ordinate);
                }
            }
            let i = axis.index();
            if (plan.extent.min[i] - near..=plan.extent.max[i] + near).contains(&0.0) {
                all.push(Self::origin(axis));
            }
        }
        all
    }

    fn stated(exercise: &Exercise, c: &Characteristic, axis: Axis, value: f64, feature: usize) -> Self {
        Self {
            axis,
            value,
            row: Row {
                nos: vec![c.no.to_string()],
                run: wording::dimension(exercise, wording::Say::Classes, c),
            },
            features: vec![feature],
            is_origin: false,
        }
    }

    /// Of a feature that has no coordinate of its own among the characteristics; exact where a position is judged from it.
    fn unstated(exercise: &Exercise, axis: Axis, value: f64, feature: usize, exact: bool) -> Self {
        let shown = decimal_from_f64(value).unwrap_or_default();
        let piece = if exact {
            wording::exact(exercise, shown)
        } else {
            Piece::Text(wording::nominal(exercise, shown, Quantity::X))
        };
        Self {
            axis,
            value,
            row: Row {
                nos: Vec::new(),
                run: vec![piece],
            },
            features: vec![feature],
            is_origin: false,
        }
    }

    fn origin(axis: Axis) -> Self {
        let arrow = if axis == Axis::X { Glyph::Across } else { Glyph::Up };
        Self {
            axis,
            value: 0.0,
            row: Row {
                nos: Vec::new(),
                run: vec![
                    Piece::Text(axis.letter().to_string()),
                    Piece::Mark(arrow),
                    Piece::Text("0".to_owned()),
                ],
            },
            features: Vec::new(),
            is_origin: true,
        }
    }

    /// Where the extension line starts and where it leaves the plate, on paper.
    pub(super) fn line(&self, plan: &Plan, sheet: &Sheet, side: Side) -> [Point; 2] {
        let body = sheet.area(plan.extent);
        let along = side.axis();
        let across = 1 - along;
        let outward = -side.inward()[across];
        let mut part = [0.0; 2];
        part[along] = self.value;
        let mut at = sheet.at(part);
        at[across] = if outward > 0.0 {
            body.max[across]
        } else {
            body.min[across]
        } + 1.0 * outward;
        let ends = self
            .features
            .iter()
            .filter_map(|i| plan.places.get(*i))
            .map(|p| end_of(p, sheet, across, outward));
        // From the farthest of them.
        let far = ends.fold(f64::NAN, |a: f64, b| if outward > 0.0 { a.min(b) } else { a.max(b) });
        let mut start = at;
        if far.is_finite() && (at[across] - far) * outward > 0.0 {
            start[across] = far;
        }
        [start, at]
    }

    /// The block of it.
    pub(super) fn block(&self, plan: &Plan, sheet: &Sheet, side: Side) -> Block {
        Block {
            shows: Shows::Ordinate,
            labels: self.row.nos.clone(),
            notes: Vec::new(),
            rows: vec![self.row.clone()],
            targets: vec![Target::Ordinate {
                at: self.line(plan, sheet, side)[1],
            }],
            side: Some(side),
        }
    }
}

/// Where what is drawn of a place ends towards the lane.
fn end_of(place: &Place, sheet: &Sheet, across: usize, outward: f64) -> f64 {
    let most = |a: f64, b: f64| if (a - b) * outward > 0.0 { a } else { b };
    match place {
        Place::Round { middle, radius } => sheet.at(*middle)[across] + (sheet.long(*radius) + OFF) * outward,
        Place::Obround {
            middle,
            length,
            width,
            angle,
        } => {
            let reach = (length - width) / 2.0;
            let (sin, cos) = angle.to_radians().sin_cos();
            let half = sheet.long((reach * if across == 0 { cos } else { sin }).abs() + width / 2.0);
            sheet.at(*middle)[across] + (half + OFF) * outward
        }
        Place::Edge { from, to } => {
            let (a, b) = (sheet.at(*from)[across], sheet.at(*to)[across]);
            most(a, b) + outward
        }
        Place::Spot { at } => sheet.at(*at)[across],
        Place::Face { corners, .. } => {
            let middle = shifted(
                corners[0],
                [
                    (corners[2][0] - corners[0][0]) / 2.0,
                    (corners[2][1] - corners[0][1]) / 2.0,
                ],
            );
            sheet.at(middle)[across]
        }
    }
}

/// Two with one coordinate and one tolerance share a line.
fn add(all: &mut Vec<Ordinate>, near: f64, new: Ordinate) {
    let same = |o: &&mut Ordinate| o.axis == new.axis && (o.value - new.value).abs() < near && o.row.run == new.row.run;
    if let Some(known) = all.iter_mut().find(same) {
        known.row.nos.extend(new.row.nos);
        known.features.extend(new.features);
    } else {
        all.push(new);
    }
}
