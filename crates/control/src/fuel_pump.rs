//! Fuel pump: primes, runs with the engine, and controls the rail pressure of a returnless system.

use trimwright_numerics::Real;

use crate::answers::FuelSystemType;
use crate::phase::Phase;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Pressure control of a returnless fuel system.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct FuelPumpParameters<f32> "fuel_pump" {
        /// Duty that holds about the target pressure without flow.
        number base_duty { 0.35, 0.0..=1.0 "1", "engineering judgement: feedback corrects the rest" }
        /// Additional duty per fuel flow.
        number flow_gain_s_per_kg { 12.0, 0.0..=200.0 "s/kg", "engineering judgement: feedback corrects the rest" }
        /// Upper limit of the fuel flow in the feed-forward.
        number max_flow_kg_per_s { 0.1, 0.005..=1.0 "kg/s", "engineering judgement" }
        /// Proportional gain, duty per pressure.
        number gain_per_pa { 3e-6, 0.0..=100e-6 "1/Pa", "engineering judgement" }
        /// Integral gain, duty per pressure and time.
        number integral_gain_per_pa_s { 6e-6, 0.0..=100e-6 "1/(Pa s)", "engineering judgement" }
        /// Limit of the integral term, duty.
        number integral_limit { 0.6, 0.0..=1.0 "1", "engineering judgement" }
        /// Lower limit of the duty of a running pump.
        number min_duty { 0.05, 0.0..=0.9 "1", "engineering judgement" }
    }
}

/// Stage of the fuel pump.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pump {
    integral: f32,
    /// Integral term at the start of a fuel cut, while it lasts.
    before_cut: Option<f32>,
    duty: f32,
}

/// Inputs of the fuel pump.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PumpInputs {
    /// Phase of the engine.
    pub phase: Phase,
    /// Rail pressure above ambient, Pa; `None` when its sensor is invalid.
    pub rail_pa: Option<f32>,
    /// Fuel consumption of the engine, kg/s.
    pub fuel_kg_per_s: f32,
}

impl Pump {
    /// Duty, share of the supply voltage, 0 to 1.
    pub const fn duty(&self) -> f32 {
        self.duty
    }

