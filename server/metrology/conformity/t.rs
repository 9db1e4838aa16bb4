//! Tails and middles of Student's t distribution, to full relative precision.

use std::f64::consts::PI;

use super::quadrature::GaussLegendre;

/// Degrees of freedom above which the distribution is integrated, because the continued fraction takes ever longer.
const MANY: f64 = 400.0;

/// From here the series of the ratio of gammas has all digits.
const SERIES_FROM: f64 = 200.0;

/// Most steps of the continued fraction; up to 400 degrees of freedom it takes about 60.
const STEPS: u32 = 1000;

/// Probability of t above `z`, which is not negative.
pub(super) fn t_above(nu: f64, z: f64) -> f64 {
    if nu > MANY {
        return if z > 1.0 {
            tail_by_quadrature(nu, z)
        } else {
            0.5 - middle_by_quadrature(nu, z)
        };
    }
    match by_fraction(nu, z) {
        Part::Tail(tail) => tail,
        Part::Middle(middle) => 0.5 - middle,
    }
}

/// Probability of t between 0 and `z`, which is not negative.
pub(super) fn t_zero_to(nu: f64, z: f64) -> f64 {
    if nu > MANY {
        return if z > 1.0 {
            0.5 - tail_by_quadrature(nu, z)
        } else {
            middle_by_quadrature(nu, z)
        };
    }
    match by_fraction(nu, z) {
        Part::Tail(tail) => 0.5 - tail,
        Part::Middle(middle) => middle,
    }
}

/// The part that was worked out itself; the other one is its difference from a half.
enum Part {
    Tail(f64),
    Middle(f64),
}

/// Gamma((nu + 1) / 2) / Gamma(nu / 2). For many degrees of freedom by its asymptotic series (from Stirling's,
/// Abramowitz and Stegun 6.1.37), for few by r(nu) r(nu + 1) = nu / 2 from there.
fn gamma_ratio(nu: f64) -> f64 {
    if nu < SERIES_FROM {
        let steps = (SERIES_FROM - nu).ceil();
        let (mut at, mut ratio) = (nu + steps, gamma_ratio(nu + steps));
        // Down to nu itself, and not one step too far for rounding.
        while at > nu + 0.5 {
            at -= 1.0;
            ratio = 0.5 * at / ratio;
        }
        return ratio;
    }
    let n = 1.0 / nu;
    let series =
        1.0 + n * (-1.0 / 4.0 + n * (1.0 / 32.0 + n * (5.0 / 128.0 + n * (-21.0 / 2048.0 + n * (-399.0 / 8192.0)))));
    series * (0.5 * nu).sqrt()
}

/// Half of the incomplete beta function I_x(nu/2, 1/2) at x = nu / (nu + z^2), which is the tail (Abramowitz and Stegun
/// 26.7.1), by its continued fraction (26.5.8); where that is slow, the middle by the one of I_(1-x)(1/2, nu/2).
fn by_fraction(nu: f64, z: f64) -> Part {
    let square = (z / nu.sqrt()).powi(2);
    // ln(1 + z^2 / nu), also where the square is too large for a double.
    let log = if square.is_finite() {
        square.ln_1p()
    } else {
        2.0 * (z.ln() - 0.5 * nu.ln())
    };
    let x = (-log).exp();
    let rest = if square.is_finite() {
        square / (1.0 + square)
    } else {
        1.0
    };
    let (a, b) = (0.5 * nu, 0.5);
    // x^a (1 - x)^b / B(a, b), and B(nu/2, 1/2) is sqrt(pi) over the ratio of gammas.
    let front = (-a * log).exp() * rest.sqrt() * gamma_ratio(nu) / PI.sqrt();
    if x < (a + 1.0) / (a + b + 2.0) {
        Part::Tail(0.5 * front * fraction(a, b, x) / a)
    } else {
        Part::Middle(0.5 * front * fraction(b, a, rest) / b)
    }
}

/// The continued fraction of the incomplete beta function, by the method of Lentz.
fn fraction(a: f64, b: f64, x: f64) -> f64 {
    let away_from_zero = |v: f64| if v.abs() < 1e-300 { 1e-300 } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut value = d;
    for m in 1..=STEPS {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for numerator in [even, odd] {
            d = 1.0 / away_from_zero(1.0 + numerator * d);
            c = away_from_zero(1.0 + numerator / c);
            change = c * d;
            value *= change;
        }
        if (change - 1.0).abs() < 1e-16 {
            break;
        }
    }
    value
}

