//! Marginal likelihood of residuals under one kind of noise, with the frame's six errors and up to three free amounts
//! integrated out.
//!
//! Values are y = r0 + P u + e with independent e of known variance; u holds the frame's errors (standard normal, their
//! loads in P) and the free amounts (normal priors, their slopes in P). With normal e the integral is exact; with
//! Student's t it is Laplace's at the most probable u, found by iteratively reweighted least squares (Tierney and
//! Kadane, J. Am. Stat. Assoc. 81, 1986, for the approximation).

use super::priors::NoiseKind;
use crate::procedure::noise::FRAME_PARAMETERS;

/// Free amounts at most.
pub(super) const MOST_FREE: usize = 3;
/// Unknowns at most.
pub(super) const UNKNOWNS: usize = FRAME_PARAMETERS + MOST_FREE;

/// One value that a hypothesis predicts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    /// Written less predicted.
    pub(super) residual: f64,
    /// Loads of the frame's errors as declared.
    pub(super) loads: [f64; FRAME_PARAMETERS],
    /// Slopes of the free amounts.
    pub(super) slopes: [f64; MOST_FREE],
    /// Variance of measuring as declared, and what does not scale with the pair's noise.
    pub(super) own: f64,
    pub(super) fixed: f64,
}

/// A free amount: where the linearisation is, and the prior's standard deviation.
#[derive(Debug, Clone, Copy)]
pub(super) struct Free {
    pub(super) at: f64,
    pub(super) sd: f64,
}

/// The integral and the most probable unknowns.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    /// Logarithm of the density of all values.
    pub(super) log_evidence: f64,
    pub(super) unknowns: [f64; UNKNOWNS],
    /// Standard deviations of the free amounts.
    pub(super) sd: [f64; MOST_FREE],
    /// Residuals over their standard deviations, row by row.
    pub(super) standardised: Vec<f64>,
}

const LN_2PI: f64 = 1.837_877_066_409_345_3;
/// Logarithm of the density of t(4) at 0: ln(3/8).
const LN_T4: f64 = -0.980_829_253_011_726_2;
const REWEIGHTS: usize = 6;
/// Change of the unknowns, over about their standard deviations, that is none.
const STILL: f64 = 1e-4;

/// A symmetric positive definite system of up to nine unknowns.
struct System {
    n: usize,
    a: [[f64; UNKNOWNS]; UNKNOWNS],
    b: [f64; UNKNOWNS],
}

impl System {
    const fn new(n: usize) -> Self {
        Self {
            n,
            a: [[0.0; UNKNOWNS]; UNKNOWNS],
            b: [0.0; UNKNOWNS],
        }
    }

    fn add_prior(&mut self, i: usize, precision: f64, mean: f64) {
        self.a[i][i] += precision;
        self.b[i] += precision * mean;
    }

    /// Of all sizes, so that the sums run side by side; what lies beyond the unknowns is not used.
    fn add(&mut self, p: &[f64; UNKNOWNS], value: f64, weight: f64) {
        for ((row, b), v) in self.a.iter_mut().zip(&mut self.b).zip(p).take(self.n) {
            let wp = weight * v;
            *b += wp * value;
            for (entry, v) in row.iter_mut().zip(p) {
                *entry += wp * v;
            }
        }
    }

    /// Cholesky factor in place (Golub and Van Loan, Matrix Computations, 4.2), logarithm of the determinant.
    fn factor(&mut self) -> f64 {
        let mut log_determinant = 0.0;
        for i in 0..self.n {
            for j in 0..=i {
                let known: f64 = (0..j).map(|k| self.a[i][k] * self.a[j][k]).sum();
                let rest = self.a[i][j] - known;
                self.a[i][j] = if i == j {
                    let root = rest.max(f64::MIN_POSITIVE).sqrt();
                    log_determinant += 2.0 * root.ln();
                    root
                } else {
                    rest / self.a[j][j]
                };
            }
        }
        log_determinant
    }

    /// Solution of a factored system.
    fn solve(&self) -> [f64; UNKNOWNS] {
        let mut x = self.b;
        x[self.n..].fill(0.0);
        for i in 0..self.n {
            let known: f64 = (0..i).map(|k| self.a[i][k] * x[k]).sum();
            x[i] = (x[i] - known) / self.a[i][i];
        }
        for i in (0..self.n).rev() {
            let known: f64 = (i + 1..self.n).map(|k| self.a[k][i] * x[k]).sum();
            x[i] = (x[i] - known) / self.a[i][i];
        }
        x
    }

    /// Diagonal entry of the inverse of a factored system.
    fn variance(&self, i: usize) -> f64 {
        let mut column = [0.0; UNKNOWNS];
        let mut sum = 0.0;
        for j in i..self.n {
            let one = if i == j { 1.0 } else { 0.0 };
            let known: f64 = (i..j).map(|k| self.a[j][k] * column[k]).sum();
            column[j] = (one - known) / self.a[j][j];
            sum += column[j] * column[j];
        }
        sum
    }
}

