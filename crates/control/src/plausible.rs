//! Which wires are to be doubted, and the trouble codes for it.
//!
//! A wire outside its range is doubted at once; its code sets when that lasts. Beyond the range:
//!
//! - MAP that does not change at all while the crank turns is stuck: a running engine breathes.
//! - TP that does not change at all while MAP leaves by [`MOVED_PA`] what the same throttle makes at the speed is stuck.
//! - FRP that does not change at all while the engine runs or is cranked is stuck, and so is such a wideband output of a running engine.
//! - A wideband output that leaps to an end of its range faster than any sensor moves is a broken or shorted wire.
//! - A wire that jumps from slot to slot is noisy; what it shows at its ends is then no fault of its own.
//! - Pulses that end from one firing to the next are lost on their wire: an engine that stops slows down first.
//!
//! A stuck thermistor at a plausible temperature, and a stuck supply reading, cannot be told from steady ones and set no code.

use trimwright_signals::Frame;

use crate::believe::{Breathing, Doubts, RUNS_RAD_PER_S};
use crate::crank::Crank;
use crate::dtc::Dtc;
use crate::trouble_codes::Reports;
use crate::wire::{LAMBDA_V, RATIOMETRIC_V, THERMISTOR_V, Wire, below, within};

/// Time without any change of MAP in a turning engine after which it counts as stuck, s.
const MAP_STUCK_S: f32 = 0.3;
/// The same for FRP, s.
const QUIET_S: f32 = 1.5;
/// The same for the wideband output, which teaches until it is doubted, s.
const LAMBDA_QUIET_S: f32 = 0.6;
/// Difference of MAP from what the same throttle makes at the speed that shows TP to be stuck, Pa.
///
/// ```
/// use trimwright_control::believe::Breathing;
/// use trimwright_control::plausible::MOVED_PA;
/// // Opening the throttle from 10 to 30 % at 1500 rpm moves MAP by more: had TP not changed, it would be stuck.
/// let map_pa = |tp| Breathing { tp, speed_rad_per_s: 157.0, ..Breathing::default() }.map_by_throttle_pa(1.0);
/// assert!(map_pa(0.3) - map_pa(0.1) > MOVED_PA);
/// ```
pub const MOVED_PA: f32 = 15e3;
/// Ratio of speeds over which that is known well enough.
const OTHER_SPEED: f32 = 1.7;
/// Rise and fall of the wideband output within a slot of 10 ms that no sensor of at least 50 ms makes, V: from 2.35 V (lambda 1) such
/// a sensor rises by 1.3 V at most and falls by 0.7 V.
const LEAPS_V: (f32, f32) = (2.0, 1.0);
/// Time after which a started engine has settled, s.
const SETTLED_S: f32 = 5.0;
/// Time after which a running engine's lambda sensor should be ready, s.
const HEATED_S: f32 = 60.0;
/// How long pulses stay doubted after the last that was lost or refused, s: before it others may have passed for firings, and what was
/// injected then is read only after the way through the exhaust.
const CRANK_DOUBTED_S: f32 = 0.5;

