//! Plausibility of the signals: which are invalid, and their trouble codes.
//!
//! A signal outside its range is invalid at once; its code sets when that lasts. Within the range:
//!
//! - MAP without any change while the crank turns is stuck: a running engine makes ripple.
//! - TP without any change is stuck when MAP leaves what that throttle gives at the speed.
//! - FRP without any change while the engine runs or is cranked is stuck; so is the wideband output of a running engine.
//! - A wideband output that jumps to an end of its range faster than any sensor moves has an open or shorted wire.
//! - A signal that jumps between samples of 10 ms is noisy; while it is, its range codes are not set.
//! - Trigger pulses that end within one firing are lost on their wire: an engine that stops slows down first.
//!
//! A stuck thermistor at a plausible temperature, and a stuck supply reading, cannot be distinguished from steady ones and set no code.

use trimwright_numerics::Real;
use trimwright_signals::Frame;

use crate::crank::CrankMotion;
use crate::dtc::Dtc;
use crate::invalid_signals::InvalidSignals;
use crate::signal_monitor::{SignalLimits, SignalMonitor, below, within};
use crate::throttle_speed::{ThrottleSpeed, ThrottleSpeedParameters};
use crate::trouble_codes::Reports;

trimwright_numerics::parameters! {
    /// Limits of valid signals.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct PlausibilityParameters<f32> "plausibility" {
        /// Lower limit of a valid MAP, TP or FRP signal.
        number ratiometric_low_v { 0.25, 0.0..=1.0 "V", "common practice, no source: below the 0.5 V of the sensors' lowest value" }
        /// Upper limit of a valid MAP, TP or FRP signal.
        number ratiometric_high_v { 4.75, 4.0..=5.0 "V", "common practice, no source: above the 4.5 V of the sensors' highest value" }
        /// Lower limit of a valid thermistor signal.
        number thermistor_low_v { 0.3, 0.0..=1.0 "V", "engineering judgement: about 150 degC" }
        /// Upper limit of a valid thermistor signal.
        number thermistor_high_v { 4.97, 4.0..=5.0 "V", "engineering judgement: about -45 degC" }
        /// Lower limit of the wideband output within its range.
        number lambda_low_v { 0.04, 0.0..=1.0 "V", "engineering judgement" }
        /// Upper limit of the wideband output within its range.
        number lambda_high_v { 4.96, 3.0..=5.0 "V", "engineering judgement" }
        /// Lower limit of a valid barometric sensor signal.
        number baro_low_v { 2.1, 0.0..=3.0 "V", "engineering judgement: 50 kPa" }
        /// Upper limit of a valid barometric sensor signal.
        number baro_high_v { 4.5, 3.0..=5.0 "V", "engineering judgement: 110 kPa" }
        /// Supply voltage below which its reading is invalid.
        number battery_low_v { 5.5, 3.0..=8.0 "V", "engineering judgement" }
        /// Supply voltage above which its reading is invalid.
        number battery_high_v { 18.0, 16.0..=30.0 "V", "engineering judgement" }
        /// Supply voltage of a running engine below which a code sets.
        number supply_low_v { 11.0, 8.0..=13.0 "V", "common practice, no source" }
        /// Supply voltage above which a code sets.
        number supply_high_v { 16.0, 14.5..=20.0 "V", "common practice, no source" }
        /// Mean reversal between samples of 10 ms above which a signal is noisy; fast monotonic changes do not count.
        number noisy_v { 0.045, 0.005..=0.5 "V", "engineering judgement" }
        /// Share of a new sample of 10 ms in that mean.
        number noise_share { 0.04, 0.005..=0.5 "1", "engineering judgement: a quarter of a second of samples" }
        /// Change between samples up to which a signal counts as constant.
        number still_v { 1e-5, 0.0..=0.01 "V", "engineering judgement: below a step of the converter" }
        /// Time without any change of MAP in a turning engine after which it is stuck.
        number map_stuck_s { 0.3, 0.05..=10.0 "s", "engineering judgement" }
        /// Time without any change of FRP in a turning engine after which it is stuck.
        number frp_stuck_s { 1.5, 0.05..=10.0 "s", "engineering judgement" }
        /// Time without any change of the wideband output after which it is stuck.
        number lambda_stuck_s { 0.6, 0.05..=10.0 "s", "engineering judgement" }
        /// Difference of MAP from what a constant TP gives at the speed above which TP is stuck.
        number tp_stuck_pa { 15e3, 3e3..=60e3 "Pa", "engineering judgement" }
        /// Ratio of speeds up to which that comparison holds.
        number tp_speed_ratio { 1.7, 1.1..=4.0 "1", "engineering judgement" }
        /// Change of the wideband output to its lean end within 10 ms that no sensor makes.
        number jump_lean_v { 2.0, 0.2..=5.0 "V", "engineering judgement: a sensor of 50 ms moves by 1.3 V at most from lambda 1" }
        /// Change of the wideband output to its rich end within 10 ms that no sensor makes.
        number jump_rich_v { 1.0, 0.2..=5.0 "V", "engineering judgement: a sensor of 50 ms moves by 0.7 V at most from lambda 1" }
        /// Speed above which the engine counts as running.
        number running_speed_rad_per_s { 45.0, 20.0..=100.0 "rad/s", "engineering judgement" }
        /// Time after a start before which TP is not checked for being stuck.
        number tp_check_after_s { 5.0, 0.0..=60.0 "s", "engineering judgement" }
        /// Running time after which the lambda sensor should be ready.
        number o2_ready_limit_s { 60.0, 5.0..=600.0 "s", "engineering judgement" }
        /// Time for which trigger pulses stay suspect after the last lost or rejected one, to cover the transport to the sensor.
        number crank_hold_s { 0.5, 0.0..=10.0 "s", "engineering judgement" }
    }
}

