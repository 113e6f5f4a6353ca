//! Distribution of the fuel between the cylinders.

use crate::noise::Noise;
use trimwright_numerics::Real;

/// Most cylinders of an engine.
pub const MAX_CYLINDERS: usize = 12;

trimwright_numerics::parameters! {
    /// Spread of the fuel between cylinders: a wet manifold with central injectors does not distribute it evenly (common practice,
    /// no source).
    pub struct Distribution<f64> "distribution" {
        /// Largest relative deviation of a cylinder's fuel from the mean of its bank.
        number spread { 0.05, 0.0..=0.3 "1", "common practice, no source" }
        /// Relative deviation of the sensor bank's fuel from the mean of the engine; without effect with a single bank.
        number bank_deviation { 0.003, -0.2..=0.2 "1", "engineering judgement" }
        /// Seed of the cylinders' deviations.
        whole seed { u64 = 1, 0..=18446744073709551615_u64 "1", "engineering judgement: any number" }
    }
}

/// Whether the cylinder at this position in the firing order (from 0) belongs to the sensor's bank. With one
/// bank all do. A V8 with the usual cross-plane crank fires left, right, right, left, right, left, left,
/// right (common practice, no source); other engines with two banks fire them in turn.
pub fn in_sensor_bank(place: u8, cylinders: u8, banks: u8) -> bool {
    match (banks, cylinders) {
        (2, 8) => matches!(place % 8, 0 | 3 | 5 | 6),
        (2, _) => place.is_multiple_of(2),
        _ => true,
    }
}

impl Distribution {
    /// Each cylinder's fuel over the mean, in firing order. The mean over the `cylinders` is 1, over the sensor's bank
    /// `1 + bank_deviation`.
    pub fn shares(&self, cylinders: u8, banks: u8) -> [f64; MAX_CYLINDERS] {
        let mut noise = Noise::new(self.seed);
        let count = cylinders.clamp(1, MAX_CYLINDERS as u8);
        let mut deviations = [0.0; MAX_CYLINDERS];
        for deviation in deviations.iter_mut().take(usize::from(count)) {
            *deviation = noise.symmetric();
        }
        let mut largest = 0.0_f64;
        let mut members = [0.0_f64; 2];
        for sensed in [true, false] {
            let mine = |place: &usize| in_sensor_bank(*place as u8, count, banks) == sensed;
            let places = || (0..usize::from(count)).filter(mine);
            let members = &mut members[usize::from(sensed)];
            *members = places().count() as f64;
            let mean = places().map(|place| deviations[place]).sum::<f64>() / members.max(1.0);
            for place in places() {
                deviations[place] -= mean;
                largest = largest.max(deviations[place].abs());
            }
        }
        let scale = if largest > 0.0 { self.spread / largest } else { 0.0 };
        let [others, sensed] = members;
        let mut shares = [1.0; MAX_CYLINDERS];
        for (place, share) in shares.iter_mut().enumerate().take(usize::from(count)) {
            let bank = match (others > 0.0, in_sensor_bank(place as u8, count, banks)) {
                (false, _) => 0.0,
                (true, true) => self.bank_deviation,
                (true, false) => -self.bank_deviation * sensed / others,
            };
            *share = (1.0 + bank + scale * deviations[place]).held(0.0, 2.0);
        }
        shares
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    #[test]
    fn ident_shares_average_to_one_over_the_engine_and_to_the_bank_over_the_sensors_bank() {
        for (cylinders, banks, seed) in [(4, 1, 1), (6, 1, 2), (6, 2, 3), (8, 2, 4), (1, 1, 5)] {
            let distribution = Distribution { spread: 0.06, bank_deviation: 0.01, seed };
            let shares = distribution.shares(cylinders, banks);
            let mean = |places: &[usize]| {
                places.iter().map(|place| shares[*place]).sum::<f64>() / places.len() as f64
            };
            let all: std::vec::Vec<usize> = (0..usize::from(cylinders)).collect();
            let sensed: std::vec::Vec<usize> =
                all.iter().copied().filter(|place| in_sensor_bank(*place as u8, cylinders, banks)).collect();
            assert!((mean(&all) - 1.0).abs() < 1e-12);
            let bank = if banks == 2 { 0.01 } else { 0.0 };
            assert!((mean(&sensed) - 1.0 - bank).abs() < 1e-12, "{cylinders} {banks}");
            let largest = all.iter().fold(0.0, |most: f64, place| most.max((shares[*place] - 1.0).abs()));
            assert!(cylinders == 1 || (largest - 0.06).abs() <= 0.0101);
        }
    }

    #[test]
    fn half_of_the_cylinders_of_a_v_engine_pass_the_sensor() {
        for cylinders in [6, 8] {
            assert_eq!(
                (0..cylinders).filter(|place| in_sensor_bank(*place, cylinders, 2)).count(),
                usize::from(cylinders) / 2
            );
        }
    }
}
