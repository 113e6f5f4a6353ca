//! Volts to quantities: nominal sensor curves, plausibility, substitution with a flag.
//!
//! | wire | curve |
//! |---|---|
//! | MAP | 0.5 to 4.5 V: 10 to 110 kPa |
//! | TP | 0.5 to 4.5 V: 0 to 100 % |
//! | FRP | 0.5 to 4.5 V: 0 to 700 kPa above ambient |
//! | ECT, IAT | 10 kOhm thermistor under 2.49 kOhm to 5 V |
//! | wideband | lambda = 0.68 + 0.136 V |
//!
//! Where [`plausible`](crate::plausible) doubts a wire the quantity is substituted at once and its flag in [`Doubts`] rises.

use trimwright_numerics::Real;
use trimwright_signals::Frame;

use crate::clock::Beat;
use crate::crank::Crank;
use crate::plausible::Plausible;
use crate::setup::Setup;
use crate::trouble_codes::Reports;
use crate::wire::{LAMBDA_V, RATIOMETRIC_V, within};
use trimwright_numerics::parameters::along;

/// What is substituted or not believed.
///
/// ```
/// use trimwright_control::{Calibration, Controller, SetupAnswers};
/// use trimwright_signals::Frame;
/// let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
/// for ms in 0..2000 {
///     // The wire of the intake air's sensor is broken: the pull-up brings it to 5 V.
///     let frame = Frame { time_us: ms * 1000, ect_v: 1.5, iat_v: 5.0, ..Frame::default() };
///     controller.step(&frame);
/// }
/// let belief = &controller.state().belief;
/// assert!(belief.doubts.iat && !belief.doubts.ect);
/// assert!((belief.iat_k - 308.0).abs() < 1.0, "a usual value instead");
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Doubts {
    /// MAP comes from throttle and speed.
    pub map: bool,
    /// TP is taken as a little open.
    pub tp: bool,
    /// ECT is guessed from running time.
    pub ect: bool,
    /// IAT is a usual value.
    pub iat: bool,
    /// FRP is the wanted pressure.
    pub rail: bool,
    /// Supply voltage is a usual value.
    pub battery: bool,
    /// Distributor pulses were lost or refused a moment ago: speed and firings are made up in part.
    pub crank: bool,
    /// The lambda reading means nothing.
    pub lambda: bool,
    /// It leapt to an end of its range: its wire is broken or shorted.
    pub lambda_wire: bool,
}

impl Doubts {
    /// Whether a quantity that the fuel is worked out from is substituted.
    ///
    /// ```
    /// use trimwright_control::believe::Doubts;
    /// assert!(Doubts { rail: true, ..Doubts::default() }.fuel());
    /// // Without a lambda reading the fuel is worked out as before; it is only not corrected.
    /// assert!(!Doubts { lambda: true, ..Doubts::default() }.fuel());
    /// ```
    pub const fn fuel(&self) -> bool {
        self.map || self.tp || self.ect || self.iat || self.rail || self.battery || self.crank
    }
}

/// The believed quantities.
///
/// ```
/// use trimwright_control::{Calibration, Controller, SetupAnswers};
/// use trimwright_signals::Frame;
/// let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
/// for ms in 0..100 {
///     let frame = Frame { time_us: ms * 1000, map_v: 4.1, tp_v: 1.3, o2_v: 2.353, ..Frame::default() };
///     controller.step(&frame);
/// }
/// let belief = &controller.state().belief;
/// assert!((belief.map_pa - 100e3).abs() < 10.0 && (belief.tp - 0.2).abs() < 1e-3);
/// assert!((belief.lambda - 1.0).abs() < 1e-3);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Belief {
    /// Manifold absolute pressure, mean over the last firing interval, Pa.
    pub map_pa: f32,
    /// Rate of it, lagged, Pa/s; 0 where MAP is substituted.
    pub map_rate_pa_per_s: f32,
    /// Barometric pressure, Pa.
    pub baro_pa: f32,
    /// Throttle position, ratio.
    pub tp: f32,
    /// Throttle position's rate over the last quick slot, 1/s.
    pub tp_rate_per_s: f32,
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
    /// The wideband output is at one end of its range.
    pub lambda_at_end: bool,
    /// What is substituted.
    pub doubts: Doubts,
    pub(crate) map_sum_v: f32,
    pub(crate) map_count: f32,
    pub(crate) plausible: Plausible,
    /// Opening of the closed and of the open throttle over the table's.
    pub(crate) fits: [f32; 2],
    /// Idle air valve duty of the step before.
    pub(crate) iac_duty: f32,
}