impl PlausibilityParameters {
    /// Range of a valid MAP, TP or FRP signal, V.
    pub(crate) const fn ratiometric_v(&self) -> (f32, f32) {
        (self.ratiometric_low_v, self.ratiometric_high_v)
    }

    /// Range of the wideband output, V.
    pub(crate) const fn lambda_v(&self) -> (f32, f32) {
        (self.lambda_low_v, self.lambda_high_v)
    }

    /// Range of a valid barometric sensor signal, V.
    pub(crate) const fn baro_v(&self) -> (f32, f32) {
        (self.baro_low_v, self.baro_high_v)
    }
}

/// Divider of the supply voltage at the converter.
const SUPPLY_DIVIDER: f32 = 0.25;

/// Inputs of the plausibility checks.
#[derive(Clone, Copy, Debug)]
pub struct PlausibilityInputs<'a> {
    /// The signals.
    pub frame: &'a Frame,
    /// Crank speed and pulses.
    pub motion: &'a CrankMotion,
    /// Estimates of throttle, pressure and speed up to now.
    pub throttle_speed: ThrottleSpeed,
    /// The wideband output falls where lambda rises.
    pub lambda_falls: bool,
}

/// Stage of the plausibility checks.
///
/// ```
/// use trimwright_control::sensing::CrankMotion;
/// use trimwright_control::Dtc;
/// use trimwright_control::diagnosis::Dtcs;
/// use trimwright_control::parameters::TroubleCodeParameters;
/// use trimwright_control::sensing::{Plausibility, PlausibilityInputs};
/// use trimwright_control::parameters::PlausibilityParameters;
/// use trimwright_control::sensing::ThrottleSpeed;
/// use trimwright_control::parameters::ThrottleSpeedParameters;
/// use trimwright_signals::Frame;
/// let parameters = (&PlausibilityParameters::DEFAULT, &ThrottleSpeedParameters::DEFAULT);
/// let motion = CrankMotion { speed_rad_per_s: 150.0, ..CrankMotion::default() };
/// let (mut plausible, mut dtcs) = (Plausibility::default(), Dtcs::default());
/// let frame = Frame { map_v: 1.7, ..Frame::default() };
/// let inputs =
///     PlausibilityInputs { frame: &frame, motion: &motion, throttle_speed: ThrottleSpeed::default(), lambda_falls: false };
/// // MAP constant while the engine runs: invalid after half a second, a code after some seconds.
/// let mut after = |steps| {
///     let is_invalid = |_| plausible.step(parameters.0, parameters.1, &inputs, 0.01, &mut dtcs.reports(&TroubleCodeParameters::DEFAULT)).map;
///     ((0..steps).map(is_invalid).last(), dtcs.is_set(Dtc::MapPerformance))
/// };
/// assert_eq!([after(50), after(500)], [(Some(true), false), (Some(true), true)]);
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Plausibility {
    map: SignalMonitor,
    tp: SignalMonitor,
    ect: SignalMonitor,
    iat: SignalMonitor,
    rail: SignalMonitor,
    lambda: SignalMonitor,
    supply: SignalMonitor,
    /// Throttle opening and speed when TP last changed.
    reference_fit: f32,
    reference_speed_rad_per_s: f32,
    tp_stuck: bool,
    lambda_was_ready: bool,
    lambda_jumped: bool,
    running_s: f32,
    not_ready_s: f32,
    /// Time for which pulses stay suspect, s.
    crank_hold_s: f32,
}

