//! Touches on the true surface of every kind of feature.

use std::f64::consts::TAU;

use super::pattern;
use super::{Touch, turned_about};
use crate::exercise::geometry::{FeatureState, dot};
use crate::exercise::model::{Exercise, Feature, Owner, Quantity, Shape, Side};
use crate::procedure::reads::{cross, face_directions};
use crate::units::decimal_to_f64;

/// A feature as it is on the plate.
pub(super) struct Surface<'a> {
    pub(super) feature: &'a Feature,
    pub(super) nominal: &'a FeatureState,
    pub(super) state: &'a FeatureState,
    /// Outward normal of the datum that its orientation or angle refers to.
    pub(super) datum: [f64; 3],
    /// Depth below the edge at which a round feature is touched, where it is deep enough.
    pub(super) reach: f64,
}

/// Part of a length, at either end, in which nothing is touched.
const EDGE: f64 = 0.1;

/// The datum that orientation or angle of a feature refers to.
pub(super) fn datum_of(exercise: &Exercise, feature: usize) -> Option<char> {
    let mine = exercise
        .characteristics
        .iter()
        .filter(|c| c.owner == Owner::Feature(feature));
    mine.into_iter().find_map(|c| c.datum)
}

fn plus(p: [f64; 3], parts: &[([f64; 3], f64)]) -> [f64; 3] {
    let mut sum = p;
    for (v, by) in parts {
        for (s, v) in sum.iter_mut().zip(v) {
            *s += v * by;
        }
    }
    sum
}

/// 0, 1, 2 and so on, and how many there are.
fn numbered(count: usize) -> (impl Iterator<Item = f64>, f64) {
    let total = (0..count).map(|_| 1.0).sum();
    ((0_u32..).map(f64::from).take(count), total)
}

/// `count` places from -1/2 to 1/2, edges left out.
fn spread(count: usize) -> Vec<f64> {
    let (numbers, total) = numbered(count);
    let place = |i: f64| {
        if total > 1.0 {
            (i / (total - 1.0) - 0.5) * (1.0 - 2.0 * EDGE)
        } else {
            0.0
        }
    };
    numbers.map(place).collect()
}

/// Angles of evenly spaced points of a ring.
fn even_ring(count: usize) -> Vec<f64> {
    let (numbers, total) = numbered(count);
    numbers.map(|i| TAU * i / total).collect()
}

/// Angles of an even ring, and one between its first two where an odd number is asked that leaves one.
fn ring_angles(count: usize) -> (Vec<f64>, Option<f64>) {
    let odd = count > 4 && !count.is_multiple_of(2);
    let angles = even_ring(if odd { count - 1 } else { count });
    let between = angles.get(1).filter(|_| odd).map(|a| a / 2.0);
    (angles, between)
}

/// An axis is a line: the direction of it that points up, out of the material that it goes down into.
fn out_of_material(axis: [f64; 3]) -> [f64; 3] {
    if axis[2] < 0.0 { axis.map(|v| -v) } else { axis }
}

