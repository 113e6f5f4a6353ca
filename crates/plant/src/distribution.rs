//! Distribution of the mixture: every cylinder gets its own share of the common fuel.

use crate::check::{OutOfRange, within};
use crate::noise::Noise;
use trimwright_numerics::Real;

/// Most cylinders of an engine.
pub const MAX_CYLINDERS: usize = 12;

/// Spread of the fuel between cylinders: a wet manifold with the injectors in the middle never shares evenly (common practice, no source).
#[derive(Clone, Debug, PartialEq)]
pub struct Distribution {
    /// Largest deviation of a cylinder's fuel from the mean, 0 to 0.3.
    pub spread: f64,
    /// Seed of who gets what.
    pub seed: u64,
}

impl Distribution {
    /// Each cylinder's fuel over the mean; the mean over the `cylinders` is one.
    pub fn shares(&self, cylinders: u8) -> [f64; MAX_CYLINDERS] {
        let mut noise = Noise::new(self.seed);
        let count = usize::from(cylinders).clamp(1, MAX_CYLINDERS);
        let mut shares = [1.0; MAX_CYLINDERS];
        for share in shares.iter_mut().take(count) {
            *share = noise.swing();
        }
        let mean = shares.iter().take(count).sum::<f64>() / count as f64;
        let largest = shares.iter().take(count).fold(0.0, |most: f64, swing| most.max((swing - mean).abs()));
        let scale = if largest > 0.0 { self.spread / largest } else { 0.0 };
        shares.map(|swing| (1.0 + scale * (swing - mean)).held(0.0, 2.0))
    }

    pub(crate) fn check(&self) -> Result<(), OutOfRange> {
        within("distribution.spread", self.spread, 0.0, 0.3)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_shares_average_to_one_and_reach_the_spread() {
        for (cylinders, seed) in [(4, 1), (6, 2), (8, 3)] {
            let shares = Distribution { spread: 0.06, seed }.shares(cylinders);
            let used = &shares[..usize::from(cylinders)];
            let mean = used.iter().sum::<f64>() / used.len() as f64;
            let largest = used.iter().fold(0.0, |most: f64, share| most.max((share - 1.0).abs()));
            assert!((mean - 1.0).abs() < 1e-12 && (largest - 0.06).abs() < 1e-12);
        }
    }
}
