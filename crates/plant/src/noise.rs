//! The plant's only source of randomness: one seeded generator, whose draws come in a fixed order.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

const PER_16_BIT: f64 = 1.0 / 65_536.0;

/// A seeded stream of random numbers, the same on every machine.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Noise {
    generator: Xoshiro256PlusPlus,
}

impl Noise {
    pub(crate) fn new(seed: u64) -> Self {
        Self { generator: Xoshiro256PlusPlus::seed_from_u64(seed) }
    }

    /// Evenly spread over 0 to 1 (1 excluded).
    #[inline]
    pub(crate) fn uniform(&mut self) -> f64 {
        (self.generator.next_u64() >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
    }

    /// Bell-shaped, mean 0, standard deviation 1, never beyond 3.47: the sum of four uniform numbers of 16 bits, which
    /// needs no transcendental function.
    #[inline]
    pub(crate) fn bell(&mut self) -> f64 {
        let bits = self.generator.next_u64();
        let sum = (bits & 0xffff) + (bits >> 16 & 0xffff) + (bits >> 32 & 0xffff) + (bits >> 48);
        // The variance of four uniform numbers is 4/12, so the scale to unit variance is sqrt(3).
        (sum as f64 * PER_16_BIT - 2.0) * 1.732_050_807_568_877_2
    }

    /// Evenly spread over -1 to 1.
    pub(crate) fn swing(&mut self) -> f64 {
        2.0 * self.uniform() - 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bell_has_unit_variance_and_bounded_tails() {
        let mut noise = Noise::new(7);
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..100_000 {
            let x = noise.bell();
            assert!(x.abs() < 3.5);
            sum += x;
            squares += x * x;
        }
        assert!((sum / 1e5).abs() < 0.01 && (squares / 1e5 - 1.0).abs() < 0.02, "{sum} {squares}");
    }

    #[test]
    fn the_same_seed_gives_the_same_numbers() {
        let (mut a, mut b, mut c) = (Noise::new(1), Noise::new(1), Noise::new(2));
        assert_eq!(a.uniform(), b.uniform());
        assert_ne!(a.bell(), c.bell());
    }
}
