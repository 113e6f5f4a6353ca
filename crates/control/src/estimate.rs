//! Sensor estimates: volts to quantities by the sensor curves, with substitution.
//!
//! A signal that [`Plausibility`] finds invalid is substituted at once, and its flag in [`InvalidSignals`] is set.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::{along, along_beyond};
use trimwright_signals::Frame;

use crate::base_map::OUTSIDE_PA;
use crate::clock::DueTasks;
use crate::crank::CrankMotion;
use crate::invalid_signals::InvalidSignals;
use crate::plausibility::{Plausibility, PlausibilityInputs, PlausibilityParameters};
use crate::sensors::SensorParameters;
use crate::setup::{MIN_BARO_PA, Setup};
use crate::signal_monitor::within;
use crate::throttle_speed::{ThrottleSpeed, ThrottleSpeedParameters};
use crate::trouble_codes::Reports;

trimwright_numerics::parameters! {
    /// Filters and substitutes of the sensor estimates, and extrapolation of manifold pressure.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct EstimateParameters<f32> "estimate" {
        /// Share of a change of the mean pressure that is applied, against the size of the change; small changes are mostly ripple.
        curve map_step_share { [4] = [(300.0, 0.35), (1200.0, 1.0)], 0.0..=50e3 "Pa" => 0.01..=1.0 "1", "engineering judgement" }
        /// Frames in the mean pressure where no cylinder fires.
        number map_frames { 40.0, 2.0..=1000.0 "1", "engineering judgement" }
        /// Time constant of the rate of manifold pressure.
        number map_rate_s { 0.06, 0.005..=1.0 "s", "engineering judgement" }
        /// Upper limit of the time between firings in the rate of manifold pressure.
        number map_rate_longest_s { 0.2, 0.02..=1.0 "s", "engineering judgement" }
        /// Time by which manifold pressure is extrapolated for the lag of its sensor.
        number map_ahead_s { 0.015, 0.0..=0.2 "s", "engineering judgement, from tip-ins" }
        /// Firing intervals by which manifold pressure is extrapolated for averaging and injection.
        number map_ahead_intervals { 1.1, 0.0..=6.0 "1", "engineering judgement, from tip-ins" }
        /// Upper limit of the firing interval in the extrapolation.
        number map_ahead_longest_s { 0.021, 0.002..=0.2 "s", "engineering judgement, from trials with the air conditioning" }
        /// Limit of the extrapolated pressure over barometric pressure; a rise towards full throttle levels off below it.
        number map_ahead_ratio_high { 0.92, 0.5..=1.0 "1", "engineering judgement, from tip-ins" }
        /// Throttle position below which the throttle counts as closed.
        number closed_tp { 0.02, 0.002..=0.1 "1", "engineering judgement" }
        /// Throttle position while its sensor is invalid: off idle, no enrichment.
        number substitute_tp { 0.12, 0.03..=0.5 "1", "engineering judgement" }
        /// Intake air temperature while its sensor is invalid.
        number substitute_iat_k { 308.0, 250.0..=350.0 "K", "engineering judgement" }
        /// Final coolant temperature of a running engine while its sensor is invalid.
        number substitute_ect_k { 358.0, 300.0..=380.0 "K", "engineering judgement" }
        /// Time constant of the substituted coolant temperature.
        number substitute_ect_tau_s { 200.0, 10.0..=2000.0 "s", "engineering judgement" }
        /// Supply voltage while cranking when its reading is invalid.
        number starter_v { 10.0, 6.0..=12.0 "V", "common practice, no source" }
        /// Supply voltage of a running engine when its reading is invalid.
        number charging_v { 13.8, 12.0..=15.5 "V", "common practice, no source" }
        /// Supply voltage of a standing engine when its reading is invalid.
        number standing_v { 12.2, 10.0..=14.0 "V", "common practice, no source" }
        /// Crank speed above which the alternator charges.
        number charging_from_rad_per_s { 45.0, 20.0..=200.0 "rad/s", "engineering judgement" }
        /// Time constant of supply voltage.
        number battery_s { 0.01, 0.0..=1.0 "s", "engineering judgement" }
        /// Time constant of rail pressure.
        number rail_s { 0.03, 0.0..=2.0 "s", "engineering judgement" }
        /// Upper limit of the rail pressure above ambient.
        number rail_high_pa { 800e3, 200e3..=4000e3 "Pa", "engineering judgement" }
        /// Time constant of intake air and coolant temperature.
        number temperature_s { 0.2, 0.01..=20.0 "s", "engineering judgement" }
        /// Time constant of barometric pressure from its sensor.
        number baro_s { 0.5, 0.01..=60.0 "s", "engineering judgement" }
        /// Time constant of barometric pressure from MAP while the crank stands.
        number baro_standing_s { 0.05, 0.01..=10.0 "s", "engineering judgement" }
        /// Time constant with which a MAP above it raises barometric pressure while the engine runs.
        number baro_rising_s { 1.0, 0.01..=60.0 "s", "engineering judgement" }
        /// Lower limit of barometric pressure from MAP.
        number baro_low_pa { 50e3, 30e3..=90e3 "Pa", "engineering judgement: above any road" }
        /// Upper limit of barometric pressure from MAP.
        number baro_high_pa { 110e3, 100e3..=120e3 "Pa", "engineering judgement" }
    }
}

