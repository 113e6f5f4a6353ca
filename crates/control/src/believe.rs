//! Volts to quantities: sensor curves, plausibility, substitution with a flag.
//!
//! Where [`plausible`](crate::plausible) doubts a wire the quantity is substituted at once and its flag in [`Doubts`] rises.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::{along, along_beyond};
use trimwright_signals::Frame;

use crate::base_map::OUTSIDE_PA;
use crate::clock::Beat;
use crate::crank::Turning;
use crate::doubts::Doubts;
use crate::plausible::{Evidence, PlausibilityParameters, Plausible};
use crate::sensors::SensorParameters;
use crate::setup::{LEAST_BARO_PA, Setup};
use crate::throttle_speed::{ThrottleSpeed, ThrottleSpeedParameters};
use crate::trouble_codes::Reports;
use crate::wire::within;

trimwright_numerics::parameters! {
    /// How quantities come from volts, what stands in for a lost sensor, and how far pressure is looked ahead.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct EstimateParameters<f32> "estimate" {
        /// Share of a change of mean pressure that is taken at once, against its size: small ones are mostly the ripple that a few samples do not average out.
        curve map_trust { [4] = [(300.0, 0.35), (1200.0, 1.0)], 0.0..=50e3 "Pa" => 0.01..=1.0 "1", "engineering judgement" }
        /// Frames whose pressure is averaged where no cylinder fires.
        number map_frames { 40.0, 2.0..=1000.0 "1", "engineering judgement" }
        /// Time constant of the rate of manifold pressure.
        number map_rate_s { 0.06, 0.005..=1.0 "s", "engineering judgement" }
        /// Longest time between firings that counts for the rate of manifold pressure.
        number map_rate_longest_s { 0.2, 0.02..=1.0 "s", "engineering judgement" }
        /// How far manifold pressure is looked ahead for the lag of its sensor.
        number map_ahead_s { 0.015, 0.0..=0.2 "s", "engineering judgement, from tip-ins" }
        /// Intervals between firings by which manifold pressure is looked ahead besides, for the mean and the way of the fuel.
        number map_ahead_intervals { 1.1, 0.0..=6.0 "1", "engineering judgement, from tip-ins" }
        /// Longest interval between firings that counts in looking ahead: a slow idle changes too little within one to look farther.
        number map_ahead_longest_s { 0.021, 0.002..=0.2 "s", "engineering judgement, from trials with the air conditioning" }
        /// Manifold over barometric pressure up to which pressure is looked ahead: a rise towards full throttle levels off before it gets there.
        number map_ahead_ratio_high { 0.92, 0.5..=1.0 "1", "engineering judgement, from tip-ins" }
        /// Throttle position below which the throttle counts as closed.
        number closed_tp { 0.02, 0.002..=0.1 "1", "engineering judgement" }
        /// Throttle position taken when its sensor is lost: off idle, no enrichment.
        number substitute_tp { 0.12, 0.03..=0.5 "1", "engineering judgement" }
        /// Intake air temperature taken when its sensor is lost.
        number substitute_iat_k { 308.0, 250.0..=350.0 "K", "engineering judgement" }
        /// Coolant temperature that a running engine is guessed to come to when its sensor is lost.
        number substitute_ect_k { 358.0, 300.0..=380.0 "K", "engineering judgement" }
        /// Time constant in which coolant is guessed to warm up when its sensor is lost.
        number substitute_ect_lag_s { 200.0, 10.0..=2000.0 "s", "engineering judgement" }
        /// Supply voltage taken under the starter when its reading is lost.
        number starter_v { 10.0, 6.0..=12.0 "V", "common practice, no source" }
        /// Supply voltage taken of an engine that runs when its reading is lost.
        number charging_v { 13.8, 12.0..=15.5 "V", "common practice, no source" }
        /// Supply voltage taken of an engine that stands when its reading is lost.
        number standing_v { 12.2, 10.0..=14.0 "V", "common practice, no source" }
        /// Speed from which the alternator counts as charging.
        number charging_from_rad_per_s { 45.0, 20.0..=200.0 "rad/s", "engineering judgement" }
        /// Time constant of supply voltage.
        number battery_s { 0.01, 0.0..=1.0 "s", "engineering judgement" }
        /// Time constant of rail pressure.
        number rail_s { 0.03, 0.0..=2.0 "s", "engineering judgement" }
        /// Highest rail pressure above ambient that is believed.
        number rail_high_pa { 800e3, 200e3..=4000e3 "Pa", "engineering judgement" }
        /// Time constant of intake air and coolant temperature.
        number temperature_s { 0.2, 0.01..=20.0 "s", "engineering judgement" }
        /// Time constant of barometric pressure by its sensor.
        number baro_s { 0.5, 0.01..=60.0 "s", "engineering judgement" }
        /// Time constant of barometric pressure by MAP while the crank stands.
        number baro_standing_s { 0.05, 0.01..=10.0 "s", "engineering judgement" }
        /// Time constant in which a higher MAP raises barometric pressure while the engine runs.
        number baro_rising_s { 1.0, 0.01..=60.0 "s", "engineering judgement" }
        /// Lowest barometric pressure that MAP can tell.
        number baro_low_pa { 50e3, 30e3..=90e3 "Pa", "engineering judgement: above any road" }
        /// Highest barometric pressure that MAP can tell.
        number baro_high_pa { 110e3, 100e3..=120e3 "Pa", "engineering judgement" }
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
/// let belief = controller.state().estimate().belief();
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
    /// The throttle is known to be closed.
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
    /// The wideband output is at one end of its range.
    pub lambda_at_end: bool,
    /// What is substituted.
    pub doubts: Doubts,
}

