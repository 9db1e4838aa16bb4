//! What cylinder and cone share: an axis with its local frame, directions to start from, and the search for the best
//! minimum and for others as good.

use nalgebra::Vector3;

use super::centred::{Centred, count};
use super::error::FitError;
use super::shape::{Shape, across};
use super::solver::{Model, Solved, Stall, solve, solve_while};
use super::symmetric::Symmetric;

/// An axis in local coordinates: its point nearest to the mean of the points, and a right-handed frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct Axis {
    pub(super) origin: Vector3<f64>,
    pub(super) u: Vector3<f64>,
    pub(super) v: Vector3<f64>,
    pub(super) direction: Vector3<f64>,
}

impl Axis {
    pub(super) fn new(through: Vector3<f64>, direction: Vector3<f64>) -> Self {
        let (u, v) = across(&direction);
        Axis {
            origin: through - direction * through.dot(&direction),
            u,
            v,
            direction,
        }
    }

    /// Coordinates across the axis and along it.
    #[inline]
    pub(super) fn coordinates(&self, p: &[f64; 3]) -> (f64, f64, f64) {
        let q = Vector3::from(*p) - self.origin;
        (q.dot(&self.u), q.dot(&self.v), q.dot(&self.direction))
    }

    /// The axis moved by offsets along u and v and tilted by angles towards them, and how far its origin slid along it.
    #[inline]
    pub(super) fn stepped(&self, offsets: [f64; 2], tilts: [f64; 2]) -> (Self, f64) {
        let through = self.origin + self.u * offsets[0] + self.v * offsets[1];
        let direction = (self.direction + self.u * tilts[0] + self.v * tilts[1]).normalize();
        (Axis::new(through, direction), -through.dot(&direction))
    }

    /// The same axis seen the other way.
    pub(super) fn reversed(&self) -> Self {
        Axis::new(self.origin, -self.direction)
    }

    pub(super) fn is_finite(&self) -> bool {
        self.origin.iter().chain(self.direction.iter()).all(|c| c.is_finite())
    }
}

/// Directions spread evenly over half a sphere: a spiral with golden-angle turns.
fn spread_directions(how_many: u32) -> impl Iterator<Item = Vector3<f64>> {
    let golden = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    (0..how_many).map(move |i| {
        let z = (f64::from(i) + 0.5) / f64::from(how_many);
        let (s, c) = (golden * f64::from(i)).sin_cos();
        let r = (1.0 - z * z).sqrt();
        Vector3::new(r * c, r * s, z)
    })
}

/// A start with its sum of squared residuals.
pub(super) struct Start<M> {
    pub(super) model: M,
    pub(super) cost: f64,
}

impl<M: Copy> Start<M> {
    /// From where another search ended.
    pub(super) fn again<const N: usize>(solved: &Solved<M, N>) -> Self {
        Start {
            model: solved.model,
            cost: solved.cost,
        }
    }
}

/// What a figure about an axis tells the search.
pub(super) trait Axial<const N: usize>: Model<N, 3> {
    /// The best start for an axis of this direction.
    fn propose(points: &Centred<3>, direction: &Vector3<f64>) -> Option<Start<Self>>;
    /// Directions of its own to start from.
    fn directions(_points: &Centred<3>, _shape: &Shape) -> Vec<Vector3<f64>> {
        Vec::new()
    }
    /// Whether two are nearer than this, in local units and radians.
    fn same(&self, other: &Self, within: f64) -> bool;
}

/// The lowest minimum first, then others about as good.
pub(super) type Found<M, const N: usize> = Vec<Solved<M, N>>;

/// A minimum with its covariance, and the other minima that are about as good and determined by the points.
pub(super) struct Chosen<M, const N: usize> {
    pub(super) best: Solved<M, N>,
    pub(super) covariance: Symmetric<N>,
    pub(super) others: Vec<M>,
}