/// Integrates the unknowns out.
pub(super) fn fit(rows: &[Row], free: &[Free], kind: &NoiseKind) -> Fit {
    let n = FRAME_PARAMETERS + free.len();
    let square = kind.all * kind.all;
    let frame = kind.all * kind.frame;
    let variance: Vec<f64> = rows
        .iter()
        .map(|r| (square * r.own + r.fixed).max(f64::MIN_POSITIVE))
        .collect();
    let design: Vec<[f64; UNKNOWNS]> = rows.iter().map(|r| design(r, frame)).collect();
    let mut weights: Vec<f64> = variance.iter().map(|v| 1.0 / v).collect();
    let mut system = System::new(n);
    let mut unknowns = [0.0; UNKNOWNS];
    let mut log_determinant = 0.0;
    let mut errors = vec![0.0; rows.len()];
    for _ in 0..if kind.heavy_tails { REWEIGHTS } else { 1 } {
        system = System::new(n);
        for i in 0..FRAME_PARAMETERS {
            system.add_prior(i, 1.0, 0.0);
        }
        for (k, f) in free.iter().enumerate() {
            system.add_prior(FRAME_PARAMETERS + k, 1.0 / (f.sd * f.sd), -f.at);
        }
        for ((p, row), w) in design.iter().zip(rows).zip(&weights) {
            system.add(p, row.residual, *w);
        }
        log_determinant = system.factor();
        let before = std::mem::replace(&mut unknowns, system.solve());
        let moved = before.iter().zip(&unknowns).enumerate();
        let moved = moved.map(|(i, (a, b))| (a - b).abs() * system.a[i][i].abs());
        let still = moved.fold(0.0, f64::max) < STILL;
        for ((p, row), ((e, w), v)) in design
            .iter()
            .zip(rows)
            .zip(errors.iter_mut().zip(&mut weights).zip(&variance))
        {
            // Slopes beyond the unknowns are 0.
            let explained: f64 = p.iter().zip(&unknowns).map(|(p, u)| p * u).sum();
            *e = row.residual - explained;
            if kind.heavy_tails {
                *w = 5.0 / (2.0 * v + *e * *e);
            }
        }
        if still {
            break;
        }
    }
    let log_evidence = -0.5 * log_determinant + log_prior(free, &unknowns) + {
        let terms = errors.iter().zip(&variance);
        terms.map(|(e, v)| log_density(*e, *v, kind.heavy_tails)).sum::<f64>()
    };
    let mut sd = [0.0; MOST_FREE];
    for (k, s) in sd.iter_mut().enumerate().take(free.len()) {
        *s = system.variance(FRAME_PARAMETERS + k).sqrt();
    }
    let standardised = errors.iter().zip(&variance).map(|(e, v)| e / v.sqrt());
    Fit {
        log_evidence,
        unknowns,
        sd,
        standardised: standardised.collect(),
    }
}

/// Logarithm of the prior's density at the unknowns, the frame's errors up to what all hypotheses share.
fn log_prior(free: &[Free], unknowns: &[f64; UNKNOWNS]) -> f64 {
    let (frame, amounts) = unknowns.split_at(FRAME_PARAMETERS);
    let frame: f64 = frame.iter().map(|u| 0.5 * u * u).sum();
    let of = |(f, u): (&Free, &f64)| {
        let amount = (f.at + u) / f.sd;
        0.5 * amount * amount + f.sd.ln()
    };
    -frame - free.iter().zip(amounts).map(of).sum::<f64>()
}

/// Normal, or t(4) scaled to the same variance v: its own scale is then v/2.
fn log_density(error: f64, variance: f64, heavy: bool) -> f64 {
    let square = error * error / variance;
    if heavy {
        LN_T4 - 0.5 * (variance / 2.0).ln() - 2.5 * (square / 2.0).ln_1p()
    } else {
        -0.5 * (square + variance.ln() + LN_2PI)
    }
}

fn design(row: &Row, frame: f64) -> [f64; UNKNOWNS] {
    let mut p = [0.0; UNKNOWNS];
    for (p, l) in p.iter_mut().zip(row.loads) {
        *p = l * frame;
    }
    p[FRAME_PARAMETERS..].copy_from_slice(&row.slopes);
    p
}

/// Logarithm of a sum of exponentials.
pub(super) fn log_sum(terms: impl Iterator<Item = f64> + Clone) -> f64 {
    let largest = terms.clone().fold(f64::NEG_INFINITY, f64::max);
    if largest.is_finite() {
        largest + terms.map(|t| (t - largest).exp()).sum::<f64>().ln()
    } else {
        largest
    }
}
