//! Sensors: pressures, throttle position, temperatures and vehicle speed as electrical signals.

use crate::faults::{Circuit, Faults};
use crate::noise::Noise;
use crate::round::nearest;
use crate::thermistor::{SENDER_POINTS, SenderKind, TEN_KILO_OHM, sender_v};
use crate::transfer::{POINTS, Transfer};
use trimwright_numerics::Real;
use trimwright_signals::Frame;

/// Analog-to-digital converter: 12 bit over 5 V.
const CODES_PER_V: f64 = 4096.0 / 5.0;
const V_PER_CODE: f64 = 5.0 / 4096.0;
/// A sender of the 2 kOhm class, K and ohm (common practice, no source).
const SMALL_SENDER: [(f64, f64); 9] = [
    (233.15, 45_313.0),
    (253.15, 15_462.0),
    (273.15, 5896.0),
    (293.15, 2500.0),
    (313.15, 1175.0),
    (333.15, 596.0),
    (353.15, 323.0),
    (373.15, 187.0),
    (393.15, 113.0),
];

trimwright_numerics::parameters! {
    /// Sensor curves, senders, noise, the wideband controller's output curve and the trigger's pulse count.
    ///
    /// A curve relates volts to a quantity. It may rise or fall, and is extrapolated beyond its first and last point up to the limits in
    /// volts.
    ///
    /// ```
    /// use trimwright_plant::{Plant, Truth};
    /// let volts = |points| {
    ///     let mut truth = Truth::mild_v8();
    ///     (truth.sensors.baro_pa, truth.sensors.noise_v) = (points, 0.0);
    ///     let mut plant = Plant::new(truth, 1).expect("a truth");
    ///     plant.step(&Default::default(), &Default::default(), 1e-3).baro_v
    /// };
    /// let three_bar = trimwright_numerics::parameters::padded([(0.5, 0.0), (4.5, 300e3)]);
    /// assert!((volts(three_bar) - 1.85).abs() < 2e-3 && volts(Truth::mild_v8().sensors.baro_pa) > 4.1);
    /// ```
    pub struct Sensors<f64> "sensors" {
        /// Time constant of the MAP sensor with its hose.
        number map_tau_s { 0.007, 0.001..=0.2 "s", "engineering judgement" }
        /// Constant error of the MAP sensor.
        number map_offset_pa { 0.0, -5e3..=5e3 "Pa", "engineering judgement" }
        /// Peak of the manifold pressure ripple within a firing interval, at the sensor.
        number map_ripple_pa { 500.0, 0.0..=5e3 "Pa", "engineering judgement" }
        /// Standard deviation of the noise of every analog input but the oxygen sensor's.
        number noise_v { 0.004, 0.0..=0.1 "V", "engineering judgement" }
        /// Vehicle speed pulses per metre.
        number pulses_per_m { 5.0, 0.5..=50.0 "1/m", "engineering judgement" }
        /// Manifold absolute pressure against the MAP sensor's volts.
        curve map_pa {
            [POINTS] = [(0.5, 10e3), (4.5, 110e3)],
            0.0..=5.0 "V" => 0.0..=500e3 "Pa",
            "common practice, no source: ratiometric over 0.5 to 4.5 V"
        }
        /// Lowest and highest volts of the MAP sensor.
        list map_limits_v {
            [2] = [0.2, 4.8],
            0.0..=5.0 "V",
            "engineering judgement: ratiometric sensors saturate a little outside their range"
        }
        /// Barometric pressure against the volts of the sensor on the board.
        curve baro_pa {
            [POINTS] = [(0.5, 10e3), (4.5, 110e3)],
            0.0..=5.0 "V" => 0.0..=500e3 "Pa",
            "common practice, no source: ratiometric over 0.5 to 4.5 V"
        }
        /// Lowest and highest volts of the barometric pressure sensor.
        list baro_limits_v {
            [2] = [0.2, 4.8],
            0.0..=5.0 "V",
            "engineering judgement: ratiometric sensors saturate a little outside their range"
        }
        /// Throttle position against the TP sensor's volts.
        curve tp {
            [POINTS] = [(0.5, 0.0), (4.5, 1.0)],
            0.0..=5.0 "V" => 0.0..=1.0 "1",
            "common practice, no source: ratiometric over 0.5 to 4.5 V"
        }
        /// Lowest and highest volts of the TP sensor.
        list tp_limits_v {
            [2] = [0.2, 4.8],
            0.0..=5.0 "V",
            "engineering judgement: ratiometric sensors saturate a little outside their range"
        }
        /// Fuel rail pressure above ambient against the FRP sensor's volts.
        curve frp_pa {
            [POINTS] = [(0.5, 0.0), (4.5, 700e3)],
            0.0..=5.0 "V" => 0.0..=3000e3 "Pa",
            "common practice, no source: ratiometric over 0.5 to 4.5 V"
        }
        /// Lowest and highest volts of the FRP sensor.
        list frp_limits_v {
            [2] = [0.2, 4.8],
            0.0..=5.0 "V",
            "engineering judgement: ratiometric sensors saturate a little outside their range"
        }
        /// Lambda against the volts of the wideband controller's analog output, which is limited to 0 to 5 V.
        curve lambda {
            [POINTS] = [(0.0, 0.68), (5.0, 1.36)],
            0.0..=5.0 "V" => 0.3..=5.0 "1",
            "common practice, no source: linear over 0 to 5 V"
        }
        /// ECT sender.
        choice ect_sender { SenderKind = SenderKind::TenKiloOhm, "printed table, Geokon 8002-4-1 manual p. 58" }
        /// Pull-up of the ECT sender to 5 V.
        number ect_pull_up_ohm { 2490.0, 100.0..=100e3 "ohm", "engineering judgement: a resistor of the E96 series" }
        /// Coefficients A, B, C, D of the ECT sender "coefficients": 1/T = A + B L + C L^3 + D L^5 with L = ln(R / ohm).
        list ect_coefficients { [4] = TEN_KILO_OHM, -0.1..=0.1 "1/K", "printed table, Geokon 8002-4-1 manual p. 58" }
        /// Resistance of the ECT sender "points" against temperature; between points ln R is linear in 1/T.
        curve ect_points_ohm {
            [SENDER_POINTS] = SMALL_SENDER, 200.0..=500.0 "K" => 1.0..=10e6 "ohm",
            "common practice, no source: a 2 kOhm class sender"
        }
        /// IAT sender.
        choice iat_sender { SenderKind = SenderKind::TenKiloOhm, "printed table, Geokon 8002-4-1 manual p. 58" }
        /// Pull-up of the IAT sender to 5 V.
        number iat_pull_up_ohm { 2490.0, 100.0..=100e3 "ohm", "engineering judgement: a resistor of the E96 series" }
        /// Coefficients A, B, C, D of the IAT sender "coefficients": 1/T = A + B L + C L^3 + D L^5 with L = ln(R / ohm).
        list iat_coefficients { [4] = TEN_KILO_OHM, -0.1..=0.1 "1/K", "printed table, Geokon 8002-4-1 manual p. 58" }
        /// Resistance of the IAT sender "points" against temperature; between points ln R is linear in 1/T.
        curve iat_points_ohm {
            [SENDER_POINTS] = SMALL_SENDER, 200.0..=500.0 "K" => 1.0..=10e6 "ohm",
            "common practice, no source: a 2 kOhm class sender"
        }
        /// Trigger pulses per firing, evenly spaced: 1 for a distributor.
        whole pulses_per_firing { u8 = 1, 1..=4 "1", "common practice, no source: a distributor" }
    }
}

