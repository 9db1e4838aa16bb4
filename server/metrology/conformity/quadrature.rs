//! Gauss-Legendre quadrature with 16 points.

const POINTS: u32 = 16;

/// Nodes and weights on -1 to 1.
#[derive(Debug, Clone)]
pub(crate) struct GaussLegendre(Vec<(f64, f64)>);

impl GaussLegendre {
    /// Works the nodes out: the zeros of the Legendre polynomial by Newton's method from Chebyshev's points, the weights
    /// 2 / ((1 - x^2) P'(x)^2) (Abramowitz and Stegun 25.4.29).
    pub(crate) fn new() -> Self {
        let order = f64::from(POINTS);
        let node = |index: u32| {
            let mut x = (std::f64::consts::PI * (f64::from(index) + 0.75) / (order + 0.5)).cos();
            // Newton doubles the digits in each step; six are plenty from these starting points.
            for _ in 0..6 {
                let (value, slope) = legendre(x);
                x -= value / slope;
            }
            let (_, slope) = legendre(x);
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        };
        Self((0..POINTS).map(node).collect())
    }

    /// The integral of `f` from `a` to `b` in one panel.
    pub(crate) fn integrate(&self, a: f64, b: f64, f: impl Fn(f64) -> f64) -> f64 {
        let (middle, half) = (0.5 * (a + b), 0.5 * (b - a));
        self.0
            .iter()
            .map(|(x, weight)| weight * f(middle + half * x))
            .sum::<f64>()
            * half
    }
}

/// The Legendre polynomial and its derivative, by the three-term recurrence.
fn legendre(x: f64) -> (f64, f64) {
    let (mut last, mut value) = (1.0, x);
    for k in 2..=POINTS {
        let k = f64::from(k);
        (last, value) = (value, ((2.0 * k - 1.0) * x * value - (k - 1.0) * last) / k);
    }
    (value, f64::from(POINTS) * (x * value - last) / (x * x - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polynomials_up_to_degree_31_are_exact() {
        let rule = GaussLegendre::new();
        for degree in 0..=31_i32 {
            let found = rule.integrate(-1.0, 2.0, |x| x.powi(degree));
            let n = f64::from(degree) + 1.0;
            let expected = (2.0_f64.powi(degree + 1) - (-1.0_f64).powi(degree + 1)) / n;
            assert!(
                (found - expected).abs() < 1e-13 * expected.abs(),
                "{degree}: {found} for {expected}"
            );
        }
    }
}