impl Default for Belief {
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
            doubts: Doubts::default(),
        }
    }
}

impl Belief {
    /// Manifold pressure as the cylinder that is fuelled now will meet it, Pa: by its rate as far ahead as sensor, mean and the way of
    /// the fuel are behind.
    pub fn map_ahead_pa(&self, parameters: &EstimateParameters, interval_s: f32) -> f32 {
        let interval_s = interval_s.held(0.0, parameters.map_ahead_longest_s);
        let ahead_s = parameters.map_ahead_s + parameters.map_ahead_intervals * interval_s;
        (self.map_pa + ahead_s * self.map_rate_pa_per_s)
            .held(0.5 * self.map_pa, (parameters.map_ahead_ratio_high * self.baro_pa).at_least(self.map_pa))
    }

    /// Pressure drop over the injectors, Pa, when they spray into the manifold.
    pub fn drop_pa(&self) -> f32 {
        self.rail_pa + self.baro_pa - self.map_pa
    }

    /// Load: manifold over barometric pressure, ratio.
    pub fn load(&self) -> f32 {
        self.map_pa / self.baro_pa.at_least(LEAST_BARO_PA)
    }
}

/// What is taken before the first reading, K.
const ROOM_K: f32 = 293.0;

/// What the estimate works from.
#[derive(Clone, Copy)]
pub struct EstimateConstants<'a> {
    /// Filters, substitutes, looking ahead.
    pub estimate: &'a EstimateParameters,
    /// What wires show that work.
    pub plausibility: &'a PlausibilityParameters,
    /// Pressure by throttle and speed.
    pub throttle_speed: &'a ThrottleSpeedParameters,
    /// Curves of the sensors.
    pub sensors: &'a SensorParameters,
    /// What follows from the answers.
    pub setup: &'a Setup,
}

/// The believed quantities and what they are worked out from.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Estimate {
    belief: Belief,
    map_sum_v: f32,
    map_count: f32,
    plausible: Plausible,
    /// Opening of the closed and of the open throttle over the curve's.
    fits: [f32; 2],
    /// Idle air valve duty of the step before.
    iac_duty: f32,
}

impl Default for Estimate {
    fn default() -> Self {
        Self {
            belief: Belief::default(),
            map_sum_v: 0.0,
            map_count: 0.0,
            plausible: Plausible::default(),
            fits: [1.0; 2],
            iac_duty: 0.0,
        }
    }
}

impl Estimate {
    /// The believed quantities.
    pub const fn belief(&self) -> &Belief {
        &self.belief
    }