/// Watches the wires.
///
/// ```
/// use trimwright_control::believe::Breathing;
/// use trimwright_control::crank::Crank;
/// use trimwright_control::Dtc;
/// use trimwright_control::trouble_codes::{Dtcs, TroubleCodeParameters};
/// use trimwright_control::plausible::Plausible;
/// use trimwright_signals::Frame;
/// let (mut plausible, mut dtcs, mut crank) = (Plausible::default(), Dtcs::default(), Crank::default());
/// crank.speed_rad_per_s = 150.0;
/// let frame = Frame { map_v: 1.7, ..Frame::default() };
/// // MAP that does not move at all while the engine runs: half a second makes a doubt, some seconds a code.
/// let mut after = |slots| {
///     let look = |_| plausible.step(&frame, &crank, &Breathing::default(), 0.01, &mut dtcs.under(&TroubleCodeParameters::DEFAULT)).map;
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
    ///
    /// ```
    /// use trimwright_control::believe::Breathing;
    /// use trimwright_control::crank::Crank;
    /// use trimwright_control::trouble_codes::{Dtcs, TroubleCodeParameters};
    /// use trimwright_control::plausible::Plausible;
    /// use trimwright_signals::Frame;
    /// let doubts = |ect_v| {
    ///     let frame = Frame { map_v: 1.7, tp_v: 0.8, ect_v, iat_v: 2.3, frp_v: 2.2, battery_v: 12.4, ..Frame::default() };
    ///     Plausible::default().step(&frame, &Crank::default(), &Breathing::default(), 0.01, &mut Dtcs::default().under(&TroubleCodeParameters::DEFAULT))
    /// };
    /// // 1 V is a warm engine; 5 V is a broken wire, doubted at once.
    /// assert!(!doubts(1.0).fuel() && doubts(5.0).ect);
    /// ```
    pub fn step(
        &mut self,
        frame: &Frame,
        crank: &Crank,
        breathing: &Breathing,
        dt_s: f32,
        dtcs: &mut Reports<'_>,
    ) -> Doubts {
        self.watch_lambda(frame);
        self.crank_doubted_s =
            if crank.is_doubted() { CRANK_DOUBTED_S } else { (self.crank_doubted_s - dt_s).max(0.0) };
        let wires = [
            (&mut self.map, frame.map_v),
            (&mut self.tp, frame.tp_v),
            (&mut self.ect, frame.ect_v),
            (&mut self.iat, frame.iat_v),
            (&mut self.rail, frame.frp_v),
            (&mut self.lambda, frame.o2_v),
            // The converter sees a quarter of the supply.
            (&mut self.supply, 0.25 * frame.battery_v),
        ];
        for (wire, volts) in wires {
            wire.step(volts, dt_s);
        }
        let running = crank.speed_rad_per_s > RUNS_RAD_PER_S;
        self.running_s = if running { self.running_s + dt_s } else { 0.0 };
        let quiet =
            |wire: &Wire, volts, range, for_s| running && wire.quiet_s() > for_s && within(volts, range);
        let map_stuck = quiet(&self.map, frame.map_v, RATIOMETRIC_V, MAP_STUCK_S);
        let rail_stuck = (running || frame.switches.starter)
            && self.rail.quiet_s() > QUIET_S
            && within(frame.frp_v, RATIOMETRIC_V);
        let lambda_stuck = quiet(&self.lambda, frame.o2_v, LAMBDA_V, LAMBDA_QUIET_S);
        let lambda_noisy = self.lambda.is_noisy();
        let tp_may_tell = within(frame.tp_v, RATIOMETRIC_V) && !map_stuck && self.running_s > SETTLED_S;
        self.watch_throttle(breathing, tp_may_tell);
        let not_ready = running && !frame.switches.o2_ready;
        self.not_ready_s = if not_ready { self.not_ready_s + dt_s } else { 0.0 };
        let on = frame.switches.ignition;
        let findings = [
            (Dtc::MapLow, on && !self.map.is_noisy() && below(frame.map_v, RATIOMETRIC_V)),
            (Dtc::MapHigh, on && !self.map.is_noisy() && frame.map_v > RATIOMETRIC_V.1),
            (Dtc::MapPerformance, map_stuck || (on && self.map.is_noisy())),
            (Dtc::TpLow, on && !self.tp.is_noisy() && below(frame.tp_v, RATIOMETRIC_V)),
            (Dtc::TpHigh, on && !self.tp.is_noisy() && frame.tp_v > RATIOMETRIC_V.1),
            (Dtc::TpPerformance, on && (self.tp.is_noisy() || self.tp_stuck)),
            (Dtc::EctLow, on && !self.ect.is_noisy() && below(frame.ect_v, THERMISTOR_V)),
            (Dtc::EctHigh, on && !self.ect.is_noisy() && frame.ect_v > THERMISTOR_V.1),
            (Dtc::EctPerformance, on && self.ect.is_noisy()),
            (Dtc::IatLow, on && !self.iat.is_noisy() && below(frame.iat_v, THERMISTOR_V)),
            (Dtc::IatHigh, on && !self.iat.is_noisy() && frame.iat_v > THERMISTOR_V.1),
            (Dtc::IatPerformance, on && self.iat.is_noisy()),
            (Dtc::FrpLow, on && !self.rail.is_noisy() && below(frame.frp_v, RATIOMETRIC_V)),
            (Dtc::FrpHigh, on && !self.rail.is_noisy() && frame.frp_v > RATIOMETRIC_V.1),
            (Dtc::FrpPerformance, rail_stuck || (on && self.rail.is_noisy())),
            (Dtc::O2Circuit, running && frame.switches.o2_ready && lambda_noisy),
            (Dtc::O2NoActivity, lambda_stuck && frame.switches.o2_ready),
            (Dtc::O2Heater, self.not_ready_s > HEATED_S),
            (Dtc::VoltsUnstable, on && self.supply.is_noisy()),
            (Dtc::VoltsLow, running && !self.supply.is_noisy() && below(frame.battery_v, (11.0, 16.0))),
            (Dtc::VoltsHigh, on && !self.supply.is_noisy() && frame.battery_v > 16.0),
            (
                Dtc::CrankSilent,
                on && crank.speed_rad_per_s == 0.0 && (frame.switches.starter || crank.fell_silent),
            ),
            (Dtc::CrankPerformance, crank.is_troubled()),
        ];
        for (dtc, found) in findings {
            dtcs.report(dtc, found, dt_s);
        }
        Doubts {
            map: !within(frame.map_v, RATIOMETRIC_V) || map_stuck || self.map.is_noisy(),
            tp: !within(frame.tp_v, RATIOMETRIC_V) || self.tp.is_noisy() || self.tp_stuck,
            ect: !within(frame.ect_v, THERMISTOR_V) || self.ect.is_noisy(),
            iat: !within(frame.iat_v, THERMISTOR_V) || self.iat.is_noisy(),
            rail: !within(frame.frp_v, RATIOMETRIC_V) || rail_stuck || self.rail.is_noisy(),
            battery: !within(frame.battery_v, (5.5, 18.0)) || self.supply.is_noisy(),
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
    fn watch_throttle(&mut self, now: &Breathing, may_tell: bool) {
        let ratio = now.speed_rad_per_s / self.speed_then_rad_per_s.max(1.0);
        let other_speed = !within(ratio, (1.0 / OTHER_SPEED, OTHER_SPEED));
        let moved = self.tp.quiet_s() == 0.0 || !may_tell;
        if moved {
            self.tp_stuck = false;
        }
        if moved || other_speed {
            (self.fit_then, self.speed_then_rad_per_s) = (now.fit(), now.speed_rad_per_s);
        } else if (now.map_pa - now.map_by_throttle_pa(self.fit_then)).abs() > MOVED_PA {
            self.tp_stuck = true;
        }
    }

    /// Looks for a reading that leaps to an end; it is doubted until it comes back into its range.
    fn watch_lambda(&mut self, frame: &Frame) {
        let (ready, last_v) = (frame.switches.o2_ready, self.lambda.last_v());
        let leapt = (frame.o2_v > LAMBDA_V.1 && frame.o2_v - last_v > LEAPS_V.0)
            || (frame.o2_v < LAMBDA_V.0 && last_v - frame.o2_v > LEAPS_V.1);
        let stays = self.lambda_leapt && !within(frame.o2_v, LAMBDA_V);
        self.lambda_leapt = ready && (stays || (leapt && self.lambda_was_ready));
        self.lambda_was_ready = ready;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trouble_codes::{Dtcs, TroubleCodeParameters};

    /// Some seconds of slots, each with its own frame; the doubts and codes at the end.
    fn watch(map_pa: fn(u32) -> f32, mut change: impl FnMut(u32, &mut Frame)) -> (Doubts, Dtcs) {
        let (mut plausible, mut dtcs) = (Plausible::default(), Dtcs::default());
        let crank = Crank { speed_rad_per_s: 150.0, ..Crank::default() };
        let mut doubts = Doubts::default();
        for slot in 0..650 {
            let flutter = (slot % 3) as f32 * 2e-3;
            let mut frame =
                Frame { battery_v: 13.8, map_v: 1.7 + flutter, tp_v: 1.0 + flutter, ..Frame::default() };
            (frame.ect_v, frame.iat_v, frame.frp_v, frame.o2_v) = (1.0, 2.3, 2.2 + flutter, 2.3 + flutter);
            frame.switches.ignition = true;
            frame.switches.o2_ready = true;
            change(slot, &mut frame);
            let breathing =
                Breathing { map_pa: map_pa(slot), speed_rad_per_s: 150.0, ..Breathing::default() };
            doubts = plausible.step(
                &frame,
                &crank,
                &breathing,
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
}
