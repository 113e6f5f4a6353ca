//! Options: parts that can be switched off, learning strategy, firing pattern of the injectors.

/// Which injectors open at a firing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Firing {
    /// Half of them by turns where their number is even, else all.
    #[default]
    Chosen,
    /// All at each firing.
    All,
}

/// Learning strategy; [`Integral`](crate::learning::Integral), [`NormalisedGradient`](crate::learning::NormalisedGradient) and
/// [`Kalman`](crate::learning::Kalman) describe them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Strategy {
    /// A fixed part of the innovation times the share.
    Integral,
    /// A fixed part of the innovation, whatever the shares.
    NormalisedGradient,
    /// The Kalman gain: large while a cell's variance is large.
    #[default]
    Kalman,
}

/// Options of the controller.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Options {
    /// Short-term trim from the lambda reading.
    pub feedback: bool,
    /// Long-term trim: accepted lambda samples update the learned map.
    pub learning: bool,
    /// Wall-film compensation and accelerator-pump shot.
    pub film_compensation: bool,
    /// Dither the fuel now and then to measure loop delay, loop gain and torque response.
    pub self_check: bool,
    /// Learning strategy.
    pub strategy: Strategy,
    /// Which injectors open at a firing.
    pub firing: Firing,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            feedback: true,
            learning: true,
            film_compensation: true,
            self_check: false,
            strategy: Strategy::Kalman,
            firing: Firing::Chosen,
        }
    }
}
