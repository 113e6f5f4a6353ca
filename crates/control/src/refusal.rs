//! Refusals: why a lambda sample was not learned from, and how often.

/// Why a lambda sample was not learned from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
#[non_exhaustive]
pub enum Refusal {
    /// The engine stands, is cranking or has just started.
    Starting,
    /// The coolant is cold: film and vaporisation differ from those of the map.
    Cold,
    /// The fuel was cut.
    FuelCut,
    /// Manifold pressure or speed were changing.
    Transient,
    /// The wanted lambda was changing.
    WantedMoving,
    /// The lambda sensor is not ready or its reading invalid.
    SensorNotReady,
    /// The reading is at the end of the sensor's range.
    ReadingAtEnd,
    /// The gas at the sensor was injected longer ago than the history reaches.
    TooLongAgo,
    /// A cell is at the limit of its authority.
    Authority,
    /// The wall film delivered more fuel than was wanted, as after closing the throttle.
    FilmOverflows,
    /// The supply voltage is outside the range where injectors are predictable.
    Volts,
    /// An input of the fuel calculation was substituted.
    Substituted,
    /// The injectors were at their duty limit.
    DutyLimit,
    /// Nitrous was on.
    Nitrous,
    /// The lean guard had changed the mixture.
    Guard,
    /// The self-check found air entering upstream of the sensor.
    UpstreamAir,
    /// The self-check is dithering the fuel.
    Checking,
    /// The rail pressure is not the one asked for: a trouble code of it is set, or would be if this lasted.
    RailPressure,
}

impl Refusal {
    /// All reasons, in the order of their counts.
    pub const ALL: [Self; 18] = [
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
        Self::RailPressure,
    ];

    /// Short name for tables.
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
            Self::RailPressure => "rail_pressure",
        }
    }

    /// Whether the short-term trim is frozen too, because the reading does not describe the mixture that was wanted.
    pub const fn freezes_trim(self) -> bool {
        // The trim has to correct the error of a substitute; and a reading at an end of its range still has the right direction.
        !matches!(
            self,
            Self::Cold
                | Self::Transient
                | Self::WantedMoving
                | Self::Volts
                | Self::Substituted
                | Self::ReadingAtEnd
                | Self::RailPressure
        )
    }

    /// Whether the reading does not describe the mixture that burned. All other readings may trip the lean guard, which must see mixtures
    /// that cannot be learned from or corrected.
    pub const fn hides_mixture(self) -> bool {
        matches!(self, Self::FuelCut | Self::SensorNotReady | Self::TooLongAgo | Self::FilmOverflows)
    }
}

/// Number of lessons and of rejected samples by reason.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LessonCounts {
    lessons: u32,
    /// In the order of [`Refusal::ALL`].
    refusals: [u32; Refusal::ALL.len()],
}

impl LessonCounts {
    /// Counts a rejected sample.
    pub fn count_refusal(&mut self, refusal: Refusal) {
        if let Some(count) = self.refusals.get_mut(refusal as usize) {
            *count = count.saturating_add(1);
        }
    }

    /// Counts a lesson.
    pub const fn count_lesson(&mut self) {
        self.lessons = self.lessons.saturating_add(1);
    }

    /// Number of lessons.
    pub const fn lessons(&self) -> u32 {
        self.lessons
    }

    /// Number of samples rejected for this reason.
    pub fn of(&self, refusal: Refusal) -> u32 {
        self.refusals.get(refusal as usize).copied().unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_are_counted_by_reason() {
        let mut counts = LessonCounts::default();
        counts.count_refusal(Refusal::Cold);
        counts.count_refusal(Refusal::UpstreamAir);
        counts.count_refusal(Refusal::UpstreamAir);
        assert_eq!((counts.of(Refusal::Cold), counts.of(Refusal::UpstreamAir)), (1, 2));
        for (index, refusal) in Refusal::ALL.into_iter().enumerate() {
            assert_eq!(refusal as usize, index);
        }
    }

    #[test]
    fn every_reason_has_a_name_of_its_own() {
        for (place, refusal) in Refusal::ALL.into_iter().enumerate() {
            assert!(
                refusal.name().bytes().all(|byte| byte == b'_' || byte.is_ascii_lowercase())
                    && refusal.name().len() > 3
            );
            assert!(
                Refusal::ALL[..place].iter().all(|before| before.name() != refusal.name()),
                "{refusal:?}"
            );
        }
    }

    #[test]
    fn a_reading_of_a_doubtful_moment_still_trims_and_one_of_no_mixture_hides_it() {
        use Refusal::{
            Authority, Checking, Cold, FilmOverflows, FuelCut, Guard, Nitrous, ReadingAtEnd, SensorNotReady,
            Starting, Substituted, TooLongAgo, Transient, Volts, WantedMoving,
        };
        assert!(
            [Cold, Transient, WantedMoving, Volts, Substituted, ReadingAtEnd]
                .iter()
                .all(|refusal| !refusal.freezes_trim())
        );
        assert!(
            [Starting, FuelCut, SensorNotReady, TooLongAgo, Authority, Nitrous, Guard, Checking]
                .iter()
                .all(|refusal| refusal.freezes_trim())
        );
        assert!(
            [FuelCut, SensorNotReady, TooLongAgo, FilmOverflows]
                .iter()
                .all(|refusal| refusal.hides_mixture())
        );
        assert!([Starting, Cold, Nitrous, Guard, Authority].iter().all(|refusal| !refusal.hides_mixture()));
    }

    #[test]
    fn lessons_are_counted() {
        let mut counts = LessonCounts::default();
        (0..3).for_each(|_| counts.count_lesson());
        assert_eq!((counts.lessons(), counts.of(Refusal::Cold)), (3, 0));
    }
}