impl Surface<'_> {
    pub(super) fn touches(&self) -> Vec<Touch> {
        let count = usize::try_from(self.feature.points).unwrap_or(1).max(1);
        match &self.feature.shape {
            Shape::Point { normal, .. } => vec![
                Touch {
                    at: self.state.at,
                    normal: *normal
                };
                count
            ],
            Shape::Line { from, to, normal } => {
                let d = [0, 1, 2].map(|i| decimal_to_f64(to[i]) - decimal_to_f64(from[i]));
                self.line(count, d.map(|v| v / self.nominal.length), *normal)
            }
            Shape::Plane { normal, size, .. } => self.plane(count, *normal, size.map(decimal_to_f64)),
            Shape::Circle { .. } => self.circle(count),
            Shape::Slot { .. } => self.slot(count),
            Shape::Cylinder { axis, .. } => self.cylinder(count, out_of_material(*axis)),
            Shape::Cone { axis, .. } => self.cone(count, out_of_material(*axis)),
            Shape::Sphere { .. } => self.sphere(count),
        }
    }

    fn own(&self, of: Quantity) -> f64 {
        self.state.own.get(&of).copied().unwrap_or(0.0)
    }

    /// Sign of the material's outward normal against the direction away from the axis or centre.
    fn outward(&self) -> f64 {
        if self.feature.side == Some(Side::Outside) {
            1.0
        } else {
            -1.0
        }
    }

    fn line(&self, count: usize, direction: [f64; 3], normal: [f64; 3]) -> Vec<Touch> {
        let turn = (self.state.angle - self.nominal.angle).to_radians();
        let up = [0.0, 0.0, 1.0];
        let (direction, normal) = (turned_about(direction, up, turn), turned_about(normal, up, turn));
        let form = self.own(Quantity::Straightness);
        let place = |(t, w): (f64, f64)| Touch {
            at: plus(
                self.state.at,
                &[(direction, t * self.nominal.length), (normal, w * form)],
            ),
            normal,
        };
        spread(count).into_iter().zip(pattern::line(count)).map(place).collect()
    }

    fn plane(&self, count: usize, normal: [f64; 3], size: [f64; 2]) -> Vec<Touch> {
        let [first, second] = face_directions(normal);
        let places = face_places(count, size);
        let flat = self.own(Quantity::Flatness);
        // By how much the face rises along its two directions.
        let (lean, parallel) = self.leaning(normal);
        let along = if parallel { usize::from(size[1] > size[0]) } else { lean };
        let wanted = self.own(if parallel {
            Quantity::Parallelism
        } else {
            Quantity::Perpendicularity
        });
        let rises: Vec<(f64, f64)> = places.iter().map(|(uv, w)| (uv[along], w * flat)).collect();
        let slope = slope_for(&rises, wanted) + if parallel { 0.0 } else { self.angle_slope(normal, along) };
        let axis = cross([first, second][along], normal);
        let turn = slope.atan();
        let turned = turned_about(normal, axis, turn);
        let [first, second] = [first, second].map(|d| turned_about(d, axis, turn));
        let place = |(uv, w): &([f64; 2], f64)| Touch {
            at: plus(self.state.at, &[(first, uv[0]), (second, uv[1]), (turned, w * flat)]),
            normal: turned,
        };
        places.iter().map(place).collect()
    }

    /// The direction of the face that leads most towards the datum's normal, and whether the face is parallel to it.
    fn leaning(&self, normal: [f64; 3]) -> (usize, bool) {
        let [first, second] = face_directions(normal);
        let towards = |d: [f64; 3]| dot(d, self.datum).abs();
        (
            usize::from(towards(second) > towards(first)),
            dot(normal, self.datum).abs() > 1.0 - 1e-6,
        )
    }

    /// Slope along a direction of the face that changes its angle to the datum as the plate has it.
    fn angle_slope(&self, normal: [f64; 3], along: usize) -> f64 {
        let change = (self.state.angle - self.nominal.angle).to_radians();
        let axis = cross(face_directions(normal)[along], normal);
        // A small turn shows which way the angle between the planes grows.
        let towards = |v: [f64; 3]| dot(v, self.datum).abs();
        let grows = towards(turned_about(normal, axis, 1e-6)) < towards(normal);
        let upright = towards(normal) < 1e-9;
        if grows || upright { change.tan() } else { -change.tan() }
    }

    fn circle(&self, count: usize) -> Vec<Touch> {
        let depth = self.reach.min(self.state.length / 2.0);
        let (angles, extra) = ring_angles(count);
        let form = self.own(Quantity::Roundness);
        let deviations = pattern::ring(angles.len());
        let all = angles.into_iter().zip(deviations).chain(extra.map(|a| (a, 0.0)));
        let up = [0.0, 0.0, 1.0];
        all.map(|(a, w)| self.round([1.0, 0.0, 0.0], up, a, -depth, self.state.diameter / 2.0 + w * form))
            .collect()
    }

    /// A touch on a round feature: angle from `first` about `axis`, height along it, radius.
    fn round(&self, first: [f64; 3], axis: [f64; 3], angle: f64, height: f64, radius: f64) -> Touch {
        let away = turned_about(first, axis, angle);
        Touch {
            at: plus(self.state.at, &[(axis, height), (away, radius)]),
            normal: away.map(|v| v * self.outward()),
        }
    }

    fn cylinder(&self, count: usize, axis: [f64; 3]) -> Vec<Touch> {
        let first = face_directions(axis)[0];
        // The zone of a perpendicularity is over the whole depth: the axis leans by zone over depth.
        let lean = (self.own(Quantity::Perpendicularity) / self.state.length)
            .clamp(-1.0, 1.0)
            .asin();
        let across = cross(axis, first);
        let (axis, first) = (turned_about(axis, across, lean), turned_about(first, across, lean));
        let form = self.own(Quantity::Cylindricity);
        let radius = self.state.diameter / 2.0;
        let per_ring = count / 2;
        let deviations = pattern::two_rings(per_ring);
        let mut touches = Vec::with_capacity(count);
        // The lower ring is turned by half a step: more of the surface is seen.
        let step = even_ring(per_ring).get(1).copied().unwrap_or(0.0);
        for (ring, (part, turn)) in [(0.25, 0.0), (0.75, step / 2.0)].into_iter().enumerate() {
            for (i, a) in even_ring(per_ring).into_iter().map(|a| a + turn).enumerate() {
                let w = deviations.get(ring * per_ring + i).copied().unwrap_or(0.0);
                touches.push(self.round(first, axis, a, -part * self.state.length, radius + w * form));
            }
        }
        if !count.is_multiple_of(2) {
            touches.push(self.round(first, axis, 0.5, -0.5 * self.state.length, radius));
        }
        touches
    }

    /// Holes narrow into the material, bosses widen: the surface narrows along the outward end of a boss's axis and
    /// against the axis in a hole.
    fn cone(&self, count: usize, axis: [f64; 3]) -> Vec<Touch> {
        let first = face_directions(axis)[0];
        let half = (self.state.angle / 2.0).to_radians();
        let (sin, cos) = half.sin_cos();
        let per_ring = count / 2;
        let deepest = self.state.length.min(0.8 * self.state.diameter / 2.0 / half.tan());
        let mut places: Vec<(f64, f64)> = Vec::with_capacity(count);
        for part in [0.2, 0.8] {
            places.extend(even_ring(per_ring).into_iter().map(|a| (a, part * deepest)));
        }
        if !count.is_multiple_of(2) {
            places.push((0.5, 0.5 * deepest));
        }
        let place = |(a, below): (f64, f64)| {
            let out = self.outward();
            let radius = self.state.diameter / 2.0 + out * below * half.tan();
            let touch = self.round(first, axis, a, -below, radius);
            // The normal leans up the axis by half the angle, for a hole and for a boss.
            Touch {
                normal: [0, 1, 2].map(|i| touch.normal[i] * cos + axis[i] * sin),
                ..touch
            }
        };
        places.into_iter().map(place).collect()
    }

    /// The pole and a ring a little short of the equator; a seat is touched from above, a ball too.
    fn sphere(&self, count: usize) -> Vec<Touch> {
        const POLAR: f64 = 1.4;
        let up = self.outward();
        let (angles, extra) = ring_angles(count.saturating_sub(1));
        let form = self.own(Quantity::Form);
        let deviations = pattern::ring(angles.len());
        let at = |polar: f64, a: f64, w: f64| {
            let away = [polar.sin() * a.cos(), polar.sin() * a.sin(), polar.cos() * up];
            Touch {
                at: plus(self.state.at, &[(away, self.state.diameter / 2.0 + w * form)]),
                normal: away.map(|v| v * up),
            }
        };
        let ring = angles.into_iter().zip(deviations).map(|(a, w)| at(POLAR, a, w));
        std::iter::once(at(0.0, 0.0, 0.0))
            .chain(ring)
            .chain(extra.map(|a| at(POLAR / 2.0, a, 0.0)))
            .collect()
    }

    /// Both ends once, the sides with all other touches.
    fn slot(&self, count: usize) -> Vec<Touch> {
        let (sin, cos) = self.state.angle.to_radians().sin_cos();
        let (along, across) = ([cos, sin, 0.0], [-sin, cos, 0.0]);
        let depth = -self.reach.min(self.nominal_depth() / 2.0);
        let up = [0.0, 0.0, 1.0];
        let out = self.outward();
        let (half_length, half_width) = (self.state.length / 2.0, self.state.width / 2.0);
        let mut touches = Vec::with_capacity(count);
        for side in [1.0, -1.0] {
            touches.push(Touch {
                at: plus(self.state.at, &[(along, side * half_length), (up, depth)]),
                normal: along.map(|v| v * side * out),
            });
        }
        let on_sides = count.saturating_sub(2);
        for (side, n) in [(1.0, on_sides.div_ceil(2)), (-1.0, on_sides / 2)] {
            for t in spread(n) {
                let t = t * 2.0 * (half_length - half_width);
                touches.push(Touch {
                    at: plus(self.state.at, &[(along, t), (across, side * half_width), (up, depth)]),
                    normal: across.map(|v| v * side * out),
                });
            }
        }
        touches
    }

    fn nominal_depth(&self) -> f64 {
        match &self.feature.shape {
            Shape::Slot { depth: Some(depth), .. } => decimal_to_f64(*depth),
            _ => 2.0 * self.reach,
        }
    }
}

