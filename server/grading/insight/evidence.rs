//! Evidence for one mistake in a whitened report: logarithm of prior times marginal likelihood, less what all of them
//! have in common. Known steps have a likelihood; of amounts the normal prior is integrated out; of a value that is wrong
//! for no known reason the log-uniform one, at the amount that fits.

use super::sight::dot;

/// How a mistake acts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Kind {
    /// By a known step.
    Step,
    /// By an amount with this standard deviation.
    Free(f64),
    /// One value wrong by an amount between these.
    Gross { from: f64, to: f64 },
}

/// One mistake, seen through some lines.
#[derive(Debug, Clone)]
pub(super) struct Seen {
    pub(super) kind: Kind,
    pub(super) log_prior: f64,
    /// Its effect (of unit amount) in standard deviations.
    pub(super) white: Vec<f64>,
    /// Square of its length.
    pub(super) information: f64,
}

impl Seen {
    pub(super) fn new(kind: Kind, log_prior: f64, white: Vec<f64>) -> Self {
        Self {
            kind,
            log_prior,
            information: dot(&white, &white),
            white,
        }
    }

    /// Evidence where the report's product with the effect is `product`.
    pub(super) fn evidence(&self, product: f64) -> f64 {
        let i = self.information;
        self.log_prior
            + match self.kind {
                Kind::Step => product - 0.5 * i,
                Kind::Free(sd) => {
                    let s = sd * sd;
                    0.5 * product * product * s / (1.0 + s * i) - 0.5 * (1.0 + s * i).ln()
                }
                Kind::Gross { from, to } => {
                    if i <= 0.0 {
                        return f64::NEG_INFINITY;
                    }
                    let size = (product / i).abs();
                    // A tenth to either side leaves room for the noise, as in the diagnosis.
                    if size < 0.9 * from || size > 1.1 * to || to <= from {
                        return f64::NEG_INFINITY;
                    }
                    let density = 1.0 / (2.0 * (to / from).ln() * size);
                    0.5 * product * product / i + (density * (std::f64::consts::TAU / i).sqrt()).ln()
                }
            }
    }

    /// How much the evidence grows with the report, as a factor on the effect.
    fn slope(&self, product: f64) -> f64 {
        let i = self.information;
        match self.kind {
            Kind::Step => 1.0,
            Kind::Free(sd) => product * sd * sd / (1.0 + sd * sd * i),
            Kind::Gross { .. } => product / i.max(f64::MIN_POSITIVE),
        }
    }

    /// The amount that fits best.
    pub(super) fn fitted(&self, product: f64) -> f64 {
        self.slope(product)
    }

    /// The evidence at `report` without noise, and its gradient.
    fn at(&self, report: &[f64]) -> (f64, f64) {
        let product = dot(&self.white, report);
        (self.evidence(product), self.slope(product))
    }
}

/// By how much the evidence of `a` beats that of `b` where the report is `report` without noise, and the standard
/// deviation that the noise gives that.
pub(super) fn lead(a: &Seen, b: &Seen, report: &[f64]) -> (f64, f64) {
    let ((of_a, slope_a), (of_b, slope_b)) = (a.at(report), b.at(report));
    let gradient = a.white.iter().zip(&b.white).map(|(x, y)| slope_a * x - slope_b * y);
    (of_a - of_b, gradient.map(|g| g * g).sum::<f64>().sqrt())
}