/// Estimated quantities.
///
/// ```
/// use trimwright_control::{Calibration, Controller, SetupAnswers};
/// use trimwright_signals::Frame;
/// let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
/// for ms in 0..100 {
///     let frame = Frame { time_us: ms * 1000, map_v: 4.1, tp_v: 1.3, o2_v: 2.353, ..Frame::default() };
///     controller.step(&frame);
/// }
/// let estimate = controller.state().estimate();
/// assert!((estimate.map_pa - 100e3).abs() < 10.0 && (estimate.tp - 0.2).abs() < 1e-3);
/// assert!((estimate.lambda - 1.0).abs() < 1e-3);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Estimate {
    /// Manifold absolute pressure, mean over the last firing interval, Pa.
    pub map_pa: f32,
    /// Rate of manifold pressure, lagged, Pa/s; 0 while MAP is substituted.
    pub map_rate_pa_per_s: f32,
    /// Barometric pressure, Pa.
    pub baro_pa: f32,
    /// Throttle position, ratio.
    pub tp: f32,
    /// Rate of throttle position over the last 10 ms, 1/s.
    pub tp_rate_per_s: f32,
    /// The throttle is closed, and its sensor valid.
    pub throttle_closed: bool,
    /// Engine coolant temperature, K.
    pub ect_k: f32,
    /// Intake air temperature, K.
    pub iat_k: f32,
    /// Rail pressure above ambient, Pa.
    pub rail_pa: f32,
    /// Supply voltage, V.
    pub battery_v: f32,
    /// Lambda at the sensor.
    pub lambda: f32,
    /// The wideband output is at an end of its range.
    pub lambda_at_end: bool,
    /// Validity flags: true where a signal is invalid and substituted.
    pub invalid: InvalidSignals,
}

impl Default for Estimate {
    fn default() -> Self {
        Self {
            map_pa: OUTSIDE_PA,
            map_rate_pa_per_s: 0.0,
            baro_pa: OUTSIDE_PA,
            tp: 0.0,
            tp_rate_per_s: 0.0,
            throttle_closed: true,
            ect_k: ROOM_K,
            iat_k: ROOM_K,
            rail_pa: 300e3,
            battery_v: 12.5,
            lambda: 1.0,
            lambda_at_end: false,
            invalid: InvalidSignals::default(),
        }
    }
}

impl Estimate {
    /// Manifold pressure that the next cylinder will meet, Pa: extrapolated by its rate over sensor lag, averaging and injection.
    pub fn map_ahead_pa(&self, parameters: &EstimateParameters, interval_s: f32) -> f32 {
        let interval_s = interval_s.held(0.0, parameters.map_ahead_longest_s);
        let ahead_s = parameters.map_ahead_s + parameters.map_ahead_intervals * interval_s;
        (self.map_pa + ahead_s * self.map_rate_pa_per_s)
            .held(0.5 * self.map_pa, (parameters.map_ahead_ratio_high * self.baro_pa).at_least(self.map_pa))
    }

    /// Pressure drop over the injectors, Pa: rail pressure above ambient plus manifold vacuum.
    pub fn drop_pa(&self) -> f32 {
        self.rail_pa + self.baro_pa - self.map_pa
    }

    /// Load: manifold over barometric pressure, ratio.
    pub fn load(&self) -> f32 {
        self.map_pa / self.baro_pa.at_least(MIN_BARO_PA)
    }
}

/// Temperature before the first reading, K.
const ROOM_K: f32 = 293.0;

/// Constants of the sensor estimates.
#[derive(Clone, Copy)]
pub struct EstimatorConstants<'a> {
    /// Filters, substitutes, extrapolation.
    pub filters: &'a EstimateParameters,
    /// Limits of valid signals.
    pub plausibility: &'a PlausibilityParameters,
    /// MAP estimate from throttle and speed.
    pub throttle_speed: &'a ThrottleSpeedParameters,
    /// Curves of the sensors.
    pub sensors: &'a SensorParameters,
    /// What follows from the setup answers.
    pub setup: &'a Setup,
}

/// Stage that estimates quantities from volts.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Estimator {
    estimate: Estimate,
    map_sum_v: f32,
    map_count: f32,
    plausibility: Plausibility,
    /// Learned throttle opening over that of the curve, throttle closed and open.
    throttle_fits: [f32; 2],
    /// Idle air valve duty of the last step.
    iac_duty: f32,
}

impl Default for Estimator {
    fn default() -> Self {
        Self {
            estimate: Estimate::default(),
            map_sum_v: 0.0,
            map_count: 0.0,
            plausibility: Plausibility::default(),
            throttle_fits: [1.0; 2],
            iac_duty: 0.0,
        }
    }
}

impl Estimator {
    /// The estimated quantities.
    pub const fn estimate(&self) -> &Estimate {
        &self.estimate
    }

