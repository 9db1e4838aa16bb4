use nalgebra::Vector2;

use super::minimum_zone::near;
use super::search::{Cell, Found, Slopes, Zone, search};
use super::{Limits, touching};
use crate::metrology::fit::Circle2;
use crate::metrology::fit::centred::Centred;
use crate::metrology::fit::circle2d::solve_circle;
use crate::metrology::fit::error::{Figure, FitError};

/// The largest circle with no point inside and its centre among its contacts.
#[derive(Debug, Clone, PartialEq)]
pub struct Inscribed {
    /// Centre.
    pub centre: [f64; 2],
    /// Radius.
    pub radius: f64,
    /// Points on the circle, by position.
    pub active: Vec<usize>,
    /// Largest distance of a point from the centre less the radius.
    pub zone_width: f64,
    /// Other local maxima whose radius is smaller by a hundred-millionth of the points' extent at most, largest first: with two contacts
    /// nearly opposite there is one on either side, far apart and almost equal.
    pub rivals: Vec<Circle2>,
}

const RIVAL: f64 = 1e-8;

/// Maximum inscribed circle: the reference of internal features. Of several local maxima the largest.
///
/// # Errors
/// Fewer than three points, points that are the same, or points all to one side, which hold no circle.
pub fn maximum_inscribed_circle(points: &[[f64; 2]]) -> Result<Inscribed, FitError> {
    let centred = Centred::new(Figure::Circle2d, 3, points)?;
    let hollow = Hollow::new(&centred);
    let (root, known) = hollow.near(&centred).unwrap_or((hollow.domain(), f64::INFINITY));
    let alike = FitError::TooAlike { given: points.len() };
    let found = search(&hollow, root, known, RIVAL).ok_or(alike)?;
    let Some(best) = found.first() else {
        return Err(FitError::NothingInscribed { given: points.len() });
    };
    let distances: Vec<f64> = (0..hollow.points.len()).map(|i| hollow.height(i, best.at)).collect();
    let limits = Limits::of(&distances, touching(&centred));
    Ok(Inscribed {
        centre: centred.global(best.at),
        radius: limits.low * centred.scale,
        active: limits.active_low,
        zone_width: (limits.high - limits.low) * centred.scale,
        rivals: found[1..].iter().map(|other| circle(&centred, other)).collect(),
    })
}

/// All local maxima, largest first. Every corner between any three points is looked at: for hundreds of points, not for
/// many thousands.
///
/// # Errors
/// As [`maximum_inscribed_circle`].
pub fn inscribed_maxima(points: &[[f64; 2]]) -> Result<Vec<Circle2>, FitError> {
    let centred = Centred::new(Figure::Circle2d, 3, points)?;
    let hollow = Hollow::new(&centred);
    let alike = FitError::TooAlike { given: points.len() };
    let found = search(&hollow, hollow.domain(), f64::INFINITY, f64::INFINITY).ok_or(alike)?;
    if found.is_empty() {
        return Err(FitError::NothingInscribed { given: points.len() });
    }
    Ok(found.iter().map(|found| circle(&centred, found)).collect())
}

fn circle(points: &Centred<2>, found: &Found) -> Circle2 {
    Circle2 {
        centre: points.global(found.at),
        radius: -found.value * points.scale,
    }
}

/// Distances of points from a centre among them.
struct Hollow {
    points: Vec<Vector2<f64>>,
    touching: f64,
}

impl Hollow {
    fn new(points: &Centred<2>) -> Self {
        Hollow {
            points: points.iter().map(Vector2::from).collect(),
            touching: touching(points),
        }
    }

    /// Where the best circle can be and what it reaches at least, for points all round with little form error: going
    /// uphill from the least-squares centre ends at a local maximum before it is far.
    fn near(&self, points: &Centred<2>) -> Option<(Cell, f64)> {
        let (circle, _) = solve_circle(points).ok()?;
        let start = Vector2::new(circle.x, circle.y);
        let around: Vec<Vector2<f64>> = self.points.iter().map(|p| p - start).collect();
        let half = near(&around, circle.radius)?;
        let reached = around.iter().fold(f64::INFINITY, |least, p| least.min(p.norm()));
        Some((
            Cell {
                at: start.into(),
                half: [half, half],
            },
            -reached,
        ))
    }

    /// A centre among its contacts lies among the points.
    fn domain(&self) -> Cell {
        let first = self.points.first().copied().unwrap_or_default();
        let (low, high) = self
            .points
            .iter()
            .fold((first, first), |(low, high), p| (low.inf(p), high.sup(p)));
        let half = (high - low) * 0.5;
        Cell {
            at: ((low + high) * 0.5).into(),
            half: [half.x.max(1e-12), half.y.max(1e-12)],
        }
    }
}