    /// 10 ms task. Returns the duty, share of the supply voltage.
    ///
    /// ```
    /// use trimwright_control::outputs::{Pump, PumpInputs};
    /// use trimwright_control::parameters::FuelPumpParameters;
    /// use trimwright_control::{Calibration, FuelSystemType, Phase, SetupAnswers};
    /// let duty = |fuel_system, phase| {
    ///     let calibration = Calibration::from_answers(&SetupAnswers { fuel_system, ..SetupAnswers::default() })?;
    ///     let inputs = PumpInputs { phase, rail_pa: Some(300e3), fuel_kg_per_s: 1e-3 };
    ///     let duty = Pump::default().step(&FuelPumpParameters::DEFAULT, calibration.setup(), inputs, 0.01);
    ///     Ok::<_, trimwright_control::AnswerError>(duty)
    /// };
    /// // With a return line it runs at full supply or not at all, without one as much as idle takes.
    /// assert_eq!((duty(FuelSystemType::Return, Phase::Stopped)?, duty(FuelSystemType::Return, Phase::Running)?), (0.0, 1.0));
    /// assert!(duty(FuelSystemType::Returnless, Phase::Running)? < 0.5);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        parameters: &FuelPumpParameters,
        setup: &Setup,
        inputs: PumpInputs,
        dt_s: f32,
    ) -> f32 {
        if inputs.phase == Phase::Stopped {
            *self = Self::default();
            return self.duty;
        }
        let Some(rail_pa) =
            inputs.rail_pa.filter(|_| setup.answers().fuel_system == FuelSystemType::Returnless)
        else {
            (self.duty, self.before_cut) = (1.0, None);
            return self.duty;
        };
        // The integral of a cut would let the pressure dip when fuel flows again.
        if inputs.phase == Phase::FuelCut {
            self.before_cut.get_or_insert(self.integral);
        } else if let Some(before) = self.before_cut.take() {
            self.integral = before;
        }
        let error_pa = setup.answers().rail_pressure_pa - rail_pa;
        let flow_kg_per_s = inputs.fuel_kg_per_s.held(0.0, parameters.max_flow_kg_per_s);
        let known = parameters.base_duty + parameters.flow_gain_s_per_kg * flow_kg_per_s;
        let wanted = known + parameters.gain_per_pa * error_pa + self.integral;
        if (wanted < 1.0 || error_pa < 0.0) && (wanted > 0.0 || error_pa > 0.0) {
            let next = self.integral + parameters.integral_gain_per_pa_s * error_pa * dt_s;
            self.integral = next.held(-parameters.integral_limit, parameters.integral_limit);
        }
        self.duty = wanted.held(parameters.min_duty, 1.0);
        self.duty
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    const PUMP: FuelPumpParameters = FuelPumpParameters::DEFAULT;

    fn calibration(fuel_system: FuelSystemType) -> Calibration {
        Calibration::from_answers(&SetupAnswers { fuel_system, ..SetupAnswers::default() }).unwrap()
    }

    fn duty(fuel_system: FuelSystemType, phase: Phase, rail_pa: Option<f32>) -> f32 {
        let (calibration, mut pump) = (calibration(fuel_system), Pump::default());
        let inputs = PumpInputs { phase, rail_pa, fuel_kg_per_s: 1e-3 };
        (0..50).for_each(|_| _ = pump.step(&PUMP, calibration.setup(), inputs, 0.01));
        pump.duty()
    }

    #[test]
    fn with_a_return_line_the_pump_is_on_or_off() {
        assert_eq!(duty(FuelSystemType::Return, Phase::Stopped, Some(0.0)), 0.0);
        assert_eq!(duty(FuelSystemType::Return, Phase::Priming, Some(0.0)), 1.0);
    }

    #[test]
    fn without_a_return_line_it_controls_the_pressure_and_runs_full_without_a_sensor() {
        let low = duty(FuelSystemType::Returnless, Phase::Running, Some(250e3));
        let high = duty(FuelSystemType::Returnless, Phase::Running, Some(350e3));
        assert!(low > high + 0.2 && (0.0..=1.0).contains(&low) && (0.0..=1.0).contains(&high));
        assert_eq!(duty(FuelSystemType::Returnless, Phase::Running, None), 1.0);
    }

    #[test]
    fn after_a_cut_it_continues_with_the_duty_of_before() {
        let (calibration, mut pump) = (calibration(FuelSystemType::Returnless), Pump::default());
        let mut duty = |phase, rail_pa, fuel_kg_per_s| {
            let inputs = PumpInputs { phase, rail_pa: Some(rail_pa), fuel_kg_per_s };
            pump.step(&PUMP, calibration.setup(), inputs, 0.01)
        };
        let before = duty(Phase::Running, 300e3, 1e-3);
        let cut = (0..1000).map(|_| duty(Phase::FuelCut, 330e3, 0.0)).last();
        assert!(cut.is_some_and(|cut| cut < 0.5 * before), "{before} {cut:?}");
        assert_eq!(duty(Phase::Running, 300e3, 1e-3), before);
    }

    fn step(pump: &mut Pump, rail_pa: f32, fuel_kg_per_s: f32) -> f32 {
        let inputs = PumpInputs { phase: Phase::Running, rail_pa: Some(rail_pa), fuel_kg_per_s };
        pump.step(&PUMP, calibration(FuelSystemType::Returnless).setup(), inputs, 0.01)
    }

    /// By hand: 0.35 + 12 s/kg times 2 g/s + 3e-6/Pa times 50 kPa; the integral adds 6e-6/(Pa s) times 50 kPa times 10 ms.
    #[test]
    fn the_duty_is_feed_forward_proportional_and_integral_part() {
        let mut pump = Pump::default();
        assert!((step(&mut pump, 250e3, 2e-3) - 0.524).abs() < 1e-6);
        assert!((step(&mut pump, 250e3, 2e-3) - 0.527).abs() < 1e-6);
        assert!((pump.integral - 0.006).abs() < 1e-6);
    }

    #[test]
    fn at_an_end_of_the_duty_the_integral_moves_only_back() {
        let integral = |before, rail_pa, fuel_kg_per_s| {
            let mut pump = Pump { integral: before, ..Pump::default() };
            step(&mut pump, rail_pa, fuel_kg_per_s);
            ((pump.integral - before) * 1e4).round()
        };
        assert_eq!(integral(0.0, 290e3, 0.1), 0.0, "full duty and still too little pressure");
        assert_eq!(integral(0.5, 310e3, 0.1), -6.0);
        assert_eq!(integral(0.0, 500e3, 0.0), 0.0, "no duty and still too much pressure");
        assert_eq!(integral(-0.6, 290e3, 0.0), 6.0);
        assert_eq!((integral(0.0, 290e3, 0.0), integral(0.0, 310e3, 0.0)), (6.0, -6.0));
    }

    #[test]
    fn duty_integral_and_feed_forward_are_bounded() {
        let mut pump = Pump::default();
        assert_eq!(step(&mut pump, 0.0, 1.0), 1.0);
        assert_eq!(step(&mut pump, 600e3, 0.0), PUMP.min_duty);
        assert_eq!(step(&mut Pump::default(), 300e3, f32::INFINITY), 1.0);
        (0..3000).for_each(|_| _ = step(&mut pump, 295e3, 0.0));
        assert!(pump.integral <= PUMP.integral_limit);
        (0..3000).for_each(|_| _ = step(&mut pump, 305e3, 20e-3));
        assert!(pump.integral >= -PUMP.integral_limit);
    }

    #[test]
    fn a_duty_of_just_one_or_none_is_an_end() {
        let moved = |base_duty, rail_pa| {
            let parameters = FuelPumpParameters { base_duty, gain_per_pa: 0.0, ..PUMP };
            let mut pump = Pump::default();
            let inputs = PumpInputs { phase: Phase::Running, rail_pa: Some(rail_pa), fuel_kg_per_s: 0.0 };
            pump.step(&parameters, calibration(FuelSystemType::Returnless).setup(), inputs, 0.01);
            pump.integral != 0.0
        };
        assert!(!moved(1.0, 290e3) && moved(1.0, 310e3) && !moved(0.0, 310e3) && moved(0.0, 290e3));
    }
}