impl Default for Belief {
    fn default() -> Self {
        Self {
            map_pa: 101_325.0,
            map_rate_pa_per_s: 0.0,
            baro_pa: 101_325.0,
            tp: 0.0,
            tp_rate_per_s: 0.0,
            ect_k: 293.0,
            iat_k: 293.0,
            rail_pa: 300e3,
            battery_v: 12.5,
            lambda: 1.0,
            lambda_at_end: false,
            doubts: Doubts::default(),
            map_sum_v: 0.0,
            map_count: 0.0,
            plausible: Plausible::default(),
            fits: [1.0; 2],
            iac_duty: 0.0,
        }
    }
}

impl Belief {
    /// Takes a frame's volts: MAP every time, the others in the quick slot. `iac_duty` is what the idle air valve was last told.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::clock::Clock;
    /// use trimwright_control::crank::Crank;
    /// use trimwright_control::trouble_codes::{Dtcs, TroubleCodeParameters};
    /// use trimwright_control::{Calibration, Dtc, SetupAnswers};
    /// use trimwright_signals::Frame;
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (mut belief, mut clock, mut dtcs) = (Belief::default(), Clock::default(), Dtcs::default());
    /// for ms in 0..=600 {
    ///     // Key on, 70 kPa outside; the throttle's wire is shorted to 5 V.
    ///     let mut frame = Frame { time_us: ms * 1000, map_v: 2.9, tp_v: 5.0, ..Frame::default() };
    ///     frame.switches.ignition = true;
    ///     let beat = clock.step(&frame);
    ///     belief.step(&calibration, &frame, &Crank::default(), 0.3, &beat, &mut dtcs.under(&TroubleCodeParameters::DEFAULT));
    /// }
    /// assert!((belief.map_pa - 70e3).abs() < 10.0);
    /// assert!(belief.doubts.tp && dtcs.is_set(Dtc::TpHigh));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    #[inline]
    pub fn step(
        &mut self,
        setup: &Setup,
        frame: &Frame,
        crank: &Crank,
        iac_duty: f32,
        beat: &Beat,
        dtcs: &mut Reports<'_>,
    ) {
        self.iac_duty = iac_duty;
        if beat.quick_s > 0.0 {
            self.take_slot(setup, frame, crank, beat.quick_s, dtcs);
        }
        self.take_pressure(frame, crank);
    }

    /// All but pressure. Kept out of line: nine steps of ten pass it by.
    #[inline(never)]
    fn take_slot(&mut self, setup: &Setup, frame: &Frame, crank: &Crank, dt_s: f32, dtcs: &mut Reports<'_>) {
        let throttle_was_doubted = self.doubts.tp;
        self.doubts = self.plausible.step(frame, crank, &self.breathing(crank), dt_s, dtcs);
        self.take_throttle(frame, throttle_was_doubted, dt_s);
        self.lambda = (0.68 + 0.136 * frame.o2_v).held(0.68, 1.36);
        self.lambda_at_end = !within(frame.o2_v, LAMBDA_V);
        self.take_supply(setup, frame, crank, dt_s);
        self.take_temperatures(setup, frame, crank, dt_s);
        self.take_baro(frame, crank, dt_s);
        self.take_fit(crank, dt_s);
    }

    /// Manifold pressure as the cylinder that is fuelled now will meet it, Pa: by its rate as far ahead as sensor, mean and the way of
    /// the fuel are behind.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// let mut belief = Belief::default();
    /// // A tip-in: 50 kPa, rising by 2 kPa each 10 ms. The next cylinder will meet more.
    /// (belief.map_pa, belief.map_rate_pa_per_s) = (50e3, 200e3);
    /// assert!((belief.map_ahead_pa(0.01) - 55.2e3).abs() < 1.0);
    /// belief.map_rate_pa_per_s = 0.0;
    /// assert_eq!(belief.map_ahead_pa(0.01), 50e3);
    /// ```
    pub fn map_ahead_pa(&self, interval_s: f32) -> f32 {
        let ahead_s = MAP_AHEAD_S + MAP_AHEAD_INTERVALS * interval_s.held(0.0, LONGEST_AHEAD_S);
        (self.map_pa + ahead_s * self.map_rate_pa_per_s)
            .held(0.5 * self.map_pa, (MOST_AHEAD * self.baro_pa).max(self.map_pa))
    }