/// Density of t.
fn density(nu: f64, x: f64) -> f64 {
    gamma_ratio(nu) / (PI * nu).sqrt() * (-0.5 * (nu + 1.0) * (x * x / nu).ln_1p()).exp()
}

fn middle_by_quadrature(nu: f64, z: f64) -> f64 {
    GaussLegendre::new().integrate(0.0, z, |x| density(nu, x))
}

/// The tail above `z`, in panels that are as narrow as the density falls off quickly.
fn tail_by_quadrature(nu: f64, z: f64) -> f64 {
    let rule = GaussLegendre::new();
    let (mut total, mut start) = (0.0, z);
    if z >= f64::MAX.sqrt() {
        // With this many degrees of freedom nothing is left there, and the square of z would not fit.
        return 0.0;
    }
    // Each panel takes at least two thirds of what is left, so that the end comes within some tens of them.
    for _ in 0..STEPS {
        // The logarithm of the density falls by (nu + 1) x / (nu + x^2) per unit.
        let fall = (nu + 1.0) * start / (nu + start * start);
        let end = start + 2.0 / (1.0 + fall);
        let part = rule.integrate(start, end, |x| density(nu, x));
        total += part;
        if part <= total * 1e-17 || end >= f64::MAX {
            break;
        }
        start = end;
    }
    total
}

#[cfg(test)]
mod tests {
    use super::super::normal::{Standard, density as normal_density};
    use super::*;

    fn close(found: f64, expected: f64, relative: f64) {
        assert!(
            (found - expected).abs() <= relative * expected.abs(),
            "{found:e} for {expected:e}"
        );
    }

    #[test]
    fn t_has_its_closed_forms() {
        for z in [0.001_f64, 0.3, 1.0, 2.5, 8.0, 60.0, 1e6] {
            // nu = 1: Q = atan(1/z) / pi. nu = 2: Q = (1 - z / sqrt(2 + z^2)) / 2, written without cancellation.
            close(t_above(1.0, z), (1.0 / z).atan() / PI, 1e-14);
            close(t_zero_to(1.0, z), z.atan() / PI, 1e-14);
            let root = (2.0 + z * z).sqrt();
            close(t_above(2.0, z), 1.0 / (root * (root + z)), 1e-14);
            close(t_zero_to(2.0, z), 0.5 * z / root, 1e-14);
        }
    }

    #[test]
    fn the_ratio_of_gammas_has_its_known_values() {
        // Gamma(1) / Gamma(1/2), Gamma(3/2) / Gamma(1), Gamma(2) / Gamma(3/2), Gamma(3) / Gamma(5/2).
        let root = PI.sqrt();
        for (nu, expected) in [
            (1.0, 1.0 / root),
            (2.0, 0.5 * root),
            (3.0, 2.0 / root),
            (5.0, 8.0 / (3.0 * root)),
        ] {
            close(gamma_ratio(nu), expected, 2e-15);
        }
    }

    #[test]
    fn many_degrees_of_freedom_join_on_and_end_at_the_normal() {
        for z in [0.1_f64, 0.9, 1.5, 3.0, 6.0, 20.0] {
            close(tail_by_quadrature(MANY, z), t_above(MANY, z), 1e-13);
            close(0.5 - t_above(MANY + 1e-9, z), t_zero_to(MANY, z), 1e-12);
            // The first correction to the normal (Abramowitz and Stegun 26.7.5) is z (z^2 + 1) / (4 nu) of the density.
            let large = 1e9;
            let corrected = Standard::Normal.above(z) + normal_density(z) * z * (z * z + 1.0) / (4.0 * large);
            close(t_above(large, z), corrected, if z < 10.0 { 1e-13 } else { 1e-9 });
        }
    }

    #[test]
    fn nothing_stops_at_extremes() {
        for nu in [1e-3, 0.5, 4.0, 399.0, 401.0, 1e12] {
            for z in [0.0, 1e-300, 1e-3, 40.0, 1e150, f64::MAX, f64::INFINITY] {
                let (above, middle) = (t_above(nu, z), t_zero_to(nu, z));
                assert!(
                    (0.0..=0.5 + 1e-14).contains(&above) && (0.0..=0.5 + 1e-14).contains(&middle),
                    "{nu} {z}"
                );
                assert!((above + middle - 0.5).abs() < 1e-14, "{nu} {z}: {above} {middle}");
            }
        }
    }
}
