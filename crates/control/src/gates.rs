//! When a reading teaches nothing, and why.

use crate::believe::Belief;
use crate::learner::Outcome;
use crate::phase::Phase;

/// Why a lesson was not taken.
///
/// ```
/// use trimwright_control::{Calibration, Controller, Refusal, SetupAnswers};
/// // An engine that has not run yet teaches nothing, and says why.
/// let controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
/// assert_eq!(controller.state().insight.refusal, Some(Refusal::Starting));
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
    ///
    /// ```
    /// use trimwright_control::Refusal;
    /// assert!(Refusal::ALL.into_iter().enumerate().all(|(place, refusal)| refusal as usize == place));
    /// ```
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
    ///
    /// ```
    /// use trimwright_control::Refusal;
    /// assert_eq!(Refusal::ReadingAtEnd.name(), "reading_at_end");
    /// let mut names = Refusal::ALL.map(Refusal::name);
    /// names.sort_unstable();
    /// assert!(names.windows(2).all(|pair| pair[0] != pair[1]), "no two have the same");
    /// ```
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
/// use trimwright_control::gates::{Counts, Refusal};
/// use trimwright_control::learner::Outcome;
/// let mut counts = Counts::default();
/// // A minute of looking back every 20 ms: cold at first, then warm.
/// (0..1800).for_each(|_| counts.refuse(Refusal::Cold));
/// (0..1200).for_each(|_| counts.take(Outcome::Taken));
/// let looks = counts.lessons + counts.refused.iter().sum::<u32>();
/// assert_eq!((looks, counts.lessons), (3000, 1200));
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counts {
    /// Lessons taken.
    pub lessons: u32,
    /// Lessons refused, in the order of [`Refusal::ALL`].
    pub refused: [u32; Refusal::ALL.len()],
}

impl Counts {
    /// Counts one refusal.
    ///
    /// ```
    /// use trimwright_control::gates::{Counts, Refusal};
    /// let mut counts = Counts::default();
    /// counts.refuse(Refusal::FuelCut);
    /// counts.refuse(Refusal::FuelCut);
    /// assert_eq!((counts.lessons, counts.of(Refusal::FuelCut)), (0, 2));
    /// ```
    pub fn refuse(&mut self, refusal: Refusal) {
        if let Some(count) = self.refused.get_mut(refusal as usize) {
            *count = count.saturating_add(1);
        }
    }

    /// Counts one lesson; one that ended at a cell's authority counts as refused for it.
    ///
    /// ```
    /// use trimwright_control::gates::{Counts, Refusal};
    /// use trimwright_control::learner::Outcome;
    /// let mut counts = Counts::default();
    /// counts.take(Outcome::Taken);
    /// counts.take(Outcome::Bounded);
    /// assert_eq!((counts.lessons, counts.of(Refusal::Authority)), (1, 1));
    /// ```
    pub fn take(&mut self, outcome: Outcome) {
        match outcome {
            Outcome::Taken => self.lessons = self.lessons.saturating_add(1),
            Outcome::Bounded => self.refuse(Refusal::Authority),
        }
    }

    /// Refusals for one reason.
    ///
    /// ```
    /// use trimwright_control::gates::{Counts, Refusal};
    /// let mut counts = Counts::default();
    /// counts.refuse(Refusal::Volts);
    /// assert_eq!([Refusal::Volts, Refusal::Nitrous].map(|reason| counts.of(reason)), [1, 0]);
    /// ```
    pub fn of(&self, refusal: Refusal) -> u32 {
        self.refused.get(refusal as usize).copied().unwrap_or(0)
    }
}

