//! Propagation of distributions by a Monte Carlo method (JCGM 101:2008, clauses 6 and 7).

use super::super::fit::count;
use super::UncertaintyError;
use super::error::between_0_and_1;

/// Where random numbers come from. The caller seeds it.
pub trait Draws {
    /// Uniform in [0, 1).
    fn uniform(&mut self) -> f64;
    /// Standard normal.
    fn normal(&mut self) -> f64;
}

/// Student's t with a whole number of degrees of freedom (JCGM 101, 6.4.9.5), of what n repeated readings say.
pub fn student_t(draws: &mut impl Draws, degrees: u32) -> f64 {
    let z = draws.normal();
    let squares: f64 = (0..degrees).map(|_| draws.normal().powi(2)).sum();
    z / (squares / f64::from(degrees)).sqrt()
}

/// Triangular between -1 and 1 (JCGM 101, 6.4.5).
pub fn triangular(draws: &mut impl Draws) -> f64 {
    draws.uniform() + draws.uniform() - 1.0
}

/// The distribution of a result.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Propagated {
    /// Mean of the trials.
    pub mean: f64,
    /// Standard deviation of the trials: the standard uncertainty.
    pub u: f64,
    /// Ends of the interval with equal probabilities outside (7.7.1).
    pub symmetric: (f64, f64),
    /// Ends of the shortest interval (7.7.2).
    pub shortest: (f64, f64),
}

/// Runs a model so many times; each call draws its quantities anew and gives a value, or none where it has none.
///
/// # Errors
/// Fewer trials than the intervals need, a probability that is not between 0 and 1, trials without a value.
pub fn monte_carlo(
    trials: usize,
    probability: f64,
    mut model: impl FnMut() -> Option<f64>,
) -> Result<Propagated, UncertaintyError> {
    between_0_and_1(probability)?;
    if trials < 2 {
        return Err(UncertaintyError::Length {
            what: "trials (two at least)",
            given: trials,
            wanted: 2,
        });
    }
    let mut values: Vec<f64> = (0..trials).filter_map(|_| model().filter(|v| v.is_finite())).collect();
    if values.len() < trials {
        return Err(UncertaintyError::Model {
            failed: trials - values.len(),
            trials,
        });
    }
    values.sort_by(f64::total_cmp);
    // About the median, so that sums keep their digits.
    let middle = values[trials / 2];
    let mean = values.iter().map(|v| v - middle).sum::<f64>() / count(trials);
    let squares: f64 = values.iter().map(|v| (v - middle - mean).powi(2)).sum();
    let held = held(trials, probability);
    let symmetric = (trials - held) / 2;
    let shortest = (0..=trials - held)
        .min_by(|a, b| {
            let width = |at: usize| values[(at + held).min(trials - 1)] - values[at];
            width(*a).total_cmp(&width(*b))
        })
        .unwrap_or(symmetric);
    let ends = |at: usize| (values[at], values[(at + held).min(trials - 1)]);
    Ok(Propagated {
        mean: middle + mean,
        u: (squares / count(trials - 1)).sqrt(),
        symmetric: ends(symmetric),
        shortest: ends(shortest),
    })
}

/// Steps of the ordered trials that an interval spans: p M, to the nearest.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "between 0 and the number of trials"
)]
fn held(trials: usize, probability: f64) -> usize {
    (probability * count(trials) + 0.5) as usize
}

#[cfg(test)]
mod tests {
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};

    use super::*;

    struct Seeded(ChaCha8Rng);

    impl Draws for Seeded {
        fn uniform(&mut self) -> f64 {
            f64::from(self.0.next_u32()) / 4_294_967_296.0
        }
        fn normal(&mut self) -> f64 {
            // Box and Muller.
            let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
            radius * (std::f64::consts::TAU * self.uniform()).cos()
        }
    }

    fn seeded(seed: u64) -> Seeded {
        Seeded(ChaCha8Rng::seed_from_u64(seed))
    }

    #[test]
    fn four_rectangulars_have_their_interval() {
        let mut draws = seeded(1);
        let half = 3.0_f64.sqrt();
        let found = monte_carlo(200_000, 0.95, || {
            Some((0..4).map(|_| half * (2.0 * draws.uniform() - 1.0)).sum())
        });
        let found = found.unwrap();
        // Source: JCGM 101 9.2.3 (u 2, interval 3.88; exactly 3.8794 by the distribution); tolerance five standard
        // errors: 0.01 of the mean and of u, 0.03 of the ends.
        assert!(found.mean.abs() < 0.03 && (found.u - 2.0).abs() < 0.015, "{found:?}");
        for (low, high) in [found.symmetric, found.shortest] {
            assert!((high - low - 2.0 * 3.8794).abs() < 0.06, "{found:?}");
        }
    }

    #[test]
    fn t_and_triangle_have_their_moments() {
        let mut draws = seeded(2);
        let t = monte_carlo(100_000, 0.95, || Some(student_t(&mut draws, 8))).unwrap();
        // Source: variance 8/6; half-width 2.306 (GUM table G.2); tolerance five standard errors.
        assert!((t.u - (8.0_f64 / 6.0).sqrt()).abs() < 0.025, "{t:?}");
        assert!(
            (t.symmetric.1 - 2.306).abs() < 0.07 && (t.symmetric.0 + 2.306).abs() < 0.07,
            "{t:?}"
        );
        let triangle = monte_carlo(100_000, 0.95, || Some(triangular(&mut draws))).unwrap();
        // Source: JCGM 101 6.4.5.3: standard deviation 1/sqrt 6.
        assert!((triangle.u - 6.0_f64.sqrt().recip()).abs() < 0.005, "{triangle:?}");
    }

    #[test]
    fn a_skewed_result_has_a_shorter_interval_on_one_side() {
        let mut draws = seeded(3);
        let found = monte_carlo(50_000, 0.95, || Some(draws.normal().powi(2))).unwrap();
        let width = |(a, b): (f64, f64)| b - a;
        assert!(
            width(found.shortest) < 0.9 * width(found.symmetric) && found.shortest.0 < 0.01,
            "{found:?}"
        );
    }

    #[test]
    fn a_model_without_values_is_refused() {
        let mut calls = 0;
        let found = monte_carlo(10, 0.9, || {
            calls += 1;
            (calls % 5 != 0).then_some(1.0)
        });
        assert_eq!(found, Err(UncertaintyError::Model { failed: 2, trials: 10 }));
        assert!(monte_carlo(1, 0.9, || Some(1.0)).is_err() && monte_carlo(10, 1.0, || Some(1.0)).is_err());
    }
}
