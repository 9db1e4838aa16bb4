//! One least-squares solver for every curved figure: Gauss-Newton, damped where a full step does not lower the sum of
//! squares (Levenberg-Marquardt), with second derivatives where a model gives them.

use super::centred::Centred;
use super::symmetric::{Factor, Symmetric, rank};

/// A figure in local coordinates, with N parameters that are zero at where it now stands.
pub(super) trait Model<const N: usize, const D: usize>: Copy {
    /// Whether `bend` does anything.
    const BENDS: bool = false;
    /// Signed distance of a point and its derivatives by the parameters.
    fn row(&self, p: &[f64; D]) -> (f64, [f64; N]);
    /// The figure moved by a step in its parameters.
    fn stepped(&self, step: &[f64; N]) -> Self;
    /// Adds residual times second derivatives. Without them large residuals make the steps shrink slowly.
    fn bend(&self, _p: &[f64; D], _residual: f64, _hessian: &mut Symmetric<N>) {}
    /// Size that a step is compared with.
    fn reach(&self) -> f64;
}

/// Where the solver ended.
#[derive(Clone, Copy)]
pub(super) struct Solved<M, const N: usize> {
    pub(super) model: M,
    /// Sum of squared residuals, local units.
    pub(super) cost: f64,
    /// J^T J.
    pub(super) normal: Symmetric<N>,
}

/// The solver gave up.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stall {
    pub(super) steps: usize,
    pub(super) step: f64,
    /// J^T J where it stopped, to count what the points fix.
    pub(super) rank: usize,
}

const MOST_STEPS: usize = 300;
/// Steps below this, undamped, are taken without asking the sum of squares, which has no digits left to tell.
const SETTLING: f64 = 1e-7;
/// A step of this size changes no digit that counts.
const STILL: f64 = 1e-15;
/// A step of this size says where the search ends.
const IN_SIGHT: f64 = 0.1;
/// Below this a step that no longer shrinks is rounding.
const ROUNDING: f64 = 1e-11;
/// A stalled search whose last step was this small has still found its place.
const NEAR_ENOUGH: f64 = 1e-9;

struct Sums<const N: usize> {
    cost: f64,
    gradient: [f64; N],
    matrix: Symmetric<N>,
}

#[inline]
fn sums<M: Model<N, D>, const N: usize, const D: usize>(points: &Centred<D>, model: &M, bend: bool) -> Sums<N> {
    let mut cost = 0.0;
    let mut gradient = [0.0; N];
    let mut matrix = [[0.0; N]; N];
    for p in points.iter() {
        let (residual, row) = model.row(&p);
        cost += residual * residual;
        for i in 0..N {
            gradient[i] += residual * row[i];
            for j in 0..=i {
                matrix[i][j] += row[i] * row[j];
            }
        }
        if bend {
            model.bend(&p, residual, &mut matrix);
        }
    }
    Sums { cost, gradient, matrix }
}

/// The step that `sums` ask for, under a damping.
#[inline]
fn step<const N: usize>(sums: &Sums<N>, damping: f64) -> Option<[f64; N]> {
    let mut matrix = sums.matrix;
    if damping > 0.0 {
        for (i, row) in matrix.iter_mut().enumerate() {
            row[i] += damping * row[i].abs().max(1e-6);
        }
    }
    let step = Factor::new(&matrix)?.solve(&sums.gradient.map(|g| -g));
    step.iter().all(|s| s.is_finite()).then_some(step)
}

/// The minimum reached from `start`.
pub(super) fn solve<M: Model<N, D>, const N: usize, const D: usize>(
    points: &Centred<D>,
    start: M,
) -> Result<Solved<M, N>, Stall> {
    let wanted = |_: &M, _: f64| true;
    solve_while(points, start, wanted)
}

/// The same, given up as soon as a step is small enough to see where it ends, and a figure there with the sum of
/// squares that the step promises is not wanted.
#[inline]
pub(super) fn solve_while<M: Model<N, D>, const N: usize, const D: usize>(
    points: &Centred<D>,
    start: M,
    wanted: impl Fn(&M, f64) -> bool,
) -> Result<Solved<M, N>, Stall> {
    let mut model = start;
    let mut here = sums(points, &model, M::BENDS);
    let mut damping = 0.0;
    let mut last = f64::INFINITY;
    for _ in 0..MOST_STEPS {
        let Some(delta) = step(&here, damping) else {
            damping = raised(damping);
            if damping > 1e12 {
                break;
            }
            continue;
        };
        let size = delta.iter().fold(0.0_f64, |most, d| most.max(d.abs())) / model.reach();
        let next = model.stepped(&delta);
        if size < IN_SIGHT && damping <= 0.0 && size > SETTLING {
            let promised = here.cost + here.gradient.iter().zip(&delta).map(|(g, d)| g * d).sum::<f64>();
            if !wanted(&next, promised) {
                return Err(Stall {
                    steps: MOST_STEPS,
                    step: size,
                    rank: N,
                });
            }
        }
        let there = sums(points, &next, M::BENDS);
        let settling = size < SETTLING && damping <= 0.0;
        if there.cost <= here.cost || settling {
            model = next;
            here = there;
            // Steps shrink by a constant factor at least: the next one is known before it is taken.
            let following = if M::BENDS || size < ROUNDING {
                size * (size / last).min(1.0)
            } else {
                size
            };
            if settling && (following <= STILL || (size < ROUNDING && size >= last)) {
                return Ok(finish(points, model, here));
            }
            last = size;
            damping = if damping < 1e-6 { 0.0 } else { damping * 0.1 };
        } else {
            damping = raised(damping);
            if damping > 1e12 || (size <= STILL && damping > 1e3) {
                break;
            }
        }
    }
    if last < NEAR_ENOUGH {
        return Ok(finish(points, model, here));
    }
    let rank = rank(&normal_matrix(points, &model));
    Err(Stall {
        steps: MOST_STEPS,
        step: last,
        rank,
    })
}

fn raised(damping: f64) -> f64 {
    if damping > 0.0 { damping * 8.0 } else { 1e-4 }
}

fn finish<M: Model<N, D>, const N: usize, const D: usize>(
    points: &Centred<D>,
    model: M,
    here: Sums<N>,
) -> Solved<M, N> {
    let normal = if M::BENDS {
        sums(points, &model, false).matrix
    } else {
        here.matrix
    };
    Solved {
        model,
        cost: here.cost,
        normal,
    }
}

/// J^T J of a figure.
pub(super) fn normal_matrix<M: Model<N, D>, const N: usize, const D: usize>(
    points: &Centred<D>,
    model: &M,
) -> Symmetric<N> {
    sums(points, model, false).matrix
}

/// Distances of all points in the points' unit.
pub(super) fn residuals<M: Model<N, D>, const N: usize, const D: usize>(points: &Centred<D>, model: &M) -> Vec<f64> {
    points.iter().map(|p| model.row(&p).0 * points.scale).collect()
}
