//! What the blocks around a drawing hold and what their leaders end on.

use std::collections::BTreeMap;

use super::block::{Block, Shows, Side};
use super::dimension::Dimension;
use super::paper::{Area, Point, along, distance, distance_to_stroke, sides};
use super::plan::{Form, Place, Plan};
use super::sheet::Sheet;
use super::svg::Line;
use super::target::Target;
use crate::exercise::model::{Axis, Between, Characteristic, Datum, Exercise, Face, Owner, Quantity};
use crate::units::decimal_to_f64;

/// Blocks and dimension lines of a drawing.
#[derive(Debug, Clone, Default)]
pub(super) struct Links {
    pub(super) blocks: Vec<Block>,
    pub(super) dimensions: Vec<Dimension>,
}

/// Lines of text beside balloons, by the index of the characteristic.
pub(super) type Notes = BTreeMap<usize, String>;

/// Characteristics that share a block: those of one feature, or of one pair along one axis.
pub(super) type Key = (Owner, Option<Axis>, bool);

pub(super) fn key(c: &Characteristic) -> Key {
    // Distances have a dimension line, everything else of a pair points at its features.
    (
        c.owner,
        c.along,
        matches!(c.owner, Owner::Between(_)) && c.of == Quantity::Distance,
    )
}

impl Links {
    /// All balloons and datum letters of an exercise. `notes` are texts by the index of their characteristic.
    pub(super) fn of(exercise: &Exercise, plan: &Plan, sheet: &Sheet, notes: &Notes) -> Self {
        let mut links = Self::default();
        let mut keys: Vec<Key> = Vec::new();
        for c in &exercise.characteristics {
            if !keys.contains(&key(c)) {
                keys.push(key(c));
            }
        }
        for group in keys {
            let (indices, members): (Vec<usize>, Vec<&Characteristic>) = exercise
                .characteristics
                .iter()
                .enumerate()
                .filter(|(_, c)| key(c) == group)
                .unzip();
            let nos: Vec<String> = members.iter().map(|c| c.no.to_string()).collect();
            let targets = match group.0 {
                Owner::Feature(i) => place_target(plan, sheet, i).into_iter().collect(),
                Owner::Between(i) => exercise
                    .between
                    .get(i)
                    .map_or_else(Vec::new, |b| links.pair_targets(exercise, plan, sheet, b, &members)),
            };
            let notes = indices.iter().filter_map(|i| notes.get(i).cloned()).collect();
            links.blocks.push(Block {
                shows: Shows::Balloons,
                labels: nos,
                notes,
                rows: Vec::new(),
                targets,
                side: None,
            });
        }
        for datum in exercise.datum_frame.all() {
            links.blocks.push(datum_block(datum, plan, sheet));
        }
        links
    }

    /// What the balloons of a pair point at.
    pub(super) fn pair_targets(
        &mut self,
        exercise: &Exercise,
        plan: &Plan,
        sheet: &Sheet,
        pair: &Between,
        members: &[&Characteristic],
    ) -> Vec<Target> {
        let [first, second] = pair.features;
        let both = || {
            [first, second]
                .iter()
                .filter_map(|i| place_target(plan, sheet, *i))
                .collect()
        };
        let Some(c) = members.first() else { return Vec::new() };
        if c.of == Quantity::Distance {
            let nos = members.iter().map(|c| c.no.to_string()).collect();
            if let Some(dimension) = Dimension::of(exercise, plan, sheet, &self.dimensions, pair, c.along, nos) {
                let target = Target::Dimension {
                    from: dimension.from,
                    to: dimension.to,
                };
                self.dimensions.push(dimension);
                return vec![target];
            }
            return both();
        }
        // Form and orientation are the first feature's; the second is what it is judged from.
        if members.iter().all(|c| c.of.is_geometrical()) {
            return place_target(plan, sheet, first).into_iter().collect();
        }
        both()
    }
}

pub(super) fn place_target(plan: &Plan, sheet: &Sheet, feature: usize) -> Option<Target> {
    let place = plan.places.get(feature)?;
    Some(Target::of(place, sheet, |corners| free_spots(plan, sheet, corners)))
}

/// Places within a face, on paper, that lie on the body and off everything else that is drawn; its middle where there
/// are none.
fn free_spots(plan: &Plan, sheet: &Sheet, corners: [Point; 4]) -> Vec<Point> {
    let outline: Vec<Point> = plan.outline.iter().map(|p| sheet.at(*p)).collect();
    let own = Area::of(corners);
    // Faces that lie within this one are other levels: steps and recesses.
    let recesses: Vec<Area> = plan
        .places
        .iter()
        .filter_map(|place| match place {
            Place::Face { corners, unseen: false } => Some(Area::of(corners.map(|c| sheet.at(c)))),
            _ => None,
        })
        .filter(|face| face.width() * face.height() < 0.6 * own.width() * own.height())
        .collect();
    let features = plan.drawn.iter().filter(|d| d.feature.is_some());
    let obstacles: Vec<Obstacle> = features.map(|d| Obstacle::of(d, sheet)).collect();
    let off = |p: Point| {
        super::paper::within(p, &outline)
            && sides(&outline).all(|(a, b)| distance_to_stroke(p, a, b) > 2.0)
            && plan.touches.iter().all(|t| distance(p, sheet.at(*t)) > 2.5)
            && !recesses.iter().any(|r| r.holds(p))
            && obstacles.iter().all(|o| o.is_clear_of(p))
    };
    let shares = [0.08, 0.18, 0.28, 0.39, 0.5, 0.61, 0.72, 0.82, 0.92];
    let place = |u: f64, v: f64| along(along(corners[0], corners[1], u), along(corners[3], corners[2], u), v);
    let spots: Vec<Point> = shares
        .iter()
        .flat_map(|u| shares.map(|v| place(*u, v)))
        .filter(|p| off(*p))
        .collect();
    if spots.is_empty() {
        vec![along(corners[0], corners[2], 0.5)]
    } else {
        spots
    }
}

