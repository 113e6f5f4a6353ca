//! Which wires are to be doubted, and the trouble codes for it.
//!
//! A wire outside its range is doubted at once; its code sets when that lasts. Beyond the range:
//!
//! - MAP that does not change at all while the crank turns is stuck: a running engine breathes.
//! - TP that does not change at all while MAP leaves what the same throttle makes at the speed is stuck.
//! - FRP that does not change at all while the engine runs or is cranked is stuck, and so is such a wideband output of a running engine.
//! - A wideband output that leaps to an end of its range faster than any sensor moves is a broken or shorted wire.
//! - A wire that jumps from slot to slot is noisy; what it shows at its ends is then no fault of its own.
//! - Pulses that end from one firing to the next are lost on their wire: an engine that stops slows down first.
//!
//! A stuck thermistor at a plausible temperature, and a stuck supply reading, cannot be told from steady ones and set no code.

use trimwright_numerics::Real;
use trimwright_signals::Frame;

use crate::crank::Turning;
use crate::doubts::Doubts;
use crate::dtc::Dtc;
use crate::throttle_speed::{ThrottleSpeed, ThrottleSpeedParameters};
use crate::trouble_codes::Reports;
use crate::wire::{Wire, WireLimits, below, within};

trimwright_numerics::parameters! {
    /// What wires show that work.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct PlausibilityParameters<f32> "plausibility" {
        /// Lowest voltage of a MAP, TP or FRP sensor that works.
        number ratiometric_low_v { 0.25, 0.0..=1.0 "V", "common practice, no source: below the 0.5 V of the sensors' lowest value" }
        /// Highest voltage of a MAP, TP or FRP sensor that works.
        number ratiometric_high_v { 4.75, 4.0..=5.0 "V", "common practice, no source: above the 4.5 V of the sensors' highest value" }
        /// Lowest voltage of a thermistor that works.
        number thermistor_low_v { 0.3, 0.0..=1.0 "V", "engineering judgement: about 150 degC" }
        /// Highest voltage of a thermistor that works.
        number thermistor_high_v { 4.97, 4.0..=5.0 "V", "engineering judgement: about -45 degC" }
        /// Lowest voltage of the wideband output that means a reading.
        number lambda_low_v { 0.04, 0.0..=1.0 "V", "engineering judgement" }
        /// Highest voltage of the wideband output that means a reading.
        number lambda_high_v { 4.96, 3.0..=5.0 "V", "engineering judgement" }
        /// Lowest voltage that the barometric sensor shows on a road.
        number baro_low_v { 2.1, 0.0..=3.0 "V", "engineering judgement: 50 kPa" }
        /// Highest voltage that the barometric sensor shows on a road.
        number baro_high_v { 4.5, 3.0..=5.0 "V", "engineering judgement: 110 kPa" }
        /// Supply voltage below which its reading is not believed.
        number battery_low_v { 5.5, 3.0..=8.0 "V", "engineering judgement" }
        /// Supply voltage above which its reading is not believed.
        number battery_high_v { 18.0, 16.0..=30.0 "V", "engineering judgement" }
        /// Supply voltage of a running engine below which a code sets.
        number supply_low_v { 11.0, 8.0..=13.0 "V", "common practice, no source" }
        /// Supply voltage above which a code sets.
        number supply_high_v { 16.0, 14.5..=20.0 "V", "common practice, no source" }
        /// Mean change taken back from slot to slot of 10 ms above which a wire is noisy: a sensor may move fast, but not to and fro.
        number noisy_v { 0.045, 0.005..=0.5 "V", "engineering judgement" }
        /// Share of a new slot of 10 ms in the mean that tells noise.
        number noise_share { 0.04, 0.005..=0.5 "1", "engineering judgement: a quarter of a second of slots" }
        /// Change from slot to slot up to which a wire does not move at all.
        number still_v { 1e-5, 0.0..=0.01 "V", "engineering judgement: below a step of the converter" }
        /// Time without any change of MAP in a turning engine after which it counts as stuck.
        number map_stuck_s { 0.3, 0.05..=10.0 "s", "engineering judgement" }
        /// Time without any change of FRP in a turning engine after which it counts as stuck.
        number frp_stuck_s { 1.5, 0.05..=10.0 "s", "engineering judgement" }
        /// Time without any change of the wideband output after which it counts as stuck; it teaches until then.
        number lambda_stuck_s { 0.6, 0.05..=10.0 "s", "engineering judgement" }
        /// Difference of MAP from what the same throttle makes at the speed that shows TP to be stuck.
        number tp_moved_pa { 15e3, 3e3..=60e3 "Pa", "engineering judgement" }
        /// Ratio of speeds up to which it is known well enough what pressure the same throttle makes.
        number tp_other_speed { 1.7, 1.1..=4.0 "1", "engineering judgement" }
        /// Way of the wideband output to its lean end within a slot of 10 ms that no sensor makes.
        number leap_lean_v { 2.0, 0.2..=5.0 "V", "engineering judgement: a sensor of 50 ms moves by 1.3 V at most from lambda 1" }
        /// Way of the wideband output to its rich end within a slot of 10 ms that no sensor makes.
        number leap_rich_v { 1.0, 0.2..=5.0 "V", "engineering judgement: a sensor of 50 ms moves by 0.7 V at most from lambda 1" }
        /// Speed from which an engine counts as running.
        number running_rad_per_s { 45.0, 20.0..=100.0 "rad/s", "engineering judgement" }
        /// Time after a start from which a throttle sensor may be found stuck.
        number settled_s { 5.0, 0.0..=60.0 "s", "engineering judgement" }
        /// Time after which a running engine's lambda sensor should be ready.
        number heated_s { 60.0, 5.0..=600.0 "s", "engineering judgement" }
        /// How long pulses stay doubted after the last that was lost or refused: before it others may have passed for firings, and what was injected then is read only after the way through the exhaust.
        number crank_doubted_s { 0.5, 0.0..=10.0 "s", "engineering judgement" }
    }
}

