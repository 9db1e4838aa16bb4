//! What the measuring plan of an exercise can reach, and warnings where that is less than the exercise states.
//!
//! Standard deviations are propagated from the repeatability of one touch through the number of touches (GUM, JCGM
//! 100, 5.1.2, uncorrelated touches) with the touches placed as well as they can be: what this says cannot be reached
//! cannot. It is for the author's eyes; marks use the stated uncertainty.

use rust_decimal::Decimal;

use super::characteristic::Subject;
use super::problem::Sink;
use super::sheet::Sheet;
use super::worked::{named, short};
use crate::exercise::geometry::FeatureState;
use crate::exercise::model::{Characteristic, Feature, Quantity, Shape};
use crate::units::{decimal_from_f64, decimal_to_f64};

/// Probed points below which a form value says little.
const FEW_FOR_FORM: u32 = 8;

/// Share by which a plan may miss the stated uncertainty before anyone is told.
const SLACK: f64 = 1.02;

/// Warns of few points for form, of limits within the uncertainty, and of an uncertainty out of reach.
pub(super) fn warn(
    c: &Characteristic,
    of_at: usize,
    tolerance_at: Option<usize>,
    subject: &Subject,
    sheet: &Sheet,
    sink: &mut Sink<'_>,
) {
    if c.of.is_form() {
        for feature in subject.features.iter().filter(|f| f.points < FEW_FOR_FORM) {
            let what = format!("{} from {} points says little", named(c.of), feature.points);
            sink.warn(of_at, what, "Ask for eight points or more, as in `points = 8`.");
        }
    }
    narrow(c, tolerance_at.unwrap_or(of_at), sink);
    finer(c, of_at, sheet, sink);
    reach(c, of_at, subject, sheet, sink);
}

/// Limits that a report cannot state: it carries fewer places.
fn finer(c: &Characteristic, of_at: usize, sheet: &Sheet, sink: &mut Sink<'_>) {
    let Some(decimals) = sheet.decimals else { return };
    let limits = [c.limits.lower, c.limits.upper].into_iter().flatten();
    if let Some(limit) = limits.map(|l| l.normalize()).find(|l| l.scale() > decimals) {
        let what = format!("the limit {limit} has more places than a report carries, which are {decimals}");
        sink.warn(
            of_at,
            what,
            "Give the exercise more `decimals`, or round the nominal and its tolerance.",
        );
    }
}

/// Limits that even a careful pair's spread fills: from half of them on that is told, and a whole tolerance within it
/// is none.
fn narrow(c: &Characteristic, at: usize, sink: &mut Sink<'_>) {
    let (whole, to_either_side) = match (c.limits.lower, c.limits.upper) {
        (Some(lower), Some(upper)) => (upper - lower, (upper - lower) / Decimal::TWO),
        // A one-sided tolerance of what cannot be negative.
        (None, Some(upper)) if c.of.is_geometrical() && !c.maximum_material => (upper, upper),
        _ => return,
    };
    let (tolerance, u) = (&c.tolerance, short(c.u_lab));
    if whole <= c.u_lab {
        let mend = "No measurement could tell a good plate from a bad one by it; widen it, or state the smaller uncertainty of \
                    this number.";
        sink.error(
            at,
            format!(
                "{} ({tolerance}) is no wider than the uncertainty, {u}",
                super::TOLERANCE_TOO_NARROW
            ),
            mend,
        );
    } else if to_either_side <= c.u_lab {
        let what = format!("the tolerance ({tolerance}) is narrower than the uncertainty, {u} to either side");
        let mend = "Nothing that is measured can be told to conform; widen it, or measure it better.";
        sink.warn(at, what, mend);
    } else {
        return;
    }
    sink.about("tolerance");
}

fn reach(c: &Characteristic, of_at: usize, subject: &Subject, sheet: &Sheet, sink: &mut Sink<'_>) {
    let Some(s) = sheet.repeatability() else {
        return;
    };
    let states: Option<Vec<FeatureState>> = subject.features.iter().map(|f| sheet.state(f, c.datum)).collect();
    let Some(states) = states else {
        return;
    };
    let stated = (decimal_to_f64(c.u_lab) / 2.0).powi(2);
    let from_frame = if subject.is_pair() {
        0.0
    } else {
        let Some(noise) = &sheet.noise else { return };
        noise.share(c, &subject.features, &states)
    };
    let from_points = own_variance(c.of, &subject.features, &states).unwrap_or(0.0) * s * s;
    let reached = |variance: f64| decimal_from_f64(2.0 * variance.sqrt()).map_or_else(String::new, short);
    let u_lab = short(c.u_lab);
    if from_frame > stated * SLACK {
        let what = format!(
            "the datum frame alone brings U = {} into this {}, and {u_lab} is stated",
            reached(from_frame),
            named(c.of)
        );
        sink.warn(
            of_at,
            what,
            "Spread the `touches` further or add some, or state a larger `expanded_uncertainty`.",
        );
    } else if from_frame + from_points > stated * SLACK {
        let what = format!(
            "with this plan the {} is known to U = {} at best, and {u_lab} is stated",
            named(c.of),
            reached(from_frame + from_points)
        );
        sink.warn(
            of_at,
            what,
            "Ask for more `points` or touches, or state a larger `expanded_uncertainty`.",
        );
    }
}