    /// Pressure drop over the injectors, Pa, when they spray into the manifold.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// let mut belief = Belief::default();
    /// (belief.rail_pa, belief.baro_pa, belief.map_pa) = (300e3, 100e3, 35e3);
    /// // The rail is held over ambient; the vacuum of idle pulls too: more fuel for the same pulse.
    /// assert_eq!(belief.drop_pa(), 365e3);
    /// ```
    pub fn drop_pa(&self) -> f32 {
        self.rail_pa + self.baro_pa - self.map_pa
    }

    /// What the engine breathes by.
    fn breathing(&self, crank: &Crank) -> Breathing {
        Breathing {
            map_pa: self.map_pa,
            baro_pa: self.baro_pa,
            tp: self.tp,
            iac_duty: self.iac_duty,
            speed_rad_per_s: crank.speed_rad_per_s,
        }
    }

    fn take_throttle(&mut self, frame: &Frame, was_doubted: bool, dt_s: f32) {
        let tp = if self.doubts.tp { SUBSTITUTE_TP } else { ((frame.tp_v - 0.5) / 4.0).held(0.0, 1.0) };
        self.tp_rate_per_s = if self.doubts.tp || was_doubted { 0.0 } else { (tp - self.tp) / dt_s };
        self.tp = tp;
    }

    /// Sums pressure up until a cylinder fires: the mean over a firing interval is free of its ripple.
    #[inline]
    fn take_pressure(&mut self, frame: &Frame, crank: &Crank) {
        if within(frame.map_v, RATIOMETRIC_V) {
            self.map_sum_v += frame.map_v;
            self.map_count += 1.0;
        } else {
            self.doubts.map = true;
        }
        let due = crank.firings > 0 || self.map_count >= 40.0;
        if due || self.doubts.map {
            self.close_pressure(crank, due);
        }
    }

    /// Takes the mean since the last firing, or what the throttle says when the wire is doubted.
    #[inline(never)]
    fn close_pressure(&mut self, crank: &Crank, due: bool) {
        if self.doubts.map && (due || crank.speed_rad_per_s == 0.0) {
            let [closed, open] = self.fits;
            let fit = if self.tp < CLOSED_TP { closed } else { open };
            self.map_pa = self.breathing(crank).map_by_throttle_pa(fit);
            self.map_rate_pa_per_s = 0.0;
            (self.map_sum_v, self.map_count) = (0.0, 0.0);
        } else if due && self.map_count > 0.0 {
            let mean_pa = pressure_pa(self.map_sum_v / self.map_count);
            let moved_pa = mean_pa - self.map_pa;
            let moved_pa = along(&MAP_TRUST, moved_pa.abs()) * moved_pa;
            self.map_pa += moved_pa;
            let gone_s = crank.gone_s.held(0.0, 0.2);
            self.map_rate_pa_per_s += (moved_pa - self.map_rate_pa_per_s * gone_s) / (MAP_RATE_S + gone_s);
            (self.map_sum_v, self.map_count) = (0.0, 0.0);
        }
    }

    fn take_supply(&mut self, setup: &Setup, frame: &Frame, crank: &Crank, dt_s: f32) {
        let substitute_v = if frame.switches.starter {
            STARTER_V
        } else if crank.speed_rad_per_s > RUNS_RAD_PER_S {
            CHARGING_V
        } else {
            STANDING_V
        };
        let battery_v = if self.doubts.battery { substitute_v } else { frame.battery_v };
        follow(&mut self.battery_v, battery_v, dt_s, 0.01);
        let wanted_pa = setup.answers().rail_pressure_pa;
        let rail_pa = if self.doubts.rail { wanted_pa } else { (frame.frp_v - 0.5) * 175e3 };
        follow(&mut self.rail_pa, rail_pa.held(0.0, 800e3), dt_s, 0.03);
    }

    fn take_temperatures(&mut self, setup: &Setup, frame: &Frame, crank: &Crank, dt_s: f32) {
        let iat_k = if self.doubts.iat { SUBSTITUTE_IAT_K } else { setup.iat().kelvin(frame.iat_v) };
        follow(&mut self.iat_k, iat_k, dt_s, 0.2);
        if !self.doubts.ect {
            follow(&mut self.ect_k, setup.ect().kelvin(frame.ect_v), dt_s, 0.2);
        } else if crank.speed_rad_per_s > 0.0 {
            follow(&mut self.ect_k, SUBSTITUTE_ECT_K, dt_s, 200.0);
        }
    }