/// Voltage as read by the converter.
#[inline]
fn quantized(volts: f64) -> f32 {
    let code = nearest((volts * CODES_PER_V).held(0.0, 4095.0));
    (code * V_PER_CODE) as f32
}

/// Updates the reading of a channel, unless it is stuck.
#[inline]
fn read(
    reading_v: &mut f32,
    circuit: Circuit,
    (fault_free_v, open_v): (f64, f64),
    noise_v: f64,
    noise: &mut Noise,
) {
    if let Some(volts) = circuit.volts(fault_free_v, open_v, noise) {
        *reading_v = quantized(volts + noise_v);
    }
}

/// Output voltage of a sensor, V: its curve, limited to its lowest and highest volts.
#[inline]
fn output(transfer: &Transfer, [lowest_v, highest_v]: [f64; 2], quantity: f64) -> f64 {
    transfer.volts(quantity).held(lowest_v, highest_v)
}

/// True quantities at the sensors.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SensorInputs {
    pub(crate) map_pa: f64,
    /// Fraction of the present firing interval that has passed, 0 to 1.
    pub(crate) phase: f64,
    /// The crank turns.
    pub(crate) turning: bool,
    pub(crate) throttle: f64,
    pub(crate) o2_v: f64,
    pub(crate) vehicle_m_per_s: f64,
}

