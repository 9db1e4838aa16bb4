use nalgebra::Vector2;

use super::{Limits, touching};
use crate::metrology::fit::centred::Centred;
use crate::metrology::fit::error::{Figure, FitError};

/// The smallest circle around all points.
#[derive(Debug, Clone, PartialEq)]
pub struct Circumscribed {
    /// Centre.
    pub centre: [f64; 2],
    /// Radius.
    pub radius: f64,
    /// Points on the circle, by position.
    pub active: Vec<usize>,
    /// Radius less the smallest distance of a point from the centre.
    pub zone_width: f64,
}

/// Minimum circumscribed circle: the reference of external features. It is unique.
///
/// # Errors
/// Fewer than two points, or points that are the same.
pub fn minimum_circumscribed_circle(points: &[[f64; 2]]) -> Result<Circumscribed, FitError> {
    let centred = Centred::new(Figure::Circle2d, 2, points)?;
    let local: Vec<Vector2<f64>> = centred.iter().map(Vector2::from).collect();
    let circle = enclosing(&local);
    let distances: Vec<f64> = local.iter().map(|p| (p - circle.centre).norm()).collect();
    let limits = Limits::of(&distances, touching(&centred));
    Ok(Circumscribed {
        centre: centred.global(circle.centre.into()),
        radius: limits.high * centred.scale,
        active: limits.active_high,
        zone_width: (limits.high - limits.low) * centred.scale,
    })
}

#[derive(Debug, Clone, Copy)]
struct Disc {
    centre: Vector2<f64>,
    radius: f64,
}

impl Disc {
    fn over(a: Vector2<f64>, b: Vector2<f64>) -> Self {
        let centre = (a + b) * 0.5;
        Disc {
            centre,
            radius: (a - centre).norm().max((b - centre).norm()),
        }
    }

    fn through(a: Vector2<f64>, b: Vector2<f64>, c: Vector2<f64>) -> Option<Self> {
        let (p, q) = (b - a, c - a);
        let determinant = 2.0 * p.perp(&q);
        let from_a = Vector2::new(
            (q.y * p.norm_squared() - p.y * q.norm_squared()) / determinant,
            (p.x * q.norm_squared() - q.x * p.norm_squared()) / determinant,
        );
        let radius = from_a.norm();
        radius.is_finite().then_some(Disc {
            centre: a + from_a,
            radius,
        })
    }

    fn holds(&self, p: &Vector2<f64>) -> bool {
        (p - self.centre).norm() <= self.radius * (1.0 + 1e-14)
    }
}

/// Steps without a nearer farthest point after which rounding is all that moves.
const PATIENCE: usize = 8;

/// The farthest point outside joins the contacts, and the smallest disc over these few is taken, until none is outside.
/// The radius grows each time, and there are finitely many contact sets: E. Welzl's idea without the shuffling. Near a
/// disc over two opposite contacts the radius is flat and grows by less than its last digit while a third is still
/// well outside, so not the radius says when to end but how far the farthest point is.
fn enclosing(points: &[Vector2<f64>]) -> Disc {
    let farthest = |from: Vector2<f64>| {
        let nearer =
            |a: &&Vector2<f64>, b: &&Vector2<f64>| (*a - from).norm_squared().total_cmp(&(*b - from).norm_squared());
        points.iter().max_by(nearer).copied().unwrap_or(from)
    };
    let first = farthest(Vector2::zeros());
    let second = farthest(first);
    let mut contacts = vec![first, second];
    let mut disc = Disc::over(first, second);
    let mut best = (f64::INFINITY, disc);
    let mut since = 0;
    while since < PATIENCE {
        let outside = farthest(disc.centre);
        let reach = (outside - disc.centre).norm();
        since += 1;
        if reach < best.0 {
            best = (reach, disc);
            since = 0;
        }
        if reach <= disc.radius * (1.0 + 2.0 * f64::EPSILON) {
            break;
        }
        let Some((grown, touched)) = smallest(&contacts, outside) else {
            break;
        };
        disc = grown;
        contacts = touched;
    }
    best.1
}

/// The smallest disc over contacts and one more point that must lie on it, with the points it touches.
fn smallest(contacts: &[Vector2<f64>], new: Vector2<f64>) -> Option<(Disc, Vec<Vector2<f64>>)> {
    let mut best: Option<(Disc, Vec<Vector2<f64>>)> = None;
    let mut consider = |disc: Disc, touched: Vec<Vector2<f64>>| {
        let smaller = best.as_ref().is_none_or(|(known, _)| disc.radius < known.radius);
        if smaller && contacts.iter().all(|p| disc.holds(p)) {
            best = Some((disc, touched));
        }
    };
    for (position, &a) in contacts.iter().enumerate() {
        consider(Disc::over(a, new), vec![a, new]);
        for &b in &contacts[position + 1..] {
            if let Some(disc) = Disc::through(a, b, new) {
                consider(disc, vec![a, b, new]);
            }
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_or_three_contacts_by_hand() {
        let two = minimum_circumscribed_circle(&[[0.0, 0.0], [6.0, 8.0], [3.0, 4.5]]).unwrap();
        assert!((two.radius - 5.0).abs() < 1e-14 && two.active == [0, 1], "{two:?}");
        let three = minimum_circumscribed_circle(&[[1.0, 0.0], [-0.6, 0.8], [-0.6, -0.8], [0.5, 0.1]]).unwrap();
        assert!(
            (three.radius - 1.0).abs() < 1e-15 && three.active == [0, 1, 2],
            "{three:?}"
        );
    }

    #[test]
    fn a_third_contact_counts_where_the_radius_no_longer_grows() {
        // Two contacts opposite each other; a third outside by less than the square root of the last digit.
        let out = 1.0 + 1e-9;
        let found = minimum_circumscribed_circle(&[[1.0, 0.0], [-1.0, 0.0], [0.0, out], [0.3, 0.3]]).unwrap();
        assert_eq!(found.active, [0, 1, 2], "{found:?}");
        assert!(
            (found.centre[1] - 1e-9).abs() < 1e-15 && (found.radius - 1.0).abs() < 1e-15,
            "{found:?}"
        );
    }

    #[test]
    fn points_on_a_line_have_one_too() {
        let found = minimum_circumscribed_circle(&[[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [3.0, 3.0]]).unwrap();
        assert!((found.radius - 1.5 * 2.0_f64.sqrt()).abs() < 1e-15, "{found:?}");
    }
}