impl Zone for Hollow {
    const INSCRIBED: bool = true;

    fn len(&self) -> usize {
        self.points.len()
    }

    fn height(&self, index: usize, at: [f64; 2]) -> f64 {
        (self.points[index] - Vector2::from(at)).norm()
    }

    fn slopes(&self, _cell: &Cell, _points: &mut dyn Iterator<Item = usize>) -> Slopes {
        Slopes::ABSOLUTE
    }

    #[inline]
    fn range(&self, index: usize, cell: &Cell, _common: [f64; 2]) -> (f64, f64) {
        let from = self.points[index] - Vector2::from(cell.at);
        let distance = from.norm();
        let reach = cell.reach();
        let inverse = if distance > 0.0 { 1.0 / distance } else { 0.0 };
        let change = (from.x.abs() * cell.half[0] + from.y.abs() * cell.half[1]) * inverse;
        // As for the ring of the minimum zone: tangent below, a bend above.
        let bend = if distance > 1.5 * reach {
            reach * reach / (2.0 * (distance - reach))
        } else {
            reach
        };
        (
            distance - change.min(reach),
            (distance + change + bend).min(distance + reach),
        )
    }

    #[inline]
    fn equal(&self, i: usize, j: usize) -> ([f64; 2], f64) {
        let (p, q) = (self.points[i], self.points[j]);
        let row = q - p;
        (row.into(), 0.5 * row.dot(&(p + q)))
    }

    /// Not where all points that can touch lie to one side of the whole cell.
    fn possible(&self, cell: &Cell, low: &[usize]) -> bool {
        let from = |i: &usize| self.points[*i] - Vector2::from(cell.at);
        let Some(side) = low.iter().map(from).sum::<Vector2<f64>>().try_normalize(1e-300) else {
            return true;
        };
        let reach = cell.reach();
        low.iter().any(|i| from(i).dot(&side) <= reach)
    }

    /// A local maximum: seen from the centre, the contacts leave no half turn free to slip out.
    fn accepts(&self, at: [f64; 2], low: &[usize]) -> bool {
        let from = |i: usize| self.points[i] - Vector2::from(at);
        let radius = low.iter().fold(f64::INFINITY, |least, &i| least.min(from(i).norm()));
        let contacts = low
            .iter()
            .map(|&i| from(i))
            .filter(|p| p.norm() <= radius + self.touching);
        let mut angles: Vec<f64> = contacts.map(|p| p.y.atan2(p.x)).collect();
        angles.sort_by(f64::total_cmp);
        let (Some(first), Some(last)) = (angles.first(), angles.last()) else {
            return false;
        };
        let around = first + std::f64::consts::TAU - last;
        let widest = angles
            .windows(2)
            .fold(around, |widest, pair| widest.max(pair[1] - pair[0]));
        widest < std::f64::consts::PI - 1e-12
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_is_touched_all_round() {
        let found =
            maximum_inscribed_circle(&[[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0], [0.0, 3.0]]).unwrap();
        assert!(
            (found.radius - 2.0_f64.sqrt()).abs() < 1e-15 && found.active == [0, 1, 2, 3],
            "{found:?}"
        );
        assert!(found.rivals.is_empty(), "{found:?}");
    }

    #[test]
    fn two_opposite_contacts_leave_two_maxima() {
        // Above and below the near-diametral pair at (+-1, 0) a third point stops the circle.
        let points = [
            [1.0, 0.0],
            [-1.0, 0.0],
            [0.0, 1.1],
            [0.0, -1.12],
            [0.75, 0.8],
            [-0.75, -0.83],
        ];
        let maxima = inscribed_maxima(&points).unwrap();
        assert_eq!(maxima.len(), 2, "{maxima:?}");
        let best = maximum_inscribed_circle(&points).unwrap();
        assert!((best.radius - maxima[0].radius).abs() < 1e-15 && maxima[0].radius > maxima[1].radius);
    }

    #[test]
    fn an_open_arc_holds_nothing() {
        let error = maximum_inscribed_circle(&[[1.0, 0.0], [0.8, 0.6], [0.6, 0.8], [0.0, 1.0]]).unwrap_err();
        insta::assert_snapshot!(error, @"the 4 points hold no inscribed circle: from every place among them it slips out to one side; take points all round");
    }
}
