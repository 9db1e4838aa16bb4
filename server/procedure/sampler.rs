//! Random numbers that are the same on every machine.
//!
//! ChaCha with 8 rounds (RFC 8439 gives the block function; 8 rounds are ample for simulation), keyed with the seed and a
//! label, so that streams of one seed for different purposes are independent. Normal numbers by Marsaglia's polar method
//! (Marsaglia and Bray, SIAM Review 6, 1964). The logarithm is our own, made of the four operations only, because a
//! platform's own may differ in the last digit; square roots are exact by IEEE 754.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use crate::metrology::uncertainty::Draws;

/// A stream of random numbers.
#[derive(Debug, Clone)]
pub struct Sampler {
    source: ChaCha8Rng,
    spare: Option<f64>,
}

const TWO_TO_26: f64 = 67_108_864.0;
const TWO_TO_53: f64 = 9_007_199_254_740_992.0;

impl Sampler {
    /// The stream of a seed for a purpose; the first 24 bytes of the label count.
    ///
    /// Key: 8 bytes of the seed, little-endian, then the label, then zeros.
    #[must_use]
    pub fn new(seed: u64, label: &str) -> Self {
        let mut key = [0_u8; 32];
        let bytes = seed.to_le_bytes().into_iter().chain(label.bytes());
        for (k, b) in key.iter_mut().zip(bytes) {
            *k = b;
        }
        Self {
            source: ChaCha8Rng::from_seed(key),
            spare: None,
        }
    }

    /// Uniform in [0, 1) with 53 bits: 27 from one word, 26 from the next.
    pub fn uniform(&mut self) -> f64 {
        let high = f64::from(self.source.next_u32() >> 5);
        let low = f64::from(self.source.next_u32() >> 6);
        (high * TWO_TO_26 + low) / TWO_TO_53
    }

    /// Uniform among `0..count`; 0 when there is nothing to choose from. By rejection, so that none is preferred.
    pub fn below(&mut self, count: usize) -> usize {
        let Ok(count) = u64::try_from(count) else { return 0 };
        if count < 2 {
            return 0;
        }
        let limit = u64::MAX - u64::MAX % count;
        loop {
            let drawn = self.source.next_u64();
            if drawn < limit {
                return usize::try_from(drawn % count).unwrap_or(0);
            }
        }
    }

    /// True with this probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.uniform() < probability
    }

    /// Standard normal.
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (u, v) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let s = u * u + v * v;
            if s > 0.0 && s < 1.0 {
                let factor = (-2.0 * logarithm(s) / s).sqrt();
                self.spare = Some(v * factor);
                return u * factor;
            }
        }
    }

    /// Student's t with four degrees of freedom, scaled to standard deviation 1: normal over the root of a quarter of
    /// chi-squared (4), which is twice the sum of two exponentials; its variance is 2.
    pub fn t4(&mut self) -> f64 {
        let z = self.normal();
        let exponential = |u: f64| -logarithm(1.0 - u);
        let sum = exponential(self.uniform()) + exponential(self.uniform());
        z / (sum / 2.0).sqrt() / std::f64::consts::SQRT_2
    }
}

impl Draws for Sampler {
    fn uniform(&mut self) -> f64 {
        Self::uniform(self)
    }

    fn normal(&mut self) -> f64 {
        Self::normal(self)
    }
}