    /// Takes the volts of a frame: MAP in every frame, the others in the 10 ms task. `iac_duty` is the last commanded idle air valve duty.
    #[inline]
    pub fn step(
        &mut self,
        constants: &EstimatorConstants<'_>,
        frame: &Frame,
        motion: &CrankMotion,
        iac_duty: f32,
        due: &DueTasks,
        reports: &mut Reports<'_>,
    ) {
        self.iac_duty = iac_duty;
        if due.task_10ms_s > 0.0 {
            self.run_10ms_task(constants, frame, motion, due.task_10ms_s, reports);
        }
        self.accumulate_map(constants, frame, motion);
    }

    /// All but MAP. Not inlined: nine steps of ten skip it.
    #[inline(never)]
    fn run_10ms_task(
        &mut self,
        constants: &EstimatorConstants<'_>,
        frame: &Frame,
        motion: &CrankMotion,
        dt_s: f32,
        reports: &mut Reports<'_>,
    ) {
        let &EstimatorConstants { filters, plausibility, throttle_speed, sensors, setup } = constants;
        let throttle_was_invalid = self.estimate.invalid.tp;
        let (richest, leanest, lambda_falls) = sensors.lambda_range();
        let inputs =
            PlausibilityInputs { frame, motion, throttle_speed: self.throttle_speed(motion), lambda_falls };
        self.estimate.invalid = self.plausibility.step(plausibility, throttle_speed, &inputs, dt_s, reports);
        self.update_throttle(constants, frame, throttle_was_invalid, dt_s);
        self.estimate.lambda = along_beyond(&sensors.lambda, frame.o2_v).held(richest, leanest);
        self.estimate.lambda_at_end = !within(frame.o2_v, plausibility.lambda_v());
        self.update_supply(constants, frame, motion, dt_s);
        self.update_temperatures(filters, setup, frame, motion, dt_s);
        self.update_baro(constants, frame, motion, dt_s);
        self.update_throttle_fit(throttle_speed, motion, dt_s);
    }

    /// Inputs of the MAP estimate from throttle, idle valve and speed, used when the MAP sensor has failed.
    fn throttle_speed(&self, motion: &CrankMotion) -> ThrottleSpeed {
        let Estimate { map_pa, baro_pa, tp, .. } = self.estimate;
        let speed_rad_per_s = motion.speed_rad_per_s;
        ThrottleSpeed { map_pa, baro_pa, tp, iac_duty: self.iac_duty, speed_rad_per_s }
    }

    fn update_throttle(
        &mut self,
        &EstimatorConstants { filters, sensors, .. }: &EstimatorConstants<'_>,
        frame: &Frame,
        was_invalid: bool,
        dt_s: f32,
    ) {
        let now = &mut self.estimate;
        let tp = if now.invalid.tp {
            filters.substitute_tp
        } else {
            along_beyond(&sensors.tp, frame.tp_v).held(0.0, 1.0)
        };
        now.tp_rate_per_s = if now.invalid.tp || was_invalid { 0.0 } else { (tp - now.tp) / dt_s };
        now.tp = tp;
        now.throttle_closed = tp < filters.closed_tp && !now.invalid.tp;
    }

    /// Sums MAP until the next firing; the mean over a firing interval has no ripple.
    #[inline]
    fn accumulate_map(&mut self, constants: &EstimatorConstants<'_>, frame: &Frame, motion: &CrankMotion) {
        if within(frame.map_v, constants.plausibility.ratiometric_v()) {
            self.map_sum_v += frame.map_v;
            self.map_count += 1.0;
        } else {
            self.estimate.invalid.map = true;
        }
        let averaged = motion.firings > 0 || self.map_count >= constants.filters.map_frames;
        if averaged || self.estimate.invalid.map {
            self.update_map(constants, motion, averaged);
        }
    }

    /// Takes the mean MAP since the last firing, or the estimate from throttle and speed when MAP is invalid.
    #[inline(never)]
    fn update_map(&mut self, constants: &EstimatorConstants<'_>, motion: &CrankMotion, averaged: bool) {
        let &EstimatorConstants { filters, throttle_speed, sensors, .. } = constants;
        if self.estimate.invalid.map && (averaged || motion.speed_rad_per_s == 0.0) {
            let [closed, open] = self.throttle_fits;
            let fit = if self.estimate.tp < throttle_speed.closed_tp { closed } else { open };
            self.estimate.map_pa = self.throttle_speed(motion).estimated_map_pa(throttle_speed, fit);
            self.estimate.map_rate_pa_per_s = 0.0;
            (self.map_sum_v, self.map_count) = (0.0, 0.0);
        } else if averaged && self.map_count > 0.0 {
            let now = &mut self.estimate;
            let mean_pa = along_beyond(&sensors.map_pa, self.map_sum_v / self.map_count);
            let moved_pa = mean_pa - now.map_pa;
            let moved_pa = along(&filters.map_step_share, moved_pa.abs()) * moved_pa;
            now.map_pa += moved_pa;
            let since_firing_s = motion.since_firing_s.held(0.0, filters.map_rate_longest_s);
            now.map_rate_pa_per_s +=
                (moved_pa - now.map_rate_pa_per_s * since_firing_s) / (filters.map_rate_s + since_firing_s);
            (self.map_sum_v, self.map_count) = (0.0, 0.0);
        }
    }

