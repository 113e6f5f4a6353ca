//! Disturbances of the mixture with memory: fuel of the tank, fuel vapour, charge at the valve, slow drift.
//!
//! The mixture that an engine needs wanders, whatever its map: [`Disturbances`] gives size and time scale of each part, and
//! [`DisturbancesState::step`] advances them. Together their block means fall about as `T^-0.25` from seconds to minutes, as recorded in a
//! road car over 128 trips (IEEE document 8891367, open data carOBD: 1.89, 1.41, 1.17 and 0.81 % for blocks of 10, 30, 60 and 240 s; trip
//! means 2.2 %, correlation of neighbouring trips 0.54).

use crate::noise::Noise;
use trimwright_numerics::{Real, lag};

/// Separates the random numbers of the disturbances from the plant's other noise.
const STREAM: u64 = 0x5bd1_e995_9747_b28c;
/// The same for those that last over a trip.
const TRIP_STREAM: u64 = 0x2545_f491_4f6c_dd1d;

/// Fuel flow of a warm idle per displacement, kg/(s m^3): 1.6 kg/h for 5.2 L (engineering judgement).
const IDLE_FUEL_KG_PER_S_PER_M3: f64 = 0.085;

trimwright_numerics::parameters! {
    /// Sizes, as standard deviations, and time scales of the disturbances. Each is a first-order lag of white noise, except the fuel of the
    /// tank, which is constant over a trip.
    ///
    /// ```
    /// use trimwright_plant::{Disturbances, DisturbancesState};
    /// let sizes = Disturbances::default();
    /// let mut state = DisturbancesState::new(&sizes, 1);
    /// let squares: f64 = (0..100_000).map(|_| {
    ///     state.step(&sizes, 0.1);
    ///     state.charge_ln() * state.charge_ln()
    /// }).sum();
    /// let expected = sizes.charge_fast_ln.hypot(sizes.charge_ln).hypot(sizes.drift_ln);
    /// assert!(((squares / 1e5).sqrt() / expected - 1.0).abs() < 0.2);
    /// ```
    pub struct Disturbances<f64> "disturbances" {
        /// Density of the charge at the valve, within seconds: mixing, distribution.
        number charge_fast_ln { 0.013, 0.0..=0.1 "1", "engineering judgement, fitted to IEEE document 8891367 (open data carOBD): its block means" }
        /// Its time constant.
        number charge_fast_s { 2.0, 0.1..=1e4 "s", "engineering judgement, fitted to IEEE document 8891367 (open data carOBD): its block means" }
        /// Density of the charge at the valve, by its temperature: 1 % is 3 to 4 K.
        number charge_ln { 0.0144, 0.0..=0.1 "1", "engineering judgement, fitted to IEEE document 8891367 (open data carOBD): its block means" }
        /// Its time constant.
        number charge_s { 10.0, 0.1..=1e4 "s", "engineering judgement, fitted to IEEE document 8891367 (open data carOBD): its block means" }
        /// Slow drift: humidity, deposits, ageing.
        number drift_ln { 0.0098, 0.0..=0.1 "1", "engineering judgement, fitted to IEEE document 8891367 (open data carOBD): its block means" }
        /// Its time constant.
        number drift_s { 400.0, 0.1..=1e5 "s", "engineering judgement, fitted to IEEE document 8891367 (open data carOBD): its block means" }
        /// Mean flow of fuel vapour from canister and crankcase over the fuel flow of a warm idle, at high vacuum.
        number vapour_of_idle { 0.03, 0.0..=0.5 "1", "engineering judgement" }
        /// Standard deviation of that flow over its mean.
        number vapour_variation { 0.4, 0.0..=1.0 "1", "engineering judgement" }
        /// Its time constant.
        number vapour_s { 60.0, 0.1..=1e4 "s", "engineering judgement" }
        /// Stoichiometric ratio of the fuel in the tank, from one filling to another.
        number tank_ln { 0.0205, 0.0..=0.1 "1", "engineering judgement, fitted to IEEE document 8891367 (open data carOBD): its trip means" }
        /// Probability of a new filling before a trip.
        number refuel_share { 0.36, 0.0..=1.0 "1", "engineering judgement, fitted to IEEE document 8891367 (open data carOBD): the correlation of trips 1 and 5 apart" }
        /// Number of the trip: the same seed with another trip is the same car on another day.
        whole trip { u32 = 0, 0..=100_000 "1", "engineering judgement: any number" }
    }
}

