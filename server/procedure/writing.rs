//! Writing down: what happens to whole columns and groups of values.
//!
//! Order: halved diameters, deviations, exchanged features, copied nominals, reversed columns, exchanged columns, a gross
//! error. Reversed and exchanged columns change only characteristics x, y and z, and come after all that makes a value;
//! exchanged ones after all else.

use super::edit::{Edit, FaultError, finite};
use super::fault::Fault;
use super::model::Model;
use super::reads::Work;
use crate::exercise::model::{Axis, Owner, Quantity};
use crate::exercise::names::{BalloonNo, FeatureKey};

/// What is done in writing, by place on the sheet.
#[derive(Debug, Clone, Default)]
pub(super) struct Writing {
    halved: Vec<usize>,
    deviations: Vec<usize>,
    exchanged: Vec<(usize, usize)>,
    pub(super) axes_exchanged: bool,
    reversed: Vec<Axis>,
    pub(super) copied: Vec<usize>,
    gross: Vec<(usize, f64)>,
    any: bool,
}

/// **wrong-plate**: the reference values of that serial.
pub(super) fn source(model: &Model, faults: &[Fault]) -> Result<Option<usize>, FaultError> {
    let mut source = None;
    for fault in faults {
        if let Fault::WrongPlate { serial } = fault {
            source = Some(model.plate(serial).map_err(|e| FaultError::NoPlate(e.0))?.0);
        }
    }
    Ok(source)
}

/// - **radius-for-diameter**: those diameters halved.
/// - **deviation-for-value**: value less nominal.
/// - **features-exchanged**: a and b report each other's values, characteristic by like characteristic; one without a
///   like stays.
/// - **axes-exchanged**: x' = y, y' = x in every characteristic x or y.
/// - **axis-reversed**: x' = -x (or y, z) in every characteristic of that axis.
/// - **nominals-copied**: value = nominal.
/// - **gross-error**: value + amount.
pub(super) fn read(model: &Model, faults: &[Fault]) -> Result<Writing, FaultError> {
    let mut writing = Writing::default();
    for fault in faults {
        match fault {
            Fault::RadiusForDiameter { items } => {
                for no in items {
                    let line = item(model, no)?;
                    let diameter = model.lines.get(line).is_some_and(|l| l.of == Quantity::Diameter);
                    writing.halved.push(
                        diameter
                            .then_some(line)
                            .ok_or_else(|| FaultError::NoDiameter(no.clone()))?,
                    );
                }
            }
            Fault::DeviationForValue { items } => extend(model, &mut writing.deviations, items)?,
            Fault::NominalsCopied { items } => extend(model, &mut writing.copied, items)?,
            Fault::FeaturesExchanged { a, b } => {
                writing
                    .exchanged
                    .extend(likes(model, feature(model, a)?, feature(model, b)?));
            }
            Fault::AxesExchanged {} => writing.axes_exchanged = true,
            Fault::AxisReversed { axis } => writing.reversed.push(*axis),
            Fault::GrossError {
                item: no,
                amount: Some(amount),
            } => {
                writing.gross.push((item(model, no)?, finite("amount", *amount)?));
            }
            _ => continue,
        }
        writing.any = true;
    }
    Ok(writing)
}

fn extend(model: &Model, to: &mut Vec<usize>, items: &[BalloonNo]) -> Result<(), FaultError> {
    for no in items {
        to.push(item(model, no)?);
    }
    Ok(())
}

/// Place of a balloon number on the sheet.
pub(super) fn item(model: &Model, no: &BalloonNo) -> Result<usize, FaultError> {
    model.line_of(no).ok_or_else(|| FaultError::NoItem(no.clone()))
}

fn feature(model: &Model, key: &FeatureKey) -> Result<usize, FaultError> {
    model
        .keys
        .iter()
        .position(|k| k == key)
        .ok_or_else(|| FaultError::NoFeature(key.clone()))
}

/// Pairs of like characteristics of two features: the same quantity to the same datum.
fn likes(model: &Model, a: usize, b: usize) -> Vec<(usize, usize)> {
    let of = |feature: usize| {
        let mine = move |(_, l): &(usize, &super::model::Line)| l.owner == Owner::Feature(feature);
        model.lines.iter().enumerate().filter(mine)
    };
    if a == b {
        return Vec::new();
    }
    of(a)
        .filter_map(|(i, l)| {
            of(b)
                .find(|(_, o)| o.of == l.of && o.datum == l.datum)
                .map(|(j, _)| (i, j))
        })
        .collect()
}

