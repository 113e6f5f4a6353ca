//! Validity flags of the sensor estimates.

/// Validity flags: true where a signal is invalid and its quantity substituted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct InvalidSignals {
    /// MAP is estimated from throttle and speed.
    pub map: bool,
    /// TP is a substitute a little off idle.
    pub tp: bool,
    /// ECT is a substitute that rises with running time.
    pub ect: bool,
    /// IAT is a fixed substitute.
    pub iat: bool,
    /// FRP is the target pressure.
    pub rail: bool,
    /// Supply voltage is a fixed substitute.
    pub battery: bool,
    /// Trigger pulses were lost or rejected recently: speed and firings are partly interpolated.
    pub crank: bool,
    /// The lambda reading is not usable.
    pub lambda: bool,
    /// The lambda signal jumped to an end of its range: its wire is open or shorted.
    pub lambda_wire: bool,
}

impl InvalidSignals {
    /// Whether an input of the fuel calculation is substituted. An unusable lambda reading is none: it only stops the correction.
    pub const fn any_fuel_input(&self) -> bool {
        self.map || self.tp || self.ect || self.iat || self.rail || self.battery || self.crank
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_invalid_lambda_reading_is_no_invalid_fuel_input() {
        assert!(InvalidSignals { rail: true, ..InvalidSignals::default() }.any_fuel_input());
        assert!(
            !InvalidSignals { lambda: true, lambda_wire: true, ..InvalidSignals::default() }.any_fuel_input()
        );
    }

    #[test]
    fn any_single_input_of_the_fuel_calculation_counts() {
        let signals: [fn(&mut InvalidSignals); 7] = [
            |invalid| invalid.map = true,
            |invalid| invalid.tp = true,
            |invalid| invalid.ect = true,
            |invalid| invalid.iat = true,
            |invalid| invalid.rail = true,
            |invalid| invalid.battery = true,
            |invalid| invalid.crank = true,
        ];
        for (place, signal) in signals.into_iter().enumerate() {
            let mut invalid = InvalidSignals::default();
            assert!(!invalid.any_fuel_input());
            signal(&mut invalid);
            assert!(invalid.any_fuel_input(), "signal {place}");
        }
    }
}
