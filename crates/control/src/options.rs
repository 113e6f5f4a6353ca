//! What may be switched off, which strategy learns, which injectors open at a firing.

/// Which injectors open at a firing.
///
/// ```
/// use trimwright_control::{Calibration, Controller, Firing, Options, SetupAnswers};
/// # use trimwright_signals::Frame;
/// let open_for = |firing| {
///     let options = Options { firing, ..Options::default() };
///     let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
///     let mut controller = Controller::new(calibration);
///     // A second of cranking; the injectors that opened at the last firing.
/// #   let mut open = 0;
/// #   for ms in 0..1000 {
/// #       let mut frame = Frame { time_us: ms * 1000, battery_v: 10.4, map_v: 3.9, ..Frame::default() };
/// #       (frame.switches.ignition, frame.switches.starter) = (true, true);
/// #       if ms % 75 == 0 {
/// #           frame.pulses_us.push(frame.time_us).expect("there is room for eight");
/// #       }
/// #       let now = controller.step(&frame).open_time_s.iter().filter(|open_s| **open_s > 0.0).count();
/// #       open = if now > 0 { now } else { open };
/// #   }
///     // ...
///     Ok::<_, trimwright_control::AnswerError>(open)
/// };
/// assert_eq!((open_for(Firing::Chosen)?, open_for(Firing::All)?), (2, 4));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Firing {
    /// Half of them at each firing, in turn, where their number is even, else all.
    #[default]
    Chosen,
    /// All at each firing.
    All,
}

/// Which strategy learns; each is described at the type of its name in [`learner`](crate::learner).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Strategy {
    /// A fixed part of the innovation.
    Integral,
    /// A fixed part of the innovation, whatever the shares.
    NormalisedGradient,
    /// As much of it as the cell is unknown.
    #[default]
    Kalman,
}

/// What may be switched off, and which strategy learns.
///
/// ```
/// use trimwright_control::{Calibration, Options, SetupAnswers, Strategy};
/// let options = Options { learning: false, ..Options::default() };
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?.with_options(options);
/// assert!(calibration.options().feedback && calibration.options().strategy == Strategy::Kalman);
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Options {
    /// Short-term trim from the lambda reading.
    pub feedback: bool,
    /// Long-term trim: lessons change the learned map.
    pub learning: bool,
    /// Inverse wall-film compensation and accelerator-pump shot.
    pub film_compensation: bool,
    /// Dither the fuel now and then to measure delay and loop gain.
    pub self_check: bool,
    /// How lessons are taken.
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