impl Plausibility {
    /// 10 ms task: returns the validity flags and reports to the trouble codes.
    pub fn step(
        &mut self,
        parameters: &PlausibilityParameters,
        throttle_speed: &ThrottleSpeedParameters,
        inputs: &PlausibilityInputs<'_>,
        dt_s: f32,
        reports: &mut Reports<'_>,
    ) -> InvalidSignals {
        let &PlausibilityInputs { frame, motion, .. } = inputs;
        let thermistor_v = (parameters.thermistor_low_v, parameters.thermistor_high_v);
        let (ratiometric_v, lambda_v) = (parameters.ratiometric_v(), parameters.lambda_v());
        let supply_v = (parameters.supply_low_v, parameters.supply_high_v);
        let battery_v = (parameters.battery_low_v, parameters.battery_high_v);
        self.check_lambda_jump(parameters, frame, inputs.lambda_falls);
        self.crank_hold_s =
            if motion.suspect { parameters.crank_hold_s } else { (self.crank_hold_s - dt_s).at_least(0.0) };
        let signals = [
            (&mut self.map, frame.map_v),
            (&mut self.tp, frame.tp_v),
            (&mut self.ect, frame.ect_v),
            (&mut self.iat, frame.iat_v),
            (&mut self.rail, frame.frp_v),
            (&mut self.lambda, frame.o2_v),
            (&mut self.supply, SUPPLY_DIVIDER * frame.battery_v),
        ];
        let limits = SignalLimits {
            noisy_v: parameters.noisy_v,
            noise_share: parameters.noise_share,
            still_v: parameters.still_v,
        };
        for (signal, volts) in signals {
            signal.step(&limits, volts, dt_s);
        }
        let running = motion.speed_rad_per_s > parameters.running_speed_rad_per_s;
        self.running_s = if running { self.running_s + dt_s } else { 0.0 };
        let quiet = |signal: &SignalMonitor, volts, range, for_s| {
            running && signal.quiet_s() > for_s && within(volts, range)
        };
        let map_stuck = quiet(&self.map, frame.map_v, ratiometric_v, parameters.map_stuck_s);
        let rail_stuck = (running || frame.switches.starter)
            && self.rail.quiet_s() > parameters.frp_stuck_s
            && within(frame.frp_v, ratiometric_v);
        let lambda_stuck = quiet(&self.lambda, frame.o2_v, lambda_v, parameters.lambda_stuck_s);
        let lambda_noisy = self.lambda.is_noisy();
        let tp_check_enabled =
            within(frame.tp_v, ratiometric_v) && !map_stuck && self.running_s > parameters.tp_check_after_s;
        self.check_throttle(parameters, throttle_speed, &inputs.throttle_speed, tp_check_enabled);
        let not_ready = running && !frame.switches.o2_ready;
        self.not_ready_s = if not_ready { self.not_ready_s + dt_s } else { 0.0 };
        let on = frame.switches.ignition;
        let findings = [
            (Dtc::MapLow, on && !self.map.is_noisy() && below(frame.map_v, ratiometric_v)),
            (Dtc::MapHigh, on && !self.map.is_noisy() && frame.map_v > ratiometric_v.1),
            (Dtc::MapPerformance, map_stuck || (on && self.map.is_noisy())),
            (Dtc::TpLow, on && !self.tp.is_noisy() && below(frame.tp_v, ratiometric_v)),
            (Dtc::TpHigh, on && !self.tp.is_noisy() && frame.tp_v > ratiometric_v.1),
            (Dtc::TpPerformance, on && (self.tp.is_noisy() || self.tp_stuck)),
            (Dtc::EctLow, on && !self.ect.is_noisy() && below(frame.ect_v, thermistor_v)),
            (Dtc::EctHigh, on && !self.ect.is_noisy() && frame.ect_v > thermistor_v.1),
            (Dtc::EctPerformance, on && self.ect.is_noisy()),
            (Dtc::IatLow, on && !self.iat.is_noisy() && below(frame.iat_v, thermistor_v)),
            (Dtc::IatHigh, on && !self.iat.is_noisy() && frame.iat_v > thermistor_v.1),
            (Dtc::IatPerformance, on && self.iat.is_noisy()),
            (Dtc::FrpLow, on && !self.rail.is_noisy() && below(frame.frp_v, ratiometric_v)),
            (Dtc::FrpHigh, on && !self.rail.is_noisy() && frame.frp_v > ratiometric_v.1),
            (Dtc::FrpPerformance, rail_stuck || (on && self.rail.is_noisy())),
            (Dtc::O2Circuit, running && frame.switches.o2_ready && lambda_noisy),
            (Dtc::O2NoActivity, lambda_stuck && frame.switches.o2_ready),
            (Dtc::O2Heater, self.not_ready_s > parameters.o2_ready_limit_s),
            (Dtc::VoltsUnstable, on && self.supply.is_noisy()),
            (Dtc::VoltsLow, running && !self.supply.is_noisy() && below(frame.battery_v, supply_v)),
            (Dtc::VoltsHigh, on && !self.supply.is_noisy() && frame.battery_v > supply_v.1),
            (
                Dtc::CrankNoSignal,
                on && motion.speed_rad_per_s == 0.0 && (frame.switches.starter || motion.signal_lost),
            ),
            (Dtc::CrankPerformance, motion.faulty),
        ];
        reports.report_all(&findings, dt_s);
        InvalidSignals {
            map: !within(frame.map_v, ratiometric_v) || map_stuck || self.map.is_noisy(),
            tp: !within(frame.tp_v, ratiometric_v) || self.tp.is_noisy() || self.tp_stuck,
            ect: !within(frame.ect_v, thermistor_v) || self.ect.is_noisy(),
            iat: !within(frame.iat_v, thermistor_v) || self.iat.is_noisy(),
            rail: !within(frame.frp_v, ratiometric_v) || rail_stuck || self.rail.is_noisy(),
            battery: !within(frame.battery_v, battery_v) || self.supply.is_noisy(),
            crank: self.crank_hold_s > 0.0,
            lambda: !frame.switches.o2_ready
                || !frame.o2_v.is_finite()
                || lambda_stuck
                || lambda_noisy
                || self.lambda_jumped,
            lambda_wire: self.lambda_jumped,
        }
    }