/// Sensor curves, MAP lag and thermistor voltages.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct SensorsState {
    map: Transfer,
    baro: Transfer,
    tp: Transfer,
    frp: Transfer,
    pub(crate) lambda: Transfer,
    map_pa: f64,
    ect_v: f64,
    iat_v: f64,
}

impl SensorsState {
    pub(crate) fn new(sensors: &Sensors, map_pa: f64) -> Self {
        let [map, baro, tp, frp, lambda] =
            [sensors.map_pa, sensors.baro_pa, sensors.tp, sensors.frp_pa, sensors.lambda].map(Transfer::new);
        Self { map, baro, tp, frp, lambda, map_pa, ect_v: 0.0, iat_v: 0.0 }
    }

    /// Takes over changed parameters; the states are kept.
    pub(crate) fn set_parameters(&mut self, sensors: &Sensors) {
        let (map_pa, ect_v, iat_v) = (self.map_pa, self.ect_v, self.iat_v);
        *self = Self { ect_v, iat_v, ..Self::new(sensors, map_pa) };
    }

    /// Voltages of the thermistors. Part of the 100 ms task.
    pub(crate) fn update_thermistors(&mut self, sensors: &Sensors, coolant_k: f64, iat_k: f64) {
        let (ect, iat) = (sensors.ect_sender, sensors.iat_sender);
        let (coefficients, points) = (&sensors.ect_coefficients, &sensors.ect_points_ohm);
        self.ect_v = sender_v(ect, sensors.ect_pull_up_ohm, coefficients, points, coolant_k);
        let (coefficients, points) = (&sensors.iat_coefficients, &sensors.iat_points_ohm);
        self.iat_v = sender_v(iat, sensors.iat_pull_up_ohm, coefficients, points, iat_k);
    }

    /// 10 ms task: channels converted every 10 ms: temperatures, rail pressure, supply (through a divider by four), and barometric
    /// pressure, whose sensor on the controller's board has no noise and no circuit faults.
    pub(crate) fn task_10ms(
        &mut self,
        sensors: &Sensors,
        faults: &Faults,
        noise: &mut Noise,
        (rail_pa, outside_pa): (f64, f64),
        supply_v: f64,
        frame: &mut Frame,
    ) {
        frame.baro_v = quantized(output(&self.baro, sensors.baro_limits_v, outside_pa));
        let frp_v = output(&self.frp, sensors.frp_limits_v, rail_pa);
        let ([ect, iat], [frp, supply]) = (noise.normal_pair(), noise.normal_pair());
        let noise_v = sensors.noise_v;
        read(&mut frame.ect_v, faults.ect, (self.ect_v, 5.0), noise_v * ect, noise);
        read(&mut frame.iat_v, faults.iat, (self.iat_v, 5.0), noise_v * iat, noise);
        read(&mut frame.frp_v, faults.frp, (frp_v, 0.0), noise_v * frp, noise);
        let mut divided_v = 0.25 * frame.battery_v;
        read(&mut divided_v, faults.battery, (0.25 * supply_v, 0.0), noise_v * supply, noise);
        frame.battery_v = 4.0 * divided_v;
    }