/// Variance of a value from the touches of its features alone, for touches of unit variance; degrees for angles.
fn own_variance(of: Quantity, features: &[Feature], states: &[FeatureState]) -> Option<f64> {
    let one = Touched {
        feature: features.first()?,
        state: states.first()?,
    };
    let Some(two) = features
        .get(1)
        .zip(states.get(1))
        .map(|(feature, state)| Touched { feature, state })
    else {
        return Some(one.variance(of));
    };
    Some(match of {
        Quantity::Distance => one.place() + two.place(),
        Quantity::Angle => (one.direction() + two.direction()) * DEGREES,
        Quantity::Coaxiality => 4.0 * (one.place() + two.place()),
        _ => one.state.length.powi(2) * (one.direction() + two.direction()),
    })
}

/// Square of the degrees in a radian.
const DEGREES: f64 = (180.0 / std::f64::consts::PI) * (180.0 / std::f64::consts::PI);

/// A feature and how many touches it gets.
struct Touched<'a> {
    feature: &'a Feature,
    state: &'a FeatureState,
}

impl Touched<'_> {
    fn points(&self) -> f64 {
        f64::from(self.feature.points)
    }

    /// Touches on each flank of a slot, one being left for either end.
    fn on_flank(&self) -> f64 {
        ((self.points() - 2.0) / 2.0).max(1.0)
    }

    fn variance(&self, of: Quantity) -> f64 {
        let n = self.points();
        match of {
            Quantity::X | Quantity::Y => self.coordinate(of == Quantity::X),
            Quantity::Z => self.place(),
            // Radius of a least-squares circle: 1/n; the diameter is twice that.
            Quantity::Diameter => 4.0 / n,
            Quantity::Width => 2.0 / self.on_flank(),
            Quantity::Length => 2.0,
            Quantity::Angle => self.direction() * DEGREES,
            Quantity::Position => 4.0 * self.across(),
            Quantity::Parallelism | Quantity::Perpendicularity => self.state.length.powi(2) * self.direction(),
            // The highest residual less the lowest; the fit takes its parameters' share out of each.
            _ => 2.0 * (1.0 - self.parameters() / n).max(0.0),
        }
    }

    /// Parameters of the fitted figure.
    fn parameters(&self) -> f64 {
        match self.feature.shape {
            Shape::Point { .. } => 1.0,
            Shape::Line { .. } => 2.0,
            Shape::Plane { .. } | Shape::Circle { .. } => 3.0,
            Shape::Sphere { .. } => 4.0,
            Shape::Slot { .. } | Shape::Cylinder { .. } => 5.0,
            Shape::Cone { .. } => 6.0,
        }
    }

    fn coordinate(&self, along_x: bool) -> f64 {
        if !matches!(self.feature.shape, Shape::Slot { .. }) {
            return self.place();
        }
        let (sin, cos) = self.state.angle.to_radians().sin_cos();
        let (along, across) = if along_x { (cos, sin) } else { (sin, cos) };
        // Each end is touched once; their middle has half the variance of a touch.
        along * along * 0.5 + across * across * self.across()
    }

    /// Of a slot across its width, of the others as [`Self::place`].
    fn across(&self) -> f64 {
        if matches!(self.feature.shape, Shape::Slot { .. }) {
            0.5 / self.on_flank()
        } else {
            self.place()
        }
    }

    /// Of one coordinate of the centre, or of a surface along its normal.
    fn place(&self) -> f64 {
        let n = self.points();
        match self.feature.shape {
            Shape::Point { .. } | Shape::Line { .. } | Shape::Plane { .. } => 1.0 / n,
            // Evenly spaced touches: 2/n of a circle's centre, 3/n of a ball's.
            Shape::Circle { .. } | Shape::Cylinder { .. } | Shape::Cone { .. } => 2.0 / n,
            Shape::Sphere { .. } => 3.0 / n,
            Shape::Slot { .. } => 0.5_f64.max(0.5 / self.on_flank()),
        }
    }

    /// Of a direction or cone angle in radians, half of the touches being at either end.
    fn direction(&self) -> f64 {
        let n = self.points();
        let squared = |length: f64| length.max(f64::MIN_POSITIVE).powi(2);
        match self.feature.shape {
            Shape::Line { .. } | Shape::Plane { .. } => 4.0 / (n * squared(self.state.length)),
            Shape::Slot { .. } => 4.0 / (2.0 * self.on_flank() * squared(self.state.length - self.state.width)),
            // Two circles of n/2 touches each: centres 4/n, radii 2/n; the full angle is twice the slope.
            Shape::Cylinder { .. } => 8.0 / (n * squared(self.state.length)),
            Shape::Cone { .. } => 16.0 / (n * squared(self.state.length)),
            _ => 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exercise::geometry::nominal_state;
    use crate::metrology::fit;

    /// Places around a circle of radius 10 at a height.
    fn ring(count: u32, z: f64) -> Vec<[f64; 3]> {
        let place = |i: u32| {
            let (sin, cos) = (std::f64::consts::TAU * f64::from(i) / f64::from(count)).sin_cos();
            [10.0 * cos, 10.0 * sin, z]
        };
        (0..count).map(place).collect()
    }

    fn check(shape: Shape, points: u32, of: Quantity, expected: f64) {
        let feature = Feature {
            key: "f".parse().unwrap(),
            name: String::new(),
            shape,
            side: None,
            points,
            points_given: true,
        };
        let states = [nominal_state(&feature, 20.0, None)];
        let found = own_variance(of, &[feature], &states).unwrap();
        let off = (found - expected).abs() / expected;
        assert!(off < 1e-6, "{of:?}: {found} and not {expected}");
    }

    #[test]
    fn variances_are_those_of_the_fits() {
        // Source: covariance of the least-squares fits of this program for unit noise, touches as well placed as they
        // can be; tolerance 1e-6 of the value.
        let (at, diameter, depth) = ([Decimal::ZERO; 3], Decimal::from(20), None);
        let flat: Vec<[f64; 2]> = ring(8, 0.0).iter().map(|p| [p[0], p[1]]).collect();
        let circle = fit::circle2d(&flat).unwrap().covariance.matrix;
        let shape = || Shape::Circle { at, diameter, depth };
        check(shape(), 8, Quantity::X, circle[0][0]);
        check(shape(), 8, Quantity::Diameter, 4.0 * circle[2][2]);

        let poles = [[10.0, 0.0, 0.0], [0.0, 10.0, 0.0], [0.0, 0.0, 10.0]];
        let all: Vec<[f64; 3]> = poles.iter().flat_map(|p| [*p, p.map(|c| -c)]).collect();
        let ball = fit::sphere(&all).unwrap().covariance.matrix;
        check(Shape::Sphere { at, diameter }, 6, Quantity::Z, ball[2][2]);
        check(Shape::Sphere { at, diameter }, 6, Quantity::Diameter, 4.0 * ball[3][3]);

        let ends = [[-25.0, 0.0], [-25.0, 0.0], [25.0, 0.0], [25.0, 0.0]];
        let line = fit::line2d(&ends).unwrap().covariance.matrix;
        let shape = Shape::Line {
            from: [Decimal::from(-25), Decimal::ZERO, Decimal::ZERO],
            to: [Decimal::from(25), Decimal::ZERO, Decimal::ZERO],
            normal: [0.0, 1.0, 0.0],
        };
        check(shape.clone(), 4, Quantity::Y, line[0][0]);
        check(shape, 4, Quantity::Angle, line[1][1] * DEGREES);
    }

    #[test]
    fn a_cylinder_leans_as_its_two_rings_do() {
        let (at, diameter) = ([Decimal::ZERO; 3], Decimal::from(20));
        let touches: Vec<[f64; 3]> = ring(4, 0.0).into_iter().chain(ring(4, -20.0)).collect();
        let fitted = fit::cylinder(&touches, None).unwrap().covariance;
        let axis = [0.0, 0.0, 1.0];
        let depth = None;
        let shape = Shape::Cylinder {
            at,
            axis,
            diameter,
            depth,
        };
        check(shape.clone(), 8, Quantity::Diameter, 4.0 * fitted.matrix[4][4]);
        // Through 20 of thickness.
        check(shape, 8, Quantity::Perpendicularity, 400.0 * fitted.matrix[2][2]);
    }
}