    fn update_supply(
        &mut self,
        &EstimatorConstants { filters, sensors, setup, .. }: &EstimatorConstants<'_>,
        frame: &Frame,
        motion: &CrankMotion,
        dt_s: f32,
    ) {
        let substitute_v = if frame.switches.starter {
            filters.starter_v
        } else if motion.speed_rad_per_s > filters.charging_from_rad_per_s {
            filters.charging_v
        } else {
            filters.standing_v
        };
        let now = &mut self.estimate;
        let battery_v = if now.invalid.battery { substitute_v } else { frame.battery_v };
        follow(&mut now.battery_v, battery_v, dt_s, filters.battery_s);
        let wanted_pa = setup.answers().rail_pressure_pa;
        let rail_pa = if now.invalid.rail { wanted_pa } else { along_beyond(&sensors.frp_pa, frame.frp_v) };
        follow(&mut now.rail_pa, rail_pa.held(0.0, filters.rail_high_pa), dt_s, filters.rail_s);
    }

    fn update_temperatures(
        &mut self,
        filters: &EstimateParameters,
        setup: &Setup,
        frame: &Frame,
        motion: &CrankMotion,
        dt_s: f32,
    ) {
        let now = &mut self.estimate;
        let iat_k = if now.invalid.iat { filters.substitute_iat_k } else { setup.iat().kelvin(frame.iat_v) };
        follow(&mut now.iat_k, iat_k, dt_s, filters.temperature_s);
        if !now.invalid.ect {
            follow(&mut now.ect_k, setup.ect().kelvin(frame.ect_v), dt_s, filters.temperature_s);
        } else if motion.speed_rad_per_s > 0.0 {
            follow(&mut now.ect_k, filters.substitute_ect_k, dt_s, filters.substitute_ect_tau_s);
        }
    }

    /// Learns the throttle opening of this engine from MAP, closed and open separately, for a later failure of MAP.
    fn update_throttle_fit(&mut self, parameters: &ThrottleSpeedParameters, motion: &CrankMotion, dt_s: f32) {
        let now = &self.estimate;
        if motion.speed_rad_per_s > parameters.fit_from_rad_per_s
            && !now.invalid.map
            && !now.invalid.tp
            && now.tp_rate_per_s.abs() < parameters.fit_still_per_s
        {
            let fit = self.throttle_speed(motion).fit(parameters);
            let [closed, open] = &mut self.throttle_fits;
            follow(if now.tp < parameters.closed_tp { closed } else { open }, fit, dt_s, parameters.fit_s);
        }
    }

    /// Barometric pressure from its sensor; without one, from MAP while the crank stands, and raised by any higher MAP.
    fn update_baro(
        &mut self,
        &EstimatorConstants { filters, plausibility, sensors, .. }: &EstimatorConstants<'_>,
        frame: &Frame,
        motion: &CrankMotion,
        dt_s: f32,
    ) {
        let now = &mut self.estimate;
        let baro_pa = now.map_pa.held(filters.baro_low_pa, filters.baro_high_pa);
        if within(frame.baro_v, plausibility.baro_v()) {
            follow(&mut now.baro_pa, along_beyond(&sensors.baro_pa, frame.baro_v), dt_s, filters.baro_s);
        } else if motion.speed_rad_per_s == 0.0
            && frame.switches.ignition
            && !frame.switches.starter
            && !now.invalid.map
        {
            follow(&mut now.baro_pa, baro_pa, dt_s, filters.baro_standing_s);
        } else if now.map_pa > now.baro_pa {
            follow(&mut now.baro_pa, baro_pa, dt_s, filters.baro_rising_s);
        }
    }
}

