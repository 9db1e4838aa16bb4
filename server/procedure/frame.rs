//! Building the frame: it is always rebuilt from its touches, displaced as the faults say, by the 3-2-1 rule.
//!
//! Order: rotation about Z, tilt about x, tilt about y; then Z, X and Y are `at` at the middles of the touches of the
//! datums that set them; then shifts, which are added unscaled in the rebuilt frame.

use super::edit::{FaultError, finite};
use super::fault::{Fault, PlanAxis};
use super::model::Model;
use super::placing::Placing;
use crate::exercise::geometry::dot;
use crate::exercise::model::{Axis, Datum, DatumFrame};
use crate::units::decimal_to_f64;

/// A datum as the forward model needs it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DatumSetting {
    pub(super) letter: char,
    /// Coordinate of the face.
    pub(super) at: f64,
    /// Sign of the face's outward normal on the axis that it sets.
    pub(super) outward: f64,
    /// Middle of the touches, in the part frame.
    pub(super) middle: [f64; 3],
}

/// A datum frame that is none.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FrameError {
    /// Two datums set the same axis.
    #[error("no datum sets {0}; a frame needs one datum for each of x, y and z")]
    NoDatum(char),
    /// Touches that do not fix the datum.
    #[error("the touches of datum {letter} lie so that {what}; spread them out")]
    Touches {
        /// Datum letter.
        letter: char,
        /// What they do not fix.
        what: &'static str,
    },
}

/// The datums by the axis that they set.
pub(super) fn settings(frame: &DatumFrame) -> Result<[DatumSetting; 3], FrameError> {
    let setting = |datum: &Datum| DatumSetting {
        letter: datum.letter,
        at: decimal_to_f64(datum.at),
        outward: datum.face.normal().1,
        middle: datum.middle(),
    };
    let of = |axis| {
        frame
            .setting(axis)
            .map(setting)
            .ok_or_else(|| FrameError::NoDatum(axis.letter()))
    };
    Ok([of(Axis::X)?, of(Axis::Y)?, of(Axis::Z)?])
}

/// A rotation, by rows, and what is added after it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rotation {
    rows: [[f64; 3]; 3],
    offset: [f64; 3],
}

impl Rotation {
    /// Turned part only, without the offset.
    pub(super) fn apply(&self, v: [f64; 3]) -> [f64; 3] {
        self.rows.map(|row| dot(row, v))
    }
}

/// The frame as the procedure builds it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Frame {
    rotation: Option<Rotation>,
    shift: [f64; 3],
    shifted: bool,
    /// Axes whose far face was touched.
    pub(super) far: [bool; 2],
}

impl Frame {
    pub(super) const fn is_none(&self) -> bool {
        self.rotation.is_none() && !self.shifted
    }

    pub(super) const fn rotation(&self) -> Option<&Rotation> {
        self.rotation.as_ref()
    }

    pub(super) fn add_shift(&mut self, by: [f64; 3]) {
        for (shift, v) in self.shift.iter_mut().zip(by) {
            *shift += v;
            self.shifted |= v.abs() > 0.0;
        }
    }

    /// A direction in this frame.
    pub(super) fn turn(&self, v: [f64; 3]) -> [f64; 3] {
        self.rotation.map_or(v, |r| r.apply(v))
    }

    /// A place in this frame.
    pub(super) fn place(&self, p: [f64; 3]) -> [f64; 3] {
        let mut q = p;
        if let Some(rotation) = &self.rotation {
            let turned = rotation.apply(p);
            q = [0, 1, 2].map(|i| turned[i] + rotation.offset[i]);
        }
        [0, 1, 2].map(|i| q[i] + self.shift[i])
    }

    /// A frame turned by small or large angles in degrees, about Z, x and y, and shifted.
    pub(super) fn posed(datums: &[DatumSetting; 3], degrees: [f64; 3], shift: [f64; 3]) -> Self {
        let turned = degrees.iter().any(|a| a.abs() > 0.0);
        let mut frame = Self {
            rotation: turned.then(|| rotation(datums, degrees)),
            ..Self::default()
        };
        frame.add_shift(shift);
        frame
    }
}

