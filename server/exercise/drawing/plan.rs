//! What the plan view shows: edges in sight and out of sight, centre lines, and where each feature can be pointed at.
//! Everything here is in the unit and the frame of the part, x to the right and y away from the person.

use super::faces;
use super::paper::{Area, Point, along, direction, distance, shifted, within};
use super::relief::Relief;
use super::svg::Line;
use crate::exercise::geometry::{FeatureState, nominal_states};
use crate::exercise::model::{Datum, Exercise, Feature, Shape, Side};
use crate::units::decimal_to_f64;

/// A line of the drawing.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Drawn {
    pub(super) line: Line,
    pub(super) form: Form,
    /// Feature that it shows; none for the outline.
    pub(super) feature: Option<usize>,
}

/// Its course.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Form {
    Chain {
        points: Vec<Point>,
        closed: bool,
    },
    Circle {
        middle: Point,
        radius: f64,
    },
    Obround {
        middle: Point,
        length: f64,
        width: f64,
        angle: f64,
    },
}

/// Where a leader can end on a feature.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Place {
    /// On the circumference.
    Round { middle: Point, radius: f64 },
    /// On the contour of a slot; the angle in degrees.
    Obround {
        middle: Point,
        length: f64,
        width: f64,
        angle: f64,
    },
    /// On an edge.
    Edge { from: Point, to: Point },
    /// At one place within the outline.
    Spot { at: Point },
    /// Anywhere on a face, given by its corners.
    Face { corners: [Point; 4], unseen: bool },
}

impl Place {
    /// The middle, where deviations start and distances end.
    pub(super) fn middle(&self) -> Point {
        match self {
            Self::Round { middle, .. } | Self::Obround { middle, .. } => *middle,
            Self::Edge { from, to } => along(*from, *to, 0.5),
            Self::Spot { at } => *at,
            Self::Face { corners, .. } => along(corners[0], corners[2], 0.5),
        }
    }
}

/// The plan view of an exercise.
#[derive(Debug, Clone)]
pub(super) struct Plan {
    pub(super) outline: Vec<Point>,
    pub(super) drawn: Vec<Drawn>,
    /// One for each feature.
    pub(super) places: Vec<Place>,
    /// Where the datum faces are touched.
    pub(super) touches: Vec<Point>,
    /// Box of all that is drawn.
    pub(super) extent: Area,
    /// What counts as nothing, a millionth of the extent.
    pub(super) nothing: f64,
    /// Level and slanted faces.
    pub(super) relief: Relief,
}

impl Plan {
    pub(super) fn of(exercise: &Exercise) -> Self {
        let outline: Vec<Point> = exercise.body.outline.iter().map(|p| p.map(decimal_to_f64)).collect();
        let extent = Area::of(outline.iter().copied());
        let mut plan = Self {
            drawn: vec![Drawn {
                line: Line::Edge,
                form: Form::Chain {
                    points: outline.clone(),
                    closed: true,
                },
                feature: None,
            }],
            outline,
            places: Vec::new(),
            touches: touches(exercise),
            extent,
            nothing: 1e-6 * extent.width().max(extent.height()),
            relief: Relief::default(),
        };
        let states = nominal_states(exercise);
        plan.relief = Relief::of(exercise, &plan, &states);
        for (i, (feature, state)) in exercise.features.iter().zip(&states).enumerate() {
            let place = plan.add(exercise, &states, i, feature, state);
            plan.places.push(place);
        }
        faces::add_breaks(&mut plan);
        plan.add_centre_lines();
        plan
    }

    pub(super) fn push(&mut self, line: Line, form: Form, feature: usize) {
        let new = Drawn {
            line,
            form,
            feature: Some(feature),
        };
        let same = |d: &Drawn| d.line == new.line && d.form == new.form;
        if !self.drawn.iter().any(same) {
            let area = area_of(&new.form);
            self.extent = self.extent.joined(area);
            self.drawn.push(new);
        }
    }