/// Time after a start in which nothing is learned, s (engineering judgement).
const AFTER_START_S: f32 = 15.0;
/// Coolant temperature from which the map is learned, K: 60 degC (engineering judgement).
const WARM_K: f32 = 333.0;
/// Manifold pressure may stray this far from its own lagged value, Pa.
const CALM_MAP_PA: f32 = 2.5e3;
/// Speed may stray this far from its own lagged value, rad/s.
const CALM_RAD_PER_S: f32 = 12.0;
/// So many times as much movement as what is calm teaches nothing any more.
const MOST_MOVING: f32 = 4.0;
/// The wanted mixture may stray this far from its own lagged value, ln.
const CALM_WANTED_LN: f32 = 0.01;
/// Time constant of these lagged values, s: about that of a warm wall film.
const CALM_S: f32 = 0.5;

/// Watches how calmly the engine runs.
///
/// ```
/// use trimwright_control::Phase;
/// use trimwright_control::believe::Belief;
/// use trimwright_control::gates::{Circumstances, Gates};
/// let mut gates = Gates::default();
/// let mut belief = Belief::default();
/// let mut at = |map_pa| {
///     belief.map_pa = map_pa;
///     let now = Circumstances { belief: &belief, phase: Phase::Running, since_start_s: 600.0, speed_rad_per_s: 150.0,
///         wanted_ln: 0.0, duty_limited: false, film_overflows: false, nitrous: false, guarded: false };
///     gates.step(&now, 0.02);
///     gates.moving
/// };
/// (0..500).for_each(|_| { at(40e3); });
/// assert!(at(40e3) < 0.1, "ten seconds of cruising are calm");
/// assert!(at(60e3) > 1.0, "a tip-in is not");
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gates {
    map_pa: f32,
    speed_rad_per_s: f32,
    wanted_ln: f32,
    /// How fast pressure and speed are moving: 1 at the end of what counts as calm. Lessons count less the more they moved.
    pub moving: f32,
}

/// What the gates look at when fuel is injected.
///
/// ```
/// use trimwright_control::{Phase, Refusal};
/// use trimwright_control::believe::Belief;
/// use trimwright_control::gates::{Circumstances, Gates};
/// let belief = Belief::default();
/// let idling = Circumstances { belief: &belief, phase: Phase::Running, since_start_s: 600.0, speed_rad_per_s: 75.0,
///     wanted_ln: 0.0, duty_limited: false, film_overflows: false, nitrous: false, guarded: false };
/// let boosted = Circumstances { nitrous: true, ..idling };
/// assert_eq!(Gates::default().step(&boosted, 0.02), Some(Refusal::Nitrous));
/// let coasting = Circumstances { phase: Phase::FuelCut, ..idling };
/// assert_eq!(Gates::default().step(&coasting, 0.02), Some(Refusal::FuelCut));
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circumstances<'a> {
    /// The believed quantities.
    pub belief: &'a Belief,
    /// Phase of the engine.
    pub phase: Phase,
    /// Time since the start, s.
    pub since_start_s: f32,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f32,
    /// Wanted mixture, ln lambda.
    pub wanted_ln: f32,
    /// The injectors are at their limit.
    pub duty_limited: bool,
    /// The wall film gives off more than is wanted.
    pub film_overflows: bool,
    /// Nitrous is on.
    pub nitrous: bool,
    /// A guard changes the mixture.
    pub guarded: bool,
}