pub(super) fn apply(model: &Model, edit: &Edit, work: &mut Work) {
    let writing = &edit.writing;
    if !writing.any {
        return;
    }
    for i in &writing.halved {
        change(&mut work.values, *i, |v| v / 2.0);
    }
    for i in &writing.deviations {
        let Some(line) = model.lines.get(*i) else { continue };
        change(&mut work.values, *i, |v| v - line.nominal);
        if let Some(other) = model.other_place(*i) {
            change(&mut work.crossed, *i, |v| v - other);
        }
    }
    for (a, b) in &writing.exchanged {
        work.values.swap(*a, *b);
        if writing.axes_exchanged {
            work.crossed.swap(*a, *b);
        }
    }
    for i in &writing.copied {
        let nominal = model.lines.get(*i).map_or(0.0, |l| l.nominal);
        change(&mut work.values, *i, |_| nominal);
        if let Some(other) = model.other_place(*i) {
            change(&mut work.crossed, *i, |_| other);
        }
    }
    for axis in &writing.reversed {
        for (line, value) in model.lines.iter().zip(&mut work.values) {
            if line.axis() == Some(*axis) {
                *value = -*value;
            }
        }
        // What stands crossed at a line is of the other axis in plan view.
        for (line, value) in model.lines.iter().zip(&mut work.crossed) {
            if *axis != Axis::Z && line.axis().is_some_and(|a| a != Axis::Z && a != *axis) {
                *value = -*value;
            }
        }
    }
    if writing.axes_exchanged {
        exchange_axes(model, work);
    }
    for (i, amount) in &writing.gross {
        change(&mut work.values, *i, |v| v + amount);
    }
}

/// Where a written value comes from: the line that was measured and the factor on it; 0 where a nominal was copied.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carrier {
    /// Place on the sheet of the line whose measured value, and so whose noise, stands here.
    pub line: usize,
    /// Factor on the measured value.
    pub factor: f64,
}

impl Carrier {
    /// Whether a nominal stands here and no measured value.
    #[must_use]
    pub const fn is_copied(&self) -> bool {
        self.factor.abs() <= 0.0
    }
}

impl Model {
    /// The print's other coordinate in plan view of what a line reads x or y of.
    fn other_place(&self, line: usize) -> Option<f64> {
        let line = self.lines.get(line)?;
        match (line.owner, line.axis()?) {
            (Owner::Feature(f), axis @ (Axis::X | Axis::Y)) => self.parts.get(f).map(|p| p.at[1 - axis.index()]),
            _ => None,
        }
    }

    /// For every line of the sheet, whose measured value stands there and by which factor, before slips of single values.
    /// Order and meaning are those of writing down.
    #[must_use]
    pub fn carriers(&self, edit: &Edit) -> Vec<Carrier> {
        let unit = |of: Quantity| if of.is_angle() { 1.0 } else { edit.unit };
        let carrier = |(line, l): (usize, &super::model::Line)| Carrier {
            line,
            factor: unit(l.of),
        };
        let mut carriers: Vec<Carrier> = self.lines.iter().enumerate().map(carrier).collect();
        let writing = &edit.writing;
        for i in &writing.halved {
            rescale(&mut carriers, *i, 0.5);
        }
        for (a, b) in &writing.exchanged {
            carriers.swap(*a, *b);
        }
        for i in &writing.copied {
            rescale(&mut carriers, *i, 0.0);
        }
        for (i, line) in self.lines.iter().enumerate() {
            if line.axis().is_some_and(|axis| writing.reversed.contains(&axis)) {
                rescale(&mut carriers, i, -1.0);
            }
        }
        for (i, line) in self.lines.iter().enumerate() {
            if let (true, Some(Axis::X), Some(j)) = (writing.axes_exchanged, line.axis(), line.partner) {
                carriers.swap(i, j);
            }
        }
        carriers
    }
}

fn rescale(carriers: &mut [Carrier], i: usize, by: f64) {
    if let Some(carrier) = carriers.get_mut(i) {
        carrier.factor *= by;
    }
}

fn change(values: &mut [f64], i: usize, to: impl FnOnce(f64) -> f64) {
    if let Some(value) = values.get_mut(i) {
        *value = to(*value);
    }
}

/// A column's value goes to the other one's place; where the sheet has only one of the two, the other is written there.
fn exchange_axes(model: &Model, work: &mut Work) {
    for (i, line) in model.lines.iter().enumerate() {
        match (line.axis(), line.partner) {
            (Some(Axis::X), Some(j)) => work.values.swap(i, j),
            (Some(Axis::X | Axis::Y), None) => {
                if let (Some(value), Some(other)) = (work.values.get_mut(i), work.crossed.get(i)) {
                    *value = *other;
                }
            }
            _ => {}
        }
    }
}