    /// Adds the lines of a feature and gives where it can be pointed at.
    fn add(
        &mut self,
        exercise: &Exercise,
        states: &[FeatureState],
        i: usize,
        feature: &Feature,
        state: &FeatureState,
    ) -> Place {
        let at = [state.at[0], state.at[1]];
        match &feature.shape {
            Shape::Point { normal, .. } if normal[2].abs() < 0.5 => Place::Edge { from: at, to: at },
            Shape::Point { .. } => Place::Spot { at },
            Shape::Line { from, to, .. } => self.add_line(i, plan_view(from), plan_view(to)),
            Shape::Plane { normal, size, .. } => {
                let size = size.map(decimal_to_f64);
                faces::add(
                    self,
                    i,
                    state.at,
                    *normal,
                    size,
                    decimal_to_f64(exercise.body.thickness),
                )
            }
            _ if lies_down(state) => self.add_lying(i, state),
            shape => {
                let surface = self.relief.off(at, true).0;
                let on_slope =
                    self.relief.slope_at(at, true).is_some() && state.at[2] > surface - 1000.0 * self.nothing;
                let line = if on_slope || in_sight(exercise, states, i) {
                    Line::Edge
                } else {
                    Line::Hidden
                };
                self.add_upright(i, shape, state, line)
            }
        }
    }

    fn add_line(&mut self, i: usize, from: Point, to: Point) -> Place {
        if distance(from, to) > self.nothing && !faces::on_outline(self, from, to) {
            self.push(
                Line::Edge,
                Form::Chain {
                    points: vec![from, to],
                    closed: false,
                },
                i,
            );
        }
        Place::Edge { from, to }
    }

    /// A round feature or slot that is seen along its axis.
    fn add_upright(&mut self, i: usize, shape: &Shape, state: &FeatureState, line: Line) -> Place {
        let middle = [state.at[0], state.at[1]];
        if let Shape::Slot { .. } = shape {
            let (length, width, angle) = (state.length, state.width, state.angle);
            self.push(
                line,
                Form::Obround {
                    middle,
                    length,
                    width,
                    angle,
                },
                i,
            );
            return Place::Obround {
                middle,
                length,
                width,
                angle,
            };
        }
        let radius = state.diameter / 2.0;
        self.push(line, Form::Circle { middle, radius }, i);
        if let Shape::Cone { .. } = shape {
            let far = radius - state.length * (state.angle / 2.0).to_radians().tan();
            if far > self.nothing {
                self.push(line, Form::Circle { middle, radius: far }, i);
            }
        }
        Place::Round { middle, radius }
    }

    /// A round feature whose axis lies in the plan: its two long sides out of sight, and its axis.
    fn add_lying(&mut self, i: usize, state: &FeatureState) -> Place {
        let at = [state.at[0], state.at[1]];
        let axis = direction([0.0; 2], [state.direction[0], state.direction[1]]);
        let step = self.extent.width().max(self.extent.height()) * 1e-3;
        // It goes into the material, whichever way the axis was written.
        let inward = if within(shifted(at, [axis[0] * step, axis[1] * step]), &self.outline) {
            1.0
        } else {
            -1.0
        };
        let reach = [axis[0] * inward * state.length, axis[1] * inward * state.length];
        let across = [-axis[1] * state.diameter / 2.0, axis[0] * state.diameter / 2.0];
        let (a, b) = (shifted(at, across), shifted(at, [-across[0], -across[1]]));
        let points = vec![a, shifted(a, reach), shifted(b, reach), b];
        self.push(Line::Hidden, Form::Chain { points, closed: false }, i);
        let axis_line = vec![
            along(at, shifted(at, reach), -0.06),
            along(at, shifted(at, reach), 1.06),
        ];
        self.push(
            Line::Centre,
            Form::Chain {
                points: axis_line,
                closed: false,
            },
            i,
        );
        Place::Edge { from: a, to: b }
    }

    /// Centre lines of round features and slots, once for each middle, through the largest figure there.
    fn add_centre_lines(&mut self) {
        let mut middles: Vec<(Point, f64, usize)> = Vec::new();
        let mut slots = Vec::new();
        for d in &self.drawn {
            match (&d.form, d.feature) {
                (Form::Circle { middle, radius }, Some(i)) => {
                    match middles
                        .iter_mut()
                        .find(|(m, ..)| distance(*m, *middle) < self.nothing * 100.0)
                    {
                        Some(known) if known.1 < *radius => *known = (*middle, *radius, i),
                        Some(_) => {}
                        None => middles.push((*middle, *radius, i)),
                    }
                }
                (
                    Form::Obround {
                        middle,
                        length,
                        width,
                        angle,
                    },
                    Some(i),
                ) => slots.push((*middle, *length, *width, *angle, i)),
                _ => {}
            }
        }
        for (middle, radius, i) in middles {
            self.add_cross(middle, [radius, radius], 0.0, i);
        }
        for (middle, length, width, angle, i) in slots {
            self.add_cross(middle, [length / 2.0, width / 2.0], angle, i);
            let reach = (length - width) / 2.0;
            if reach > width * 0.4 {
                let (sin, cos) = angle.to_radians().sin_cos();
                for side in [-1.0, 1.0] {
                    let at = shifted(middle, [side * reach * cos, side * reach * sin]);
                    self.add_cross(at, [0.0, width / 2.0], angle, i);
                }
            }
        }
    }