impl PlausibilityParameters {
    /// Volts of a MAP, TP or FRP sensor that works.
    pub(crate) const fn ratiometric_v(&self) -> (f32, f32) {
        (self.ratiometric_low_v, self.ratiometric_high_v)
    }

    /// Volts of the wideband output that mean a reading.
    pub(crate) const fn lambda_v(&self) -> (f32, f32) {
        (self.lambda_low_v, self.lambda_high_v)
    }

    /// Volts of the barometric sensor on a road.
    pub(crate) const fn baro_v(&self) -> (f32, f32) {
        (self.baro_low_v, self.baro_high_v)
    }
}

/// Share of the supply voltage that the converter sees.
const SUPPLY_DIVIDER: f32 = 0.25;

/// What wires are judged by.
#[derive(Clone, Copy, Debug)]
pub struct Evidence<'a> {
    /// The wires.
    pub frame: &'a Frame,
    /// The crank.
    pub turning: &'a Turning,
    /// Throttle, pressure and speed as believed up to now.
    pub throttle_speed: ThrottleSpeed,
    /// The wideband output falls where lambda rises.
    pub lambda_falls: bool,
}

/// Watches the wires.
///
/// ```
/// use trimwright_control::crank::Turning;
/// use trimwright_control::Dtc;
/// use trimwright_control::trouble_codes::{Dtcs, TroubleCodeParameters};
/// use trimwright_control::plausible::{Evidence, Plausible, PlausibilityParameters};
/// use trimwright_control::throttle_speed::{ThrottleSpeed, ThrottleSpeedParameters};
/// use trimwright_signals::Frame;
/// let parameters = (&PlausibilityParameters::DEFAULT, &ThrottleSpeedParameters::DEFAULT);
/// let turning = Turning { speed_rad_per_s: 150.0, ..Turning::default() };
/// let (mut plausible, mut dtcs) = (Plausible::default(), Dtcs::default());
/// let frame = Frame { map_v: 1.7, ..Frame::default() };
/// let evidence =
///     Evidence { frame: &frame, turning: &turning, throttle_speed: ThrottleSpeed::default(), lambda_falls: false };
/// // MAP that does not move at all while the engine runs: half a second makes a doubt, some seconds a code.
/// let mut after = |slots| {
///     let look = |_| plausible.step(parameters.0, parameters.1, &evidence, 0.01, &mut dtcs.under(&TroubleCodeParameters::DEFAULT)).map;
///     ((0..slots).map(look).last(), dtcs.is_set(Dtc::MapPerformance))
/// };
/// assert_eq!([after(50), after(500)], [(Some(true), false), (Some(true), true)]);
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Plausible {
    map: Wire,
    tp: Wire,
    ect: Wire,
    iat: Wire,
    rail: Wire,
    lambda: Wire,
    supply: Wire,
    /// How the throttle opened, and speed, when TP last changed.
    fit_then: f32,
    speed_then_rad_per_s: f32,
    tp_stuck: bool,
    lambda_was_ready: bool,
    lambda_leapt: bool,
    running_s: f32,
    not_ready_s: f32,
    /// For how long pulses are doubted yet, s.
    crank_doubted_s: f32,
}

