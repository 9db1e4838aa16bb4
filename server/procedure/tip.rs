//! Taking the tip off: sizes, measured surfaces and datums.
//!
//! Everything follows from one number for each of the three: the tip diameter that was taken off less the true one, e.
//! Not taken off at all is e = -(tip diameter); a wrong tip is e = amount for all three. Where the tip was not taken
//! off, a wrong diameter changes nothing.

use super::edit::{FaultError, finite};
use super::fault::Fault;
use super::frame::Frame;
use super::model::Model;

/// Errors of the tip diameter taken off, by what it was taken off.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Tip {
    /// Off sizes: inside sizes + e, outside sizes - e.
    pub(super) size: f64,
    /// Off distances of parallel faces, which follow their p'; ignored on sizes and on surfaces counts once.
    pub(super) faces: f64,
    surface: f64,
    datum: [f64; 3],
    any: bool,
}

/// - **tip-wrong**: amount = used less true diameter: inside sizes + amount, outside - amount; each datum p'\[axis\] =
///   p\[axis\] + n\[axis\] amount/2; each measured surface p' = p - m amount/2 (a step parallel to its datum keeps its
///   value).
/// - **tip-ignored-on-datum**: p'\[axis\] = p\[axis\] - r n\[axis\] (left face, n = -x: x' = x + r); n on a far face is
///   that face's.
/// - **tip-ignored-on-size**: inside sizes less, outside sizes plus the tip diameter (diameter, slot length and width,
///   distances of facing or opposite surfaces).
/// - **tip-ignored-on-surface**: p' = p + r m along the outward normal m (points, lines, planes).
pub(super) fn read(model: &Model, faults: &[Fault]) -> Result<Tip, FaultError> {
    let mut tip = Tip::default();
    for fault in faults {
        if let Fault::TipWrong { amount } = fault {
            let e = finite("amount", *amount)?;
            tip.size += e;
            tip.faces += e;
            tip.surface += e;
            tip.datum = tip.datum.map(|d| d + e);
            tip.any = true;
        }
    }
    for fault in faults {
        match fault {
            Fault::TipIgnoredOnDatum { datum } => tip.datum[model.datum(*datum)?.0] = -model.tip,
            Fault::TipIgnoredOnSize {} => {
                tip.size = -model.tip;
                tip.faces = -model.tip;
            }
            Fault::TipIgnoredOnSurface {} => {
                tip.surface = -model.tip;
                tip.faces = -model.tip;
            }
            _ => continue,
        }
        tip.any = true;
    }
    Ok(tip)
}

impl Tip {
    pub(super) const fn is_none(&self) -> bool {
        !self.any
    }

    /// What the datums' tip errors add to all coordinates.
    pub(super) fn datum_shift(&self, model: &Model, frame: &Frame) -> [f64; 3] {
        let mut shift = [0.0; 3];
        for (axis, s) in shift.iter_mut().enumerate() {
            let near = model.datums[axis].outward;
            let far = frame.far.get(axis).copied().unwrap_or(false);
            *s = if far { -near } else { near } * self.datum[axis] / 2.0;
        }
        shift
    }

    /// Moves a measured surface along its outward normal `m`.
    pub(super) fn move_surface(&self, p: &mut [f64; 3], m: [f64; 3]) {
        for (v, n) in p.iter_mut().zip(m) {
            *v -= n * self.surface / 2.0;
        }
    }
}