    /// Two centre lines from the middle outwards, so that they meet in a dash; `half` along and across `angle`.
    fn add_cross(&mut self, middle: Point, half: [f64; 2], angle: f64, feature: usize) {
        let (sin, cos) = angle.to_radians().sin_cos();
        for (reach, d) in [(half[0], [cos, sin]), (half[1], [-sin, cos])] {
            for side in [-reach, reach] {
                if side.abs() > self.nothing {
                    let end = shifted(middle, [side * d[0], side * d[1]]);
                    self.push(
                        Line::Centre,
                        Form::Chain {
                            points: vec![middle, end],
                            closed: false,
                        },
                        feature,
                    );
                }
            }
        }
    }
}

fn touches(exercise: &Exercise) -> Vec<Point> {
    let of = |d: &'_ Datum| -> Vec<Point> {
        d.touches
            .iter()
            .map(|t| d.touch_point(t))
            .map(|p| [p[0], p[1]])
            .collect()
    };
    exercise.datum_frame.all().into_iter().flat_map(of).collect()
}

fn plan_view(at: &[rust_decimal::Decimal; 3]) -> Point {
    [decimal_to_f64(at[0]), decimal_to_f64(at[1])]
}

/// The box that a line lies in.
pub(super) fn area_of(form: &Form) -> Area {
    match form {
        Form::Chain { points, .. } => Area::of(points.iter().copied()),
        Form::Circle { middle, radius } => Area::around(*middle, 2.0 * radius, 2.0 * radius),
        Form::Obround {
            middle,
            length,
            width,
            angle,
        } => {
            let (sin, cos) = angle.to_radians().sin_cos();
            let reach = (length - width) / 2.0;
            Area::around(
                *middle,
                2.0 * (reach * cos).abs() + width,
                2.0 * (reach * sin).abs() + width,
            )
        }
    }
}

fn lies_down(state: &FeatureState) -> bool {
    state.direction[2].abs() < 0.5
}

/// Whether a round feature or slot is seen from above: it starts at the top face or stands above it, or it opens into
/// a hollow or onto a lower face that is seen itself.
fn in_sight(exercise: &Exercise, states: &[FeatureState], i: usize) -> bool {
    let (Some(feature), Some(state)) = (exercise.features.get(i), states.get(i)) else {
        return true;
    };
    let thickness = decimal_to_f64(exercise.body.thickness);
    let nothing = 1e-6 * thickness;
    let z = state.at[2];
    if z >= -nothing || feature.side == Some(Side::Outside) {
        return true;
    }
    let through = state.length >= thickness - nothing;
    if state.direction[2] < 0.0 {
        return through;
    }
    let at = [state.at[0], state.at[1]];
    exercise.features.iter().zip(states).enumerate().any(|(j, (f, s))| {
        let above = [s.at[0], s.at[1]];
        match &f.shape {
            Shape::Plane { normal, size, .. } => {
                let [x, y] = size.map(decimal_to_f64);
                normal[2] > 0.9 && (s.at[2] - z).abs() < 1e-3 * thickness && Area::around(above, x, y).holds(at)
            }
            Shape::Circle { .. } | Shape::Cylinder { .. } | Shape::Cone { .. } => {
                let opens = j != i && f.side == Some(Side::Inside) && s.at[2] > z + nothing && !lies_down(s);
                let reaches = s.at[2] - s.length <= z + 1e-3 * thickness;
                opens && reaches && distance(above, at) + state.diameter / 2.0 <= s.diameter / 2.0 + nothing
            }
            Shape::Slot { .. } => {
                let opens = j != i && s.at[2] > z + nothing && s.at[2] - s.length <= z + 1e-3 * thickness;
                opens && distance(above, at) + state.diameter / 2.0 <= s.length / 2.0
            }
            _ => false,
        }
    })
}