    /// Takes a frame's volts: MAP every time, the others in the quick slot. `iac_duty` is what the idle air valve was last told.
    ///
    /// ```
    /// use trimwright_control::believe::{Estimate, EstimateConstants};
    /// use trimwright_control::clock::Clock;
    /// use trimwright_control::crank::Turning;
    /// use trimwright_control::trouble_codes::{Dtcs, TroubleCodeParameters};
    /// use trimwright_control::{Calibration, Dtc, SetupAnswers};
    /// use trimwright_signals::Frame;
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (parameters, setup) = (calibration.parameters(), calibration.setup());
    /// let constants = EstimateConstants {
    ///     estimate: &parameters.estimate,
    ///     plausibility: &parameters.plausibility,
    ///     throttle_speed: &parameters.throttle_speed,
    ///     sensors: &parameters.sensors,
    ///     setup,
    /// };
    /// let (mut estimate, mut clock, mut dtcs) = (Estimate::default(), Clock::default(), Dtcs::default());
    /// for ms in 0..=600 {
    ///     // Key on, 70 kPa outside; the throttle's wire is shorted to 5 V.
    ///     let mut frame = Frame { time_us: ms * 1000, map_v: 2.9, tp_v: 5.0, ..Frame::default() };
    ///     frame.switches.ignition = true;
    ///     let beat = clock.step(&frame);
    ///     estimate.step(&constants, &frame, &Turning::default(), 0.3, &beat, &mut dtcs.under(&TroubleCodeParameters::DEFAULT));
    /// }
    /// assert!((estimate.belief().map_pa - 70e3).abs() < 10.0);
    /// assert!(estimate.belief().doubts.tp && dtcs.is_set(Dtc::TpHigh));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    #[inline]
    pub fn step(
        &mut self,
        constants: &EstimateConstants<'_>,
        frame: &Frame,
        turning: &Turning,
        iac_duty: f32,
        beat: &Beat,
        reports: &mut Reports<'_>,
    ) {
        self.iac_duty = iac_duty;
        if beat.quick_s > 0.0 {
            self.take_slot(constants, frame, turning, beat.quick_s, reports);
        }
        self.take_pressure(constants, frame, turning);
    }

    /// All but pressure. Kept out of line: nine steps of ten pass it by.
    #[inline(never)]
    fn take_slot(
        &mut self,
        constants: &EstimateConstants<'_>,
        frame: &Frame,
        turning: &Turning,
        dt_s: f32,
        reports: &mut Reports<'_>,
    ) {
        let &EstimateConstants { estimate, plausibility, throttle_speed, sensors, setup } = constants;
        let throttle_was_doubted = self.belief.doubts.tp;
        let (richest, leanest, lambda_falls) = sensors.lambda_range();
        let evidence =
            Evidence { frame, turning, throttle_speed: self.throttle_speed(turning), lambda_falls };
        self.belief.doubts = self.plausible.step(plausibility, throttle_speed, &evidence, dt_s, reports);
        self.take_throttle(constants, frame, throttle_was_doubted, dt_s);
        self.belief.lambda = along_beyond(&sensors.lambda, frame.o2_v).held(richest, leanest);
        self.belief.lambda_at_end = !within(frame.o2_v, plausibility.lambda_v());
        self.take_supply(constants, frame, turning, dt_s);
        self.take_temperatures(estimate, setup, frame, turning, dt_s);
        self.take_baro(constants, frame, turning, dt_s);
        self.take_fit(throttle_speed, turning, dt_s);
    }

    /// What pressure is worked out from when MAP is lost.
    fn throttle_speed(&self, turning: &Turning) -> ThrottleSpeed {
        let Belief { map_pa, baro_pa, tp, .. } = self.belief;
        let speed_rad_per_s = turning.speed_rad_per_s;
        ThrottleSpeed { map_pa, baro_pa, tp, iac_duty: self.iac_duty, speed_rad_per_s }
    }

    fn take_throttle(
        &mut self,
        &EstimateConstants { estimate, sensors, .. }: &EstimateConstants<'_>,
        frame: &Frame,
        was_doubted: bool,
        dt_s: f32,
    ) {
        let now = &mut self.belief;
        let tp = if now.doubts.tp {
            estimate.substitute_tp
        } else {
            along_beyond(&sensors.tp, frame.tp_v).held(0.0, 1.0)
        };
        now.tp_rate_per_s = if now.doubts.tp || was_doubted { 0.0 } else { (tp - now.tp) / dt_s };
        now.tp = tp;
        now.throttle_closed = tp < estimate.closed_tp && !now.doubts.tp;
    }

