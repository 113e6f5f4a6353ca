//! Pressures, throttle position and temperatures as voltages.

use crate::check::{OutOfRange, within};
use crate::faults::{Circuit, Faults};
use crate::noise::Noise;
use crate::round::nearest;
use crate::thermistor::thermistor_v;
use trimwright_numerics::Real;
use trimwright_signals::Frame;

/// Converter: 12 bit over 5 V.
const CODES_PER_V: f64 = 4096.0 / 5.0;
const V_PER_CODE: f64 = 5.0 / 4096.0;

/// Sensors other than the oxygen sensor. Ratiometric ones give 0.5 to 4.5 V over their range.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensors {
    /// Time constant of the MAP sensor with its hose, s, 0.001 to 0.2.
    pub map_tau_s: f64,
    /// Constant error of the MAP sensor, Pa, -5e3 to 5e3.
    pub map_offset_pa: f64,
    /// Swing of manifold pressure within a firing interval at the sensor, Pa, 0 to 5e3.
    pub map_ripple_pa: f64,
    /// Standard deviation of the noise on every analog input, V, 0 to 0.1.
    pub noise_v: f64,
    /// Vehicle speed pulses per metre, 0.5 to 50.
    pub pulses_per_m: f64,
}

impl Sensors {
    pub(crate) fn check(&self) -> Result<(), OutOfRange> {
        within("sensors.map_tau_s", self.map_tau_s, 0.001, 0.2)?;
        within("sensors.map_offset_pa", self.map_offset_pa, -5e3, 5e3)?;
        within("sensors.map_ripple_pa", self.map_ripple_pa, 0.0, 5e3)?;
        within("sensors.noise_v", self.noise_v, 0.0, 0.1)?;
        within("sensors.pulses_per_m", self.pulses_per_m, 0.5, 50.0)
    }
}

/// What a converter of 12 bit makes of `volts`.
#[inline]
fn converted(volts: f64) -> f32 {
    let code = nearest((volts * CODES_PER_V).held(0.0, 4095.0));
    (code * V_PER_CODE) as f32
}

/// Reads a channel anew, unless it is stuck.
#[inline]
fn read(
    reading_v: &mut f32,
    circuit: Circuit,
    (sound_v, open_v): (f64, f64),
    extra_v: f64,
    noise: &mut Noise,
) {
    if let Some(volts) = circuit.volts(sound_v, open_v, noise) {
        *reading_v = converted(volts + extra_v);
    }
}

/// 0.5 to 4.5 V over `low..high`, saturating a little outside as such sensors do.
#[inline]
fn ratiometric(value: f64, low: f64, high: f64) -> f64 {
    (0.5 + (value - low) * (4.0 / (high - low))).held(0.2, 4.8)
}

/// True quantities at the sensors.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sensed {
    pub(crate) map_pa: f64,
    /// Share of the present firing interval that has passed, 0 to 1.
    pub(crate) phase: f64,
    /// The crank turns.
    pub(crate) turning: bool,
    pub(crate) throttle: f64,
    pub(crate) o2_v: f64,
    pub(crate) vehicle_m_per_s: f64,
}

/// Lags and slow voltages.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct SensorsState {
    map_pa: f64,
    ect_v: f64,
    iat_v: f64,
}

impl SensorsState {
    pub(crate) fn new(map_pa: f64) -> Self {
        Self { map_pa, ect_v: 0.0, iat_v: 0.0 }
    }

    /// Thermistors, which change slowly; every 0.1 s.
    pub(crate) fn warm(&mut self, coolant_k: f64, iat_k: f64) {
        self.ect_v = thermistor_v(coolant_k);
        self.iat_v = thermistor_v(iat_k);
    }

    /// Channels that the converter visits every 10 ms: temperatures, rail pressure, supply (through a divider
    /// by four). Outside pressure comes from the controller's own board: no wire of it can break or pick up noise.
    pub(crate) fn slow(
        &mut self,
        sensors: &Sensors,
        faults: &Faults,
        noise: &mut Noise,
        (rail_pa, outside_pa): (f64, f64),
        supply_v: f64,
        frame: &mut Frame,
    ) {
        frame.baro_v = converted(ratiometric(outside_pa, 10e3, 110e3));
        let frp_v = ratiometric(rail_pa, 0.0, 700e3);
        let ([ect, iat], [frp, supply]) = (noise.bells(), noise.bells());
        let noise_v = sensors.noise_v;
        read(&mut frame.ect_v, faults.ect, (self.ect_v, 5.0), noise_v * ect, noise);
        read(&mut frame.iat_v, faults.iat, (self.iat_v, 5.0), noise_v * iat, noise);
        read(&mut frame.frp_v, faults.frp, (frp_v, 0.0), noise_v * frp, noise);
        let mut divided_v = 0.25 * frame.battery_v;
        read(&mut divided_v, faults.battery, (0.25 * supply_v, 0.0), noise_v * supply, noise);
        frame.battery_v = 4.0 * divided_v;
    }

