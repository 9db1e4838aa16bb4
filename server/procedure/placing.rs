//! Placing: how the part lies on the machine.

use super::fault::{Fault, QuarterTurn};
use super::model::Model;
use crate::exercise::geometry::dot;

/// The part as clamped: turned about Z, then set against the datums again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Placing {
    turn: Option<QuarterTurn>,
    /// Rows of the rotation in plan view; exact, since turns are quarters.
    rows: [[f64; 2]; 2],
    offset: [f64; 2],
}

impl Default for Placing {
    fn default() -> Self {
        Self {
            turn: None,
            rows: [[1.0, 0.0], [0.0, 1.0]],
            offset: [0.0; 2],
        }
    }
}

/// **part-turned**: p' = Rz(angle) p less the smallest x and y of the turned outline, plus the datums' `at`. At 180
/// degrees and `at` = 0: x' = L - x, y' = W - y.
pub(super) fn read(model: &Model, faults: &[Fault]) -> Placing {
    let turn = faults.iter().rev().find_map(|fault| match fault {
        Fault::PartTurned { angle_deg } => Some(*angle_deg),
        _ => None,
    });
    let Some(turn) = turn else { return Placing::default() };
    let rows = match turn {
        QuarterTurn::One => [[0.0, -1.0], [1.0, 0.0]],
        QuarterTurn::Two => [[-1.0, 0.0], [0.0, -1.0]],
        QuarterTurn::Three => [[0.0, 1.0], [-1.0, 0.0]],
    };
    let turned = Placing {
        turn: Some(turn),
        rows,
        offset: [0.0; 2],
    };
    let [low, _] = turned.extents(model);
    let offset = [0, 1].map(|axis| model.datums[axis].at - low[axis]);
    Placing { offset, ..turned }
}

impl Placing {
    pub(super) const fn is_none(&self) -> bool {
        self.turn.is_none()
    }

    /// A direction as it lies on the machine.
    pub(super) fn turn(&self, v: [f64; 3]) -> [f64; 3] {
        if self.turn.is_none() {
            return v;
        }
        let row = |r: [f64; 2]| dot([r[0], r[1], 0.0], v);
        [row(self.rows[0]), row(self.rows[1]), v[2]]
    }

    /// A place as it lies on the machine, in the coordinates that the datums would give.
    pub(super) fn place(&self, p: [f64; 3]) -> [f64; 3] {
        let q = self.turn(p);
        [q[0] + self.offset[0], q[1] + self.offset[1], q[2]]
    }

    /// Degrees in plan view.
    pub(super) fn degrees(&self) -> f64 {
        self.turn.map_or(0.0, |t| f64::from(t.degrees()))
    }

    /// Smallest and largest x and y of the outline as placed.
    pub(super) fn extents(&self, model: &Model) -> [[f64; 2]; 2] {
        let mut extents = [[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]];
        for corner in &model.outline {
            let p = self.place([corner[0], corner[1], 0.0]);
            for axis in 0..2 {
                extents[0][axis] = extents[0][axis].min(p[axis]);
                extents[1][axis] = extents[1][axis].max(p[axis]);
            }
        }
        extents
    }
}
