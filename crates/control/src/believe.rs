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
//! A wire outside 0.25 to 4.75 V (ratiometric) or at the end of its thermistor's range is not believed: the quantity is
//! substituted at once, its flag in [`Doubts`] rises, and a trouble code sets when it lasts.

use trimwright_numerics::Real;
use trimwright_signals::Frame;

use crate::calibration::Calibration;
use crate::clock::Beat;
use crate::crank::Crank;
use crate::dtc::{Dtc, Dtcs};
use crate::table::along;

/// Lowest and highest volts of a ratiometric sensor that works.
const RATIOMETRIC_V: (f32, f32) = (0.25, 4.75);
/// Lowest and highest volts of a thermistor between about 150 and -45 degC.
const THERMISTOR_V: (f32, f32) = (0.3, 4.97);
/// Lowest and highest volts of the wideband output that mean a reading.
const LAMBDA_V: (f32, f32) = (0.04, 4.96);
/// Time without any change of the raw volts of MAP in a turning engine after which it counts as stuck, s.
const STUCK_S: f32 = 0.3;
/// Mean change from slot to slot above which a wire counts as noisy, V.
const NOISY_V: f32 = 0.12;

/// What is substituted or not believed.
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
    /// The lambda reading means nothing.
    pub lambda: bool,
}

impl Doubts {
    /// Whether a quantity that the fuel is worked out from is substituted.
    pub const fn fuel(&self) -> bool {
        self.map || self.tp || self.ect || self.iat || self.rail || self.battery
    }
}

/// How a wire behaves over time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Wire {
    last_v: f32,
    same_s: f32,
    jitter_v: f32,
}

impl Wire {
    fn step(&mut self, volts: f32, dt_s: f32) {
        let change_v = (volts - self.last_v).abs();
        self.same_s = if change_v > 1e-5 { 0.0 } else { self.same_s + dt_s };
        self.jitter_v += 0.04 * (change_v.held(0.0, 5.0) - self.jitter_v);
        self.last_v = volts.held(-1.0, 6.0);
    }
}

/// The believed quantities.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Belief {
    /// Manifold absolute pressure, mean over the last firing interval, Pa.
    pub map_pa: f32,
    /// Barometric pressure, Pa: MAP while the crank stood, raised by any higher MAP.
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
    pub(crate) map_wire: Wire,
    pub(crate) tp_wire: Wire,
    pub(crate) lambda_wire: Wire,
    pub(crate) ect_wire: Wire,
    pub(crate) not_ready_s: f32,
}

impl Default for Belief {
    fn default() -> Self {
        Self {
            map_pa: 101_325.0,
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
            map_wire: Wire::default(),
            tp_wire: Wire::default(),
            lambda_wire: Wire::default(),
            ect_wire: Wire::default(),
            not_ready_s: 0.0,
        }
    }
}

impl Belief {
    /// Takes a frame's volts: MAP every time, the others in the quick slot.
    pub fn step(
        &mut self,
        calibration: &Calibration,
        frame: &Frame,
        crank: &Crank,
        beat: &Beat,
        dtcs: &mut Dtcs,
    ) {
        if beat.quick_s > 0.0 {
            self.take_throttle(frame, beat.quick_s);
            self.take_lambda(frame, beat.quick_s);
            self.take_slow_wires(calibration, frame, crank, beat.quick_s, dtcs);
            self.watch_pressure(frame, crank, beat.quick_s);
            self.report(frame, crank, beat.quick_s, dtcs);
        }
        self.take_pressure(frame, crank);
    }

    /// Pressure drop over the injectors, Pa, when they spray into the manifold.
    pub fn drop_pa(&self) -> f32 {
        self.rail_pa + self.baro_pa - self.map_pa
    }

    fn take_throttle(&mut self, frame: &Frame, dt_s: f32) {
        self.tp_wire.step(frame.tp_v, dt_s);
        let was_doubted = self.doubts.tp;
        self.doubts.tp = !within(frame.tp_v, RATIOMETRIC_V) || self.tp_wire.jitter_v > NOISY_V;
        let tp = if self.doubts.tp { SUBSTITUTE_TP } else { ((frame.tp_v - 0.5) / 4.0).held(0.0, 1.0) };
        self.tp_rate_per_s = if self.doubts.tp || was_doubted { 0.0 } else { (tp - self.tp) / dt_s };
        self.tp = tp;
    }

    /// Sums pressure up until a cylinder fires: the mean over a firing interval is free of its ripple.
    fn take_pressure(&mut self, frame: &Frame, crank: &Crank) {
        if within(frame.map_v, RATIOMETRIC_V) {
            self.map_sum_v += frame.map_v;
            self.map_count += 1.0;
        } else {
            self.doubts.map = true;
        }
        let due = crank.firings > 0 || self.map_count >= 40.0;
        if self.doubts.map && (due || crank.speed_rad_per_s == 0.0) {
            self.map_pa = map_by_throttle_pa(self.baro_pa, self.tp, crank.speed_rad_per_s);
            (self.map_sum_v, self.map_count) = (0.0, 0.0);
        } else if due && self.map_count > 0.0 {
            let mean_pa = 10e3 + (self.map_sum_v / self.map_count - 0.5) * 25e3;
            let moved_pa = mean_pa - self.map_pa;
            self.map_pa += along(&MAP_TRUST, moved_pa.abs()) * moved_pa;
            (self.map_sum_v, self.map_count) = (0.0, 0.0);
        }
    }

