//! Sensor curves: volts to quantities.
//!
//! A curve continues beyond its first and last point, as a sensor's output does. Thermistors are between ground and a pull-up to 5 V.

use trimwright_numerics::Real;

use crate::thermistor::{Sender, TEN_KILO_OHM, Thermistor};

trimwright_numerics::parameters! {
    /// Sensor curves.
    pub struct SensorParameters<f32> "sensors" {
        /// Manifold absolute pressure against the MAP sensor's volts.
        curve map_pa { [6] = [(0.5, 10e3), (4.5, 110e3)], 0.0..=5.0 "V" => 0.0..=500e3 "Pa", "common practice, no source: ratiometric over 0.5 to 4.5 V" }
        /// Barometric pressure against the volts of the on-board sensor.
        curve baro_pa { [6] = [(0.5, 10e3), (4.5, 110e3)], 0.0..=5.0 "V" => 0.0..=500e3 "Pa", "common practice, no source: ratiometric over 0.5 to 4.5 V" }
        /// Throttle position against the TP sensor's volts.
        curve tp { [6] = [(0.5, 0.0), (4.5, 1.0)], 0.0..=5.0 "V" => 0.0..=1.0 "1", "common practice, no source: ratiometric over 0.5 to 4.5 V" }
        /// Fuel rail pressure above ambient against the FRP sensor's volts.
        curve frp_pa { [6] = [(0.5, 0.0), (4.5, 700e3)], 0.0..=5.0 "V" => 0.0..=3000e3 "Pa", "common practice, no source: ratiometric over 0.5 to 4.5 V" }
        /// Lambda against the volts of the wideband controller's analog output.
        curve lambda { [6] = [(0.0, 0.68), (5.0, 1.36)], 0.0..=5.0 "V" => 0.3..=5.0 "1", "common practice, no source: linear over 0 to 5 V" }
        /// Coolant temperature sender.
        choice ect_sender { Sender = Sender::TenKiloOhm, "printed table, Geokon 8002-4-1 manual p. 58" }
        /// Pull-up resistor of the coolant temperature sender, to 5 V.
        number ect_pull_up_ohm { 2490.0, 100.0..=100e3 "ohm", "engineering judgement: a resistor of the E96 series" }
        /// Coefficients A, B, C, D of 1/T = A + B L + C L^3 + D L^5 with L = ln(R / ohm), for the coolant temperature sender "coefficients".
        list ect_coefficients { [4] = TEN_KILO_OHM, -0.1..=0.1 "1/K", "printed table, Geokon 8002-4-1 manual p. 58" }
        /// Resistance against temperature, for the coolant temperature sender "points"; between points ln R is linear in 1/T.
        curve ect_points_ohm { [10] = [(233.15, 45_313.0), (253.15, 15_462.0), (273.15, 5896.0), (293.15, 2500.0), (313.15, 1175.0), (333.15, 596.0), (353.15, 323.0), (373.15, 187.0), (393.15, 113.0)], 200.0..=500.0 "K" => 1.0..=10e6 "ohm", "common practice, no source: a 2 kOhm class sender, from memory" }
        /// Intake air temperature sender.
        choice iat_sender { Sender = Sender::TenKiloOhm, "printed table, Geokon 8002-4-1 manual p. 58" }
        /// Pull-up resistor of the intake air temperature sender, to 5 V.
        number iat_pull_up_ohm { 2490.0, 100.0..=100e3 "ohm", "engineering judgement: a resistor of the E96 series" }
        /// Coefficients A, B, C, D of 1/T = A + B L + C L^3 + D L^5 with L = ln(R / ohm), for the intake air temperature sender "coefficients".
        list iat_coefficients { [4] = TEN_KILO_OHM, -0.1..=0.1 "1/K", "printed table, Geokon 8002-4-1 manual p. 58" }
        /// Resistance against temperature, for the intake air temperature sender "points"; between points ln R is linear in 1/T.
        curve iat_points_ohm { [10] = [(233.15, 45_313.0), (253.15, 15_462.0), (273.15, 5896.0), (293.15, 2500.0), (313.15, 1175.0), (333.15, 596.0), (353.15, 323.0), (373.15, 187.0), (393.15, 113.0)], 200.0..=500.0 "K" => 1.0..=10e6 "ohm", "common practice, no source: a 2 kOhm class sender, from memory" }
        /// Trigger pulses per firing: 1 for a distributor; the first pulse after standstill counts as a firing.
        whole pulses_per_firing { u8 = 1, 1..=4 "1", "common practice, no source: a distributor" }
    }
}

impl SensorParameters {
    /// Coolant temperature sender.
    pub(crate) fn ect(&self) -> Thermistor {
        Thermistor::new(self.ect_sender, self.ect_pull_up_ohm, &self.ect_coefficients, &self.ect_points_ohm)
    }

    /// Intake air temperature sender.
    pub(crate) fn iat(&self) -> Thermistor {
        Thermistor::new(self.iat_sender, self.iat_pull_up_ohm, &self.iat_coefficients, &self.iat_points_ohm)
    }

    /// Lowest and highest lambda of the wideband curve, and whether lambda falls with rising volts.
    pub(crate) fn lambda_range(&self) -> (f32, f32, bool) {
        let [(_, first), .., (_, last)] = self.lambda;
        (first.at_most(last), first.at_least(last), last < first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_range_of_a_wideband_output_is_between_the_ends_of_its_curve() {
        let range = |first, last| {
            let lambda = trimwright_numerics::parameters::padded([(0.0, first), (5.0, last)]);
            SensorParameters { lambda, ..SensorParameters::DEFAULT }.lambda_range()
        };
        assert_eq!(range(0.68, 1.36), (0.68, 1.36, false));
        assert_eq!(range(1.36, 0.68), (0.68, 1.36, true));
        assert_eq!(range(1.0, 1.0), (1.0, 1.0, false));
    }
}