/// First-order lag of `held` towards `value`.
fn follow(held: &mut f32, value: f32, dt_s: f32, tau_s: f32) {
    *held += dt_s / (tau_s + dt_s) * (value - *held);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;
    use crate::dtc::Dtc;
    use crate::parameters::Parameters;
    use crate::trouble_codes::{Dtcs, TroubleCodeParameters};
    use trimwright_numerics::parameters::padded;

    fn frame() -> Frame {
        let mut frame = Frame { battery_v: 13.8, map_v: 1.7, tp_v: 0.9, ect_v: 1.0, ..Frame::default() };
        (frame.iat_v, frame.frp_v, frame.o2_v) = (2.5, 2.2, 2.353);
        frame.switches.ignition = true;
        frame.switches.o2_ready = true;
        frame
    }

    /// Some seconds of such frames with these parameters.
    fn settle_by(
        parameters: &Parameters,
        frame: &Frame,
        speed_rad_per_s: f32,
        seconds: f32,
    ) -> (Estimate, Dtcs) {
        let calibration = Calibration::new(&SetupAnswers::default(), parameters).unwrap();
        let constants = EstimatorConstants {
            filters: &parameters.estimate,
            plausibility: &parameters.plausibility,
            throttle_speed: &parameters.throttle_speed,
            sensors: &parameters.sensors,
            setup: calibration.setup(),
        };
        let motion = CrankMotion { speed_rad_per_s, ..CrankMotion::default() };
        let (mut estimator, mut dtcs) = (Estimator::default(), Dtcs::default());
        let mut frame = frame.clone();
        for step in 0..(seconds * 1000.0) as u32 {
            frame.map_v += if step % 3 == 0 { 0.002 } else { -0.001 };
            frame.o2_v += if step % 3 == 0 { 0.002 } else { -0.001 };
            frame.frp_v += if step % 3 == 0 { 0.002 } else { -0.001 };
            let task_10ms_s = if step % 10 == 0 { 0.01 } else { 0.0 };
            let due = DueTasks { dt_s: 0.001, task_10ms_s, ..DueTasks::default() };
            estimator.step(
                &constants,
                &frame,
                &motion,
                0.3,
                &due,
                &mut dtcs.reports(&TroubleCodeParameters::DEFAULT),
            );
        }
        (estimator.estimate, dtcs)
    }

    fn settle(frame: &Frame, speed_rad_per_s: f32, seconds: f32) -> (Estimate, Dtcs) {
        settle_by(&Parameters::DEFAULT, frame, speed_rad_per_s, seconds)
    }

    #[test]
    fn nominal_curves_are_inverted() {
        let (estimate, dtcs) = settle(&frame(), 80.0, 3.0);
        assert!((estimate.map_pa - 40e3).abs() < 100.0);
        assert!((estimate.tp - 0.1).abs() < 1e-6);
        assert!((estimate.rail_pa - 297_500.0).abs() < 500.0);
        assert!((estimate.lambda - 1.0).abs() < 1e-3);
        assert_eq!((estimate.invalid, dtcs.stored().count()), (InvalidSignals::default(), 0));
    }

    #[test]
    fn every_open_or_shorted_wire_is_substituted_flagged_and_coded() {
        type Case = (fn(&mut Frame), Dtc, fn(&InvalidSignals) -> bool);
        let cases: [Case; 10] = [
            (|frame| frame.map_v = 0.0, Dtc::MapLow, |invalid| invalid.map),
            (|frame| frame.map_v = 5.0, Dtc::MapHigh, |invalid| invalid.map),
            (|frame| frame.tp_v = 0.0, Dtc::TpLow, |invalid| invalid.tp),
            (|frame| frame.tp_v = 5.0, Dtc::TpHigh, |invalid| invalid.tp),
            (|frame| frame.ect_v = 0.0, Dtc::EctLow, |invalid| invalid.ect),
            (|frame| frame.ect_v = 5.0, Dtc::EctHigh, |invalid| invalid.ect),
            (|frame| frame.iat_v = 0.0, Dtc::IatLow, |invalid| invalid.iat),
            (|frame| frame.iat_v = f32::NAN, Dtc::IatLow, |invalid| invalid.iat),
            (|frame| frame.frp_v = 0.0, Dtc::FrpLow, |invalid| invalid.rail),
            (|frame| frame.frp_v = 5.0, Dtc::FrpHigh, |invalid| invalid.rail),
        ];
        for (change, dtc, flag) in cases {
            let mut faulty = frame();
            change(&mut faulty);
            let (estimate, dtcs) = settle(&faulty, 80.0, 1.0);
            assert!(
                dtcs.active().eq([dtc]),
                "{dtc:?}: {:?}",
                dtcs.active().collect::<heapless::Vec<_, 32>>()
            );
            assert!(flag(&estimate.invalid) && estimate.invalid.any_fuel_input(), "{dtc:?}");
            assert!(estimate.map_pa > 15e3 && estimate.ect_k > 250.0 && estimate.rail_pa > 100e3);
        }
    }

    #[test]
    fn barometric_pressure_is_followed_by_its_sensor_while_the_engine_runs() {
        let high_up = Frame { baro_v: 0.5 + 60e3 / 25e3, ..frame() };
        assert!((settle(&high_up, 80.0, 5.0).0.baro_pa - 70e3).abs() < 100.0);
    }

    #[test]
    fn without_its_sensor_barometric_pressure_is_read_while_the_crank_stands() {
        let high_up = Frame { map_v: 0.5 + 70e3 / 25e3 - 0.4, ..frame() };
        assert!((settle(&high_up, 0.0, 1.0).0.baro_pa - 70e3).abs() < 200.0);
    }

    /// The line 0.68 + 0.136 V between which and the curve no bit differs.
    #[test]
    fn ident_the_curve_of_the_wideband_output_is_its_line() {
        for millivolts in 0..=5000_u16 {
            let volts = f32::from(millivolts) * 1e-3;
            let lambda = along_beyond(&SensorParameters::DEFAULT.lambda, volts);
            assert_eq!(lambda.to_bits(), (0.68 + 0.136 * volts).to_bits(), "{volts} V");
        }
    }

    #[test]
    fn another_map_sensor_is_read_by_its_own_curve() {
        let mut parameters = Parameters::DEFAULT;
        // 20 to 250 kPa over 0.4 to 4.65 V.
        parameters.sensors.map_pa = padded([(0.4, 20e3), (4.65, 250e3)]);
        let (estimate, dtcs) = settle_by(&parameters, &frame(), 80.0, 3.0);
        assert!((estimate.map_pa - (20e3 + 1.3 / 4.25 * 230e3)).abs() < 250.0, "{}", estimate.map_pa);
        assert_eq!((estimate.invalid, dtcs.stored().count()), (InvalidSignals::default(), 0));
    }

    #[test]
    fn a_wideband_output_may_fall_where_lambda_rises() {
        let mut parameters = Parameters::DEFAULT;
        parameters.sensors.lambda = padded([(0.0, 1.36), (5.0, 0.68)]);
        let lambda = |o2_v| settle_by(&parameters, &Frame { o2_v, ..frame() }, 80.0, 1.0).0.lambda;
        assert!((lambda(5.0 - 2.353) - 1.0).abs() < 1e-3 && lambda(2.0) > 1.05 && lambda(3.0) < 0.96);
        assert_eq!([-1.0, 6.0].map(lambda), [1.36, 0.68], "held between the ends of the curve");
    }

    #[test]
    fn pressure_is_extrapolated_by_its_rate_up_to_a_limit() {
        let filters = EstimateParameters::DEFAULT;
        // A tip-in: 50 kPa, rising by 2 kPa each 10 ms. The next cylinder will meet more.
        let tip_in = Estimate { map_pa: 50e3, map_rate_pa_per_s: 200e3, ..Estimate::default() };
        assert!((tip_in.map_ahead_pa(&filters, 0.01) - 55.2e3).abs() < 1.0);
        let steady = Estimate { map_rate_pa_per_s: 0.0, ..tip_in.clone() };
        assert_eq!(steady.map_ahead_pa(&filters, 0.01), 50e3);
        let ends = Estimate { map_pa: 90e3, ..tip_in };
        assert!((ends.map_ahead_pa(&filters, 0.01) - 0.92 * 101_325.0).abs() < 1.0);
    }

    /// The rail is held over ambient; the vacuum of idle pulls too: more fuel for the same pulse.
    #[test]
    fn the_pressure_drop_counts_from_the_manifold() {
        let idle = Estimate { rail_pa: 300e3, baro_pa: 100e3, map_pa: 35e3, ..Estimate::default() };
        assert_eq!(idle.drop_pa(), 365e3);
    }

    /// An estimator and what it needs, to be stepped by hand.
    struct Bench {
        calibration: Calibration,
        estimator: Estimator,
    }

    const LONG_ENOUGH_S: f32 = 1e7;

    impl Bench {
        fn new() -> Self {
            let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
            Self { calibration, estimator: Estimator::default() }
        }

        /// Calls one stage of the estimator.
        fn run(&mut self, stage: impl FnOnce(&mut Estimator, &EstimatorConstants<'_>)) -> Estimate {
            let Parameters { estimate, plausibility, throttle_speed, sensors, .. } =
                self.calibration.parameters();
            let setup = self.calibration.setup();
            stage(
                &mut self.estimator,
                &EstimatorConstants { filters: estimate, plausibility, throttle_speed, sensors, setup },
            );
            self.estimator.estimate().clone()
        }
    }

    const FILTERS: EstimateParameters = EstimateParameters::DEFAULT;

    fn turning(speed_rad_per_s: f32) -> CrankMotion {
        CrankMotion { speed_rad_per_s, ..CrankMotion::default() }
    }

    #[test]
    fn ident_a_first_order_lag_of_30_ms_follows_by_a_quarter_in_10_ms() {
        let mut held = 1.0;
        follow(&mut held, 3.0, 0.01, 0.03);
        assert!((held - 1.5).abs() < 1e-6);
    }

    #[test]
    fn the_rate_of_the_throttle_is_its_change_over_time_between_valid_readings() {
        let mut bench = Bench::new();
        let mut after = |tp: f32, invalid, was_invalid| {
            bench.estimator.estimate.invalid.tp = invalid;
            let frame = Frame { tp_v: 0.5 + 4.0 * tp, ..frame() };
            let now = bench
                .run(|estimator, constants| estimator.update_throttle(constants, &frame, was_invalid, 0.01));
            (now.tp, (now.tp_rate_per_s * 10.0).round() * 0.1, now.throttle_closed)
        };
        assert_eq!(after(0.0, false, false), (0.0, 0.0, true));
        assert_eq!(after(0.5, false, false), (0.5, 50.0, false));
        assert_eq!(after(0.25, false, false), (0.25, -25.0, false));
        assert_eq!(after(0.0, true, false), (FILTERS.substitute_tp, 0.0, false));
        assert_eq!(after(0.0, false, true), (0.0, 0.0, true));
    }

    #[test]
    fn a_throttle_at_the_limit_is_not_closed_and_a_substitute_never() {
        let mut bench = Bench::new();
        let mut closed = |closed_tp, invalid| {
            bench.estimator.estimate.invalid.tp = invalid;
            let filters = EstimateParameters { closed_tp, substitute_tp: 0.03, ..FILTERS };
            let frame = Frame { tp_v: 1.0, ..frame() };
            bench
                .run(|estimator, constants| {
                    let constants = EstimatorConstants { filters: &filters, ..*constants };
                    estimator.update_throttle(&constants, &frame, false, 0.01);
                })
                .throttle_closed
        };
        assert!(closed(0.13, false) && !closed(0.125, false) && !closed(0.13, true));
    }

    #[test]
    fn pressure_is_the_mean_since_the_last_firing_or_of_forty_frames() {
        let mut bench = Bench::new();
        let mut after = |firings, frames| {
            let (motion, due) = (CrankMotion { firings, ..turning(80.0) }, DueTasks::default());
            let mut dtcs = Dtcs::default();
            (0..frames).for_each(|_| {
                bench.run(|estimator, constants| {
                    let reports = &mut dtcs.reports(&TroubleCodeParameters::DEFAULT);
                    estimator.step(constants, &frame(), &motion, 0.3, &due, reports);
                });
            });
            bench.estimator.estimate().clone()
        };
        assert_eq!(after(0, 39).map_pa, OUTSIDE_PA);
        assert!((after(0, 1).map_pa - 40e3).abs() < 50.0);
        let now = after(1, 1);
        assert!((now.map_pa - 40e3).abs() < 50.0);
        assert_eq!((now.tp, now.battery_v), (0.0, 12.5), "the rest waits for the 10 ms task");
    }

    /// By hand: the pressure rises by 2 kPa (counted in full) in 20 ms, 100 kPa/s; the lag of 60 ms takes a quarter of the difference.
    #[test]
    fn the_rate_of_pressure_follows_its_change_between_firings() {
        let mut bench = Bench::new();
        (bench.estimator.estimate.map_pa, bench.estimator.estimate.map_rate_pa_per_s) = (38e3, 20e3);
        let mut next = |volts: f32, since_firing_s| {
            (bench.estimator.map_sum_v, bench.estimator.map_count) = (2.0 * volts, 2.0);
            let motion = CrankMotion { since_firing_s, ..turning(80.0) };
            bench.run(|estimator, constants| estimator.update_map(constants, &motion, true))
        };
        let now = next(1.7, 0.02);
        assert!((now.map_pa - 40e3).abs() < 1.0 && (now.map_rate_pa_per_s - 40e3).abs() < 100.0, "{now:?}");
        // A long pause counts as 0.2 s.
        let now = next(1.7, 5.0);
        assert!((now.map_rate_pa_per_s - (40e3 - 40e3 * 0.2 / 0.26)).abs() < 100.0, "{now:?}");
        // Of a change of 300 Pa 0.35 are taken.
        let now = next(1.7 + 0.012, 0.02);
        assert!((now.map_pa - 40_105.0).abs() < 2.0, "{now:?}");
    }

    #[test]
    fn without_a_sample_the_pressure_stays() {
        let mut bench = Bench::new();
        let now = bench.run(|estimator, constants| estimator.update_map(constants, &turning(80.0), true));
        assert_eq!(now.map_pa, OUTSIDE_PA);
    }

    #[test]
    fn an_invalid_pressure_is_estimated_from_throttle_and_speed_with_the_fit_of_that_throttle() {
        let mut bench = Bench::new();
        let mut pressure = |tp, speed, averaged| {
            bench.estimator.throttle_fits = [0.5, 2.0];
            bench.estimator.iac_duty = 0.3;
            let estimate = &mut bench.estimator.estimate;
            (estimate.tp, estimate.map_pa, estimate.invalid.map) = (tp, 77e3, true);
            estimate.map_rate_pa_per_s = 1e3;
            let motion = turning(speed);
            let now = bench.run(|estimator, constants| estimator.update_map(constants, &motion, averaged));
            (now.map_pa, now.map_rate_pa_per_s)
        };
        let made = |tp, speed_rad_per_s, fit| {
            let at = ThrottleSpeed { tp, speed_rad_per_s, iac_duty: 0.3, ..ThrottleSpeed::default() };
            (at.estimated_map_pa(&ThrottleSpeedParameters::DEFAULT, fit), 0.0)
        };
        let closed_tp = ThrottleSpeedParameters::DEFAULT.closed_tp;
        assert_eq!(pressure(0.0, 80.0, true), made(0.0, 80.0, 0.5));
        assert_eq!(pressure(closed_tp, 80.0, true), made(closed_tp, 80.0, 2.0));
        assert_eq!(pressure(0.2, 80.0, true), made(0.2, 80.0, 2.0));
        assert_eq!(pressure(0.2, 80.0, false), (77e3, 1e3), "between firings it waits");
        assert_eq!(pressure(0.2, 0.0, false), made(0.2, 0.0, 2.0));
    }

    #[test]
    fn an_invalid_supply_voltage_is_that_of_starter_alternator_or_battery() {
        let mut bench = Bench::new();
        let mut volts = |starter, speed| {
            bench.estimator.estimate.invalid.battery = true;
            let mut frame = frame();
            frame.switches.starter = starter;
            let motion = turning(speed);
            let now = bench.run(|estimator, constants| {
                estimator.update_supply(constants, &frame, &motion, LONG_ENOUGH_S)
            });
            (now.battery_v * 10.0).round() * 0.1
        };
        assert_eq!([volts(true, 20.0), volts(false, 80.0), volts(false, 0.0)], [10.0, 13.8, 12.2]);
        assert_eq!(volts(false, FILTERS.charging_from_rad_per_s), 12.2);
    }

    #[test]
    fn temperatures_follow_their_senders_and_an_invalid_coolant_warms_up_while_the_crank_turns() {
        let mut bench = Bench::new();
        let mut kelvin = |invalid, speed, dt_s| {
            bench.estimator.estimate.invalid.ect = invalid;
            let (frame, motion) = (frame(), turning(speed));
            let setup = bench.calibration.setup().clone();
            let now = bench.run(|estimator, constants| {
                estimator.update_temperatures(constants.filters, &setup, &frame, &motion, dt_s)
            });
            (now.ect_k, now.iat_k)
        };
        let (ect_k, iat_k) = kelvin(false, 80.0, LONG_ENOUGH_S);
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let expected = (calibration.setup().ect().kelvin(1.0), calibration.setup().iat().kelvin(2.5));
        assert!((ect_k - expected.0).abs() < 0.01 && (iat_k - expected.1).abs() < 0.01);
        assert_eq!(kelvin(true, 0.0, 50.0).0, ect_k);
        let warmer = ect_k + 0.2 * (FILTERS.substitute_ect_k - ect_k);
        assert!((kelvin(true, 80.0, 50.0).0 - warmer).abs() < 0.01, "50 s of a lag of 200 s");
    }

    #[test]
    fn the_throttle_fit_is_learned_at_speed_with_valid_signals_and_a_still_throttle() {
        let learned = |change: fn(&mut Estimate), speed| {
            let mut bench = Bench::new();
            let estimate = &mut bench.estimator.estimate;
            (estimate.map_pa, estimate.tp) = (60e3, 0.1);
            change(estimate);
            let motion = turning(speed);
            bench.run(|estimator, constants| {
                estimator.update_throttle_fit(constants.throttle_speed, &motion, LONG_ENOUGH_S)
            });
            bench.estimator.throttle_fits.map(|fit| fit != 1.0)
        };
        let fits = ThrottleSpeedParameters::DEFAULT;
        assert_eq!(learned(|_| (), 150.0), [false, true]);
        assert_eq!(learned(|estimate| estimate.tp = 0.0, 150.0), [true, false]);
        assert_eq!(
            learned(|estimate| estimate.tp = ThrottleSpeedParameters::DEFAULT.closed_tp, 150.0),
            [false, true]
        );
        assert_eq!(learned(|_| (), fits.fit_from_rad_per_s), [false; 2]);
        assert_eq!(learned(|estimate| estimate.invalid.map = true, 150.0), [false; 2]);
        assert_eq!(learned(|estimate| estimate.invalid.tp = true, 150.0), [false; 2]);
        assert_eq!(learned(|estimate| estimate.tp_rate_per_s = -0.5, 150.0), [false; 2]);
        assert_eq!(
            learned(
                |estimate| estimate.tp_rate_per_s = ThrottleSpeedParameters::DEFAULT.fit_still_per_s,
                150.0
            ),
            [false; 2]
        );
        assert_eq!(learned(|estimate| estimate.tp_rate_per_s = 0.05, 150.0), [false, true]);
    }

    #[test]
    fn barometric_pressure_is_taken_from_map_while_nothing_pumps_or_when_map_is_higher() {
        let baro = |map_pa, speed, change: fn(&mut Frame, &mut Estimate)| {
            let mut bench = Bench::new();
            let mut frame = Frame { baro_v: 0.0, ..frame() };
            (bench.estimator.estimate.map_pa, bench.estimator.estimate.baro_pa) = (map_pa, 95e3);
            change(&mut frame, &mut bench.estimator.estimate);
            let motion = turning(speed);
            let now = bench
                .run(|estimator, constants| estimator.update_baro(constants, &frame, &motion, LONG_ENOUGH_S));
            (now.baro_pa / 100.0).round() * 100.0
        };
        assert_eq!(baro(80e3, 0.0, |_, _| ()), 80e3);
        assert_eq!(baro(80e3, 80.0, |_, _| ()), 95e3, "a running engine makes vacuum");
        assert_eq!(baro(80e3, 0.0, |frame, _| frame.switches.starter = true), 95e3);
        assert_eq!(baro(80e3, 0.0, |frame, _| frame.switches.ignition = false), 95e3);
        assert_eq!(baro(80e3, 0.0, |_, estimate| estimate.invalid.map = true), 95e3);
        assert_eq!(baro(99e3, 80.0, |_, _| ()), 99e3, "a valley after a pass");
        assert_eq!(baro(140e3, 80.0, |_, _| ()), FILTERS.baro_high_pa);
        assert_eq!(baro(30e3, 0.0, |_, _| ()), FILTERS.baro_low_pa);
    }

    #[test]
    fn a_falling_pressure_is_extrapolated_to_half_at_most() {
        let falls = Estimate { map_pa: 50e3, map_rate_pa_per_s: -9e6, ..Estimate::default() };
        assert_eq!(falls.map_ahead_pa(&FILTERS, 0.01), 25e3);
    }

    #[test]
    fn a_reading_at_an_end_of_its_range_is_marked() {
        let at_end = |o2_v| settle(&Frame { o2_v, ..frame() }, 80.0, 0.5).0.lambda_at_end;
        assert_eq!([0.0, 2.353, 5.0].map(at_end), [true, false, true]);
    }

    #[test]
    fn a_firing_takes_the_mean_at_once() {
        let mut bench = Bench::new();
        let mut after = |firings| {
            let motion = CrankMotion { firings, ..turning(80.0) };
            bench.run(|estimator, constants| estimator.accumulate_map(constants, &frame(), &motion)).map_pa
        };
        assert_eq!([after(0), after(0)], [OUTSIDE_PA; 2]);
        assert!((after(1) - 40e3).abs() < 50.0);
    }
}