    /// Sums pressure up until a cylinder fires: the mean over a firing interval is free of its ripple.
    #[inline]
    fn take_pressure(&mut self, constants: &EstimateConstants<'_>, frame: &Frame, turning: &Turning) {
        if within(frame.map_v, constants.plausibility.ratiometric_v()) {
            self.map_sum_v += frame.map_v;
            self.map_count += 1.0;
        } else {
            self.belief.doubts.map = true;
        }
        let due = turning.firings > 0 || self.map_count >= constants.estimate.map_frames;
        if due || self.belief.doubts.map {
            self.close_pressure(constants, turning, due);
        }
    }

    /// Takes the mean since the last firing, or what the throttle says when the wire is doubted.
    #[inline(never)]
    fn close_pressure(&mut self, constants: &EstimateConstants<'_>, turning: &Turning, due: bool) {
        let &EstimateConstants { estimate, throttle_speed, sensors, .. } = constants;
        if self.belief.doubts.map && (due || turning.speed_rad_per_s == 0.0) {
            let [closed, open] = self.fits;
            let fit = if self.belief.tp < throttle_speed.closed_tp { closed } else { open };
            self.belief.map_pa = self.throttle_speed(turning).estimated_map_pa(throttle_speed, fit);
            self.belief.map_rate_pa_per_s = 0.0;
            (self.map_sum_v, self.map_count) = (0.0, 0.0);
        } else if due && self.map_count > 0.0 {
            let now = &mut self.belief;
            let mean_pa = along_beyond(&sensors.map_pa, self.map_sum_v / self.map_count);
            let moved_pa = mean_pa - now.map_pa;
            let moved_pa = along(&estimate.map_trust, moved_pa.abs()) * moved_pa;
            now.map_pa += moved_pa;
            let gone_s = turning.gone_s.held(0.0, estimate.map_rate_longest_s);
            now.map_rate_pa_per_s +=
                (moved_pa - now.map_rate_pa_per_s * gone_s) / (estimate.map_rate_s + gone_s);
            (self.map_sum_v, self.map_count) = (0.0, 0.0);
        }
    }

    fn take_supply(
        &mut self,
        &EstimateConstants { estimate, sensors, setup, .. }: &EstimateConstants<'_>,
        frame: &Frame,
        turning: &Turning,
        dt_s: f32,
    ) {
        let substitute_v = if frame.switches.starter {
            estimate.starter_v
        } else if turning.speed_rad_per_s > estimate.charging_from_rad_per_s {
            estimate.charging_v
        } else {
            estimate.standing_v
        };
        let now = &mut self.belief;
        let battery_v = if now.doubts.battery { substitute_v } else { frame.battery_v };
        follow(&mut now.battery_v, battery_v, dt_s, estimate.battery_s);
        let wanted_pa = setup.answers().rail_pressure_pa;
        let rail_pa = if now.doubts.rail { wanted_pa } else { along_beyond(&sensors.frp_pa, frame.frp_v) };
        follow(&mut now.rail_pa, rail_pa.held(0.0, estimate.rail_high_pa), dt_s, estimate.rail_s);
    }

    fn take_temperatures(
        &mut self,
        estimate: &EstimateParameters,
        setup: &Setup,
        frame: &Frame,
        turning: &Turning,
        dt_s: f32,
    ) {
        let now = &mut self.belief;
        let iat_k = if now.doubts.iat { estimate.substitute_iat_k } else { setup.iat().kelvin(frame.iat_v) };
        follow(&mut now.iat_k, iat_k, dt_s, estimate.temperature_s);
        if !now.doubts.ect {
            follow(&mut now.ect_k, setup.ect().kelvin(frame.ect_v), dt_s, estimate.temperature_s);
        } else if turning.speed_rad_per_s > 0.0 {
            follow(&mut now.ect_k, estimate.substitute_ect_k, dt_s, estimate.substitute_ect_lag_s);
        }
    }

    /// Learns how the throttle of this engine opens, closed and open apart, for the day MAP is lost.
    fn take_fit(&mut self, parameters: &ThrottleSpeedParameters, turning: &Turning, dt_s: f32) {
        let now = &self.belief;
        if turning.speed_rad_per_s > parameters.fit_from_rad_per_s
            && !now.doubts.map
            && !now.doubts.tp
            && now.tp_rate_per_s.abs() < parameters.fit_still_per_s
        {
            let fit = self.throttle_speed(turning).fit(parameters);
            let [closed, open] = &mut self.fits;
            follow(if now.tp < parameters.closed_tp { closed } else { open }, fit, dt_s, parameters.fit_s);
        }
    }

