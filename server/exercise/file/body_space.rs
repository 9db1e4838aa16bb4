//! Where the body is: what lies in it, on which face, and how far it reaches.

use super::neighbours;
use super::outline::Plan;
use crate::exercise::model::{Axis, Body, Face};
use crate::units::{LengthUnit, decimal_to_f64};

/// The body for geometry, in the unit of the exercise.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct BodySpace {
    pub(super) plan: Plan,
    pub(super) thickness: f64,
    /// Thinnest wall that can be made.
    pub(super) thinnest: f64,
    /// Whether pins, bosses or balls stand on it, so that places above the top face are no surprise.
    pub(super) raised: bool,
}

impl BodySpace {
    pub(super) fn new(body: &Body, unit: LengthUnit, decimals: u32, raised: bool) -> Self {
        Self {
            thinnest: neighbours::thinnest(unit),
            plan: Plan::new(&body.outline, decimals),
            thickness: decimal_to_f64(body.thickness),
            raised,
        }
    }

    /// Whether a place lies in the body or on its surface.
    pub(super) fn holds(&self, p: [f64; 3]) -> bool {
        self.plan.holds([p[0], p[1]]) && self.holds_height(p[2])
    }

    /// Whether a height lies between top and bottom face.
    pub(super) fn holds_height(&self, z: f64) -> bool {
        z <= self.plan.tolerance() && z >= -self.thickness - self.plan.tolerance()
    }

    /// Length over all along an axis (0, 1, 2).
    pub(super) fn length(&self, axis: usize) -> f64 {
        let [low, high] = self.plan.extent();
        if axis < 2 {
            high[axis] - low[axis]
        } else {
            self.thickness
        }
    }

    /// The longest straight line in the body's box.
    pub(super) fn diagonal(&self) -> f64 {
        self.length(0).hypot(self.length(1)).hypot(self.thickness)
    }

    /// Whether the body itself ends in such a face at that coordinate.
    pub(super) fn has_face(&self, face: Face, at: f64) -> bool {
        let (axis, sign) = face.normal();
        let near = |place: f64| (at - place).abs() <= self.plan.tolerance();
        match axis {
            Axis::Z if sign > 0.0 => near(0.0),
            Axis::Z => near(-self.thickness),
            Axis::X | Axis::Y => self.plan.has_face_at(axis.index(), sign, at),
        }
    }

    /// Whether a place of the body lies on that face, if the body ends in it at that coordinate; a face within the
    /// outline (a step, the wall of a groove) is wherever the author says.
    pub(super) fn on_face(&self, face: Face, p: [f64; 3]) -> bool {
        let (axis, sign) = face.normal();
        let i = axis.index();
        if axis == Axis::Z || !self.has_face(face, p[i]) {
            return true;
        }
        self.plan.to_face([p[0], p[1]], i, sign) <= self.plan.tolerance()
    }
}
