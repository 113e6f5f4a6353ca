//! Why a reading teaches nothing, and how often.

/// Why a lesson was not taken.
///
/// ```
/// use trimwright_control::{Calibration, Controller, Refusal, SetupAnswers};
/// // An engine that has not run yet teaches nothing, and says why.
/// let controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
/// assert_eq!(controller.state().insight().refusal, Some(Refusal::Starting));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Refusal {
    /// The engine stands, is cranking or has only just started.
    Starting,
    /// The coolant is cold: film and vaporisation are not yet those of the map.
    Cold,
    /// The fuel was cut.
    FuelCut,
    /// Manifold pressure or speed were moving.
    Transient,
    /// The wanted mixture was moving.
    WantedMoving,
    /// The lambda sensor is not ready, or its reading not believed.
    SensorNotReady,
    /// The reading is at the end of the sensor's range.
    ReadingAtEnd,
    /// The gas now at the sensor was injected longer ago than is remembered.
    TooLongAgo,
    /// A cell or the trim is at the end of its authority.
    Authority,
    /// The wall film gave off more fuel than was wanted, as after the throttle was closed.
    FilmOverflows,
    /// The supply voltage is too low or too high to trust the injectors.
    Volts,
    /// A quantity the fuel was worked out from was substituted.
    Substituted,
    /// The injectors were at their limit of duty.
    DutyLimit,
    /// Nitrous was on.
    Nitrous,
    /// A guard had changed the mixture.
    Guard,
    /// The self-check found air entering upstream of the sensor.
    UpstreamAir,
    /// The self-check is dithering the fuel.
    Checking,
}

impl Refusal {
    /// All reasons, in the order of their counts.
    pub const ALL: [Self; 17] = [
        Self::Starting,
        Self::Cold,
        Self::FuelCut,
        Self::Transient,
        Self::WantedMoving,
        Self::SensorNotReady,
        Self::ReadingAtEnd,
        Self::TooLongAgo,
        Self::Authority,
        Self::FilmOverflows,
        Self::Volts,
        Self::Substituted,
        Self::DutyLimit,
        Self::Nitrous,
        Self::Guard,
        Self::UpstreamAir,
        Self::Checking,
    ];

    /// A short name for tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Starting => "starting",
            Self::Cold => "cold",
            Self::FuelCut => "fuel_cut",
            Self::Transient => "transient",
            Self::WantedMoving => "wanted_moving",
            Self::SensorNotReady => "sensor_not_ready",
            Self::ReadingAtEnd => "reading_at_end",
            Self::TooLongAgo => "too_long_ago",
            Self::Authority => "authority",
            Self::FilmOverflows => "film_overflows",
            Self::Volts => "volts",
            Self::Substituted => "substituted",
            Self::DutyLimit => "duty_limit",
            Self::Nitrous => "nitrous",
            Self::Guard => "guard",
            Self::UpstreamAir => "upstream_air",
            Self::Checking => "checking",
        }
    }

    /// Whether the short-term trim must stand still too, because the reading says nothing about the mixture asked for.
    ///
    /// ```
    /// use trimwright_control::Refusal;
    /// // A cold engine's mixture teaches nothing but may be trimmed; a reading after a fuel cut is only air.
    /// assert!(!Refusal::Cold.freezes_trim() && Refusal::FuelCut.freezes_trim());
    /// ```
    pub const fn freezes_trim(self) -> bool {
        // What a substitute gets wrong is just what the trim has to make up for; and a reading at an end tells at least the direction.
        !matches!(
            self,
            Self::Cold
                | Self::Transient
                | Self::WantedMoving
                | Self::Volts
                | Self::Substituted
                | Self::ReadingAtEnd
        )
    }

    /// Whether a reading says nothing of the mixture that burned. All others may warn the guard: it has to see just what can't be
    /// learned from or corrected, such as a reading at the lean end while the injectors can give no more.
    ///
    /// ```
    /// use trimwright_control::Refusal;
    /// // Injectors at their limit teach nothing, but that the engine runs lean meanwhile has to be seen.
    /// assert!(!Refusal::DutyLimit.hides_mixture() && Refusal::SensorNotReady.hides_mixture());
    /// ```
    pub const fn hides_mixture(self) -> bool {
        matches!(self, Self::FuelCut | Self::SensorNotReady | Self::TooLongAgo | Self::FilmOverflows)
    }
}

/// Lessons taken and refused.
///
/// ```
/// use trimwright_control::Refusal;
/// use trimwright_control::refusal::Counts;
/// let mut counts = Counts::default();
/// // A minute of looking back every 20 ms: cold at first, then warm.
/// (0..1800).for_each(|_| counts.refuse(Refusal::Cold));
/// (0..1200).for_each(|_| counts.take());
/// assert_eq!((counts.lessons(), counts.of(Refusal::Cold), counts.of(Refusal::Volts)), (1200, 1800, 0));
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counts {
    lessons: u32,
    /// In the order of [`Refusal::ALL`].
    refused: [u32; Refusal::ALL.len()],
}

impl Counts {
    /// Counts one refusal.
    pub fn refuse(&mut self, refusal: Refusal) {
        if let Some(count) = self.refused.get_mut(refusal as usize) {
            *count = count.saturating_add(1);
        }
    }

    /// Counts one lesson.
    pub const fn take(&mut self) {
        self.lessons = self.lessons.saturating_add(1);
    }

    /// Lessons taken.
    pub const fn lessons(&self) -> u32 {
        self.lessons
    }

    /// Lessons refused for one reason.
    pub fn of(&self, refusal: Refusal) -> u32 {
        self.refused.get(refusal as usize).copied().unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_are_kept_by_reason() {
        let mut counts = Counts::default();
        counts.refuse(Refusal::Cold);
        counts.refuse(Refusal::UpstreamAir);
        counts.refuse(Refusal::UpstreamAir);
        assert_eq!((counts.of(Refusal::Cold), counts.of(Refusal::UpstreamAir)), (1, 2));
        for (index, refusal) in Refusal::ALL.into_iter().enumerate() {
            assert_eq!(refusal as usize, index);
        }
    }
}
