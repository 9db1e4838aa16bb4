use super::axial::{Found, MANY, Start, choose, follow};
use super::centred::{Centred, count};
use super::determined::{Kind, covariance, stalled, unfitted};
use super::line2d::principal;
use super::shape::turned_positive;
use super::solver::{Model, Solved, residuals, solve};
use super::{Covariance, Figure, Fit, FitError};

/// An obround slot: all points at `radius` from a segment of half length `half_length`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slot {
    /// Centre.
    pub centre: [f64; 2],
    /// Unit vector along the slot, its larger component positive.
    pub direction: [f64; 2],
    /// Half the distance between the centres of its ends.
    pub half_length: f64,
    /// Radius of its ends, half its width.
    pub radius: f64,
}

impl Slot {
    /// Distance between its sides.
    #[must_use]
    pub fn width(&self) -> f64 {
        2.0 * self.radius
    }

    /// Length over all.
    #[must_use]
    pub fn length(&self) -> f64 {
        2.0 * (self.half_length + self.radius)
    }

    /// Centres of its ends, against its direction and along it.
    #[must_use]
    pub fn arc_centres(&self) -> [[f64; 2]; 2] {
        [-self.half_length, self.half_length].map(|h| {
            [
                self.centre[0] + h * self.direction[0],
                self.centre[1] + h * self.direction[1],
            ]
        })
    }
}

/// Orthogonal least-squares slot. The residual of a point is its distance from the outline, positive outside; no point
/// is assigned to a side or an end beforehand. Nominal and alternatives as for the cylinder. Covariance: centre, angle,
/// half length, radius.
///
/// # Errors
/// Fewer than five points, or points that leave its width, length or direction free.
pub fn slot(points: &[[f64; 2]], nominal: Option<&Slot>) -> Result<Fit<Slot, 5>, FitError> {
    let figure = Figure::Slot;
    let centred = Centred::new(figure, 5, points)?;
    let centre = "the place of its centre";
    let names = [centre, centre, "its direction in degrees", "its length", "its radius"];
    let known = |solved: &Solved<LocalSlot, 5>| {
        let kinds = [
            Kind::Place,
            Kind::Place,
            Kind::Angle,
            Kind::Place,
            Kind::Size(solved.model.radius),
        ];
        covariance(figure, &centred, solved, &kinds, &names)
    };
    let start = nominal.and_then(|nominal| LocalSlot::local(nominal, &centred));
    let found = match start.map(|start| solve(&centred, start)) {
        Some(Ok(reached)) => vec![reached],
        _ => search(&centred, |solved| known(solved).is_ok())?,
    };
    let chosen = choose(&centred, found, known, || unfitted(figure, points.len()))?;
    let outline = chosen.best.model;
    let parameters = ["cx", "cy", "angle", "h", "r"];
    let matrix = chosen.covariance;
    let mut fit = Fit::new(
        outline.global(&centred),
        residuals(&centred, &outline),
        Covariance { parameters, matrix },
    );
    fit.alternatives = chosen.others.iter().map(|other| other.global(&centred)).collect();
    Ok(fit)
}

#[derive(Debug, Clone, Copy)]
struct LocalSlot {
    centre: [f64; 2],
    direction: [f64; 2],
    half_length: f64,
    radius: f64,
}

impl LocalSlot {
    fn local(nominal: &Slot, points: &Centred<2>) -> Option<Self> {
        let size = nominal.direction[0].hypot(nominal.direction[1]);
        let start = LocalSlot {
            centre: points.local(&nominal.centre),
            direction: nominal.direction.map(|c| c / size),
            half_length: (nominal.half_length / points.scale).abs().max(1e-3),
            radius: (nominal.radius / points.scale).abs(),
        };
        let [x, y] = start.centre;
        let numbers = [
            x,
            y,
            start.direction[0],
            start.direction[1],
            start.half_length,
            start.radius,
        ];
        numbers.iter().all(|c| c.is_finite()).then_some(start)
    }

    fn global(&self, points: &Centred<2>) -> Slot {
        Slot {
            centre: points.global(self.centre),
            direction: turned_positive(self.direction),
            half_length: self.half_length * points.scale,
            radius: self.radius * points.scale,
        }
    }

    fn same(&self, other: &Self, within: f64) -> bool {
        let turn = self.direction[0] * other.direction[1] - self.direction[1] * other.direction[0];
        let shift = (self.centre[0] - other.centre[0]).hypot(self.centre[1] - other.centre[1]);
        turn.abs() < within && shift < within && (self.half_length - other.half_length).abs() < within
    }

    fn cost(&self, points: &Centred<2>) -> f64 {
        points.iter().map(|p| self.row(&p).0.powi(2)).sum()
    }
}

impl Model<5, 2> for LocalSlot {
    #[inline]
    fn row(&self, p: &[f64; 2]) -> (f64, [f64; 5]) {
        let [cos, sin] = self.direction;
        let [dx, dy] = [p[0] - self.centre[0], p[1] - self.centre[1]];
        let (x, y) = (cos * dx + sin * dy, cos * dy - sin * dx);
        // The nearest point of the segment, and the unit vector from it.
        let foot = x.clamp(-self.half_length, self.half_length);
        let along = x - foot;
        let distance = (along * along + y * y).sqrt();
        let inverse = if distance > 0.0 { 1.0 / distance } else { 0.0 };
        let (ex, ey) = (along * inverse, y * inverse);
        let turn = ex * y - ey * x;
        (
            distance - self.radius,
            [-(ex * cos - ey * sin), -(ex * sin + ey * cos), turn, -ex.abs(), -1.0],
        )
    }

