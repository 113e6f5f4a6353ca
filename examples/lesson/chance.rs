//! Random numbers from a seed.

use std::f64::consts::TAU;

/// SplitMix64, after Steele, Lea and Flood (2014).
pub(crate) struct Chance(pub(crate) u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// Uniform, above 0 and at most 1.
    fn uniform(&mut self) -> f64 {
        ((self.next() >> 11) + 1) as f64 / (1_u64 << 53) as f64
    }

    /// Normal with this standard deviation (Box and Muller, 1958).
    pub(crate) fn normal(&mut self, sigma: f64) -> f64 {
        sigma * libm::sqrt(-2.0 * libm::log(self.uniform())) * libm::cos(TAU * self.uniform())
    }
}