/// Present size of each disturbance.
#[derive(Clone, Debug, PartialEq)]
pub struct DisturbancesState {
    noise: Noise,
    charge_fast: f64,
    charge: f64,
    drift: f64,
    vapour: f64,
    tank: f64,
    charge_ln: f64,
    charge_factor: f64,
    vapour_kg_per_s_per_m3: f64,
}

impl DisturbancesState {
    /// The disturbances of a trip at its start; `seed` is the car's.
    pub fn new(disturbances: &Disturbances, seed: u64) -> Self {
        let trip = u64::from(disturbances.trip);
        // An odd factor gives each trip its own numbers.
        let mut noise = Noise::new(seed ^ STREAM ^ trip.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        let [charge_fast, charge] = noise.normal_pair();
        let [drift, vapour] = noise.normal_pair();
        let tank = tank_of_trip(disturbances, seed);
        let mut state = Self {
            noise,
            charge_fast,
            charge,
            drift,
            vapour,
            tank,
            charge_ln: 0.0,
            charge_factor: 1.0,
            vapour_kg_per_s_per_m3: 0.0,
        };
        state.update(disturbances);
        state
    }

    /// Advances all by `dt_s`, s.
    pub fn step(&mut self, disturbances: &Disturbances, dt_s: f64) {
        let [charge_fast, charge] = self.noise.normal_pair();
        let [drift, vapour] = self.noise.normal_pair();
        for (part, tau_s, normal) in [
            (&mut self.charge_fast, disturbances.charge_fast_s, charge_fast),
            (&mut self.charge, disturbances.charge_s, charge),
            (&mut self.drift, disturbances.drift_s, drift),
            (&mut self.vapour, disturbances.vapour_s, vapour),
        ] {
            // Keeps the variance at 1 for any step.
            let kept = 1.0 - lag::share(dt_s, tau_s);
            *part = kept * *part + Real::sqrt(1.0 - kept * kept) * normal;
        }
        self.update(disturbances);
    }

    /// Takes over changed parameters.
    pub fn update(&mut self, disturbances: &Disturbances) {
        self.charge_ln = disturbances.charge_fast_ln * self.charge_fast
            + disturbances.charge_ln * self.charge
            + disturbances.drift_ln * self.drift;
        self.charge_factor = Real::exp(self.charge_ln);
        let over_mean = (1.0 + disturbances.vapour_variation * self.vapour).held(0.0, 5.0);
        self.vapour_kg_per_s_per_m3 = mean_vapour(disturbances) * over_mean;
    }

    /// Air charge over that of the filling model, ln.
    pub fn charge_ln(&self) -> f64 {
        self.charge_ln
    }

    /// The same as a factor.
    #[inline]
    pub fn charge_factor(&self) -> f64 {
        self.charge_factor
    }

    /// Stoichiometric ratio of the fuel in the tank over that of its composition, ln.
    pub fn tank_ln(&self, disturbances: &Disturbances) -> f64 {
        disturbances.tank_ln * self.tank
    }

    /// Flow of fuel vapour into the manifold per displacement, kg/(s m^3), at a manifold pressure over the outside pressure of
    /// `pressure_ratio`: full from half the outside pressure downwards, none without vacuum (engineering judgement: an orifice is choked
    /// there).
    #[inline]
    pub fn vapour_kg_per_s_per_m3(&self, pressure_ratio: f64) -> f64 {
        self.vapour_kg_per_s_per_m3 * drawn_share(pressure_ratio)
    }

    /// The part of that flow that is above its mean.
    #[inline]
    pub fn vapour_over_mean_kg_per_s_per_m3(&self, disturbances: &Disturbances, pressure_ratio: f64) -> f64 {
        (self.vapour_kg_per_s_per_m3 - mean_vapour(disturbances)) * drawn_share(pressure_ratio)
    }
}

/// Mean flow of fuel vapour per displacement, kg/(s m^3).
#[inline]
fn mean_vapour(disturbances: &Disturbances) -> f64 {
    disturbances.vapour_of_idle * IDLE_FUEL_KG_PER_S_PER_M3
}

/// Share of the vapour flow that the vacuum draws.
#[inline]
fn drawn_share(pressure_ratio: f64) -> f64 {
    (2.0 * (1.0 - pressure_ratio)).held(0.0, 1.0)
}

/// Deviation of the fuel in the tank in this trip, in standard deviations: it stays from trip to trip until the tank is filled.
fn tank_of_trip(disturbances: &Disturbances, seed: u64) -> f64 {
    let mut noise = Noise::new(seed ^ TRIP_STREAM);
    let mut tank = noise.normal();
    for _ in 0..disturbances.trip {
        if noise.uniform() < disturbances.refuel_share {
            tank = noise.normal();
        }
    }
    tank
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_the_spread_does_not_depend_on_the_step() {
        let sizes = Disturbances { charge_fast_ln: 0.0, drift_ln: 0.0, ..Disturbances::DEFAULT };
        for dt_s in [0.05, 0.1, 1.0] {
            let mut state = DisturbancesState::new(&sizes, 3);
            let steps = 300_000;
            let squares: f64 = (0..steps)
                .map(|_| {
                    state.step(&sizes, dt_s);
                    state.charge_ln() * state.charge_ln()
                })
                .sum();
            let sigma = Real::sqrt(squares / f64::from(steps));
            assert!((sigma / sizes.charge_ln - 1.0).abs() < 0.1, "{dt_s} s: {sigma}");
        }
    }

    #[test]
    fn val_fuel_of_neighbouring_trips_correlates_as_recorded() {
        // Correlation of trip means one trip apart 0.54 and five apart 0.09 (IEEE document 8891367, open data carOBD); the fuel has 0.85 of
        // their variance, the rest is new in each trip.
        let trips: u32 = 20_000;
        let sizes = |trip| Disturbances { trip, ..Disturbances::DEFAULT };
        let means: [f64; 2] = [1, 5].map(|apart| {
            let pairs = (0..trips).map(|car| {
                let tank = |trip| tank_of_trip(&sizes(trip), u64::from(car));
                tank(3) * tank(3 + apart)
            });
            pairs.sum::<f64>() / f64::from(trips)
        });
        assert!((0.85 * means[0] - 0.54).abs() < 0.03, "{means:?}");
        assert!((0.85 * means[1] - 0.09).abs() < 0.03, "{means:?}");
    }

    #[test]
    fn vapour_flows_with_vacuum_only_and_never_backwards() {
        let sizes = Disturbances { vapour_variation: 1.0, ..Disturbances::DEFAULT };
        let mut state = DisturbancesState::new(&sizes, 5);
        for _ in 0..10_000 {
            state.step(&sizes, 1.0);
            assert_eq!(state.vapour_kg_per_s_per_m3(1.0), 0.0);
            assert!(state.vapour_kg_per_s_per_m3(0.3) >= 0.0);
        }
    }

    #[test]
    fn another_trip_is_another_day_of_the_same_car() {
        let at = |trip| DisturbancesState::new(&Disturbances { trip, ..Disturbances::DEFAULT }, 9);
        assert_eq!(at(4), at(4));
        assert_ne!(at(4).charge_ln(), at(5).charge_ln());
    }
}
