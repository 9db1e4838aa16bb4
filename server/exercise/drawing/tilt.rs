//! The angle of a slanted face in a section: an arc from its datum's direction where the face ends the body (ISO 129-1), a
//! leader to it everywhere else. Millimetres of paper.

use super::block::Side;
use super::paper::{Area, Point, along, direction, distance, shifted};
use super::row::PlacedRow;
use super::section::Slant;
use super::sheet::Sheet;
use super::svg::{Line, Svg, arrowhead, n, polyline};
use super::symbols::HEAD;

/// From the end of a face to the arc around its other end.
const OFF: f64 = 4.0;
/// Radius of an arc at least.
const LEAST: f64 = 11.0;
/// A face that is longer has its arc within its length.
const LONG: f64 = 24.0;
/// How far extension lines go beyond the arc, and how far they start off the body.
const BEYOND: f64 = 1.5;
const CLEAR: f64 = 1.0;

/// A slanted face with what says its angle.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tilt {
    ends: [Point; 2],
    pub(super) side: Side,
    /// Whether there is an arc.
    is_arc: bool,
}

impl Tilt {
    /// `is_true` where the section shows the angle in its true size, from the level.
    pub(super) fn of(slant: &Slant, is_true: bool, extent: Area, sheet: &Sheet) -> Self {
        let [inner, outer] = slant.ends;
        let near = 1e-3 * extent.width();
        let out = if (outer[0] - extent.max[0]).abs() < near && outer[0] > inner[0] {
            Some(Side::Right)
        } else if (outer[0] - extent.min[0]).abs() < near && outer[0] < inner[0] {
            Some(Side::Left)
        } else {
            None
        };
        let free = if slant.up { Side::Top } else { Side::Bottom };
        let arc = out.filter(|_| is_true);
        Self {
            ends: slant.ends.map(|e| sheet.at(e)),
            side: arc.unwrap_or(free),
            is_arc: arc.is_some(),
        }
    }

    pub(super) fn move_by(&mut self, by: Point) {
        self.ends = self.ends.map(|e| shifted(e, by));
    }

    fn radius(&self) -> f64 {
        let long = distance(self.ends[0], self.ends[1]);
        if long > LONG {
            0.6 * long
        } else {
            (long + OFF).max(LEAST)
        }
    }

    /// Directions of the level and of the face, from its inner end.
    fn ways(&self) -> [Point; 2] {
        let way = if self.side == Side::Left { -1.0 } else { 1.0 };
        [[way, 0.0], direction(self.ends[0], self.ends[1])]
    }

    /// The angle from the level to the face, in radians.
    fn turn(&self) -> f64 {
        let [level, face] = self.ways();
        (level[0] * face[1] - level[1] * face[0]).atan2(level[0] * face[0] + level[1] * face[1])
    }

    /// A place on the arc at a share of the angle; beyond its ends too.
    fn on_arc(&self, share: f64) -> Point {
        let [level, _] = self.ways();
        let (sin, cos) = (share * self.turn()).sin_cos();
        let way = [level[0] * cos - level[1] * sin, level[0] * sin + level[1] * cos];
        let r = self.radius();
        shifted(self.ends[0], [r * way[0], r * way[1]])
    }

    /// Length of the arc.
    fn long(&self) -> f64 {
        self.turn().abs() * self.radius()
    }

    /// What its row should stand beside.
    pub(super) fn pointed_at(&self) -> Point {
        if self.is_arc {
            self.on_arc(0.5)
        } else {
            along(self.ends[0], self.ends[1], 0.5)
        }
    }

    /// By how much the arc goes on beyond its ends, as a share of it: where there is no room between its arrows they come from
    /// outside.
    fn beyond(&self) -> f64 {
        let long = self.long();
        if long < 2.6 * HEAD { (HEAD + 1.5) / long } else { 0.0 }
    }

    /// The box of the arc and its lines; nothing where there is none.
    pub(super) fn area(&self) -> Option<Area> {
        self.is_arc.then(|| {
            let more = self.beyond();
            let arc = (0..=16_u32).map(|k| -more + (1.0 + 2.0 * more) * f64::from(k) / 16.0);
            let ends = self.ways().map(|w| self.end(w));
            Area::of(arc.map(|s| self.on_arc(s)).chain(ends)).grown(0.5)
        })
    }

    /// Where an extension line ends.
    fn end(&self, way: Point) -> Point {
        let r = self.radius() + BEYOND;
        shifted(self.ends[0], [r * way[0], r * way[1]])
    }

    /// How far the arc comes out beyond the section.
    pub(super) fn reach(&self, body: Area) -> f64 {
        let Some(own) = self.area() else { return 0.0 };
        let out = if self.side == Side::Left {
            body.min[0] - own.min[0]
        } else {
            own.max[0] - body.max[0]
        };
        out.max(0.0)
    }

    pub(super) fn draw(&self, out: &mut Svg, row: &PlacedRow) {
        if self.is_arc {
            self.draw_arc(out);
        }
        let at = self.pointed_at();
        match self.side {
            Side::Left | Side::Right => {
                let way = if self.side == Side::Left { 1.0 } else { -1.0 };
                let to = [row.facing(way), row.middle()[1]];
                out.path(Line::Thin, &polyline(&[at, [to[0] + way * 1.5, to[1]], to], false));
            }
            Side::Top | Side::Bottom => {
                let from = row.foot(self.side == Side::Top);
                out.path(Line::Thin, &polyline(&[from, at], false));
                out.raw(&arrowhead(at, from, HEAD));
            }
        }
    }

    fn draw_arc(&self, out: &mut Svg) {
        let (r, long) = (self.radius(), self.long());
        let [inner, outer] = self.ends;
        let [level, face] = self.ways();
        out.path(
            Line::Thin,
            &polyline(
                &[shifted(inner, [CLEAR * level[0], CLEAR * level[1]]), self.end(level)],
                false,
            ),
        );
        if distance(inner, outer) < r {
            let from = shifted(outer, [CLEAR * face[0], CLEAR * face[1]]);
            out.path(Line::Thin, &polyline(&[from, self.end(face)], false));
        }
        let share = HEAD / long;
        let more = self.beyond();
        let [from, to] = [self.on_arc(-more), self.on_arc(1.0 + more)];
        let sweep = u8::from(self.turn() > 0.0);
        out.path(
            Line::Thin,
            &format!(
                "M{} {}A{} {} 0 0 {sweep} {} {}",
                n(from[0]),
                n(from[1]),
                n(r),
                n(r),
                n(to[0]),
                n(to[1])
            ),
        );
        let tail = if more > 0.0 { -share } else { share };
        out.raw(&arrowhead(self.on_arc(0.0), self.on_arc(tail), HEAD));
        out.raw(&arrowhead(self.on_arc(1.0), self.on_arc(1.0 - tail), HEAD));
    }
}