    /// Compares MAP with what a constant TP gives.
    fn check_throttle(
        &mut self,
        parameters: &PlausibilityParameters,
        throttle_speed: &ThrottleSpeedParameters,
        now: &ThrottleSpeed,
        enabled: bool,
    ) {
        let ratio = now.speed_rad_per_s / self.reference_speed_rad_per_s.at_least(1.0);
        let other_speed = !within(ratio, (1.0 / parameters.tp_speed_ratio, parameters.tp_speed_ratio));
        let moved = self.tp.quiet_s() == 0.0 || !enabled;
        if moved {
            self.tp_stuck = false;
        }
        if moved || other_speed {
            (self.reference_fit, self.reference_speed_rad_per_s) =
                (now.fit(throttle_speed), now.speed_rad_per_s);
        } else {
            let made_pa = now.estimated_map_pa(throttle_speed, self.reference_fit);
            self.tp_stuck |= (now.map_pa - made_pa).abs() > parameters.tp_stuck_pa;
        }
    }

    /// Detects a jump of the wideband output to an end; it stays invalid until it returns into its range.
    fn check_lambda_jump(&mut self, parameters: &PlausibilityParameters, frame: &Frame, falls: bool) {
        let (ready, last_v, (low_v, high_v)) =
            (frame.switches.o2_ready, self.lambda.last_v(), parameters.lambda_v());
        let (lean_v, rich_v) = (parameters.jump_lean_v, parameters.jump_rich_v);
        let (up_v, down_v) = if falls { (rich_v, lean_v) } else { (lean_v, rich_v) };
        let jumped = (frame.o2_v > high_v && frame.o2_v - last_v > up_v)
            || (frame.o2_v < low_v && last_v - frame.o2_v > down_v);
        let stays = self.lambda_jumped && !within(frame.o2_v, (low_v, high_v));
        self.lambda_jumped = ready && (stays || (jumped && self.lambda_was_ready));
        self.lambda_was_ready = ready;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trouble_codes::{Dtcs, TroubleCodeParameters};

    /// Validity flags and codes after 6.5 s of frames.
    fn watch(map_pa: fn(u32) -> f32, change: impl FnMut(u32, &mut Frame)) -> (InvalidSignals, Dtcs) {
        watch_by(false, map_pa, change)
    }

    /// The same with a wideband output that may fall where lambda rises.
    fn watch_by(
        lambda_falls: bool,
        map_pa: fn(u32) -> f32,
        mut change: impl FnMut(u32, &mut Frame),
    ) -> (InvalidSignals, Dtcs) {
        let (mut plausible, mut dtcs) = (Plausibility::default(), Dtcs::default());
        let motion = CrankMotion { speed_rad_per_s: 150.0, ..CrankMotion::default() };
        let mut invalid = InvalidSignals::default();
        for step in 0..650 {
            let noise_v = (step % 3) as f32 * 2e-3;
            let mut frame =
                Frame { battery_v: 13.8, map_v: 1.7 + noise_v, tp_v: 1.0 + noise_v, ..Frame::default() };
            (frame.ect_v, frame.iat_v, frame.frp_v, frame.o2_v) = (1.0, 2.3, 2.2 + noise_v, 2.3 + noise_v);
            frame.switches.ignition = true;
            frame.switches.o2_ready = true;
            change(step, &mut frame);
            let throttle_speed =
                ThrottleSpeed { map_pa: map_pa(step), speed_rad_per_s: 150.0, ..ThrottleSpeed::default() };
            let inputs = PlausibilityInputs { frame: &frame, motion: &motion, throttle_speed, lambda_falls };
            invalid = plausible.step(
                &PlausibilityParameters::DEFAULT,
                &ThrottleSpeedParameters::DEFAULT,
                &inputs,
                0.01,
                &mut dtcs.reports(&TroubleCodeParameters::DEFAULT),
            );
        }
        (invalid, dtcs)
    }

    fn is(invalid_and_dtcs: &(InvalidSignals, Dtcs), flag: fn(&InvalidSignals) -> bool, dtc: Dtc) -> bool {
        flag(&invalid_and_dtcs.0) && invalid_and_dtcs.1.active().eq([dtc])
    }

    #[test]
    fn live_signals_are_valid() {
        let (invalid, dtcs) = watch(|_| 45e3, |_, _| ());
        assert_eq!((invalid, dtcs.stored().count()), (InvalidSignals::default(), 0));
    }

    #[test]
    fn stuck_signals_are_found() {
        let map = watch(|_| 45e3, |_, frame| frame.map_v = 1.7);
        assert!(is(&map, |invalid| invalid.map, Dtc::MapPerformance));
        let rail = watch(|_| 45e3, |_, frame| frame.frp_v = 2.2);
        assert!(is(&rail, |invalid| invalid.rail, Dtc::FrpPerformance));
        let lambda = watch(|_| 45e3, |_, frame| frame.o2_v = 2.3);
        assert!(is(&lambda, |invalid| invalid.lambda, Dtc::O2NoActivity));
        let tp = watch(|step| if step < 540 { 45e3 } else { 70e3 }, |_, frame| frame.tp_v = 1.0);
        assert!(is(&tp, |invalid| invalid.tp, Dtc::TpPerformance), "{tp:?}");
    }

    #[test]
    fn a_constant_throttle_is_no_fault() {
        let (invalid, dtcs) = watch(|_| 45e3, |_, frame| frame.tp_v = 1.0);
        assert_eq!((invalid, dtcs.stored().count()), (InvalidSignals::default(), 0));
    }

    #[test]
    fn noisy_signals_are_found() {
        let jump = |step: u32| if step.is_multiple_of(2) { 0.0 } else { 0.6 };
        assert!(is(
            &watch(|_| 45e3, |step, frame| frame.map_v += jump(step)),
            |invalid| invalid.map,
            Dtc::MapPerformance
        ));
        assert!(is(
            &watch(|_| 45e3, |step, frame| frame.tp_v += jump(step)),
            |invalid| invalid.tp,
            Dtc::TpPerformance
        ));
        assert!(is(
            &watch(|_| 45e3, |step, frame| frame.ect_v += jump(step)),
            |invalid| invalid.ect,
            Dtc::EctPerformance
        ));
        assert!(is(
            &watch(|_| 45e3, |step, frame| frame.iat_v += jump(step)),
            |invalid| invalid.iat,
            Dtc::IatPerformance
        ));
        assert!(is(
            &watch(|_| 45e3, |step, frame| frame.frp_v += jump(step)),
            |invalid| invalid.rail,
            Dtc::FrpPerformance
        ));
        assert!(is(
            &watch(|_| 45e3, |step, frame| frame.o2_v += jump(step)),
            |invalid| invalid.lambda,
            Dtc::O2Circuit
        ));
    }

    #[test]
    fn a_jump_to_the_end_of_the_range_is_a_wire_fault_and_a_fast_change_is_not() {
        let shorted = |step: u32, frame: &mut Frame| {
            if step > 100 {
                frame.o2_v = 5.0
            }
        };
        let (invalid, _) = watch(|_| 45e3, shorted);
        assert!(invalid.lambda && invalid.lambda_wire);
        let broken = |step: u32, frame: &mut Frame| {
            if step > 100 {
                frame.o2_v = 0.0
            }
        };
        assert!(watch(|_| 45e3, broken).0.lambda_wire);
        // A sensor of 50 ms whose gas becomes air.
        let mut read_v = 2.35_f32;
        let air = |step: u32, frame: &mut Frame| {
            if step > 100 {
                read_v += 0.18 * (9.7 - read_v);
            }
            frame.o2_v = read_v.min(5.0 - 0.001 * (step % 2) as f32);
        };
        assert_eq!(watch(|_| 45e3, air).0, InvalidSignals::default());
        let recovered = |step: u32, frame: &mut Frame| {
            if (100..300).contains(&step) {
                frame.o2_v = 5.0
            }
        };
        assert_eq!(watch(|_| 45e3, recovered).0, InvalidSignals::default());
    }

    #[test]
    fn a_noisy_supply_is_unstable_and_neither_low_nor_high() {
        let jumps = |step: u32, frame: &mut Frame| {
            frame.battery_v = if step.is_multiple_of(2) { 9.0 } else { 17.0 };
        };
        assert!(is(&watch(|_| 45e3, jumps), |invalid| invalid.battery, Dtc::VoltsUnstable));
    }

    /// The gas becomes air at a sensor of 50 ms: by 1.3 V within 10 ms, whichever way its output moves.
    #[test]
    fn with_a_falling_output_a_jump_is_a_wire_fault_and_a_fast_change_is_not() {
        let mut read_v = 2.65_f32;
        let air = |step: u32, frame: &mut Frame| {
            if step > 100 {
                read_v += 0.18 * (-4.7 - read_v);
            }
            frame.o2_v = read_v.max(0.001 * (step % 2) as f32);
        };
        assert_eq!(watch_by(true, |_| 45e3, air).0, InvalidSignals::default());
        let broken = |step: u32, frame: &mut Frame| {
            if step > 100 {
                frame.o2_v = 0.0
            }
        };
        assert!(watch_by(true, |_| 45e3, broken).0.lambda_wire);
    }

    /// Signals at the engine's rest, stepped a quarter second at a time.
    struct Watch {
        parameters: PlausibilityParameters,
        plausible: Plausibility,
        dtcs: Dtcs,
        frame: Frame,
        motion: CrankMotion,
    }

    impl Watch {
        fn new(speed_rad_per_s: f32) -> Self {
            let parameters = PlausibilityParameters {
                map_stuck_s: 0.5,
                frp_stuck_s: 0.5,
                lambda_stuck_s: 0.5,
                ..PlausibilityParameters::DEFAULT
            };
            let mut frame = Frame { battery_v: 13.8, map_v: 1.7, tp_v: 1.0, ..Frame::default() };
            (frame.ect_v, frame.iat_v, frame.frp_v, frame.o2_v) = (1.0, 2.3, 2.2, 2.3);
            (frame.switches.ignition, frame.switches.o2_ready) = (true, true);
            let motion = CrankMotion { speed_rad_per_s, ..CrankMotion::default() };
            Self { parameters, plausible: Plausibility::default(), dtcs: Dtcs::default(), frame, motion }
        }

        fn step(&mut self) -> InvalidSignals {
            let inputs = PlausibilityInputs {
                frame: &self.frame,
                motion: &self.motion,
                throttle_speed: ThrottleSpeed::default(),
                lambda_falls: false,
            };
            let reports = &mut self.dtcs.reports(&TroubleCodeParameters::DEFAULT);
            self.plausible.step(&self.parameters, &ThrottleSpeedParameters::DEFAULT, &inputs, 0.25, reports)
        }

        fn steps(&mut self, count: u32) -> InvalidSignals {
            (1..count).for_each(|_| _ = self.step());
            self.step()
        }

        fn has(&self, dtc: Dtc) -> bool {
            self.dtcs.is_set(dtc)
        }
    }

    #[test]
    fn a_signal_is_stuck_after_longer_than_its_time_without_change() {
        let mut watch = Watch::new(150.0);
        let stuck: [(bool, bool, bool); 4] = core::array::from_fn(|_| {
            let invalid = watch.step();
            (invalid.map, invalid.rail, invalid.lambda)
        });
        assert_eq!(
            stuck,
            [(false, false, false), (false, false, false), (false, false, false), (true, true, true)]
        );
        let standing = Watch::new(0.0).steps(9);
        assert_eq!(standing, InvalidSignals::default(), "nothing moves while the crank stands");
        let slow = Watch::new(PlausibilityParameters::DEFAULT.running_speed_rad_per_s).steps(9);
        assert_eq!(slow, InvalidSignals::default());
        let mut cranked = Watch::new(20.0);
        cranked.frame.switches.starter = true;
        let invalid = cranked.steps(9);
        assert!(invalid.rail && !invalid.map && !invalid.lambda);
    }

    #[test]
    fn every_signal_beyond_its_range_has_the_code_of_that_side_and_at_its_limit_none() {
        type Set = fn(&mut Frame, f32);
        let signals: [(Set, Dtc, Dtc, f32); 5] = [
            (|frame, volts| frame.map_v = volts, Dtc::MapLow, Dtc::MapHigh, 4.75),
            (|frame, volts| frame.tp_v = volts, Dtc::TpLow, Dtc::TpHigh, 4.75),
            (|frame, volts| frame.ect_v = volts, Dtc::EctLow, Dtc::EctHigh, 4.97),
            (|frame, volts| frame.iat_v = volts, Dtc::IatLow, Dtc::IatHigh, 4.97),
            (|frame, volts| frame.frp_v = volts, Dtc::FrpLow, Dtc::FrpHigh, 4.75),
        ];
        for (set, low, high, limit_v) in signals {
            let codes = |volts, ignition| {
                let mut watch = Watch::new(0.0);
                set(&mut watch.frame, volts);
                watch.frame.switches.ignition = ignition;
                watch.steps(8);
                watch.dtcs.active_codes()
            };
            let one = |dtc| crate::dtc::Codes::empty().with(dtc);
            assert_eq!((codes(0.0, true), codes(5.0, true)), (one(low), one(high)));
            assert!(
                codes(limit_v, true).is_empty()
                    && codes(0.0, false).is_empty()
                    && codes(5.0, false).is_empty()
            );
        }
    }

    #[test]
    fn supply_voltage_is_low_only_while_the_engine_runs() {
        let codes = |battery_v, speed| {
            let mut watch = Watch::new(speed);
            watch.frame.battery_v = battery_v;
            watch.steps(20);
            (watch.has(Dtc::VoltsLow), watch.has(Dtc::VoltsHigh))
        };
        assert_eq!(
            (codes(10.5, 150.0), codes(10.5, 0.0), codes(11.0, 150.0)),
            ((true, false), (false, false), (false, false))
        );
        assert_eq!((codes(17.0, 0.0), codes(16.0, 0.0)), ((false, true), (false, false)));
    }

    /// A quarter second at a time: more than 60 s without readiness, then 10 s of evidence.
    #[test]
    fn a_sensor_that_never_gets_ready_has_a_heater_code() {
        let heater = |steps, speed, ready| {
            let mut watch = Watch::new(speed);
            watch.frame.switches.o2_ready = ready;
            watch.steps(steps);
            watch.has(Dtc::O2Heater)
        };
        assert!(!heater(279, 150.0, false) && heater(280, 150.0, false));
        assert!(!heater(400, 0.0, false) && !heater(400, 150.0, true));
        assert!(!Watch::new(150.0).steps(1).lambda);
    }

    #[test]
    fn a_crank_without_pulses_has_a_code_while_it_is_cranked_or_after_a_loss() {
        let code = |speed, starter, signal_lost, ignition| {
            let mut watch = Watch::new(speed);
            (watch.frame.switches.starter, watch.frame.switches.ignition) = (starter, ignition);
            watch.motion.signal_lost = signal_lost;
            watch.steps(20);
            watch.has(Dtc::CrankNoSignal)
        };
        assert!(code(0.0, true, false, true) && code(0.0, false, true, true));
        assert!(
            !code(0.0, false, false, true) && !code(20.0, true, false, true) && !code(0.0, true, true, false)
        );
    }

    #[test]
    fn doubtful_pulses_make_the_speed_invalid_for_a_while() {
        let mut watch = Watch::new(150.0);
        assert!(!watch.step().crank);
        watch.motion.suspect = true;
        assert!(watch.step().crank);
        watch.motion.suspect = false;
        assert_eq!([watch.step().crank, watch.step().crank], [true, false], "half a second");
    }

    #[test]
    fn a_wideband_output_that_is_no_number_or_not_ready_is_invalid() {
        for (o2_v, ready, invalid) in [(2.3, true, false), (f32::NAN, true, true), (2.3, false, true)] {
            let mut watch = Watch::new(0.0);
            (watch.frame.o2_v, watch.frame.switches.o2_ready) = (o2_v, ready);
            assert_eq!(watch.step().lambda, invalid, "{o2_v} {ready}");
        }
    }

    /// Whether the output that goes from one to the other within a sample has jumped.
    fn jumps(from_v: f32, to_v: f32, ready: bool) -> bool {
        let mut watch = Watch::new(0.0);
        watch.frame.o2_v = from_v;
        watch.step();
        (watch.frame.o2_v, watch.frame.switches.o2_ready) = (to_v, ready);
        watch.step().lambda_wire
    }

    #[test]
    fn a_jump_goes_beyond_the_range_faster_than_a_sensor_moves() {
        let parameters = PlausibilityParameters::DEFAULT;
        assert!(jumps(2.9, 5.0, true) && !jumps(3.0, 5.0, true) && !jumps(2.75, 4.75, true));
        assert!(jumps(2.5, 5.0, true) && !jumps(2.5, parameters.lambda_high_v, true));
        assert!(jumps(1.1, 0.0, true) && !jumps(1.0, 0.0, true) && !jumps(0.98, 0.03, true));
        assert!(!jumps(2.0, parameters.lambda_low_v, true) && !jumps(2.9, 5.0, false));
    }

    /// A throttle that has not moved since it was seen at 100 rad/s and 60 kPa.
    fn tp_stuck(speed_rad_per_s: f32, off_pa: f32, enabled: bool) -> bool {
        let (parameters, fits) = (PlausibilityParameters::DEFAULT, ThrottleSpeedParameters::DEFAULT);
        let limits = SignalLimits { noisy_v: 0.045, noise_share: 0.04, still_v: 1e-5 };
        let mut plausible = Plausibility::default();
        let seen =
            ThrottleSpeed { map_pa: 60e3, tp: 0.2, speed_rad_per_s: 100.0, ..ThrottleSpeed::default() };
        plausible.check_throttle(&parameters, &fits, &seen, true);
        plausible.tp.step(&limits, 0.0, 0.01);
        let made_pa = ThrottleSpeed { speed_rad_per_s, ..seen }.estimated_map_pa(&fits, seen.fit(&fits));
        let now = ThrottleSpeed { map_pa: made_pa + off_pa, speed_rad_per_s, ..seen };
        plausible.check_throttle(&parameters, &fits, &now, enabled);
        plausible.tp_stuck
    }

    #[test]
    fn a_still_throttle_is_stuck_when_pressure_leaves_what_it_makes_at_about_that_speed() {
        assert!(tp_stuck(100.0, 16e3, true) && tp_stuck(100.0, -16e3, true));
        assert!(
            !tp_stuck(100.0, 14e3, true) && !tp_stuck(100.0, -14e3, true) && !tp_stuck(100.0, 16e3, false)
        );
        assert!(tp_stuck(150.0, 16e3, true) && tp_stuck(65.0, 16e3, true));
        assert!(
            !tp_stuck(190.0, 16e3, true) && !tp_stuck(50.0, 16e3, true),
            "another speed needs another reference"
        );
    }
}
