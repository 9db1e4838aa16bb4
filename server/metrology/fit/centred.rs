//! Centre and scale first. Sums of squares of coordinates metres from the origin would lose the micrometres, so every
//! fit works on points moved to their mean and shrunk by a power of two (which is exact) to an extent between 1 and 2.

use super::error::{Figure, FitError};

/// Largest coordinate that is worked with: its fourth power still fits an f64.
pub(in crate::metrology) const LARGEST: f64 = 1e70;
/// Smallest extent of the points that is worked with.
const SMALLEST: f64 = 1e-70;
/// Extents below this many units in the last place of the largest coordinate are no extent.
const FEWEST_ULPS: f64 = 64.0;
const AXES: [char; 3] = ['x', 'y', 'z'];

/// A count as a number.
#[expect(clippy::cast_precision_loss, reason = "no slice has 2^52 points")]
pub(in crate::metrology) fn count(n: usize) -> f64 {
    n as f64
}

/// Points with the move and scale that brings them to the origin at size one.
#[derive(Debug, Clone, Copy)]
pub(in crate::metrology) struct Centred<'a, const D: usize> {
    pub(in crate::metrology) points: &'a [[f64; D]],
    /// Mean of the points, unit of the points.
    pub(in crate::metrology) centre: [f64; D],
    /// A power of two; a local length times this is a length of the points' unit.
    pub(in crate::metrology) scale: f64,
    inverse: f64,
    /// One unit in the last place of the largest coordinate, local: what rounding alone does to a point.
    pub(in crate::metrology) rounding: f64,
}

impl<'a, const D: usize> Centred<'a, D> {
    /// Fails on too few points, on coordinates that are not finite or too large, and on points that are all the same.
    pub(in crate::metrology) fn new(figure: Figure, needed: usize, points: &'a [[f64; D]]) -> Result<Self, FitError> {
        let given = points.len();
        if given < needed || given == 0 {
            return Err(FitError::TooFewPoints { figure, needed, given });
        }
        let (centre, largest) = mean(points)?;
        let mut spread = 0.0_f64;
        for p in points {
            for axis in 0..D {
                spread = spread.max((p[axis] - centre[axis]).abs());
            }
        }
        apart(figure, given, spread, largest)?;
        Ok(Self::with(points, centre, spread, largest))
    }

    /// For callers that have found mean, extent and largest coordinate on their own.
    pub(super) fn with(points: &'a [[f64; D]], centre: [f64; D], spread: f64, largest: f64) -> Self {
        let scale = power_of_two(spread);
        let inverse = 1.0 / scale;
        Centred {
            points,
            centre,
            scale,
            inverse,
            rounding: f64::EPSILON * largest * inverse,
        }
    }

    /// Some of very many points: one of each run of neighbours, at uneven places, so that no pattern in the list shares
    /// the stride.
    pub(super) fn thinned(&self, wanted: usize) -> Vec<[f64; D]> {
        let run = (self.points.len() / wanted.max(1)).max(1);
        let uneven = |i: usize| i.wrapping_mul(i).wrapping_mul(7919) % run;
        let runs = self.points.chunks_exact(run).enumerate();
        runs.map(|(i, run)| run[uneven(i)]).collect()
    }

    /// Others of the same cloud, with this one's place and scale.
    pub(super) fn of<'b>(&self, points: &'b [[f64; D]]) -> Centred<'b, D> {
        Centred {
            points,
            centre: self.centre,
            scale: self.scale,
            inverse: self.inverse,
            rounding: self.rounding,
        }
    }

    pub(in crate::metrology) fn len(&self) -> usize {
        self.points.len()
    }

    /// One point in local coordinates.
    #[inline]
    pub(in crate::metrology) fn local(&self, p: &[f64; D]) -> [f64; D] {
        std::array::from_fn(|axis| (p[axis] - self.centre[axis]) * self.inverse)
    }

    /// All points in local coordinates.
    #[inline]
    pub(in crate::metrology) fn iter(&self) -> impl Iterator<Item = [f64; D]> + '_ {
        self.points.iter().map(|p| self.local(p))
    }

    /// A local position in the unit and place of the points.
    pub(in crate::metrology) fn global(&self, local: [f64; D]) -> [f64; D] {
        std::array::from_fn(|axis| self.centre[axis] + local[axis] * self.scale)
    }
}

/// Fails on points that are all the same as far as their digits go.
pub(super) fn apart(figure: Figure, given: usize, spread: f64, largest: f64) -> Result<(), FitError> {
    if spread < SMALLEST || spread <= FEWEST_ULPS * f64::EPSILON * largest {
        return Err(FitError::Coincident {
            figure,
            given,
            spread,
            largest,
        });
    }
    Ok(())
}

/// The largest power of two that is not above a positive number.
pub(in crate::metrology) fn power_of_two(value: f64) -> f64 {
    f64::from_bits(value.to_bits() & 0x7FF0_0000_0000_0000)
}

/// Mean and largest coordinate by size. Sums of differences from the first point, in blocks, so that neither distance
/// from the origin nor a million points cost digits.
fn mean<const D: usize>(points: &[[f64; D]]) -> Result<([f64; D], f64), FitError> {
    let first = points[0];
    let mut total = [0.0; D];
    let mut largest = 0.0_f64;
    for block in points.chunks(1024) {
        let mut sum = [0.0; D];
        for p in block {
            for axis in 0..D {
                sum[axis] += p[axis] - first[axis];
                largest = largest.max(p[axis].abs());
            }
        }
        for axis in 0..D {
            total[axis] += sum[axis];
        }
    }
    if total.iter().any(|t| !t.is_finite()) || largest > LARGEST {
        return Err(unusable(points));
    }
    let n = count(points.len());
    Ok((std::array::from_fn(|axis| first[axis] + total[axis] / n), largest))
}

/// Fails on coordinates that cannot be worked with.
pub(in crate::metrology) fn usable<const D: usize>(points: &[[f64; D]]) -> Result<(), FitError> {
    let within = |c: &f64| c.abs() <= LARGEST;
    if points.iter().flatten().all(within) {
        Ok(())
    } else {
        Err(unusable(points))
    }
}

/// Names the first coordinate that cannot be worked with.
pub(super) fn unusable<const D: usize>(points: &[[f64; D]]) -> FitError {
    for (index, p) in points.iter().enumerate() {
        for (axis, &value) in p.iter().enumerate() {
            let axis = AXES.get(axis).copied().unwrap_or('?');
            if !value.is_finite() {
                return FitError::NotFinite { index, axis, value };
            }
            if value.abs() > LARGEST {
                return FitError::TooLarge {
                    index,
                    axis,
                    value,
                    limit: LARGEST,
                };
            }
        }
    }
    FitError::TooLarge {
        index: 0,
        axis: 'x',
        value: f64::INFINITY,
        limit: LARGEST,
    }
}
