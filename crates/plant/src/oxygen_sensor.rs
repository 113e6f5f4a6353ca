//! Wide-range heated oxygen sensor (WR-HO2S) with its wideband controller.

use crate::noise::Noise;
use crate::transfer::Transfer;
use trimwright_numerics::Real;

/// Element temperature above which the reading becomes valid, and below which it becomes invalid, K.
const READY_K: f64 = 980.0;
const LOST_K: f64 = 930.0;
/// Set temperature of the element's heater, K.
const HOT_K: f64 = 1050.0;

trimwright_numerics::parameters! {
    /// Sensor with its wideband controller. The output follows the curve `sensors.lambda`, limited to 0 to 5 V; 0 V while the sensor is cold.
    pub struct OxygenSensor<f64> "oxygen_sensor" {
        /// Time constant of the reading; 50 to 100 ms for a new sensor.
        number tau_s { 0.075, 0.01..=2.0 "s", "engineering judgement: 50 to 100 ms in the abstract of a measurement paper" }
        /// Time from heater on to a valid reading, at 13.5 V and 293 K.
        number light_off_s { 20.0, 1.0..=120.0 "s", "engineering judgement" }
        /// Standard deviation of the noise, in units of lambda.
        number noise { 0.003, 0.0..=0.05 "1", "engineering judgement" }
        /// Standard deviation of the slow drift, in units of lambda.
        number drift { 0.002, 0.0..=0.05 "1", "engineering judgement" }
        /// Constant error, in units of lambda: ageing.
        number offset { 0.0, -0.2..=0.2 "1", "engineering judgement" }
        /// Ground offset of the analog output.
        number ground_v { 0.0, -0.5..=0.5 "V", "engineering judgement" }
    }
}

/// Reading, drift and element temperature.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct OxygenSensorState {
    reading: f64,
    drift: f64,
    element_k: f64,
    pub(crate) ready: bool,
}

/// Correlation time of the slow drift, s.
const DRIFT_TAU_S: f64 = 300.0;

impl OxygenSensorState {
    pub(crate) fn new(element_k: f64) -> Self {
        Self { reading: 1.0, drift: 0.0, element_k, ready: false }
    }

    /// Element temperature, readiness and drift. Part of the 100 ms task.
    pub(crate) fn update_heater(
        &mut self,
        sensor: &OxygenSensor,
        noise: &mut Noise,
        heater_v: f64,
        gas_k: f64,
        dt_s: f64,
    ) {
        // ln((HOT_K - 293) / (HOT_K - READY_K)): time constants to readiness at 13.5 V.
        const LAGS_TO_READY: f64 = 2.381;
        let tau_s = sensor.light_off_s / LAGS_TO_READY;
        let power = (heater_v / 13.5) * (heater_v / 13.5);
        let target_k = gas_k.min(HOT_K) + (HOT_K - gas_k).held(0.0, HOT_K) * power.held(0.0, 1.0);
        self.element_k += (target_k - self.element_k) * (dt_s / tau_s).held(0.0, 1.0);
        self.ready = heater_v > 6.0 && self.element_k > if self.ready { LOST_K } else { READY_K };
        let decay = (dt_s / DRIFT_TAU_S).held(0.0, 1.0);
        self.drift += sensor.drift * Real::sqrt(2.0 * decay) * noise.normal() - decay * self.drift;
    }

    /// Analog output, V; `share` is the fraction `1 - exp(-dt/tau)` of the lag in this step.
    #[inline]
    pub(crate) fn step(
        &mut self,
        sensor: &OxygenSensor,
        transfer: &Transfer,
        noise: &mut Noise,
        lambda: f64,
        share: f64,
    ) -> f64 {
        self.reading += share * (lambda.held(0.5, 2.0) - self.reading);
        let shown = self.reading + self.drift + sensor.offset + sensor.noise * noise.normal();
        let volts = if self.ready { transfer.volts(shown) } else { 0.0 };
        (volts + sensor.ground_v).held(0.0, 5.0)
    }

    /// Lambda after the sensor's lag, without noise, drift and offset.
    pub(crate) fn reading(&self) -> f64 {
        self.reading
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_ready_after_the_light_off_time_and_then_reads_lambda() {
        let sensor = crate::Truth::mild_v8().oxygen_sensor;
        let sensor = OxygenSensor { noise: 0.0, drift: 0.0, offset: 0.0, ground_v: 0.0, ..sensor };
        let transfer = Transfer::new(crate::Sensors::DEFAULT.lambda);
        let (mut state, mut noise) = (OxygenSensorState::new(293.0), Noise::new(1));
        let mut ready_s = 0.0;
        while !state.ready && ready_s < 200.0 {
            assert_eq!(state.step(&sensor, &transfer, &mut noise, 1.0, 0.1), 0.0);
            state.update_heater(&sensor, &mut noise, 13.5, 293.0, 0.1);
            ready_s += 0.1;
        }
        assert!((ready_s / sensor.light_off_s - 1.0).abs() < 0.1, "{ready_s}");
        let mut volts = 0.0;
        for _ in 0..1000 {
            volts = state.step(&sensor, &transfer, &mut noise, 0.85, 0.05);
        }
        assert!((0.68 + 0.136 * volts - 0.85).abs() < 1e-9);
        // A wideband controller with a falling curve: 2 V per unit of lambda.
        let falling =
            Transfer::new(trimwright_numerics::parameters::padded([(0.5, 1.3), (1.5, 0.8), (2.0, 0.55)]));
        assert!((state.step(&sensor, &falling, &mut noise, 0.85, 0.05) - 1.4).abs() < 1e-9);
        for _ in 0..1000 {
            state.update_heater(&sensor, &mut noise, 0.0, 293.0, 0.1);
        }
        assert!(!state.ready);
    }
}