/// R = Ry(-c) Rx(-b) Rz(-a), and the offset that puts every datum's middle at its `at`.
fn rotation(datums: &[DatumSetting; 3], [a, b, c]: [f64; 3]) -> Rotation {
    let (sa, ca) = a.to_radians().sin_cos();
    let (sb, cb) = b.to_radians().sin_cos();
    let (sc, cc) = c.to_radians().sin_cos();
    // Rx(-b) Rz(-a), then Ry(-c) on it.
    let inner = [[ca, sa, 0.0], [-sa * cb, ca * cb, sb], [sa * sb, -ca * sb, cb]];
    let rows = [
        [0, 1, 2].map(|j| cc * inner[0][j] - sc * inner[2][j]),
        inner[1],
        [0, 1, 2].map(|j| sc * inner[0][j] + cc * inner[2][j]),
    ];
    let offset = [0, 1, 2].map(|k| datums[k].at - dot(rows[k], datums[k].middle));
    Rotation { rows, offset }
}

/// - **frame-rotated**: the line through the secondary datum's touches turned by the angle about their middle: rotation
///   Rz(-angle), then the datums are at their `at` at the middles of their touches.
/// - **frame-tilted**: the plane through the primary datum's touches turned by the angle about x or y through their
///   middle: R(about, -angle), then the same.
/// - **origin-shift**: p'\[axis\] = p\[axis\] + amount.
/// - **mistaken-surface**: p'\[axis\] = p\[axis\] - (surface's `at` - datum's `at`).
/// - **opposite-corner**: p'\[axis\] = p\[axis\] - (far face - `at`), tip compensated for the far face, which comes from
///   the bounding box of the outline as placed.
pub(super) fn read(model: &Model, placing: &Placing, faults: &[Fault]) -> Result<Frame, FaultError> {
    let (mut degrees, mut shift, mut far) = ([0.0; 3], [0.0; 3], [false; 2]);
    for fault in faults {
        match fault {
            Fault::FrameRotated { angle_deg } => degrees[0] += finite("angle_deg", *angle_deg)?,
            Fault::FrameTilted {
                about: PlanAxis::X,
                angle_deg,
            } => degrees[1] += finite("angle_deg", *angle_deg)?,
            Fault::FrameTilted {
                about: PlanAxis::Y,
                angle_deg,
            } => degrees[2] += finite("angle_deg", *angle_deg)?,
            Fault::OriginShift { axis, amount } => shift[axis.index()] += finite("amount", *amount)?,
            Fault::MistakenSurface { datum, name } => {
                let (axis, setting) = model.datum(*datum)?;
                shift[axis] -= model.mistaken_at(*datum, name)? - setting.at;
            }
            Fault::OppositeCorner { axis } => {
                let index = axis.axis().index();
                let [low, high] = placing.extents(model);
                let datum = &model.datums[index];
                shift[index] -= if datum.outward > 0.0 { low[index] } else { high[index] } - datum.at;
                far[index] = true;
            }
            _ => {}
        }
    }
    Ok(Frame {
        far,
        ..Frame::posed(&model.datums, degrees, shift)
    })
}

impl Model {
    /// The axis that a datum sets, by letter, and its setting.
    pub(super) fn datum(&self, letter: char) -> Result<(usize, &DatumSetting), FaultError> {
        let found = self.datums.iter().enumerate().find(|(_, d)| d.letter == letter);
        found.ok_or(FaultError::NoDatum(letter))
    }

    fn mistaken_at(&self, datum: char, name: &str) -> Result<f64, FaultError> {
        let found = self
            .mistaken
            .iter()
            .find(|(letter, n, _)| *letter == datum && n == name);
        let missing = || FaultError::NoSurface {
            datum,
            name: name.to_owned(),
        };
        found.map(|(_, _, at)| *at).ok_or_else(missing)
    }
}