    /// Learns how the throttle of this engine opens, closed and open apart, for the day MAP is lost.
    fn take_fit(&mut self, crank: &Crank, dt_s: f32) {
        if crank.speed_rad_per_s > 50.0
            && !self.doubts.map
            && !self.doubts.tp
            && self.tp_rate_per_s.abs() < 0.1
        {
            let fit = self.breathing(crank).fit();
            let [closed, open] = &mut self.fits;
            follow(if self.tp < CLOSED_TP { closed } else { open }, fit, dt_s, FIT_S);
        }
    }

    /// By the sensor on the board; without it, MAP while the crank stands, raised by any higher MAP.
    fn take_baro(&mut self, frame: &Frame, crank: &Crank, dt_s: f32) {
        let baro_pa = self.map_pa.held(50e3, 110e3);
        if within(frame.baro_v, BARO_V) {
            follow(&mut self.baro_pa, pressure_pa(frame.baro_v), dt_s, 0.5);
        } else if crank.speed_rad_per_s == 0.0
            && frame.switches.ignition
            && !frame.switches.starter
            && !self.doubts.map
        {
            follow(&mut self.baro_pa, baro_pa, dt_s, 0.05);
        } else if self.map_pa > self.baro_pa {
            follow(&mut self.baro_pa, baro_pa, dt_s, 1.0);
        }
    }
}

/// The sensors of pressure: 0.5 to 4.5 V over 10 to 110 kPa.
fn pressure_pa(volts: f32) -> f32 {
    10e3 + (volts - 0.5) * 25e3
}

/// Moves `held` towards `value` with a time constant.
fn follow(held: &mut f32, value: f32, dt_s: f32, tau_s: f32) {
    *held += dt_s / (tau_s + dt_s) * (value - *held);
}

/// What the barometric sensor shows anywhere on a road, V: 50 to 110 kPa.
const BARO_V: (f32, f32) = (2.1, 4.5);
/// Share of a change of mean pressure that is taken at once against its size, Pa: small ones are mostly the ripple that a few
/// samples do not average out (engineering judgement).
const MAP_TRUST: [(f32, f32); 2] = [(300.0, 0.35), (1200.0, 1.0)];
/// How far pressure is looked ahead: for the sensor, s, and for the mean and the way of the fuel, intervals between firings
/// (engineering judgement, from tip-ins).
const MAP_AHEAD_S: f32 = 0.015;
const MAP_AHEAD_INTERVALS: f32 = 1.1;
/// Longest interval that counts there, s: a slow idle changes too little within one to look farther (engineering judgement, from A/C trials).
const LONGEST_AHEAD_S: f32 = 0.021;
/// Pressure over that outside up to which it is looked ahead: a rise towards full throttle levels off before it gets there (engineering
/// judgement, from tip-ins).
const MOST_AHEAD: f32 = 0.92;
/// Time constant of the rate of pressure, s.
const MAP_RATE_S: f32 = 0.06;
/// Throttle position taken when the sensor is lost: off idle, no enrichment.
const SUBSTITUTE_TP: f32 = 0.12;
/// Supply voltage taken when its reading is lost, V: under the starter, of an engine that runs, and of one that stands (common
/// practice, no source).
const STARTER_V: f32 = 10.0;
const CHARGING_V: f32 = 13.8;
const STANDING_V: f32 = 12.2;
/// Speed from which an engine counts as running and its alternator as charging, rad/s.
pub(crate) const RUNS_RAD_PER_S: f32 = 45.0;
/// Intake air temperature taken when the sensor is lost, K.
const SUBSTITUTE_IAT_K: f32 = 308.0;
/// Coolant temperature a running engine is guessed to come to when the sensor is lost, K.
const SUBSTITUTE_ECT_K: f32 = 358.0;

/// What the engine breathes by.
///
/// ```
/// use trimwright_control::believe::Breathing;
/// let at = |tp| Breathing { tp, speed_rad_per_s: 210.0, ..Breathing::default() }.map_by_throttle_pa(1.0);
/// assert!(at(0.05) < 40e3 && at(1.0) > 95e3, "{} Pa, {} Pa", at(0.05), at(1.0));
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Breathing {
    /// Manifold absolute pressure, Pa.
    pub map_pa: f32,
    /// Barometric pressure, Pa.
    pub baro_pa: f32,
    /// Throttle position, ratio.
    pub tp: f32,
    /// Idle air valve duty, ratio.
    pub iac_duty: f32,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
}

