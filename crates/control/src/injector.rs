//! Injector model: flow by the root of the pressure drop, opening delay by supply voltage, correction of short pulses.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Injectors beside their rated flow, which is a setup answer.
    pub struct InjectorParameters<f32> "injector" {
        /// Opening delay minus closing delay against supply voltage; learning corrects it.
        curve opening_delay_s { [8] = [(6.0, 4.0e-3), (8.0, 2.5e-3), (9.5, 1.95e-3), (11.0, 1.5e-3), (13.5, 1.0e-3), (16.0, 0.78e-3)], 4.0..=20.0 "V" => 0.0..=10e-3 "s", "common data sheets, from memory" }
        /// Additional open time against flow time, for pulses too short to open fully; falls by at most 1/5.
        curve short_pulse_s { [6] = [(0.0, 0.12e-3), (0.3e-3, 0.06e-3), (0.6e-3, 0.02e-3), (1.0e-3, 0.0)], 0.0..=10e-3 "s" => 0.0..=1e-3 "s", "engineering judgement" }
        /// Lower limit of the pressure drop.
        number min_drop_pa { 20e3, 1e3..=200e3 "Pa", "engineering judgement" }
        /// Upper limit of the pressure drop.
        number max_drop_pa { 1000e3, 200e3..=3000e3 "Pa", "engineering judgement" }
        /// Charge temperature at which the flow time of a cell is stated.
        number reference_charge_k { 325.0, 250.0..=400.0 "K", "engineering judgement" }
    }
}

impl InjectorParameters {
    /// Flow of one open injector, kg/s: rated flow times the root of the pressure ratio (orifice law).
    pub fn flow_kg_per_s(&self, setup: &Setup, drop_pa: f32) -> f32 {
        setup.flow_per_root_pa() * Real::sqrt(self.bounded_drop_pa(drop_pa))
    }

    /// Pressure drop within its limits, Pa.
    pub(crate) fn bounded_drop_pa(&self, drop_pa: f32) -> f32 {
        drop_pa.held(self.min_drop_pa, self.max_drop_pa)
    }

    /// Open time of one injector for `fuel_kg`, s: flow time, short-pulse correction and opening delay; 0 without fuel.
    pub fn open_time_s(&self, setup: &Setup, fuel_kg: f32, battery_v: f32, drop_pa: f32) -> f32 {
        if fuel_kg > 0.0 {
            let flow_s = fuel_kg / self.flow_kg_per_s(setup, drop_pa);
            flow_s + along(&self.short_pulse_s, flow_s) + along(&self.opening_delay_s, battery_v)
        } else {
            0.0
        }
    }

    /// Fuel that one injector delivers in `open_time_s`, kg: the inverse of [`InjectorParameters::open_time_s`].
    pub fn injected_fuel_kg(&self, setup: &Setup, open_time_s: f32, battery_v: f32, drop_pa: f32) -> f32 {
        let net_s = open_time_s - along(&self.opening_delay_s, battery_v);
        let mut flow_s = net_s;
        // The slope is at most 1/5, so each pass leaves a fifth of the error.
        for _ in 0..10 {
            flow_s = net_s - along(&self.short_pulse_s, flow_s);
        }
        flow_s.at_least(0.0) * self.flow_kg_per_s(setup, drop_pa)
    }

    /// Relative loss of fuel in a cell per second of additional opening delay, 1/s: one over the flow time at lambda 1 and reference charge
    /// temperature. 0 outside the map.
    pub fn delay_rate_per_s(&self, setup: &Setup, cell: usize) -> f32 {
        let answers = setup.answers();
        let open = f32::from((answers.injectors / setup.firing_groups()).max(1));
        let flow_kg_per_s = open * setup.rail_flow_kg_per_s();
        setup.fuel_of_cell_kg(cell, self.reference_charge_k).map_or(0.0, |fuel_kg| flow_kg_per_s / fuel_kg)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::base_map::CELLS;
    use crate::calibration::Calibration;
    use crate::options::{Firing, Options};
    use proptest::prelude::*;

    const INJECTOR: InjectorParameters = InjectorParameters::DEFAULT;

    /// Orifice law, shared/reference/injector_sqrt.csv: 55 psi against 43.5 psi gives 1.124441.
    #[test]
    fn val_flow_goes_with_the_root_of_pressure() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let flow = |drop_pa| INJECTOR.flow_kg_per_s(calibration.setup(), drop_pa);
        let ratio = flow(379_212.0) / flow(299_922.0);
        assert!((ratio - 1.124_441).abs() < 1e-5, "{ratio}");
    }

    /// 8 mg at 8 g/s flow for 1 ms; the opening delay of 1 ms comes on top.
    #[test]
    fn ident_open_time_is_flow_time_plus_opening_delay() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let open_s = |fuel_kg| INJECTOR.open_time_s(calibration.setup(), fuel_kg, 13.5, 300e3);
        assert!((open_s(8e-6) - 2.0e-3).abs() < 1e-6 && open_s(0.0) == 0.0);
    }

    /// Twice the injectors at a firing flow half as long for it, so that a late opening takes twice the share.
    #[test]
    fn ident_a_late_opening_costs_all_injectors_twice_the_share_of_halves() {
        let answers = SetupAnswers { injectors: 8, ..SetupAnswers::default() };
        let halves = Calibration::from_answers(&answers).unwrap();
        let all = halves.clone().with_options(Options { firing: Firing::All, ..Options::default() });
        for cell in 0..CELLS {
            let of = |calibration: &Calibration| INJECTOR.delay_rate_per_s(calibration.setup(), cell);
            assert_eq!(of(&all), 2.0 * of(&halves));
        }
        assert_eq!(INJECTOR.delay_rate_per_s(all.setup(), CELLS), 0.0);
    }

    proptest! {
        #[test]
        fn ident_open_time_and_fuel_are_inverse(fuel_kg in 1e-7..1e-4_f32, volts in 6.5..16.0_f32, drop in 3e4..6e5_f32) {
            let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
            let open_s = INJECTOR.open_time_s(calibration.setup(), fuel_kg, volts, drop);
            let back = INJECTOR.injected_fuel_kg(calibration.setup(), open_s, volts, drop);
            prop_assert!((back / fuel_kg - 1.0).abs() < 0.01, "{back} for {fuel_kg}");
        }
    }
}
