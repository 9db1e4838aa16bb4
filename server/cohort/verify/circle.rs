//! A circle from few hits: its uncertainty by the fit's own covariance, and by seeded trials with the same fit.

use serde_json::{Value, json};

use super::input::{numbers, said};
use crate::metrology::fit::circle2d;
use crate::metrology::uncertainty::{Propagated, UncertaintyError, monte_carlo};
use crate::metrology::verify::number;
use crate::procedure::sampler::Sampler;

/// Trials, as many as the reference cases were made with.
const TRIALS: usize = 400_000;
/// Their seed.
const SEED: u64 = 101;

/// `trials` says whether they are wanted; they take most of a second.
pub(super) fn compute(input: &Value, trials: bool) -> Result<Value, String> {
    let (radius, sigma) = (number(input, "R")?, number(input, "sigma")?);
    if !(radius > 0.0 && sigma > 0.0) {
        return Err("`R` and `sigma` must be above zero".to_owned());
    }
    let exact: Vec<[f64; 2]> = numbers(input, "angles_deg")?
        .iter()
        .map(|angle| {
            let (sin, cos) = angle.to_radians().sin_cos();
            [radius * cos, radius * sin]
        })
        .collect();
    let covariance = circle2d(&exact).map_err(said)?.covariance.matrix;
    let of = |at: usize| covariance[at][at].sqrt();
    let mut found = json!({
        "u_D_first_order": 2.0 * sigma * of(2),
        "u_D_over_sigma": 2.0 * of(2),
        "u_x_first_order": sigma * of(0),
        "u_y_first_order": sigma * of(1),
    });
    if let Some(values) = found.as_object_mut().filter(|_| trials) {
        // Where the noise is too large for the arc, some trials have no circle; then the first order stands alone.
        let of_trials = run_trials(&exact, sigma).ok();
        values.insert("mc_mean_D".to_owned(), json!(of_trials.map(|t| t.mean)));
        values.insert("mc_sd_D".to_owned(), json!(of_trials.map(|t| t.u)));
    }
    Ok(found)
}

fn run_trials(exact: &[[f64; 2]], sigma: f64) -> Result<Propagated, UncertaintyError> {
    let mut draws = Sampler::new(SEED, "circle from few hits");
    let mut hits = exact.to_vec();
    monte_carlo(TRIALS, 0.95, || {
        for (hit, exact) in hits.iter_mut().zip(exact) {
            *hit = exact.map(|c| c + sigma * draws.normal());
        }
        circle2d(&hits).ok().map(|fit| 2.0 * fit.figure.radius)
    })
}