impl Default for Breathing {
    fn default() -> Self {
        Self { map_pa: 101_325.0, baro_pa: 101_325.0, tp: 0.0, iac_duty: 0.3, speed_rad_per_s: 0.0 }
    }
}

impl Breathing {
    /// Manifold pressure from throttle, idle air and speed when MAP is lost, Pa: an opening `a` before a pump of speed `n`
    /// gives about `p0 a / sqrt(a^2 + (n/n0)^2)` (engineering judgement: exact for neither end, right in trend). `fit` is the
    /// opening of this engine over that of the table, as found while MAP was there.
    ///
    /// ```
    /// use trimwright_control::believe::Breathing;
    /// let cruise = Breathing { tp: 0.1, speed_rad_per_s: 160.0, ..Breathing::default() };
    /// let map_pa = cruise.map_by_throttle_pa(1.0);
    /// // Faster, the engine draws the manifold emptier; a throttle that lets more air past keeps it fuller.
    /// assert!(Breathing { speed_rad_per_s: 250.0, ..cruise }.map_by_throttle_pa(1.0) < map_pa);
    /// assert!(cruise.map_by_throttle_pa(1.2) > map_pa);
    /// ```
    pub fn map_by_throttle_pa(&self, fit: f32) -> f32 {
        let open = self.opening() * fit;
        let demand = self.speed_rad_per_s / FULL_RAD_PER_S;
        self.baro_pa * (open / Real::sqrt(open * open + demand * demand).max(1e-3)).held(0.2, 1.0)
    }

    /// The opening over that of the table that would give this pressure: the inverse of [`Breathing::map_by_throttle_pa`].
    ///
    /// ```
    /// use trimwright_control::believe::Breathing;
    /// // While MAP is there: 45 kPa at a tenth of the throttle.
    /// let seen = Breathing { map_pa: 45e3, tp: 0.1, speed_rad_per_s: 160.0, ..Breathing::default() };
    /// // On the day it is lost, the same throttle and speed give the same pressure.
    /// let blind = Breathing { map_pa: f32::NAN, ..seen };
    /// assert!((blind.map_by_throttle_pa(seen.fit()) - 45e3).abs() < 50.0);
    /// ```
    pub fn fit(&self) -> f32 {
        let ratio = (self.map_pa / self.baro_pa).held(0.1, 0.95);
        let open = self.speed_rad_per_s / FULL_RAD_PER_S * ratio / Real::sqrt(1.0 - ratio * ratio);
        (open / self.opening()).held(0.3, 3.0)
    }

    /// Effective opening, ratio.
    fn opening(&self) -> f32 {
        along(&OPENING, self.tp) + IAC_OPENING * self.iac_duty
    }
}

