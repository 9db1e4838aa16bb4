//! Models that are sums of products, whose derivatives are exact: first order, and the second-order terms that matter
//! where a first derivative vanishes (GUM 5.1.2, note; H.1.7).

use super::UncertaintyError;
use super::error::{finite, not_negative};

/// A factor times a product of quantities, given by their places; a place may stand more than once.
#[derive(Debug, Clone, PartialEq)]
pub struct Product {
    /// The factor.
    pub factor: f64,
    /// Places of the quantities.
    pub of: Vec<usize>,
}

/// A model y = sum of products of quantities.
#[derive(Debug, Clone, PartialEq)]
pub struct SumOfProducts(pub Vec<Product>);

/// First and second order together.
#[derive(Debug, Clone, PartialEq)]
pub struct SecondOrder {
    /// Value at the estimates.
    pub value: f64,
    /// Standard uncertainty of first order.
    pub first_order: f64,
    /// Variance that the second order adds, by pair of quantities (i <= j).
    pub pairs: Vec<((usize, usize), f64)>,
    /// Standard uncertainty with both.
    pub u: f64,
}

impl Product {
    fn value(&self, x: &[f64]) -> f64 {
        self.of
            .iter()
            .fold(self.factor, |product, i| product * x.get(*i).copied().unwrap_or(0.0))
    }

    /// The derivative: the factor once for each time that the quantity stands, with one of them taken out.
    fn derivative(&self, by: usize) -> Option<Self> {
        let at = self.of.iter().position(|i| *i == by)?;
        let times = self.of.iter().filter(|i| **i == by).count();
        let mut of = self.of.clone();
        of.remove(at);
        Some(Self {
            factor: self.factor * super::super::fit::count(times),
            of,
        })
    }
}

impl SumOfProducts {
    /// Value at x.
    #[must_use]
    pub fn value(&self, x: &[f64]) -> f64 {
        self.0.iter().map(|p| p.value(x)).sum()
    }

    /// The model's derivative by a quantity.
    #[must_use]
    pub fn derivative(&self, by: usize) -> Self {
        Self(self.0.iter().filter_map(|p| p.derivative(by)).collect())
    }

    /// Uncertainty of the value from independent, symmetrically distributed quantities: to the first order's
    /// sum (f_i u_i)^2 the second adds sum_ij (f_ij^2 / 2 + f_i f_ijj) u_i^2 u_j^2.
    ///
    /// # Errors
    /// Lists of different lengths, a place without a quantity, negative uncertainties, numbers that are not finite.
    pub fn second_order(&self, x: &[f64], u: &[f64]) -> Result<SecondOrder, UncertaintyError> {
        if x.len() != u.len() {
            return Err(UncertaintyError::Length {
                what: "standard uncertainties",
                given: u.len(),
                wanted: x.len(),
            });
        }
        if let Some(place) = self.0.iter().flat_map(|p| &p.of).find(|i| **i >= x.len()) {
            return Err(UncertaintyError::Length {
                what: "quantities",
                given: x.len(),
                wanted: place + 1,
            });
        }
        for (x, u) in x.iter().zip(u) {
            finite("an estimate", *x)?;
            not_negative("a standard uncertainty", *u)?;
        }
        let slopes: Vec<Self> = (0..x.len()).map(|i| self.derivative(i)).collect();
        let first: f64 = slopes.iter().zip(u).map(|(f, u)| (f.value(x) * u).powi(2)).sum();
        let mut pairs = Vec::new();
        for i in 0..x.len() {
            for j in i..x.len() {
                let variance = pair(&slopes, x, i, j) * (u[i] * u[j]).powi(2);
                if variance.abs() > 0.0 {
                    pairs.push(((i, j), variance));
                }
            }
        }
        let second: f64 = pairs.iter().map(|(_, v)| v).sum();
        Ok(SecondOrder {
            value: self.value(x),
            first_order: first.sqrt(),
            pairs,
            u: (first + second).max(0.0).sqrt(),
        })
    }
}

/// The coefficient of u_i^2 u_j^2, both orders of i and j together where they differ.
fn pair(slopes: &[SumOfProducts], x: &[f64], i: usize, j: usize) -> f64 {
    let mixed = slopes[i].derivative(j);
    let third = |a: usize, b: usize| slopes[a].value(x) * slopes[a].derivative(b).derivative(b).value(x);
    let square = mixed.value(x).powi(2);
    if i == j {
        0.5 * square + third(i, i)
    } else {
        square + third(i, j) + third(j, i)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn product(factor: f64, of: &[usize]) -> Product {
        Product {
            factor,
            of: of.to_vec(),
        }
    }

    #[test]
    fn a_product_at_zero_has_second_order_alone() {
        // y = a b at (0, 0): no first order, and exactly u(a) u(b).
        let model = SumOfProducts(vec![product(1.0, &[0, 1])]);
        let found = model.second_order(&[0.0, 0.0], &[0.3, 0.4]).unwrap();
        assert!(found.first_order <= 0.0 && (found.u - 0.12).abs() < 1e-15);
        assert_eq!(found.pairs.len(), 1);
    }

    #[test]
    fn powers_have_their_derivatives() {
        // y = 2 x^3 at 1: f' = 6, f'' = 12, f''' = 12; variance 36 u^2 + (72 + 72) u^4.
        let model = SumOfProducts(vec![product(2.0, &[0, 0, 0])]);
        let found = model.second_order(&[1.0], &[0.1]).unwrap();
        assert!((found.u - (0.36 + 144.0 * 1e-4_f64).sqrt()).abs() < 1e-15, "{found:?}");
    }

    #[test]
    fn what_is_no_model_is_refused() {
        let model = SumOfProducts(vec![product(1.0, &[2])]);
        assert!(model.second_order(&[1.0], &[0.1]).is_err());
        assert!(model.second_order(&[1.0, 1.0, 1.0], &[0.1]).is_err());
        assert!(model.second_order(&[1.0; 3], &[0.1, -0.1, 0.1]).is_err());
    }
}