    #[inline]
    fn stepped(&self, step: &[f64; 5]) -> Self {
        let [dx, dy, turn, longer, wider] = *step;
        let (s, c) = turn.clamp(-0.5, 0.5).sin_cos();
        let [cos, sin] = self.direction;
        let direction = [cos * c - sin * s, sin * c + cos * s];
        let size = direction[0].hypot(direction[1]);
        LocalSlot {
            centre: [self.centre[0] + dx, self.centre[1] + dy],
            direction: direction.map(|d| d / size),
            half_length: (self.half_length + longer).max(0.2 * self.half_length),
            radius: (self.radius + wider).abs(),
        }
    }

    #[inline]
    fn reach(&self) -> f64 {
        self.radius.max(1.0)
    }
}

/// Directions tried, all round half a turn.
const DIRECTIONS: u32 = 36;
/// How many of the best starts are followed.
const FOLLOWED: usize = 8;
/// Residuals below this share of the radius show that the slot is the right one.
const GOOD: f64 = 0.05;

/// The same for the first try, along the points' own direction.
const CLEAR: f64 = 0.005;

/// The lowest minimum, started from the boxes around the points in directions all round.
fn search(points: &Centred<2>, fixed: impl Fn(&Solved<LocalSlot, 5>) -> bool) -> Result<Found<LocalSlot, 5>, FitError> {
    if points.len() <= MANY {
        return search_all(points, fixed);
    }
    let thin = points.thinned(MANY);
    let starts: Vec<Start<LocalSlot>> = search_all(&points.of(&thin), |_| true)?
        .iter()
        .map(Start::again)
        .collect();
    follow(points, &starts, LocalSlot::same, fixed).map_err(|stall| stalled(Figure::Slot, points, stall, 5))
}

fn search_all(
    points: &Centred<2>,
    fixed: impl Fn(&Solved<LocalSlot, 5>) -> bool,
) -> Result<Found<LocalSlot, 5>, FitError> {
    let [x, y] = principal(points);
    if let Some(best) = Some(boxed(points, y.atan2(x)))
        .filter(|_| points.len() >= 10)
        .and_then(|start| solve(points, start).ok())
        && best.cost <= count(points.len()) * (CLEAR * best.model.radius).powi(2)
        && best.model.half_length > 0.5 * best.model.radius
    {
        return Ok(vec![best]);
    }
    let mut starts: Vec<Start<LocalSlot>> = (0..DIRECTIONS)
        .map(|i| {
            let model = boxed(points, f64::from(i) * std::f64::consts::PI / f64::from(DIRECTIONS));
            Start {
                model,
                cost: model.cost(points),
            }
        })
        .collect();
    starts.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    if let Some(start) = starts.first().filter(|_| points.len() >= 10)
        && let Ok(best) = solve(points, start.model)
        && best.cost <= count(points.len()) * (GOOD * best.model.radius).powi(2)
        && best.model.half_length > 0.2 * best.model.radius
    {
        return Ok(vec![best]);
    }
    if points.len() > 7 {
        starts.truncate(FOLLOWED);
    }
    follow(points, &starts, LocalSlot::same, fixed).map_err(|stall| stalled(Figure::Slot, points, stall, 5))
}

/// The slot whose bounding box in a direction is that of the points.
fn boxed(points: &Centred<2>, angle: f64) -> LocalSlot {
    let (sin, cos) = angle.sin_cos();
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for [x, y] in points.iter() {
        let turned = [x * cos + y * sin, y * cos - x * sin];
        for axis in 0..2 {
            low[axis] = low[axis].min(turned[axis]);
            high[axis] = high[axis].max(turned[axis]);
        }
    }
    let [a, b] = [0, 1].map(|axis| 0.5 * (low[axis] + high[axis]));
    let [half, radius] = [0, 1].map(|axis| 0.5 * (high[axis] - low[axis]));
    LocalSlot {
        centre: [a * cos - b * sin, a * sin + b * cos],
        direction: [cos, sin],
        half_length: (half - radius).max(0.02),
        radius: radius.max(1e-3),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn derivatives_are_those_of_the_distance() {
        let slot = LocalSlot {
            centre: [0.1, -0.2],
            direction: [0.8, 0.6],
            half_length: 0.7,
            radius: 0.3,
        };
        for p in [[0.9, 0.8], [0.2, 0.2], [-0.9, -1.0], [0.0, -0.6]] {
            let (_, row) = slot.row(&p);
            for i in 0..5 {
                let mut step = [0.0; 5];
                step[i] = 1e-6;
                let ahead = slot.stepped(&step).row(&p).0;
                step[i] = -1e-6;
                let behind = slot.stepped(&step).row(&p).0;
                assert!(((ahead - behind) / 2e-6 - row[i]).abs() < 1e-8, "{p:?} {i}");
            }
        }
    }

    #[test]
    fn says_what_is_wrong() {
        let check = |points: &[[f64; 2]]| slot(points, None).unwrap_err().to_string();
        insta::assert_snapshot!(check(&[[0.0, 0.0]; 4]), @"a slot needs at least 5 points, 4 given");
        insta::assert_snapshot!(check(&[[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [3.0, 0.0], [4.0, 0.0]]), @"the 5 points fix 1 of the 5 parameters of a slot: spread the points over more of the surface");
        // Both sides and no end: the length is free.
        insta::assert_snapshot!(check(&[[0.0, 0.0], [5.0, 0.0], [10.0, 0.0], [0.0, 3.0], [5.0, 3.0], [10.0, 3.0]]), @"the 6 points fix 3 of the 5 parameters of a slot: spread the points over more of the surface");
    }
}