impl Gates {
    /// Whether the fuel of this instant can teach something later; the first reason found if not.
    ///
    /// ```
    /// use trimwright_control::{Phase, Refusal};
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::gates::{Circumstances, Gates};
    /// let after_10_s = |ect_k| {
    ///     let (mut gates, mut belief) = (Gates::default(), Belief::default());
    ///     (belief.ect_k, belief.battery_v) = (ect_k, 13.8);
    ///     let now = Circumstances { belief: &belief, phase: Phase::Running, since_start_s: 600.0, speed_rad_per_s: 150.0,
    ///         wanted_ln: 0.0, duty_limited: false, film_overflows: false, nitrous: false, guarded: false };
    ///     (0..500).map(|_| gates.step(&now, 0.02)).last()
    /// };
    /// assert_eq!(after_10_s(293.0), Some(Some(Refusal::Cold)));
    /// assert_eq!(after_10_s(360.0), Some(None), "calm and warm: this teaches");
    /// ```
    pub fn step(&mut self, now: &Circumstances<'_>, dt_s: f32) -> Option<Refusal> {
        let share = dt_s / (CALM_S + dt_s);
        let moved = |lagged: &mut f32, value: f32| {
            *lagged += share * (value - *lagged);
            (value - *lagged).abs()
        };
        let map_moved_pa = moved(&mut self.map_pa, now.belief.map_pa);
        let speed_moved = moved(&mut self.speed_rad_per_s, now.speed_rad_per_s);
        let wanted_moved = moved(&mut self.wanted_ln, now.wanted_ln);
        self.moving = (map_moved_pa / CALM_MAP_PA).max(speed_moved / CALM_RAD_PER_S);
        let reasons = [
            (matches!(now.phase, Phase::FuelCut | Phase::OverSpeed), Refusal::FuelCut),
            (!now.phase.burns() || now.since_start_s < AFTER_START_S, Refusal::Starting),
            (now.nitrous, Refusal::Nitrous),
            (now.guarded, Refusal::Guard),
            (now.duty_limited, Refusal::DutyLimit),
            (now.film_overflows, Refusal::FilmOverflows),
            (now.belief.doubts.fuel(), Refusal::Substituted),
            (!(10.5..=15.8).contains(&now.belief.battery_v), Refusal::Volts),
            (now.belief.ect_k < WARM_K, Refusal::Cold),
            (wanted_moved > CALM_WANTED_LN, Refusal::WantedMoving),
            (self.moving > MOST_MOVING, Refusal::Transient),
        ];
        reasons.into_iter().find_map(|(found, reason)| found.then_some(reason))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn warm() -> Belief {
        Belief { map_pa: 40e3, ect_k: 360.0, battery_v: 13.8, ..Belief::default() }
    }

    fn calm(belief: &Belief) -> Circumstances<'_> {
        Circumstances {
            belief,
            phase: Phase::Running,
            since_start_s: 100.0,
            speed_rad_per_s: 150.0,
            wanted_ln: 0.0,
            duty_limited: false,
            film_overflows: false,
            nitrous: false,
            guarded: false,
        }
    }

    fn settled(belief: &Belief) -> Gates {
        let mut gates = Gates::default();
        for _ in 0..500 {
            gates.step(&calm(belief), 0.02);
        }
        gates
    }

    #[test]
    fn calm_warm_running_teaches() {
        let belief = warm();
        assert_eq!(settled(&belief).step(&calm(&belief), 0.02), None);
    }

    #[test]
    fn each_circumstance_has_its_own_reason() {
        let belief = warm();
        let mut gates = settled(&belief);
        let now = calm(&belief);
        let cold = Belief { ect_k: 300.0, ..warm() };
        let flat = Belief { battery_v: 9.0, ..warm() };
        let moved = Belief { map_pa: 60e3, ..warm() };
        let cases = [
            (Circumstances { phase: Phase::FuelCut, ..now }, Refusal::FuelCut),
            (Circumstances { phase: Phase::Cranking, ..now }, Refusal::Starting),
            (Circumstances { since_start_s: 3.0, ..now }, Refusal::Starting),
            (Circumstances { nitrous: true, ..now }, Refusal::Nitrous),
            (Circumstances { guarded: true, ..now }, Refusal::Guard),
            (Circumstances { duty_limited: true, ..now }, Refusal::DutyLimit),
            (Circumstances { film_overflows: true, ..now }, Refusal::FilmOverflows),
            (Circumstances { belief: &flat, ..now }, Refusal::Volts),
            (Circumstances { belief: &cold, ..now }, Refusal::Cold),
            (Circumstances { belief: &moved, ..now }, Refusal::Transient),
            (Circumstances { wanted_ln: -0.1, ..now }, Refusal::WantedMoving),
        ];
        for (case, reason) in cases {
            assert_eq!(gates.clone().step(&case, 0.02), Some(reason));
        }
        assert_eq!(gates.step(&now, 0.02), None);
    }

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
