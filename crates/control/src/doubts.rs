//! What is substituted or not believed.

/// A flag for each quantity that is substituted or not believed.
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
/// let belief = controller.state().estimate().belief();
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
    /// Trigger pulses were lost or refused a moment ago: speed and firings are made up in part.
    pub crank: bool,
    /// The lambda reading means nothing.
    pub lambda: bool,
    /// It leapt to an end of its range: its wire is broken or shorted.
    pub lambda_wire: bool,
}

impl Doubts {
    /// Whether a quantity that the fuel is worked out from is substituted. Without a lambda reading the fuel is worked out as before; it is
    /// only not corrected.
    pub const fn fuel(&self) -> bool {
        self.map || self.tp || self.ect || self.iat || self.rail || self.battery || self.crank
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lambda_reading_that_is_doubted_leaves_the_fuel_as_it_is() {
        assert!(Doubts { rail: true, ..Doubts::default() }.fuel());
        assert!(!Doubts { lambda: true, lambda_wire: true, ..Doubts::default() }.fuel());
    }
}