/// What is drawn, on paper, where no leader ends.
enum Obstacle {
    /// Strokes of an edge.
    Strokes(Vec<(Point, Point)>),
    /// A hole or slot around a point or stroke, with the space beside it.
    Hole { from: Point, to: Point, reach: f64 },
}

impl Obstacle {
    fn of(drawn: &super::plan::Drawn, sheet: &Sheet) -> Self {
        match &drawn.form {
            Form::Chain { .. } if drawn.line == Line::Centre => Self::Strokes(Vec::new()),
            Form::Chain { points, closed } => {
                let on_paper: Vec<Point> = points.iter().map(|q| sheet.at(*q)).collect();
                let closing = usize::from(!closed);
                Self::Strokes(sides(&on_paper).take(on_paper.len() - closing).collect())
            }
            Form::Circle { middle, radius } => Self::Hole {
                from: sheet.at(*middle),
                to: sheet.at(*middle),
                reach: sheet.long(*radius) + 1.8,
            },
            Form::Obround {
                middle,
                length,
                width,
                angle,
            } => {
                let [from, to] = sheet.slot(*middle, (*length, *width), *angle);
                Self::Hole {
                    from,
                    to,
                    reach: sheet.long(width / 2.0) + 1.8,
                }
            }
        }
    }

    /// Whether a place keeps off a line, and out of a hole.
    fn is_clear_of(&self, p: Point) -> bool {
        match self {
            Self::Strokes(all) => all.iter().all(|(a, b)| distance_to_stroke(p, *a, *b) > 1.8),
            Self::Hole { from, to, reach } => distance_to_stroke(p, *from, *to) > *reach,
        }
    }
}

/// The letter of a datum on the side of its face; of top and bottom face wherever there is room.
pub(super) fn datum_block(datum: &Datum, plan: &Plan, sheet: &Sheet) -> Block {
    let side = match datum.face {
        Face::Left => Some(Side::Left),
        Face::Right => Some(Side::Right),
        Face::Front => Some(Side::Bottom),
        Face::Back => Some(Side::Top),
        Face::Top | Face::Bottom => None,
    };
    let target = match side {
        Some(side) => datum_edge(datum, plan, sheet, side),
        None => {
            // Between the touches, so that the dot is on the face itself and not on a lower one.
            let touched = Area::of(datum.touches.iter().map(|t| {
                let p = datum.touch_point(t);
                [p[0], p[1]]
            }));
            let corners = [
                touched.min,
                [touched.max[0], touched.min[1]],
                touched.max,
                [touched.min[0], touched.max[1]],
            ];
            Target::Spots {
                spots: free_spots(plan, sheet, corners.map(|c| sheet.at(c))),
                unseen: datum.face == Face::Bottom,
            }
        }
    };
    Block {
        shows: Shows::Datum,
        labels: vec![datum.letter.to_string()],
        notes: Vec::new(),
        rows: Vec::new(),
        targets: vec![target],
        side,
    }
}

/// The side of the outline that the datum's face is in plan view: the longest one at its coordinate.
fn datum_edge(datum: &Datum, plan: &Plan, sheet: &Sheet, side: Side) -> Target {
    let across = usize::from(datum.sets == Axis::Y);
    let at = decimal_to_f64(datum.at);
    let near = plan.nothing * 1000.0;
    let on_face = |(a, b): &(Point, Point)| (a[across] - at).abs() < near && (b[across] - at).abs() < near;
    let longest = sides(&plan.outline)
        .filter(on_face)
        .max_by(|(a, b), (c, d)| distance(*a, *b).total_cmp(&distance(*c, *d)));
    let inward = side.inward();
    let outward = [-inward[0], -inward[1]];
    let (from, to) = longest.unwrap_or_else(|| {
        let touched = Area::of(datum.touches.iter().map(|t| {
            let p = datum.touch_point(t);
            [p[0], p[1]]
        }));
        (touched.min, touched.max)
    });
    let (a, b) = (sheet.at(from), sheet.at(to));
    // Off the corners by more than half of the triangle.
    let off = (2.5 / distance(a, b).max(5.0)).min(0.5);
    Target::Datum {
        from: along(a, b, off),
        to: along(a, b, 1.0 - off),
        outward,
    }
}
