//! Exhaust: transport of gas parcels to the sensor, mixing at the sensor, cooling of the pipe, back pressure.

use crate::cylinders::{AIR_PER_NITROUS, CylinderEvent, LAMBDA_WITHOUT_FUEL};
use crate::gas::R_DRY_AIR;
use heapless::Deque;
use trimwright_numerics::Real;

/// Capacity of the pipe in parcels; further ones are merged with the last.
const PARCELS: usize = 192;

trimwright_numerics::parameters! {
    /// Exhaust pipe from the valves to the oxygen sensor.
    pub struct Exhaust<f64> "exhaust" {
        /// Number of banks: 1 (in-line), or 2, of which the sensor sees one.
        whole banks { u8 = 2, 1..=2 "1", "engineering judgement" }
        /// Volume of ports, manifold and pipe up to the sensor, one bank.
        number pipe_m3 { 3.4e-3, 2e-4..=0.05 "m3", "engineering judgement" }
        /// Mixing volume at the sensor.
        number mixing_m3 { 1.5e-4, 1e-5..=0.01 "m3", "engineering judgement" }
        /// Temperature of the gas at the port.
        number port_k { 1100.0, 700.0..=1400.0 "K", "engineering judgement" }
        /// Mass flow of one bank at which the pipe takes half of the gas's heat over outside air.
        number cooling_kg_per_s { 3.5e-3, 0.0..=0.05 "kg/s", "engineering judgement" }
        /// Time constant of the pipe wall.
        number wall_tau_s { 12.0, 1.0..=200.0 "s", "engineering judgement" }
        /// Back pressure per squared mass flow of the whole engine.
        number back_pressure { 4.0e5, 0.0..=5e6 "Pa s2/kg2", "engineering judgement" }
        /// Relative lambda error of a sensor on a pipe bend: positive on the outside, where lean gas goes.
        number sensor_bend_error { 0.0, -0.1..=0.1 "1", "common practice, no source" }
        /// Fraction of a misfired charge's fuel that the sensor detects; all of its oxygen is detected.
        number misfire_fuel_share { 0.4, 0.0..=1.0 "1", "engineering judgement" }
    }
}

impl Exhaust {
    /// Back pressure at the ports for a mass flow of the whole engine, Pa: `p_amb + k m'^2`, at most
    /// 500 kPa more.
    ///
    /// ```
    /// let exhaust = trimwright_plant::Truth::mild_v8().exhaust;
    /// // 4e5 Pa s^2/kg^2 at 0.2 kg/s.
    /// assert!((exhaust.back_pressure_pa(101_325.0, 0.2) - 117_325.0).abs() < 1e-6);
    /// ```
    pub fn back_pressure_pa(&self, ambient_pa: f64, flow_kg_per_s: f64) -> f64 {
        ambient_pa + (self.back_pressure * flow_kg_per_s * flow_kg_per_s).held(0.0, 500e3)
    }
}

/// Gas of one cylinder on its way.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Parcel {
    gas_kg: f64,
    /// Dry air that carried its oxygen, kg.
    air_kg: f64,
    /// Fuel that the sensor detects, kg.
    fuel_kg: f64,
    /// Time at which its intake closed, s.
    intake_s: f64,
}

/// State of the exhaust of the sensor's bank.
#[derive(Clone, Debug)]
pub(crate) struct ExhaustState {
    parcels: Deque<Parcel, PARCELS>,
    stored_kg: f64,
    /// Gas at the sensor: mass fractions of air and fuel.
    air: f64,
    fuel: f64,
    /// Mean gas temperature between port and sensor, K.
    pub(crate) gas_k: f64,
    pub(crate) lambda: f64,
    /// Time at which the gas now at the sensor was drawn into its cylinder, s.
    pub(crate) intake_s: f64,
}

impl ExhaustState {
    pub(crate) fn new(ambient_k: f64) -> Self {
        Self {
            parcels: Deque::new(),
            stored_kg: 0.0,
            air: 1.0,
            fuel: 0.0,
            gas_k: ambient_k,
            lambda: LAMBDA_WITHOUT_FUEL,
            intake_s: 0.0,
        }
    }

    /// Gas temperature in the pipe after `dt_s`; `bank_kg_per_s` is the flow of one bank. Part of the 100 ms task.
    pub(crate) fn update_temperature(
        &mut self,
        exhaust: &Exhaust,
        ambient_k: f64,
        bank_kg_per_s: f64,
        fired: bool,
        dt_s: f64,
    ) {
        let port_k = if fired { exhaust.port_k } else { ambient_k };
        let reach = bank_kg_per_s / (bank_kg_per_s + exhaust.cooling_kg_per_s + 1e-9);
        let target_k = ambient_k + (port_k - ambient_k) * reach;
        self.gas_k += (target_k - self.gas_k) * (dt_s / exhaust.wall_tau_s).held(0.0, 1.0);
    }