    fn watch_pressure(&mut self, frame: &Frame, crank: &Crank, dt_s: f32) {
        self.map_wire.step(frame.map_v, dt_s);
        self.doubts.map = !within(frame.map_v, RATIOMETRIC_V)
            || (crank.speed_rad_per_s > 30.0 && self.map_wire.same_s > STUCK_S)
            || self.map_wire.jitter_v > NOISY_V;
    }

    fn take_lambda(&mut self, frame: &Frame, dt_s: f32) {
        self.lambda_wire.step(frame.o2_v, dt_s);
        self.lambda = (0.68 + 0.136 * frame.o2_v).held(0.68, 1.36);
        self.lambda_at_end = !within(frame.o2_v, LAMBDA_V);
        let dead = self.lambda_wire.same_s > 5.0 || self.lambda_wire.jitter_v > NOISY_V;
        self.doubts.lambda = !frame.switches.o2_ready || !frame.o2_v.is_finite() || dead;
    }

    fn take_slow_wires(
        &mut self,
        calibration: &Calibration,
        frame: &Frame,
        crank: &Crank,
        dt_s: f32,
        dtcs: &Dtcs,
    ) {
        let lag = |held: &mut f32, value: f32, tau_s: f32| *held += dt_s / (tau_s + dt_s) * (value - *held);
        self.doubts.battery = !within(frame.battery_v, (5.5, 18.0));
        lag(&mut self.battery_v, if self.doubts.battery { 13.0 } else { frame.battery_v }, 0.01);
        self.doubts.rail = !within(frame.frp_v, RATIOMETRIC_V) || dtcs.is_set(Dtc::FrpPerformance);
        let wanted_pa = calibration.answers().rail_pressure_pa;
        let rail_pa = if self.doubts.rail { wanted_pa } else { (frame.frp_v - 0.5) * 175e3 };
        lag(&mut self.rail_pa, rail_pa.held(0.0, 800e3), 0.03);
        self.doubts.iat = !within(frame.iat_v, THERMISTOR_V);
        let iat_k =
            if self.doubts.iat { SUBSTITUTE_IAT_K } else { calibration.thermistor().kelvin(frame.iat_v) };
        lag(&mut self.iat_k, iat_k, 0.2);
        self.ect_wire.step(frame.ect_v, dt_s);
        self.doubts.ect = !within(frame.ect_v, THERMISTOR_V) || self.ect_wire.jitter_v > NOISY_V;
        if !self.doubts.ect {
            lag(&mut self.ect_k, calibration.thermistor().kelvin(frame.ect_v), 0.2);
        } else if crank.speed_rad_per_s > 0.0 {
            lag(&mut self.ect_k, SUBSTITUTE_ECT_K, 200.0);
        }
        if crank.speed_rad_per_s == 0.0 && frame.switches.ignition && !self.doubts.map {
            lag(&mut self.baro_pa, self.map_pa.held(50e3, 110e3), 0.05);
        } else if self.map_pa > self.baro_pa {
            lag(&mut self.baro_pa, self.map_pa.held(50e3, 110e3), 1.0);
        }
    }