    /// Channels converted in every step: manifold pressure, throttle position, lambda, vehicle speed. `map_share` is the fraction
    /// `1 - exp(-dt/tau)` of the MAP lag in this step.
    #[inline]
    pub(crate) fn step(
        &mut self,
        sensors: &Sensors,
        faults: &Faults,
        noise: &mut Noise,
        inputs: &SensorInputs,
        map_share: f64,
        frame: &mut Frame,
    ) {
        // A parabola over the firing interval with mean zero: highest when an intake valve opens.
        let wave = 1.0 - 6.0 * inputs.phase * (1.0 - inputs.phase);
        let ripple_pa = if inputs.turning { sensors.map_ripple_pa * wave } else { 0.0 };
        self.map_pa += map_share * (inputs.map_pa + ripple_pa - self.map_pa);
        let map_v = output(&self.map, sensors.map_limits_v, self.map_pa + sensors.map_offset_pa);
        let tp_v = output(&self.tp, sensors.tp_limits_v, inputs.throttle);
        let [map, tp] = noise.normal_pair();
        read(&mut frame.map_v, faults.map, (map_v, 0.0), sensors.noise_v * map, noise);
        read(&mut frame.tp_v, faults.tp, (tp_v, 0.0), sensors.noise_v * tp, noise);
        read(&mut frame.o2_v, faults.o2, (inputs.o2_v, 0.0), 0.0, noise);
        let hz = if faults.vss_lost { 0.0 } else { inputs.vehicle_m_per_s * sensors.pulses_per_m };
        frame.vss_hz = hz as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimwright_numerics::parameters::padded;

    fn quiet() -> Sensors {
        Sensors { noise_v: 0.0, map_ripple_pa: 0.0, map_offset_pa: 0.0, ..Sensors::DEFAULT }
    }

    fn frame(faults: &Faults) -> Frame {
        let mut frame = Frame::default();
        read_all(&quiet(), faults, 60e3, &mut Noise::new(1), &mut frame);
        frame
    }

    fn read_all(sensors: &Sensors, faults: &Faults, map_pa: f64, noise: &mut Noise, frame: &mut Frame) {
        let sensed = SensorInputs {
            map_pa,
            phase: 0.3,
            turning: true,
            throttle: 0.25,
            o2_v: 2.0,
            vehicle_m_per_s: 10.0,
        };
        let mut state = SensorsState::new(sensors, map_pa);
        state.update_thermistors(sensors, 363.15, 298.15);
        state.task_10ms(sensors, faults, noise, (300e3, 84e3), 13.8, frame);
        state.step(sensors, faults, noise, &sensed, 0.1, frame);
    }

    #[test]
    fn voltages_follow_the_curves_to_one_code() {
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
    fn each_sensor_reads_by_its_own_curve_limits_and_sender() {
        let usual = frame(&Faults::default());
        let read = |put: fn(&mut Sensors)| {
            let (mut sensors, mut frame) = (quiet(), Frame::default());
            put(&mut sensors);
            read_all(&sensors, &Faults::default(), 60e3, &mut Noise::new(1), &mut frame);
            frame
        };
        // Of 60 kPa, 84 kPa, 25 % and 300 kPa.
        let map = read(|sensors| sensors.map_pa = padded([(0.4, 20e3), (4.65, 250e3)]));
        let baro = read(|sensors| sensors.baro_pa = padded([(0.0, 0.0), (2.0, 60e3), (3.0, 110e3)]));
        let tp = read(|sensors| sensors.tp = padded([(0.5, 1.0), (4.5, 0.0)]));
        let frp = read(|sensors| sensors.frp_pa = padded([(0.5, 0.0), (4.5, 1000e3)]));
        for (frame, volts, was, want) in [
            (&map, map.map_v, usual.map_v, 0.4 + 4.25 * 40.0 / 230.0),
            (&baro, baro.baro_v, usual.baro_v, 2.0 + 24.0 / 50.0),
            (&tp, tp.tp_v, usual.tp_v, 3.5),
            (&frp, frp.frp_v, usual.frp_v, 1.7),
        ] {
            assert!((f64::from(volts) - want).abs() < 1.0 / CODES_PER_V && volts != was, "{volts} {want}");
            let moved = [frame.map_v != usual.map_v, frame.baro_v != usual.baro_v, frame.tp_v != usual.tp_v];
            let moved = moved.into_iter().chain([frame.frp_v != usual.frp_v]).filter(|moved| *moved).count();
            assert_eq!(moved, 1, "no other sensor has changed");
        }
        let held = read(|sensors| {
            (sensors.map_limits_v, sensors.baro_limits_v) = ([3.0, 4.0], [0.0, 1.0]);
            (sensors.tp_limits_v, sensors.frp_limits_v) = ([2.0, 4.0], [0.5, 1.25]);
        });
        for (volts, want) in
            [held.map_v, held.baro_v, held.tp_v, held.frp_v].into_iter().zip([3.0, 1.0, 2.0, 1.25])
        {
            assert!((f64::from(volts) - want).abs() < 1.0 / CODES_PER_V, "{volts} {want}");
        }
    }

    #[test]
    fn each_temperature_reads_by_its_own_sender() {
        // At 90 degC and 25 degC.
        let read = |put: fn(&mut Sensors)| {
            let (mut sensors, mut frame) = (quiet(), Frame::default());
            put(&mut sensors);
            read_all(&sensors, &Faults::default(), 60e3, &mut Noise::new(1), &mut frame);
            [frame.ect_v, frame.iat_v]
        };
        let volts = |ohm: f64, pull_up_ohm: f64| (5.0 * ohm / (ohm + pull_up_ohm)) as f32;
        let [ect, iat] = read(|_| ());
        for (put, wanted) in [
            (
                (|sensors| sensors.ect_sender = SenderKind::TwoKiloOhm) as fn(&mut Sensors),
                [volts(245.0, 2490.0), iat],
            ),
            (|sensors| sensors.iat_sender = SenderKind::TwoKiloOhm, [ect, volts(2065.0, 2490.0)]),
            (|sensors| sensors.ect_pull_up_ohm = 1000.0, [volts(915.3, 1000.0), iat]),
            (|sensors| sensors.iat_pull_up_ohm = 1000.0, [ect, volts(10_000.0, 1000.0)]),
            // 1/T = A + B ln R: 1000 ohm at 90 degC, 5000 ohm at 25 degC.
            (
                |sensors| {
                    sensors.ect_sender = SenderKind::Coefficients;
                    sensors.ect_coefficients = [1.0 / 363.15 - 2.5e-4 * Real::ln(1000.0), 2.5e-4, 0.0, 0.0];
                },
                [volts(1000.0, 2490.0), iat],
            ),
            (
                |sensors| {
                    sensors.iat_sender = SenderKind::Coefficients;
                    sensors.iat_coefficients = [1.0 / 298.15 - 2.5e-4 * Real::ln(5000.0), 2.5e-4, 0.0, 0.0];
                },
                [ect, volts(5000.0, 2490.0)],
            ),
            (
                |sensors| {
                    sensors.ect_sender = SenderKind::Points;
                    sensors.ect_points_ohm = padded([(273.15, 9000.0), (363.15, 300.0)]);
                },
                [volts(300.0, 2490.0), iat],
            ),
            (
                |sensors| {
                    sensors.iat_sender = SenderKind::Points;
                    sensors.iat_points_ohm = padded([(298.15, 3000.0), (363.15, 300.0)]);
                },
                [ect, volts(3000.0, 2490.0)],
            ),
        ] {
            let read = read(put);
            for (read, wanted) in read.into_iter().zip(wanted) {
                assert!((read - wanted).abs() < 0.01, "{read} {wanted}");
            }
            assert_ne!(read, [ect, iat]);
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
    fn a_stuck_channel_keeps_its_reading_and_a_noisy_one_scatters_about_the_true_value() {
        let (mut stuck, mut noise) = (frame(&Faults::default()), Noise::new(3));
        let faults = Faults { map: Circuit::Stuck, battery: Circuit::Stuck, ..Faults::default() };
        read_all(&quiet(), &faults, 90e3, &mut noise, &mut stuck);
        assert_eq!((stuck.map_v, stuck.battery_v), (2.5, frame(&Faults::default()).battery_v));
        let faults = Faults { map: Circuit::Noisy, ..Faults::default() };
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..10_000 {
            read_all(&quiet(), &faults, 60e3, &mut noise, &mut stuck);
            let off_v = f64::from(stuck.map_v) - 2.5;
            (sum, squares) = (sum + off_v, squares + off_v * off_v);
        }
        assert!((sum / 1e4).abs() < 0.02 && (squares / 1e4 - 0.25).abs() < 0.02, "{sum} {squares}");
    }
}