impl Plausible {
    /// One quick slot: what is to be doubted.
    pub fn step(
        &mut self,
        parameters: &PlausibilityParameters,
        throttle_speed: &ThrottleSpeedParameters,
        evidence: &Evidence<'_>,
        dt_s: f32,
        reports: &mut Reports<'_>,
    ) -> Doubts {
        let &Evidence { frame, turning, .. } = evidence;
        let thermistor_v = (parameters.thermistor_low_v, parameters.thermistor_high_v);
        let (ratiometric_v, lambda_v) = (parameters.ratiometric_v(), parameters.lambda_v());
        let supply_v = (parameters.supply_low_v, parameters.supply_high_v);
        let battery_v = (parameters.battery_low_v, parameters.battery_high_v);
        self.watch_lambda(parameters, frame, evidence.lambda_falls);
        self.crank_doubted_s = if turning.doubted {
            parameters.crank_doubted_s
        } else {
            (self.crank_doubted_s - dt_s).at_least(0.0)
        };
        let wires = [
            (&mut self.map, frame.map_v),
            (&mut self.tp, frame.tp_v),
            (&mut self.ect, frame.ect_v),
            (&mut self.iat, frame.iat_v),
            (&mut self.rail, frame.frp_v),
            (&mut self.lambda, frame.o2_v),
            (&mut self.supply, SUPPLY_DIVIDER * frame.battery_v),
        ];
        let limits = WireLimits {
            noisy_v: parameters.noisy_v,
            noise_share: parameters.noise_share,
            still_v: parameters.still_v,
        };
        for (wire, volts) in wires {
            wire.step(&limits, volts, dt_s);
        }
        let running = turning.speed_rad_per_s > parameters.running_rad_per_s;
        self.running_s = if running { self.running_s + dt_s } else { 0.0 };
        let quiet =
            |wire: &Wire, volts, range, for_s| running && wire.quiet_s() > for_s && within(volts, range);
        let map_stuck = quiet(&self.map, frame.map_v, ratiometric_v, parameters.map_stuck_s);
        let rail_stuck = (running || frame.switches.starter)
            && self.rail.quiet_s() > parameters.frp_stuck_s
            && within(frame.frp_v, ratiometric_v);
        let lambda_stuck = quiet(&self.lambda, frame.o2_v, lambda_v, parameters.lambda_stuck_s);
        let lambda_noisy = self.lambda.is_noisy();
        let tp_may_tell =
            within(frame.tp_v, ratiometric_v) && !map_stuck && self.running_s > parameters.settled_s;
        self.watch_throttle(parameters, throttle_speed, &evidence.throttle_speed, tp_may_tell);
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
            (Dtc::O2Heater, self.not_ready_s > parameters.heated_s),
            (Dtc::VoltsUnstable, on && self.supply.is_noisy()),
            (Dtc::VoltsLow, running && !self.supply.is_noisy() && below(frame.battery_v, supply_v)),
            (Dtc::VoltsHigh, on && !self.supply.is_noisy() && frame.battery_v > supply_v.1),
            (
                Dtc::CrankSilent,
                on && turning.speed_rad_per_s == 0.0 && (frame.switches.starter || turning.fell_silent),
            ),
            (Dtc::CrankPerformance, turning.troubled),
        ];
        reports.report_all(&findings, dt_s);
        Doubts {
            map: !within(frame.map_v, ratiometric_v) || map_stuck || self.map.is_noisy(),
            tp: !within(frame.tp_v, ratiometric_v) || self.tp.is_noisy() || self.tp_stuck,
            ect: !within(frame.ect_v, thermistor_v) || self.ect.is_noisy(),
            iat: !within(frame.iat_v, thermistor_v) || self.iat.is_noisy(),
            rail: !within(frame.frp_v, ratiometric_v) || rail_stuck || self.rail.is_noisy(),
            battery: !within(frame.battery_v, battery_v) || self.supply.is_noisy(),
            crank: self.crank_doubted_s > 0.0,
            lambda: !frame.switches.o2_ready
                || !frame.o2_v.is_finite()
                || lambda_stuck
                || lambda_noisy
                || self.lambda_leapt,
            lambda_wire: self.lambda_leapt,
        }
    }

    /// Looks for a pressure that a throttle which shows no change does not make.
    fn watch_throttle(
        &mut self,
        parameters: &PlausibilityParameters,
        throttle_speed: &ThrottleSpeedParameters,
        now: &ThrottleSpeed,
        may_tell: bool,
    ) {
        let ratio = now.speed_rad_per_s / self.speed_then_rad_per_s.at_least(1.0);
        let other_speed = !within(ratio, (1.0 / parameters.tp_other_speed, parameters.tp_other_speed));
        let moved = self.tp.quiet_s() == 0.0 || !may_tell;
        if moved {
            self.tp_stuck = false;
        }
        if moved || other_speed {
            (self.fit_then, self.speed_then_rad_per_s) = (now.fit(throttle_speed), now.speed_rad_per_s);
        } else {
            let made_pa = now.estimated_map_pa(throttle_speed, self.fit_then);
            self.tp_stuck |= (now.map_pa - made_pa).abs() > parameters.tp_moved_pa;
        }
    }

    /// Looks for a reading that leaps to an end; it is doubted until it comes back into its range.
    fn watch_lambda(&mut self, parameters: &PlausibilityParameters, frame: &Frame, falls: bool) {
        let (ready, last_v, (low_v, high_v)) =
            (frame.switches.o2_ready, self.lambda.last_v(), parameters.lambda_v());
        let (lean_v, rich_v) = (parameters.leap_lean_v, parameters.leap_rich_v);
        let (up_v, down_v) = if falls { (rich_v, lean_v) } else { (lean_v, rich_v) };
        let leapt = (frame.o2_v > high_v && frame.o2_v - last_v > up_v)
            || (frame.o2_v < low_v && last_v - frame.o2_v > down_v);
        let stays = self.lambda_leapt && !within(frame.o2_v, (low_v, high_v));
        self.lambda_leapt = ready && (stays || (leapt && self.lambda_was_ready));
        self.lambda_was_ready = ready;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trouble_codes::{Dtcs, TroubleCodeParameters};

    /// Some seconds of slots, each with its own frame; the doubts and codes at the end.
    fn watch(map_pa: fn(u32) -> f32, change: impl FnMut(u32, &mut Frame)) -> (Doubts, Dtcs) {
        watch_by(false, map_pa, change)
    }

    /// The same with a wideband output that may fall where lambda rises.
    fn watch_by(
        lambda_falls: bool,
        map_pa: fn(u32) -> f32,
        mut change: impl FnMut(u32, &mut Frame),
    ) -> (Doubts, Dtcs) {
        let (mut plausible, mut dtcs) = (Plausible::default(), Dtcs::default());
        let turning = Turning { speed_rad_per_s: 150.0, ..Turning::default() };
        let mut doubts = Doubts::default();
        for slot in 0..650 {
            let flutter = (slot % 3) as f32 * 2e-3;
            let mut frame =
                Frame { battery_v: 13.8, map_v: 1.7 + flutter, tp_v: 1.0 + flutter, ..Frame::default() };
            (frame.ect_v, frame.iat_v, frame.frp_v, frame.o2_v) = (1.0, 2.3, 2.2 + flutter, 2.3 + flutter);
            frame.switches.ignition = true;
            frame.switches.o2_ready = true;
            change(slot, &mut frame);
            let throttle_speed =
                ThrottleSpeed { map_pa: map_pa(slot), speed_rad_per_s: 150.0, ..ThrottleSpeed::default() };
            let evidence = Evidence { frame: &frame, turning: &turning, throttle_speed, lambda_falls };
            doubts = plausible.step(
                &PlausibilityParameters::DEFAULT,
                &ThrottleSpeedParameters::DEFAULT,
                &evidence,
                0.01,
                &mut dtcs.under(&TroubleCodeParameters::DEFAULT),
            );
        }
        (doubts, dtcs)
    }

    fn is(doubts_and_dtcs: &(Doubts, Dtcs), flag: fn(&Doubts) -> bool, dtc: Dtc) -> bool {
        flag(&doubts_and_dtcs.0) && doubts_and_dtcs.1.active().eq([dtc])
    }

    #[test]
    fn live_wires_are_believed() {
        let (doubts, dtcs) = watch(|_| 45e3, |_, _| ());
        assert_eq!((doubts, dtcs.stored().count()), (Doubts::default(), 0));
    }

    #[test]
    fn stuck_wires_are_found_where_physics_tells() {
        let map = watch(|_| 45e3, |_, frame| frame.map_v = 1.7);
        assert!(is(&map, |doubts| doubts.map, Dtc::MapPerformance));
        let rail = watch(|_| 45e3, |_, frame| frame.frp_v = 2.2);
        assert!(is(&rail, |doubts| doubts.rail, Dtc::FrpPerformance));
        let lambda = watch(|_| 45e3, |_, frame| frame.o2_v = 2.3);
        assert!(is(&lambda, |doubts| doubts.lambda, Dtc::O2NoActivity));
        let tp = watch(|slot| if slot < 540 { 45e3 } else { 70e3 }, |_, frame| frame.tp_v = 1.0);
        assert!(is(&tp, |doubts| doubts.tp, Dtc::TpPerformance), "{tp:?}");
    }

    #[test]
    fn a_throttle_held_still_is_no_fault() {
        let (doubts, dtcs) = watch(|_| 45e3, |_, frame| frame.tp_v = 1.0);
        assert_eq!((doubts, dtcs.stored().count()), (Doubts::default(), 0));
    }

    #[test]
    fn noisy_wires_are_found() {
        let jump = |slot: u32| if slot.is_multiple_of(2) { 0.0 } else { 0.6 };
        assert!(is(
            &watch(|_| 45e3, |slot, frame| frame.map_v += jump(slot)),
            |doubts| doubts.map,
            Dtc::MapPerformance
        ));
        assert!(is(
            &watch(|_| 45e3, |slot, frame| frame.tp_v += jump(slot)),
            |doubts| doubts.tp,
            Dtc::TpPerformance
        ));
        assert!(is(
            &watch(|_| 45e3, |slot, frame| frame.ect_v += jump(slot)),
            |doubts| doubts.ect,
            Dtc::EctPerformance
        ));
        assert!(is(
            &watch(|_| 45e3, |slot, frame| frame.iat_v += jump(slot)),
            |doubts| doubts.iat,
            Dtc::IatPerformance
        ));
        assert!(is(
            &watch(|_| 45e3, |slot, frame| frame.frp_v += jump(slot)),
            |doubts| doubts.rail,
            Dtc::FrpPerformance
        ));
        assert!(is(
            &watch(|_| 45e3, |slot, frame| frame.o2_v += jump(slot)),
            |doubts| doubts.lambda,
            Dtc::O2Circuit
        ));
    }

    #[test]
    fn a_reading_that_leaps_to_its_end_is_a_wire_and_one_that_gets_there_is_not() {
        let shorted = |slot: u32, frame: &mut Frame| {
            if slot > 100 {
                frame.o2_v = 5.0
            }
        };
        let (doubts, _) = watch(|_| 45e3, shorted);
        assert!(doubts.lambda && doubts.lambda_wire);
        let broken = |slot: u32, frame: &mut Frame| {
            if slot > 100 {
                frame.o2_v = 0.0
            }
        };
        assert!(watch(|_| 45e3, broken).0.lambda_wire);
        // A sensor of 50 ms whose gas becomes air.
        let mut read_v = 2.35_f32;
        let air = |slot: u32, frame: &mut Frame| {
            if slot > 100 {
                read_v += 0.18 * (9.7 - read_v);
            }
            frame.o2_v = read_v.min(5.0 - 0.001 * (slot % 2) as f32);
        };
        assert_eq!(watch(|_| 45e3, air).0, Doubts::default());
        let mended = |slot: u32, frame: &mut Frame| {
            if (100..300).contains(&slot) {
                frame.o2_v = 5.0
            }
        };
        assert_eq!(watch(|_| 45e3, mended).0, Doubts::default());
    }

    #[test]
    fn a_supply_that_jumps_is_unstable_and_neither_low_nor_high() {
        let jumps = |slot: u32, frame: &mut Frame| {
            frame.battery_v = if slot.is_multiple_of(2) { 9.0 } else { 17.0 };
        };
        assert!(is(&watch(|_| 45e3, jumps), |doubts| doubts.battery, Dtc::VoltsUnstable));
    }

    /// The gas becomes air at a sensor of 50 ms: by 1.3 V within a slot, whichever way its output moves.
    #[test]
    fn a_falling_output_that_gets_to_air_is_no_wire_and_one_that_leaps_there_is() {
        let mut read_v = 2.65_f32;
        let air = |slot: u32, frame: &mut Frame| {
            if slot > 100 {
                read_v += 0.18 * (-4.7 - read_v);
            }
            frame.o2_v = read_v.max(0.001 * (slot % 2) as f32);
        };
        assert_eq!(watch_by(true, |_| 45e3, air).0, Doubts::default());
        let broken = |slot: u32, frame: &mut Frame| {
            if slot > 100 {
                frame.o2_v = 0.0
            }
        };
        assert!(watch_by(true, |_| 45e3, broken).0.lambda_wire);
    }
}