/// Effective opening of the throttle, the leak of its closed plates included, against its position.
const OPENING: [(f32, f32); 5] = [(0.0, 0.018), (0.1, 0.073), (0.3, 0.333), (0.6, 0.983), (1.0, 1.783)];
/// Effective opening of the idle air valve at full duty: about three times the leak (common practice, no source).
const IAC_OPENING: f32 = 0.053;
/// Speed at which an opening of 1 halves the squared pressure, rad/s.
const FULL_RAD_PER_S: f32 = 900.0;
/// Time constant in which the fit follows, s.
const FIT_S: f32 = 8.0;
/// Throttle position below which the fit of the closed throttle counts.
const CLOSED_TP: f32 = 0.03;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;
    use crate::dtc::Dtc;
    use crate::trouble_codes::{Dtcs, TroubleCodeParameters};

    fn frame() -> Frame {
        let mut frame = Frame { battery_v: 13.8, map_v: 1.7, tp_v: 0.9, ect_v: 1.0, ..Frame::default() };
        (frame.iat_v, frame.frp_v, frame.o2_v) = (2.5, 2.2, 2.353);
        frame.switches.ignition = true;
        frame.switches.o2_ready = true;
        frame
    }

    fn settle(frame: &Frame, speed_rad_per_s: f32, seconds: f32) -> (Belief, Dtcs) {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let crank = Crank { speed_rad_per_s, ..Crank::default() };
        let (mut belief, mut dtcs) = (Belief::default(), Dtcs::default());
        let mut frame = frame.clone();
        for step in 0..(seconds * 1000.0) as u32 {
            frame.map_v += if step % 3 == 0 { 0.002 } else { -0.001 };
            frame.o2_v += if step % 3 == 0 { 0.002 } else { -0.001 };
            frame.frp_v += if step % 3 == 0 { 0.002 } else { -0.001 };
            let quick_s = if step % 10 == 0 { 0.01 } else { 0.0 };
            belief.step(
                &calibration,
                &frame,
                &crank,
                0.3,
                &Beat { dt_s: 0.001, quick_s, ..Beat::default() },
                &mut dtcs.under(&TroubleCodeParameters::DEFAULT),
            );
        }
        (belief, dtcs)
    }

    #[test]
    fn nominal_curves_are_undone() {
        let (belief, dtcs) = settle(&frame(), 80.0, 3.0);
        assert!((belief.map_pa - 40e3).abs() < 100.0);
        assert!((belief.tp - 0.1).abs() < 1e-6);
        assert!((belief.rail_pa - 297_500.0).abs() < 500.0);
        assert!((belief.lambda - 1.0).abs() < 1e-3);
        assert_eq!((belief.doubts, dtcs.stored().count()), (Doubts::default(), 0));
    }

    #[test]
    fn every_open_or_shorted_wire_is_substituted_flagged_and_coded() {
        type Case = (fn(&mut Frame), Dtc, fn(&Doubts) -> bool);
        let cases: [Case; 10] = [
            (|frame| frame.map_v = 0.0, Dtc::MapLow, |doubts| doubts.map),
            (|frame| frame.map_v = 5.0, Dtc::MapHigh, |doubts| doubts.map),
            (|frame| frame.tp_v = 0.0, Dtc::TpLow, |doubts| doubts.tp),
            (|frame| frame.tp_v = 5.0, Dtc::TpHigh, |doubts| doubts.tp),
            (|frame| frame.ect_v = 0.0, Dtc::EctLow, |doubts| doubts.ect),
            (|frame| frame.ect_v = 5.0, Dtc::EctHigh, |doubts| doubts.ect),
            (|frame| frame.iat_v = 0.0, Dtc::IatLow, |doubts| doubts.iat),
            (|frame| frame.iat_v = f32::NAN, Dtc::IatLow, |doubts| doubts.iat),
            (|frame| frame.frp_v = 0.0, Dtc::FrpLow, |doubts| doubts.rail),
            (|frame| frame.frp_v = 5.0, Dtc::FrpHigh, |doubts| doubts.rail),
        ];
        for (spoil, dtc, flag) in cases {
            let mut spoiled = frame();
            spoil(&mut spoiled);
            let (belief, dtcs) = settle(&spoiled, 80.0, 1.0);
            assert!(
                dtcs.active().eq([dtc]),
                "{dtc:?}: {:?}",
                dtcs.active().collect::<heapless::Vec<_, 32>>()
            );
            assert!(flag(&belief.doubts) && belief.doubts.fuel(), "{dtc:?}");
            assert!(belief.map_pa > 15e3 && belief.ect_k > 250.0 && belief.rail_pa > 100e3);
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

    #[test]
    fn without_map_the_throttle_and_the_speed_give_a_pressure() {
        let map_pa = |tp, iac_duty, speed_rad_per_s| {
            Breathing { tp, iac_duty, speed_rad_per_s, ..Breathing::default() }.map_by_throttle_pa(1.0)
        };
        let (closed, open) = (map_pa(0.0, 0.3, 75.0), map_pa(1.0, 0.3, 300.0));
        assert!((25e3..60e3).contains(&closed) && open > 90e3, "{closed} {open}");
        assert!(map_pa(0.2, 0.3, 300.0) < map_pa(0.2, 0.3, 150.0));
        assert!(map_pa(0.0, 0.6, 100.0) > 1.3 * map_pa(0.0, 0.3, 100.0), "the idle air valve counts");
    }

    #[test]
    fn ident_the_fit_gives_the_pressure_it_was_found_at() {
        for (map_pa, tp, speed_rad_per_s) in [(35e3, 0.0, 75.0), (45e3, 0.12, 160.0), (90e3, 0.5, 300.0)] {
            let breathing = Breathing { map_pa, tp, speed_rad_per_s, ..Breathing::default() };
            assert!((breathing.map_by_throttle_pa(breathing.fit()) / map_pa - 1.0).abs() < 1e-3);
        }
    }
}