/// The lowest minimum that the points determine. Through the fewest points there may be several, some of them without
/// an apex or lying anywhere; those are none. Where all are, the first one's problem is the answer.
pub(super) fn choose<M: Copy, const N: usize, const D: usize>(
    points: &Centred<D>,
    found: Found<M, N>,
    covariance: impl Fn(&Solved<M, N>) -> Result<Symmetric<N>, FitError>,
    failed: impl FnOnce() -> FitError,
) -> Result<Chosen<M, N>, FitError> {
    let mut chosen: Option<Chosen<M, N>> = None;
    let mut problem = None;
    for solved in found {
        match (covariance(&solved), &mut chosen) {
            (Ok(_), Some(chosen)) if solved.cost <= as_good(points, N, chosen.best.cost) => {
                chosen.others.push(solved.model);
            }
            (Ok(_), Some(_)) => {}
            (Ok(covariance), None) => {
                chosen = Some(Chosen {
                    best: solved,
                    covariance,
                    others: Vec::new(),
                })
            }
            (Err(error), _) => problem = problem.or(Some(error)),
        }
    }
    chosen.ok_or_else(|| problem.unwrap_or_else(failed))
}

/// Residuals below this share of the points' thickness show that the figure is the right one, if points lie all round.
const GOOD: f64 = 0.02;
/// The same for points on one side of the axis, where wrong figures come closer.
const GOOD_PATCH: f64 = 0.001;
const DIRECTIONS: u32 = 40;
/// For the fewest points, through which several figures pass.
const MORE_DIRECTIONS: u32 = 160;
/// How many of the best starts are followed, unless the points are so few that several figures may pass through them.
const FOLLOWED: usize = 12;

/// Of more points, so many are searched, and what they give is fitted to all.
pub(super) const MANY: usize = 2000;

/// The lowest minimum from starts of its own. Principal axes of the cloud first: for well-spread points one of them is
/// close to the axis, and small residuals prove it. Otherwise directions all round and those of the figure's own.
/// `fixed` says whether the points determine what was found.
pub(super) fn search<M: Axial<N>, const N: usize>(
    points: &Centred<3>,
    shape: &Shape,
    fixed: impl Fn(&Solved<M, N>) -> bool + Copy,
) -> Result<Found<M, N>, Stall> {
    if points.len() <= MANY {
        return search_all(points, shape, fixed);
    }
    let thin = points.thinned(MANY);
    let few = points.of(&thin);
    let found = search_all(&few, shape, |_| true)?;
    let starts: Vec<Start<M>> = found.iter().map(Start::again).collect();
    follow(points, &starts, M::same, fixed)
}

fn search_all<M: Axial<N>, const N: usize>(
    points: &Centred<3>,
    shape: &Shape,
    fixed: impl Fn(&Solved<M, N>) -> bool + Copy,
) -> Result<Found<M, N>, Stall> {
    let right = |found: &Solved<M, N>| {
        let share = if all_round(&found.normal) { GOOD } else { GOOD_PATCH };
        found.cost <= count(points.len()) * (share * shape.spreads[0]).powi(2)
    };
    let propose = |direction: &Vector3<f64>| M::propose(points, direction);
    let mut starts: Vec<Start<M>> = shape.axes.iter().filter_map(propose).collect();
    sort_starts(&mut starts);
    if let Some(start) = starts.first().filter(|_| points.len() >= 2 * N)
        && let Ok(best) = solve(points, start.model)
        && right(&best)
        && fixed(&best)
    {
        return Ok(vec![best]);
    }
    let directions = if points.len() > N + 1 {
        DIRECTIONS
    } else {
        MORE_DIRECTIONS
    };
    let more = M::directions(points, shape);
    starts.extend(
        spread_directions(directions)
            .chain(more)
            .filter_map(|direction| propose(&direction)),
    );
    sort_starts(&mut starts);
    if points.len() > N + 2 {
        let (first, rest) = starts.split_at(starts.len().min(FOLLOWED));
        let found = follow(points, first, M::same, fixed);
        if found.as_ref().is_ok_and(|found| found.first().is_some_and(right)) || rest.is_empty() {
            return found;
        }
    }
    follow(points, &starts, M::same, fixed)
}