/// Natural logarithm of a normal number in (0, 1]: x = m 2^e with m in [1/sqrt 2, sqrt 2), ln m = 2 artanh((m-1)/(m+1))
/// by its series (|t| < 0.172, so that 13 terms reach 1e-19).
fn logarithm(x: f64) -> f64 {
    let bits = x.to_bits();
    let exponent = i32::try_from((bits >> 52) & 0x7ff).unwrap_or(1023) - 1023;
    let mantissa = f64::from_bits((bits & 0x000f_ffff_ffff_ffff) | (1023 << 52));
    let (m, e) = if mantissa >= std::f64::consts::SQRT_2 {
        (mantissa / 2.0, exponent + 1)
    } else {
        (mantissa, exponent)
    };
    let t = (m - 1.0) / (m + 1.0);
    let tt = t * t;
    let mut series = 0.0;
    for k in (0..13_u32).rev() {
        series = series * tt + 1.0 / f64::from(2 * k + 1);
    }
    f64::from(e) * std::f64::consts::LN_2 + 2.0 * t * series
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_logarithm_agrees_with_the_platform() {
        for x in [1.0, 0.999_999, 0.75, 0.5, 0.3, 1e-3, 1e-10, 2.3e-308, f64::EPSILON] {
            // Source: the platform's logarithm; tolerance 4 units in the last place.
            let (own, expected) = (logarithm(x), x.ln());
            assert!(
                (own - expected).abs() <= 4.0 * f64::EPSILON * expected.abs(),
                "{x}: {own} {expected}"
            );
        }
    }

    #[test]
    fn the_stream_is_the_same_everywhere() {
        // Source: this sampler's own first run; bits, no tolerance: a change would change every seeded report.
        let mut s = Sampler::new(20_240_901, "golden");
        let drawn = [s.uniform(), s.uniform(), s.normal(), s.normal(), s.normal(), s.t4()].map(f64::to_bits);
        insta::assert_snapshot!(format!("{drawn:016x?} {}", s.below(1000)), @"[3fe40a0b18178651, 3fe8b890b5879117, bfe19eb3e22e9e75, bfd02079230263f0, bfb65bf62f0f1486, bff12a557e350d3c] 652");
    }

    /// Draws, mean, standard deviation and share beyond 2: of 200,000.
    fn moments(mut draw: impl FnMut() -> f64) -> [f64; 4] {
        let drawn: Vec<f64> = (0..200_000).map(|_| draw()).collect();
        let n = 200_000.0;
        let mean = drawn.iter().sum::<f64>() / n;
        let variance = drawn.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / n;
        let fourth = drawn.iter().map(|d| (d - mean).powi(4)).sum::<f64>() / n;
        let beyond = drawn.iter().filter(|d| d.abs() > 2.0).map(|_| 1.0).sum::<f64>() / n;
        [mean, variance, fourth, beyond]
    }

    #[test]
    fn normal_and_t_have_their_moments() {
        let mut s = Sampler::new(1, "moments");
        let [mean, variance, fourth, beyond] = moments(|| s.normal());
        // Source: normal distribution 0, 1, 3, 0.0455; tolerance five standard errors of 200,000 draws.
        assert!(
            mean.abs() < 5.0 / 447.0 && (variance - 1.0).abs() < 5.0 * 1.414 / 447.0,
            "{mean} {variance}"
        );
        assert!((fourth - 3.0).abs() < 5.0 * 9.8 / 447.0 && (beyond - 0.0455).abs() < 5.0 * 0.208 / 447.0);
        let [mean, variance, _, beyond] = moments(|| s.t4());
        // Source: t(4) beyond 2 sqrt 2 has probability 0.04742; its fourth moment is infinite, so the variance is loose.
        assert!(
            mean.abs() < 5.0 / 447.0 && (variance - 1.0).abs() < 0.1,
            "{mean} {variance}"
        );
        assert!((beyond - 0.047_42).abs() < 5.0 * 0.2125 / 447.0, "{beyond}");
    }

    #[test]
    fn streams_of_one_seed_differ_by_label_and_whole_numbers_are_even() {
        assert_ne!(
            Sampler::new(7, "a").uniform().to_bits(),
            Sampler::new(7, "b").uniform().to_bits()
        );
        let mut s = Sampler::new(7, "even");
        let mut counts = [0_u32; 6];
        for _ in 0..60_000 {
            counts[s.below(6)] += 1;
        }
        // Source: 10,000 each, standard deviation 91; tolerance five of them.
        assert!(counts.iter().all(|c| c.abs_diff(10_000) < 456), "{counts:?}");
        assert_eq!(s.below(0), 0);
    }
}