    /// Pushes one cylinder's gas into the pipe, and out past the sensor what exceeds the pipe's content (plug flow by mass).
    /// `leak_kg` is air added by a leak upstream of the sensor.
    pub(crate) fn push(
        &mut self,
        exhaust: &Exhaust,
        gas: &CylinderEvent,
        misfired: bool,
        leak_kg: f64,
        ambient_pa: f64,
        stoich_afr: f64,
    ) {
        let detected = if misfired { exhaust.misfire_fuel_share } else { 1.0 };
        let parcel = Parcel {
            gas_kg: gas.air_kg + gas.nitrous_kg + gas.water_kg + gas.cylinder_fuel_kg + leak_kg,
            air_kg: gas.air_kg + AIR_PER_NITROUS * gas.nitrous_kg + leak_kg,
            fuel_kg: gas.cylinder_fuel_kg * detected,
            intake_s: gas.time_s,
        };
        self.stored_kg += parcel.gas_kg;
        if let Err(parcel) = self.parcels.push_back(parcel)
            && let Some(last) = self.parcels.back_mut()
        {
            last.gas_kg += parcel.gas_kg;
            last.air_kg += parcel.air_kg;
            last.fuel_kg += parcel.fuel_kg;
        }
        let density = ambient_pa / (R_DRY_AIR * self.gas_k);
        let mixing_kg = density * exhaust.mixing_m3;
        let mut excess_kg = self.stored_kg - density * exhaust.pipe_m3;
        while excess_kg > 0.0
            && let Some(front) = self.parcels.front_mut()
        {
            self.intake_s = front.intake_s;
            let out_kg = front.gas_kg.min(excess_kg);
            let whole_kg = front.gas_kg.held(1e-12, 1.0);
            let (air, fuel) = (front.air_kg / whole_kg, front.fuel_kg / whole_kg);
            if out_kg < front.gas_kg {
                front.gas_kg -= out_kg;
                front.air_kg -= air * out_kg;
                front.fuel_kg -= fuel * out_kg;
            } else {
                self.parcels.pop_front();
            }
            // Perfectly stirred volume with a throughflow of out_kg.
            let share = out_kg / (out_kg + mixing_kg);
            self.air += share * (air - self.air);
            self.fuel += share * (fuel - self.fuel);
            self.stored_kg -= out_kg;
            excess_kg -= out_kg;
        }
        let needed = self.fuel * stoich_afr;
        self.lambda =
            if needed * LAMBDA_WITHOUT_FUEL > self.air { self.air / needed } else { LAMBDA_WITHOUT_FUEL };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gas(lambda: f64) -> CylinderEvent {
        let air_kg = 1.2e-4;
        CylinderEvent { air_kg, cylinder_fuel_kg: air_kg / (14.6 * lambda), ..Default::default() }
    }

    #[test]
    fn ident_a_change_arrives_after_the_mass_that_the_pipe_holds() {
        let exhaust = crate::Truth::mild_v8().exhaust;
        let mut state = ExhaustState::new(290.0);
        state.gas_k = 650.0;
        let push = |state: &mut ExhaustState, lambda| {
            state.push(&exhaust, &gas(lambda), false, 0.0, 101_325.0, 14.6);
            state.lambda
        };
        for _ in 0..200 {
            push(&mut state, 1.0);
        }
        assert!((state.lambda - 1.0).abs() < 1e-6);
        let stored_kg = 101_325.0 / (R_DRY_AIR * 650.0) * exhaust.pipe_m3;
        let mut pushed_kg = 0.0;
        while push(&mut state, 0.8) > 0.999 {
            pushed_kg += gas(0.8).air_kg + gas(0.8).cylinder_fuel_kg;
        }
        assert!((pushed_kg / stored_kg - 1.0).abs() < 0.1, "{pushed_kg} {stored_kg}");
    }

    #[test]
    fn a_misfire_and_a_leak_read_lean() {
        let exhaust = crate::Truth::mild_v8().exhaust;
        let settled = |misfired, leak_kg| {
            let mut state = ExhaustState::new(600.0);
            for _ in 0..300 {
                state.push(&exhaust, &gas(1.0), misfired, leak_kg, 101_325.0, 14.6);
            }
            state.lambda
        };
        assert!(settled(true, 0.0) > 1.2);
        assert!((settled(false, 1.2e-5) - 1.1).abs() < 1e-6);
    }

    #[test]
    fn a_very_long_pipe_overflows_without_losing_mass_or_composition() {
        let exhaust = Exhaust { pipe_m3: 0.05, ..crate::Truth::mild_v8().exhaust };
        let mut state = ExhaustState::new(300.0);
        for _ in 0..5000 {
            state.push(&exhaust, &gas(0.9), false, 0.0, 101_325.0, 14.6);
        }
        assert!((state.lambda - 0.9).abs() < 1e-6);
        let stored: f64 = state.parcels.iter().map(|parcel| parcel.gas_kg).sum();
        assert!((stored - state.stored_kg).abs() < 1e-9);
    }
}
