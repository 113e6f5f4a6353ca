//! Noise: one seeded random number generator, the plant's only source of randomness.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// Seeded stream of random numbers, identical on every machine.
#[derive(Clone, Debug, PartialEq)]
pub struct Noise {
    generator: Xoshiro256PlusPlus,
}

impl Noise {
    /// The stream of this seed.
    pub fn new(seed: u64) -> Self {
        Self { generator: Xoshiro256PlusPlus::seed_from_u64(seed) }
    }

    /// Uniform on 0 to 1 (1 excluded).
    #[inline]
    pub(crate) fn uniform(&mut self) -> f64 {
        (self.generator.next_u64() >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
    }

    /// Two approximately normal numbers, mean 0, standard deviation 1, within +-3.46: each the sum of four uniform
    /// numbers of 8 bits, which needs no transcendental function.
    #[inline]
    pub(crate) fn normal_pair(&mut self) -> [f64; 2] {
        const BYTES: u64 = 0x00ff_00ff_00ff_00ff;
        const LOW: u64 = 0x0000_ffff;
        let bits = self.generator.next_u64();
        let pairs = (bits & BYTES) + (bits >> 8 & BYTES);
        let sums = pairs + (pairs >> 16);
        // Four numbers of 0 to 255 have mean 510 and variance 4 (256^2 - 1) / 12.
        [sums & LOW, sums >> 32 & LOW].map(|sum| (f64::from(sum as u32) - 510.0) * 6.765_875e-3)
    }

    /// One approximately normal number, mean 0, standard deviation 1.
    #[inline]
    pub(crate) fn normal(&mut self) -> f64 {
        let [one, _] = self.normal_pair();
        one
    }

    /// Uniform on -1 to 1.
    pub(crate) fn symmetric(&mut self) -> f64 {
        2.0 * self.uniform() - 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_numbers_have_unit_variance_and_bounded_tails() {
        let mut noise = Noise::new(7);
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..100_000 {
            for x in noise.normal_pair() {
                assert!(x.abs() < 3.5);
                sum += 0.5 * x;
                squares += 0.5 * x * x;
            }
        }
        assert!((sum / 1e5).abs() < 0.01 && (squares / 1e5 - 1.0).abs() < 0.02, "{sum} {squares}");
    }

    #[test]
    fn the_same_seed_gives_the_same_numbers() {
        let (mut a, mut b, mut c) = (Noise::new(1), Noise::new(1), Noise::new(2));
        assert_eq!(a.uniform(), b.uniform());
        assert_ne!(a.normal(), c.normal());
    }
}