/// Places on a face in its two directions from its middle, and the form there: a grid as square as the count allows,
/// and one in the middle where the count makes no grid.
fn face_places(count: usize, size: [f64; 2]) -> Vec<([f64; 2], f64)> {
    let divisor = |n: usize| (2..=n).rev().find(|d| d * d <= n && n.is_multiple_of(*d));
    let (grid, rows) = match divisor(count) {
        Some(rows) => (count, rows),
        None if count > 4 => (count - 1, divisor(count - 1).unwrap_or(1)),
        None => (count, 1),
    };
    let columns = grid / rows;
    // The longer direction gets more touches.
    let turned = size[1] > size[0];
    let [long, short] = if turned { [size[1], size[0]] } else { size };
    let mut places = Vec::with_capacity(count);
    if count == 3 {
        let corners = [[-0.4, -0.4], [0.4, -0.4], [0.0, 0.4]];
        places.extend(corners.map(|[u, v]| ([u * long, v * short], 0.0)));
    } else {
        let form = pattern::grid(rows, columns);
        for (i, v) in spread(rows).into_iter().enumerate() {
            for (j, u) in spread(columns).into_iter().enumerate() {
                places.push(([u * long, v * short], form.get(i * columns + j).copied().unwrap_or(0.0)));
            }
        }
        places.extend((grid < count).then_some(([0.0, 0.0], 0.0)));
    }
    if turned {
        for (uv, _) in &mut places {
            uv.swap(0, 1);
        }
    }
    places
}

/// The slope, along the place, at which rises have this range: the smallest one, 0 where the form alone is as wide.
pub(super) fn slope_for(rises: &[(f64, f64)], wanted: f64) -> f64 {
    let range = |slope: f64| {
        let (low, high) = rises.iter().fold((f64::MAX, f64::MIN), |(low, high), (u, w)| {
            let r = u * slope + w;
            (low.min(r), high.max(r))
        });
        high - low
    };
    let extent = rises.iter().fold(0.0_f64, |e, (u, _)| e.max(u.abs()));
    if wanted <= range(0.0) || extent <= 0.0 {
        return 0.0;
    }
    // The range is convex in the slope and grows by at least |slope| extent - form: this slope is enough.
    let (mut low, mut high) = (0.0, 2.0 * wanted / extent);
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        if range(middle) < wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}
