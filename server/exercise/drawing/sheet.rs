//! From the part to the paper.

use super::paper::{Area, Point, shifted};
use super::scale::Scale;

/// A scale and where the part's origin lies on paper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sheet {
    /// Millimetres of paper for one unit of the part.
    factor: f64,
    origin: Point,
}

impl Sheet {
    /// The sheet on which the upper left corner of `extent` (in the part) comes to `[0, 0]` on paper.
    pub(super) fn new(scale: Scale, mm_per_unit: f64, extent: Area) -> Self {
        let factor = scale.factor() * mm_per_unit;
        Self {
            factor,
            origin: [-factor * extent.min[0], factor * extent.max[1]],
        }
    }

    /// The same scale with everything moved by this on paper.
    pub(super) fn moved(&self, by: Point) -> Self {
        Self {
            origin: shifted(self.origin, by),
            ..*self
        }
    }

    /// A place of the part on paper.
    pub(super) fn at(&self, p: Point) -> Point {
        [self.origin[0] + self.factor * p[0], self.origin[1] - self.factor * p[1]]
    }

    /// The arc centres of a slot of the part, on paper.
    pub(super) fn slot(&self, middle: Point, (length, width): (f64, f64), angle: f64) -> [Point; 2] {
        let (sin, cos) = angle.to_radians().sin_cos();
        let reach = (length - width) / 2.0;
        [-1.0, 1.0].map(|side| self.at(shifted(middle, [side * reach * cos, side * reach * sin])))
    }

    /// A length of the part on paper.
    pub(super) fn long(&self, length: f64) -> f64 {
        length * self.factor
    }

    /// A box of the part on paper.
    pub(super) fn area(&self, area: Area) -> Area {
        Area::of([self.at(area.min), self.at(area.max)])
    }
}
