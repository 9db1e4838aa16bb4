//! Whether points determine what was fitted to them. A covariance that exists is not enough: three points on four
//! degrees of arc have one, and a diameter from them is no diameter.

use super::centred::{Centred, count};
use super::error::{Figure, FitError};
use super::solver::{Solved, Stall};
use super::symmetric::{Factor, Symmetric, rank};

/// What a parameter is, which says how its covariance scales and how well it has to be known.
#[derive(Debug, Clone, Copy)]
pub(super) enum Kind {
    /// A position, known to some length.
    Place,
    /// A size of this (local) amount, known to some length.
    Size(f64),
    /// An angle, in radians.
    Angle,
}

/// Largest standard deviation of a size that counts as known, per unit of point noise. Three points on five degrees of
/// arc stay below it, on four degrees not. A choice of ours.
const MOST_SIZE_GAIN: f64 = 1500.0;
/// The same for positions and, times the extent of the points, for angles. A choice of ours.
const MOST_GAIN: f64 = 3000.0;
/// A direction known to half a radian is no direction. A choice of ours.
const LOOSE_ANGLE: f64 = 0.5;
/// Noise assumed in messages where the points have none to show, in their unit: one micrometre, in millimetres.
const SHOWN_NOISE: f64 = 0.001;

/// A parameter that the points leave loose.
pub(super) struct LooseParameter {
    pub(super) index: usize,
    /// Standard uncertainty, local units or radians, for points of the noise below.
    pub(super) uncertainty: f64,
    /// Standard deviation of a point, local units.
    pub(super) noise: f64,
}

/// Covariance for unit noise in local units, or the parameter that is loose, or the rank where there is none.
pub(super) fn check<const N: usize>(
    normal: &Symmetric<N>,
    kinds: &[Kind; N],
    given: usize,
    cost: f64,
    rounding: f64,
    scale: f64,
) -> Result<Symmetric<N>, Result<LooseParameter, usize>> {
    let covariance = Factor::new(normal).ok_or_else(|| Err(rank(normal)))?.inverse();
    let freedom = given.saturating_sub(N);
    let scatter = if freedom > 0 {
        (cost / count(freedom)).sqrt()
    } else {
        0.0
    };
    let noise = scatter.max(rounding);
    for (index, kind) in kinds.iter().enumerate() {
        let gain = covariance[index][index].sqrt();
        if !gain.is_finite() {
            return Err(Err(rank(normal)));
        }
        let (most, most_gain) = match kind {
            Kind::Place => (f64::INFINITY, MOST_GAIN),
            Kind::Size(size) => (size.abs(), MOST_SIZE_GAIN),
            Kind::Angle => (LOOSE_ANGLE, MOST_GAIN),
        };
        if gain * noise > most {
            return Err(Ok(LooseParameter {
                index,
                uncertainty: gain * noise,
                noise,
            }));
        }
        if gain > most_gain {
            let noise = SHOWN_NOISE / scale;
            return Err(Ok(LooseParameter {
                index,
                uncertainty: gain * noise,
                noise,
            }));
        }
    }
    Ok(covariance)
}

/// [`check`] on what the solver found, with errors made out. `names` are the parameters in words.
pub(super) fn covariance<M, const N: usize, const D: usize>(
    figure: Figure,
    points: &Centred<D>,
    solved: &Solved<M, N>,
    kinds: &[Kind; N],
    names: &[&'static str; N],
) -> Result<Symmetric<N>, FitError> {
    let given = points.len();
    check(&solved.normal, kinds, given, solved.cost, points.rounding, points.scale)
        .map(|local| scaled(&local, kinds, points.scale))
        .map_err(|problem| match problem {
            Ok(loose) => FitError::Loose {
                figure,
                given,
                quantity: names[loose.index],
                uncertainty: match kinds[loose.index] {
                    // Beyond a quarter turn an angle is no more loose than loose.
                    Kind::Angle => loose.uncertainty.min(std::f64::consts::FRAC_PI_2).to_degrees(),
                    Kind::Place | Kind::Size(_) => loose.uncertainty * points.scale,
                },
                noise: round(loose.noise * points.scale),
            },
            Err(rank) => FitError::RankDeficient {
                figure,
                given,
                rank,
                parameters: N,
            },
        })
}

/// Fails where the spread of points along an axis does not stand out from the spread across it, so that a line or plane
/// has no direction there. Both spreads are sums of squares. The step towards the best direction is the moment over
/// (along - across), its noise grows with sqrt(along): hence the ratio.
pub(super) fn stands_out<const D: usize>(
    along: f64,
    across: f64,
    freedom: usize,
    points: &Centred<D>,
) -> Result<(), LooseParameter> {
    let scatter = if freedom > 0 {
        (across / count(freedom)).sqrt()
    } else {
        0.0
    };
    let noise = scatter.max(points.rounding);
    let gain = along.sqrt() / (along - across).max(0.0);
    if gain * noise <= LOOSE_ANGLE && gain <= MOST_GAIN {
        return Ok(());
    }
    let noise = if gain * noise <= LOOSE_ANGLE {
        SHOWN_NOISE / points.scale
    } else {
        noise
    };
    // Beyond a quarter turn an angle is no more loose than loose.
    let uncertainty = (gain * noise).min(std::f64::consts::FRAC_PI_2);
    Err(LooseParameter {
        index: 0,
        uncertainty,
        noise,
    })
}

impl LooseParameter {
    /// The error for an angle.
    pub(super) fn angle(&self, figure: Figure, given: usize, quantity: &'static str, scale: f64) -> FitError {
        let (uncertainty, noise) = (self.uncertainty.to_degrees(), round(self.noise * scale));
        FitError::Loose {
            figure,
            given,
            quantity,
            uncertainty,
            noise,
        }
    }
}

/// The covariance of parameters that do not touch one another, from their sums of squares.
pub(super) fn diagonal<const N: usize>(squares: [f64; N], kinds: &[Kind; N], scale: f64) -> Symmetric<N> {
    let mut local = [[0.0; N]; N];
    for (i, square) in squares.into_iter().enumerate() {
        local[i][i] = 1.0 / square;
    }
    scaled(&local, kinds, scale)
}

/// From local units to those of the points: lengths have the noise's own unit, angles that over the scale.
pub(super) fn scaled<const N: usize>(local: &Symmetric<N>, kinds: &[Kind; N], scale: f64) -> Symmetric<N> {
    let factor = kinds.map(|kind| if matches!(kind, Kind::Angle) { 1.0 / scale } else { 1.0 });
    std::array::from_fn(|i| std::array::from_fn(|j| local[i][j] * factor[i] * factor[j]))
}

/// Two digits, for messages.
pub(super) fn round(value: f64) -> f64 {
    format!("{value:.1e}").parse().unwrap_or(value)
}

/// The error for a solver that gave up.
pub(super) fn stalled<const D: usize>(
    figure: Figure,
    points: &Centred<D>,
    stall: Stall,
    parameters: usize,
) -> FitError {
    let given = points.len();
    if stall.rank < parameters {
        return FitError::RankDeficient {
            figure,
            given,
            rank: stall.rank,
            parameters,
        };
    }
    FitError::NoConvergence {
        figure,
        given,
        steps: stall.steps,
        step: stall.step,
    }
}

/// The error for points that no start led anywhere with.
pub(super) fn unfitted(figure: Figure, given: usize) -> FitError {
    FitError::NoConvergence {
        figure,
        given,
        steps: 0,
        step: f64::INFINITY,
    }
}