    fn report(&mut self, frame: &Frame, crank: &Crank, dt_s: f32, dtcs: &mut Dtcs) {
        let on = frame.switches.ignition;
        let running = crank.speed_rad_per_s > 45.0;
        let stuck = running && self.map_wire.same_s > STUCK_S && within(frame.map_v, RATIOMETRIC_V);
        self.not_ready_s = if running && !frame.switches.o2_ready { self.not_ready_s + dt_s } else { 0.0 };
        let hot_sensor = running && frame.switches.o2_ready;
        let cranked = on && frame.switches.starter;
        let findings = [
            (Dtc::MapLow, on && below(frame.map_v, RATIOMETRIC_V)),
            (Dtc::MapHigh, on && frame.map_v > RATIOMETRIC_V.1),
            (Dtc::MapPerformance, stuck || (running && self.map_wire.jitter_v > NOISY_V)),
            (Dtc::TpLow, on && below(frame.tp_v, RATIOMETRIC_V)),
            (Dtc::TpHigh, on && frame.tp_v > RATIOMETRIC_V.1),
            (Dtc::TpPerformance, on && self.tp_wire.jitter_v > NOISY_V),
            (Dtc::EctLow, on && below(frame.ect_v, THERMISTOR_V)),
            (Dtc::EctHigh, on && frame.ect_v > THERMISTOR_V.1),
            (Dtc::EctPerformance, on && self.ect_wire.jitter_v > NOISY_V),
            (Dtc::IatLow, on && below(frame.iat_v, THERMISTOR_V)),
            (Dtc::IatHigh, on && frame.iat_v > THERMISTOR_V.1),
            (Dtc::FrpLow, on && below(frame.frp_v, RATIOMETRIC_V)),
            (Dtc::FrpHigh, on && frame.frp_v > RATIOMETRIC_V.1),
            (Dtc::O2Low, hot_sensor && below(frame.o2_v, (0.005, 5.0))),
            (Dtc::O2High, hot_sensor && frame.o2_v > 4.995),
            (
                Dtc::O2NoActivity,
                hot_sensor && (self.lambda_wire.same_s > 5.0 || self.lambda_wire.jitter_v > NOISY_V),
            ),
            (Dtc::O2Heater, self.not_ready_s > 60.0),
            (Dtc::VoltsLow, running && below(frame.battery_v, (11.0, 16.0))),
            (Dtc::VoltsHigh, on && frame.battery_v > 16.0),
            (Dtc::CrankSilent, cranked && crank.speed_rad_per_s == 0.0),
            (Dtc::CrankPerformance, crank.is_troubled()),
        ];
        for (dtc, found) in findings {
            dtcs.report(dtc, found, dt_s);
        }
    }
}

/// Share of a change of mean pressure that is taken at once against its size, Pa: small ones are mostly the ripple that a few
/// samples do not average out (engineering judgement).
const MAP_TRUST: [(f32, f32); 2] = [(300.0, 0.35), (1200.0, 1.0)];
/// Throttle position taken when the sensor is lost: off idle, no enrichment.
const SUBSTITUTE_TP: f32 = 0.12;
/// Intake air temperature taken when the sensor is lost, K.
const SUBSTITUTE_IAT_K: f32 = 308.0;
/// Coolant temperature a running engine is guessed to come to when the sensor is lost, K.
const SUBSTITUTE_ECT_K: f32 = 358.0;

fn within(volts: f32, (low, high): (f32, f32)) -> bool {
    volts >= low && volts <= high
}

/// Below the range, or no number at all.
fn below(volts: f32, (low, _): (f32, f32)) -> bool {
    volts < low || volts.is_nan()
}

/// Manifold pressure from throttle and speed when MAP is lost, Pa: a throttle of opening `a` before a pump of speed `n`
/// gives about `p0 a / sqrt(a^2 + (n/n0)^2)` (engineering judgement: exact for neither end, right in trend).
pub fn map_by_throttle_pa(baro_pa: f32, tp: f32, speed_rad_per_s: f32) -> f32 {
    let open = along(&OPENING, tp);
    let demand = speed_rad_per_s / 900.0;
    baro_pa * (open / Real::sqrt(open * open + demand * demand).max(1e-3)).held(0.2, 1.0)
}

/// Effective opening, idle air included, against throttle position.
const OPENING: [(f32, f32); 5] = [(0.0, 0.035), (0.1, 0.09), (0.3, 0.35), (0.6, 1.0), (1.0, 1.8)];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setup::SetupAnswers;

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
            let quick_s = if step % 10 == 0 { 0.01 } else { 0.0 };
            belief.step(
                &calibration,
                &frame,
                &crank,
                &Beat { dt_s: 0.001, quick_s, ..Beat::default() },
                &mut dtcs,
            );
        }
        (belief, dtcs)
    }

    #[test]
    fn nominal_curves_are_undone() {
        let (belief, dtcs) = settle(&frame(), 80.0, 3.0);
        assert!((belief.map_pa - 40e3).abs() < 100.0);
        assert!((belief.tp - 0.1).abs() < 1e-6);
        assert!((belief.rail_pa - 297_500.0).abs() < 100.0);
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
                dtcs.active().collect::<heapless::Vec<_, 29>>()
            );
            assert!(flag(&belief.doubts) && belief.doubts.fuel(), "{dtc:?}");
            assert!(belief.map_pa > 15e3 && belief.ect_k > 250.0 && belief.rail_pa > 100e3);
        }
    }

    #[test]
    fn barometric_pressure_is_read_while_the_crank_stands() {
        let high_up = Frame { map_v: 0.5 + 70e3 / 25e3 - 0.4, ..frame() };
        assert!((settle(&high_up, 0.0, 1.0).0.baro_pa - 70e3).abs() < 200.0);
    }

    #[test]
    fn without_map_the_throttle_and_the_speed_give_a_pressure() {
        let closed = map_by_throttle_pa(101e3, 0.0, 75.0);
        let open = map_by_throttle_pa(101e3, 1.0, 300.0);
        assert!((25e3..60e3).contains(&closed) && open > 90e3, "{closed} {open}");
        assert!(map_by_throttle_pa(101e3, 0.2, 300.0) < map_by_throttle_pa(101e3, 0.2, 150.0));
    }
}