    /// Channels of every step: manifold pressure, throttle, mixture, road speed. `map_share` is the part of
    /// the way that the MAP lag goes in this step.
    #[inline]
    pub(crate) fn step(
        &mut self,
        sensors: &Sensors,
        faults: &Faults,
        noise: &mut Noise,
        sensed: &Sensed,
        map_share: f64,
        frame: &mut Frame,
    ) {
        // A parabola over the firing interval with mean zero: highest when an intake valve opens.
        let wave = 1.0 - 6.0 * sensed.phase * (1.0 - sensed.phase);
        let ripple_pa = if sensed.turning { sensors.map_ripple_pa * wave } else { 0.0 };
        self.map_pa += map_share * (sensed.map_pa + ripple_pa - self.map_pa);
        let map_v = ratiometric(self.map_pa + sensors.map_offset_pa, 10e3, 110e3);
        let tp_v = ratiometric(sensed.throttle, 0.0, 1.0);
        let [map, tp] = noise.bells();
        read(&mut frame.map_v, faults.map, (map_v, 0.0), sensors.noise_v * map, noise);
        read(&mut frame.tp_v, faults.tp, (tp_v, 0.0), sensors.noise_v * tp, noise);
        read(&mut frame.o2_v, faults.o2, (sensed.o2_v, 0.0), 0.0, noise);
        let hz = if faults.vss_lost { 0.0 } else { sensed.vehicle_m_per_s * sensors.pulses_per_m };
        frame.vss_hz = hz as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(faults: &Faults) -> Frame {
        let mut frame = Frame::default();
        read_all(faults, 60e3, &mut Noise::new(1), &mut frame);
        frame
    }

    fn read_all(faults: &Faults, map_pa: f64, noise: &mut Noise, frame: &mut Frame) {
        let sensors = Sensors {
            noise_v: 0.0,
            map_ripple_pa: 0.0,
            map_offset_pa: 0.0,
            ..crate::Truth::mild_v8().sensors
        };
        let sensed =
            Sensed { map_pa, phase: 0.3, turning: true, throttle: 0.25, o2_v: 2.0, vehicle_m_per_s: 10.0 };
        let mut state = SensorsState::new(map_pa);
        state.warm(363.15, 298.15);
        state.slow(&sensors, faults, noise, (300e3, 84e3), 13.8, frame);
        state.step(&sensors, faults, noise, &sensed, 0.1, frame);
    }

    #[test]
    fn voltages_stand_for_their_quantities_to_one_code() {
        let frame = frame(&Faults::default());
        for (volts, want) in [
            (frame.map_v, 2.5),
            (frame.tp_v, 1.5),
            (frame.frp_v, 0.5 + 4.0 * 3.0 / 7.0),
            (frame.baro_v, 0.5 + 4.0 * 0.74),
            (frame.o2_v, 2.0),
            (frame.battery_v / 4.0, 3.45),
            (frame.iat_v, 5.0 * 10_000.0 / 12_490.0),
        ] {
            assert!((f64::from(volts) - want).abs() < 1.0 / CODES_PER_V, "{volts} {want}");
        }
    }

    #[test]
    fn broken_circuits_read_their_rails() {
        let faults = Faults {
            ect: Circuit::Open,
            iat: Circuit::Grounded,
            map: Circuit::Supplied,
            ..Faults::default()
        };
        let frame = frame(&faults);
        assert!(frame.ect_v > 4.99 && frame.iat_v == 0.0 && frame.map_v > 4.99);
    }

    #[test]
    fn a_stuck_wire_keeps_its_reading_and_a_noisy_one_jumps_about_the_truth() {
        let (mut stuck, mut noise) = (frame(&Faults::default()), Noise::new(3));
        let faults = Faults { map: Circuit::Stuck, battery: Circuit::Stuck, ..Faults::default() };
        read_all(&faults, 90e3, &mut noise, &mut stuck);
        assert_eq!((stuck.map_v, stuck.battery_v), (2.5, frame(&Faults::default()).battery_v));
        let faults = Faults { map: Circuit::Noisy, ..Faults::default() };
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..10_000 {
            read_all(&faults, 60e3, &mut noise, &mut stuck);
            let off_v = f64::from(stuck.map_v) - 2.5;
            (sum, squares) = (sum + off_v, squares + off_v * off_v);
        }
        assert!((sum / 1e4).abs() < 0.02 && (squares / 1e4 - 0.25).abs() < 0.02, "{sum} {squares}");
    }
}
