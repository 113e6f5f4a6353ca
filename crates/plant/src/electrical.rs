//! Battery, alternator and the loads that make the supply droop.

use crate::gas::RPM;
use trimwright_numerics::Real;

trimwright_numerics::parameters! {
    /// The supply.
    pub struct Electrical<f64> "electrical" {
        /// Voltage of the charged battery at rest.
        number battery_v { 12.5, 9.0..=14.0 "V", "common practice, no source" }
        /// Inner resistance.
        number battery_ohm { 0.013, 0.001..=0.2 "ohm", "engineering judgement" }
        /// Charge that the battery holds; it starts full.
        number battery_ah { 60.0, 5.0..=300.0 "A h", "engineering judgement" }
        /// Voltage that the alternator's regulator holds.
        number alternator_v { 14.2, 12.0..=16.0 "V", "common practice, no source" }
        /// Alternator's largest current at high speed.
        number alternator_a { 95.0, 0.0..=200.0 "A", "engineering judgement" }
        /// Engine speed at which the alternator starts to give.
        number cut_in_rad_per_s { 45.0, 10.0..=200.0 "rad/s", "engineering judgement" }
        /// Ignition, instruments and controller.
        number base_a { 12.0, 0.0..=60.0 "A", "engineering judgement" }
        /// Fuel pump at full supply.
        number pump_a { 8.0, 0.0..=25.0 "A", "engineering judgement" }
        /// One cooling fan.
        number fan_a { 13.0, 0.0..=40.0 "A", "engineering judgement" }
        /// Sensor heater.
        number heater_a { 1.2, 0.0..=5.0 "A", "engineering judgement" }
        /// Compressor clutch and blower.
        number ac_a { 10.0, 0.0..=30.0 "A", "engineering judgement" }
        /// Starter against a locked engine.
        number starter_a { 380.0, 0.0..=800.0 "A", "engineering judgement" }
        /// Voltage lost between battery and controller.
        number wiring_v { 0.1, 0.0..=4.0 "V", "engineering judgement" }
    }
}

/// Supply voltage and what the alternator takes from the belt.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ElectricalState {
    pub(crate) supply_v: f64,
    pub(crate) alternator_w: f64,
    /// Charge left, share.
    charge: f64,
}

/// Efficiency of a claw-pole alternator with its belt (common practice, no source).
const ALTERNATOR_EFFICIENCY: f64 = 0.55;
/// Resistance of a nearly full battery to being charged over that to being drawn from (engineering
/// judgement).
const CHARGING: f64 = 12.0;
/// Time constant with which field current and battery surface follow, s (engineering judgement).
const FIELD_TAU_S: f64 = 0.05;

/// Voltage of the battery at rest over that of the full one: falls by a tenth down to a tenth of the charge,
/// then to nothing (engineering judgement, the usual shape of lead-acid).
fn own_share(charge: f64) -> f64 {
    if charge > 0.1 { 0.9 + 0.1 * (charge - 0.1) / 0.9 } else { 9.0 * charge }
}

impl ElectricalState {
    pub(crate) fn new(electrical: &Electrical) -> Self {
        Self { supply_v: electrical.battery_v, alternator_w: 0.0, charge: 1.0 }
    }

    /// Supply under a `load_a`, every 10 ms: the alternator gives what it can at the speed, up to its set
    /// voltage; the battery gives or takes the rest through its resistance.
    pub(crate) fn step(&mut self, electrical: &Electrical, load_a: f64, speed_rad_per_s: f64, dt_s: f64) {
        let over = 1.0 - electrical.cut_in_rad_per_s / speed_rad_per_s.held(1.0, 1e4);
        let able_a = electrical.alternator_a * over.held(0.0, 1.0);
        let spare_a = able_a - load_a;
        let own_v = electrical.battery_v * own_share(self.charge);
        // A charged battery's own voltage rises while it is charged.
        let ohm = electrical.battery_ohm * if spare_a > 0.0 { CHARGING } else { 1.0 };
        let target_v = (own_v + spare_a * ohm).held(0.0, electrical.alternator_v);
        let given_a = (load_a + (target_v - own_v) / ohm).held(0.0, able_a);
        self.supply_v += (target_v - self.supply_v) * (dt_s / FIELD_TAU_S).held(0.0, 1.0);
        let capacity_as = 3600.0 * electrical.battery_ah;
        self.charge = (self.charge + dt_s * (given_a - load_a) / capacity_as).held(0.0, 1.0);
        self.alternator_w = given_a * target_v / ALTERNATOR_EFFICIENCY;
    }

    /// Belt torque of the alternator, N m.
    #[inline]
    pub(crate) fn belt_nm(&self, speed_rad_per_s: f64) -> f64 {
        self.alternator_w / speed_rad_per_s.held(200.0 * RPM, 1e4)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settled(load_a: f64, rpm: f64) -> ElectricalState {
        let electrical = crate::Truth::mild_v8().electrical;
        let mut state = ElectricalState::new(&electrical);
        for _ in 0..100 {
            state.step(&electrical, load_a, rpm * RPM, 0.01);
        }
        state
    }

    #[test]
    fn cranking_dips_charging_holds_and_heavy_load_at_idle_droops() {
        // Starter dip to about 9.5 V, charging at about 14 V: common practice, no source.
        let dip_v = settled(230.0, 180.0).supply_v;
        assert!((8.5..10.5).contains(&dip_v), "{dip_v}");
        assert!((settled(25.0, 2500.0).supply_v - 14.2).abs() < 0.05);
        assert!(settled(85.0, 650.0).supply_v < 13.5);
        assert_eq!(settled(10.0, 0.0).alternator_w, 0.0);
    }

    #[test]
    fn without_an_alternator_the_battery_runs_down_in_its_hours() {
        let electrical = Electrical { alternator_a: 0.0, ..crate::Truth::mild_v8().electrical };
        let mut state = ElectricalState::new(&electrical);
        let mut hours = 0.0;
        while state.supply_v > 9.0 && hours < 10.0 {
            state.step(&electrical, 20.0, 300.0, 1.0);
            hours += 1.0 / 3600.0;
        }
        assert!((hours / (electrical.battery_ah / 20.0) - 0.95).abs() < 0.05, "{hours}");
    }
}
