use super::centred::{Centred, count};
use super::determined::{Kind, diagonal, stands_out};
use super::line2d::{principal, spread_along};
use super::shape::turned_positive;
use super::{Covariance, Figure, Fit, FitError};

/// Two parallel lines in the plane, the sides of a groove or a rail.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ParallelLines {
    /// A point of each line: the means of the points of each side.
    pub points: [[f64; 2]; 2],
    /// Their common unit direction, its larger component positive.
    pub direction: [f64; 2],
}

impl ParallelLines {
    /// Distance between the lines, never negative.
    #[must_use]
    pub fn distance(&self) -> f64 {
        let [a, b] = self.points;
        ((b[1] - a[1]) * self.direction[0] - (b[0] - a[0]) * self.direction[1]).abs()
    }
}

/// Orthogonal least-squares pair of parallel lines with one direction for both sides. Residuals: first side, then
/// second, positive on the side of the direction turned by +90 degrees. Covariance: offsets of both lines at the means
/// of their points, angle.
///
/// # Errors
/// A side without points, fewer than three points together, or sides too short for a direction.
pub fn parallel_lines(first: &[[f64; 2]], second: &[[f64; 2]]) -> Result<Fit<ParallelLines, 3>, FitError> {
    let figure = Figure::ParallelLines;
    let given = first.len() + second.len();
    if first.is_empty() || second.is_empty() || given < 3 {
        return Err(FitError::TooFewPoints {
            figure,
            needed: 3,
            given,
        });
    }
    let both: Vec<[f64; 2]> = first.iter().chain(second).copied().collect();
    // For the checks of finite, large and equal coordinates; the sides have means of their own.
    let whole = Centred::new(figure, 3, &both)?;
    let means = [mean(&whole, first), mean(&whole, second)];
    let mut apart: Vec<[f64; 2]> = Vec::with_capacity(given);
    for (side, centre) in [(first, means[0]), (second, means[1])] {
        apart.extend(side.iter().map(|p| {
            let local = whole.local(p);
            [local[0] - centre[0], local[1] - centre[1]]
        }));
    }
    let centred = Centred::new(figure, 3, &apart)?;
    let direction = turned_positive(principal(&centred));
    let (along, across) = spread_along(&centred, direction);
    let scale = centred.scale * whole.scale;
    stands_out(along, across, given - 3, &centred)
        .map_err(|loose| loose.angle(figure, given, "their direction in degrees", scale))?;
    let residuals = centred
        .iter()
        .map(|p| (p[1] * direction[0] - p[0] * direction[1]) * scale)
        .collect();
    let lines = ParallelLines {
        points: means.map(|m| whole.global(m)),
        direction,
    };
    let parameters = ["offset_first", "offset_second", "angle"];
    let squares = [count(first.len()), count(second.len()), along];
    let matrix = diagonal(squares, &[Kind::Place, Kind::Place, Kind::Angle], scale);
    Ok(Fit::new(lines, residuals, Covariance { parameters, matrix }))
}

fn mean(whole: &Centred<2>, side: &[[f64; 2]]) -> [f64; 2] {
    let sum = side.iter().fold([0.0; 2], |sum, p| {
        let local = whole.local(p);
        [sum[0] + local[0], sum[1] + local[1]]
    });
    sum.map(|s| s / count(side.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_groove_by_hand() {
        let fit = parallel_lines(&[[0.0, 0.0], [4.0, 3.0]], &[[-3.0, 4.0]]).unwrap();
        assert!(
            (fit.figure.distance() - 5.0).abs() < 1e-15 && fit.form < 1e-15,
            "{fit:?}"
        );
        assert!((fit.figure.direction[0] - 0.8).abs() < 1e-15, "{fit:?}");
    }

    #[test]
    fn says_what_is_wrong() {
        let check = |a: &[[f64; 2]], b: &[[f64; 2]]| parallel_lines(a, b).unwrap_err().to_string();
        insta::assert_snapshot!(check(&[[0.0, 0.0]], &[[1.0, 1.0]]), @"a pair of parallel lines needs at least 3 points, 2 given");
        insta::assert_snapshot!(check(&[[0.0, 0.0], [0.0, 0.0]], &[[1.0, 1.0]]), @"all 3 points lie within 0.0e0 of one another, at coordinates up to 0.000000: a pair of parallel lines needs points that are apart");
    }
}