    /// By the sensor on the board; without it, MAP while the crank stands, raised by any higher MAP.
    fn take_baro(
        &mut self,
        &EstimateConstants { estimate, plausibility, sensors, .. }: &EstimateConstants<'_>,
        frame: &Frame,
        turning: &Turning,
        dt_s: f32,
    ) {
        let now = &mut self.belief;
        let baro_pa = now.map_pa.held(estimate.baro_low_pa, estimate.baro_high_pa);
        if within(frame.baro_v, plausibility.baro_v()) {
            follow(&mut now.baro_pa, along_beyond(&sensors.baro_pa, frame.baro_v), dt_s, estimate.baro_s);
        } else if turning.speed_rad_per_s == 0.0
            && frame.switches.ignition
            && !frame.switches.starter
            && !now.doubts.map
        {
            follow(&mut now.baro_pa, baro_pa, dt_s, estimate.baro_standing_s);
        } else if now.map_pa > now.baro_pa {
            follow(&mut now.baro_pa, baro_pa, dt_s, estimate.baro_rising_s);
        }
    }
}

/// Moves `held` towards `value` with a time constant.
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
    ) -> (Belief, Dtcs) {
        let calibration = Calibration::new(&SetupAnswers::default(), parameters).unwrap();
        let constants = EstimateConstants {
            estimate: &parameters.estimate,
            plausibility: &parameters.plausibility,
            throttle_speed: &parameters.throttle_speed,
            sensors: &parameters.sensors,
            setup: calibration.setup(),
        };
        let turning = Turning { speed_rad_per_s, ..Turning::default() };
        let (mut estimate, mut dtcs) = (Estimate::default(), Dtcs::default());
        let mut frame = frame.clone();
        for step in 0..(seconds * 1000.0) as u32 {
            frame.map_v += if step % 3 == 0 { 0.002 } else { -0.001 };
            frame.o2_v += if step % 3 == 0 { 0.002 } else { -0.001 };
            frame.frp_v += if step % 3 == 0 { 0.002 } else { -0.001 };
            let quick_s = if step % 10 == 0 { 0.01 } else { 0.0 };
            let beat = Beat { dt_s: 0.001, quick_s, ..Beat::default() };
            estimate.step(
                &constants,
                &frame,
                &turning,
                0.3,
                &beat,
                &mut dtcs.under(&TroubleCodeParameters::DEFAULT),
            );
        }
        (estimate.belief, dtcs)
    }

    fn settle(frame: &Frame, speed_rad_per_s: f32, seconds: f32) -> (Belief, Dtcs) {
        settle_by(&Parameters::DEFAULT, frame, speed_rad_per_s, seconds)
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
        let (belief, dtcs) = settle_by(&parameters, &frame(), 80.0, 3.0);
        assert!((belief.map_pa - (20e3 + 1.3 / 4.25 * 230e3)).abs() < 250.0, "{}", belief.map_pa);
        assert_eq!((belief.doubts, dtcs.stored().count()), (Doubts::default(), 0));
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
    fn pressure_is_looked_ahead_by_its_rate_and_no_farther_than_it_levels_off() {
        let estimate = EstimateParameters::DEFAULT;
        // A tip-in: 50 kPa, rising by 2 kPa each 10 ms. The next cylinder will meet more.
        let tip_in = Belief { map_pa: 50e3, map_rate_pa_per_s: 200e3, ..Belief::default() };
        assert!((tip_in.map_ahead_pa(&estimate, 0.01) - 55.2e3).abs() < 1.0);
        let steady = Belief { map_rate_pa_per_s: 0.0, ..tip_in.clone() };
        assert_eq!(steady.map_ahead_pa(&estimate, 0.01), 50e3);
        let ends = Belief { map_pa: 90e3, ..tip_in };
        assert!((ends.map_ahead_pa(&estimate, 0.01) - 0.92 * 101_325.0).abs() < 1.0);
    }

    /// The rail is held over ambient; the vacuum of idle pulls too: more fuel for the same pulse.
    #[test]
    fn the_pressure_drop_counts_from_the_manifold() {
        let idle = Belief { rail_pa: 300e3, baro_pa: 100e3, map_pa: 35e3, ..Belief::default() };
        assert_eq!(idle.drop_pa(), 365e3);
    }
}