/// Whether points lie all round the axis, by first and second moments of the unit vectors from it. They stand in the
/// normal matrix: its first two columns are those vectors (times one factor), its last is -1.
fn all_round<const N: usize>(normal: &Symmetric<N>) -> bool {
    let [xx, xy, yy] = [normal[0][0], normal[1][0], normal[1][1]];
    let [x, y, n] = [normal[N - 1][0], normal[N - 1][1], normal[N - 1][N - 1]];
    let trace = xx + yy;
    let narrowest = 0.5 * (trace - (xx - yy).hypot(2.0 * xy));
    x * x + y * y < 0.36 * trace * n && narrowest > 0.2 * trace
}

fn sort_starts<M>(starts: &mut [Start<M>]) {
    starts.sort_by(|a, b| a.cost.total_cmp(&b.cost));
}

/// Figures nearer than this to one another are the same but for rounding.
const SAME: f64 = 1e-5;
/// A search that comes this near to a figure found before ends at it.
const BASIN: f64 = 1e-3;
/// A search whose next step promises a sum of squares this many times what counts as good does not end at a good one.
const HOPELESS: f64 = 4.0;

/// How many times the lowest sum of squares still counts as about as good, by the points beyond the fewest: the ratio of
/// two such sums that chance exceeds once in a thousand times (quantile 0.999 of the F distribution with that many
/// degrees of freedom twice, rounded), and 4 where that is less.
const AS_GOOD: [f64; 24] = [
    1.0, 4e5, 999.0, 141.0, 53.4, 29.8, 20.0, 15.0, 12.0, 10.1, 8.8, 7.8, 7.0, 6.4, 5.9, 5.5, 5.2, 4.9, 4.7, 4.5, 4.3,
    4.2, 4.0, 4.0,
];

/// The largest sum of squares that counts as about as good as the lowest; below rounding all are equal.
fn as_good<const D: usize>(points: &Centred<D>, parameters: usize, lowest: f64) -> f64 {
    let freedom = points.len().saturating_sub(parameters);
    let ratio = AS_GOOD.get(freedom).copied().unwrap_or(4.0);
    ratio * lowest + count(points.len()) * (16.0 * points.rounding + 1e-12).powi(2)
}

/// Runs every start to its minimum and sorts out which are different and about as good as the best.
pub(super) fn follow<M: Model<N, D>, const N: usize, const D: usize>(
    points: &Centred<D>,
    starts: &[Start<M>],
    same: impl Fn(&M, &M, f64) -> bool,
    fixed: impl Fn(&Solved<M, N>) -> bool,
) -> Result<Found<M, N>, Stall> {
    let mut stall = Stall {
        steps: 0,
        step: f64::INFINITY,
        rank: N,
    };
    let limit = |lowest: f64| as_good(points, N, lowest);
    let mut lowest = f64::INFINITY;
    let mut found: Vec<Solved<M, N>> = Vec::new();
    for start in starts {
        // Not where a search before it has been, nor far above the lowest.
        let wanted = |model: &M, promised: f64| {
            promised <= HOPELESS * limit(lowest) && !found.iter().any(|known| same(&known.model, model, BASIN))
        };
        match solve_while(points, start.model, wanted) {
            Ok(solved) => {
                if solved.cost < lowest && fixed(&solved) {
                    lowest = solved.cost;
                }
                found.push(solved);
            }
            Err(failed) => stall = failed,
        }
    }
    found.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    let first = found.first().ok_or(stall)?.cost;
    let lowest = if lowest.is_finite() { lowest } else { first };
    let mut different: Found<M, N> = Vec::new();
    for other in found.into_iter().take_while(|other| other.cost <= limit(lowest)) {
        if !different.iter().any(|known| same(&known.model, &other.model, SAME)) {
            different.push(other);
        }
    }
    Ok(different)
}
