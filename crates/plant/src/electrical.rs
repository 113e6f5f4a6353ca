//! Battery, alternator and electrical loads.

use crate::gas::RPM;
use trimwright_numerics::Real;

trimwright_numerics::parameters! {
    /// Electrical supply and loads.
    pub struct Electrical<f64> "electrical" {
        /// Open-circuit voltage of the charged battery.
        number battery_v { 12.5, 9.0..=14.0 "V", "common practice, no source" }
        /// Internal resistance of the battery.
        number battery_ohm { 0.013, 0.001..=0.2 "ohm", "engineering judgement" }
        /// Capacity of the battery; it starts fully charged.
        number battery_ah { 60.0, 5.0..=300.0 "A h", "engineering judgement" }
        /// Set voltage of the alternator's regulator.
        number alternator_v { 14.2, 12.0..=16.0 "V", "common practice, no source" }
        /// Largest current of the alternator at high speed.
        number alternator_a { 95.0, 0.0..=200.0 "A", "engineering judgement" }
        /// Engine speed at which the alternator starts to deliver current.
        number cut_in_rad_per_s { 45.0, 10.0..=200.0 "rad/s", "engineering judgement" }
        /// Current of ignition, instruments and controller.
        number base_a { 12.0, 0.0..=60.0 "A", "engineering judgement" }
        /// Current of the fuel pump at full duty.
        number pump_a { 8.0, 0.0..=25.0 "A", "engineering judgement" }
        /// Current of one cooling fan.
        number fan_a { 13.0, 0.0..=40.0 "A", "engineering judgement" }
        /// Current of the oxygen sensor's heater.
        number heater_a { 1.2, 0.0..=5.0 "A", "engineering judgement" }
        /// Current of compressor clutch and blower.
        number ac_a { 10.0, 0.0..=30.0 "A", "engineering judgement" }
        /// Stall current of the starter.
        number starter_a { 380.0, 0.0..=800.0 "A", "engineering judgement" }
        /// Voltage drop between battery and controller.
        number wiring_v { 0.1, 0.0..=4.0 "V", "engineering judgement" }
    }
}

/// Supply voltage, belt power of the alternator and state of charge.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ElectricalState {
    pub(crate) supply_v: f64,
    pub(crate) alternator_w: f64,
    /// State of charge, 0 to 1.
    charge: f64,
}

/// Efficiency of a claw-pole alternator with its belt (common practice, no source).
const ALTERNATOR_EFFICIENCY: f64 = 0.55;
/// Charging resistance of a nearly full battery over its discharging resistance (engineering judgement).
const CHARGING: f64 = 12.0;
/// Time constant of the supply voltage (field current and battery), s (engineering judgement).
const FIELD_TAU_S: f64 = 0.05;

/// Open-circuit voltage over that of the full battery: falls by a tenth down to 10 % of the charge, then to zero (engineering judgement,
/// the usual shape of lead-acid).
fn open_circuit_ratio(charge: f64) -> f64 {
    if charge > 0.1 { 0.9 + 0.1 * (charge - 0.1) / 0.9 } else { 9.0 * charge }
}

impl ElectricalState {
    pub(crate) fn new(electrical: &Electrical) -> Self {
        Self { supply_v: electrical.battery_v, alternator_w: 0.0, charge: 1.0 }
    }

    /// 10 ms task: supply voltage under `load_a`. The alternator delivers up to its limit at this speed and up to its set voltage; the
    /// battery supplies or takes the rest through its resistance.
    pub(crate) fn step(&mut self, electrical: &Electrical, load_a: f64, speed_rad_per_s: f64, dt_s: f64) {
        let over = 1.0 - electrical.cut_in_rad_per_s / speed_rad_per_s.held(1.0, 1e4);
        let available_a = electrical.alternator_a * over.held(0.0, 1.0);
        let spare_a = available_a - load_a;
        let open_circuit_v = electrical.battery_v * open_circuit_ratio(self.charge);
        // A nearly full battery takes little current: its charging resistance is higher.
        let ohm = electrical.battery_ohm * if spare_a > 0.0 { CHARGING } else { 1.0 };
        let target_v = (open_circuit_v + spare_a * ohm).held(0.0, electrical.alternator_v);
        let delivered_a = (load_a + (target_v - open_circuit_v) / ohm).held(0.0, available_a);
        self.supply_v += (target_v - self.supply_v) * (dt_s / FIELD_TAU_S).held(0.0, 1.0);
        let capacity_as = 3600.0 * electrical.battery_ah;
        self.charge = (self.charge + dt_s * (delivered_a - load_a) / capacity_as).held(0.0, 1.0);
        self.alternator_w = delivered_a * target_v / ALTERNATOR_EFFICIENCY;
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
