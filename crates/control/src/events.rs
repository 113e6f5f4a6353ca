//! Events of a step for a log: phases, fuel cuts, trouble codes, rejected lessons, the lean guard.
//!
//! With feature `defmt` every [`Event`] goes to the program's global logger as it happens, in the encoding of
//! [defmt](https://docs.rs/defmt): a few bytes each, the words stay in the program file on the host. The time stamp is the program's
//! (`defmt::timestamp!`). Without the feature nothing is compared and nothing compiled in.

use crate::dtc::{Codes, Dtc};
use crate::fuel_cut::Cut;
use crate::phase::Phase;
use crate::refusal::Refusal;
use crate::state::State;

/// One event.
///
/// ```
/// use trimwright_control::events::{Event, EventState};
/// use trimwright_control::{Calibration, Controller, Phase, SetupAnswers};
/// use trimwright_signals::Frame;
/// let mut controller = Controller::new(Calibration::from_answers(&SetupAnswers::default())?);
/// let before = EventState::of(controller.state());
/// let mut frame = Frame { battery_v: 12.4, map_v: 4.1, ..Frame::default() };
/// frame.switches.ignition = true;
/// for ms in 0..20 {
///     frame.time_us = ms * 1000;
///     controller.step(&frame);
/// }
/// let mut happened = before.events_until(&EventState::of(controller.state()));
/// let key_turned = Event::Phase { from: Phase::Stopped, to: Phase::Priming };
/// assert_eq!(happened.next(), Some(key_turned));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Event {
    /// The engine phase changed.
    Phase {
        /// Phase before.
        from: Phase,
        /// Phase now.
        to: Phase,
    },
    /// A fuel cut begins.
    CutBegins(Cut),
    /// A fuel cut ends.
    CutEnds(Cut),
    /// The lean guard has cut the fuel.
    GuardTripped,
    /// A trouble code has set.
    CodeSet(Dtc),
    /// A trouble code has cleared.
    CodeCleared(Dtc),
    /// Lessons are rejected from now on, for this reason.
    Rejected(Refusal),
    /// Lessons are accepted from now on.
    Learning,
}

/// The part of a state that events are derived from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EventState {
    phase: Phase,
    cut: Cut,
    guard_trips: u16,
    codes: Codes,
    refusal: Option<Refusal>,
}

impl EventState {
    /// The part of this state.
    pub const fn of(state: &State) -> Self {
        Self {
            phase: state.phase.phase(),
            cut: state.cuts.cut(),
            guard_trips: state.lean_guard.trips(),
            codes: state.dtcs.active_codes(),
            refusal: state.insight.refusal,
        }
    }

    /// Events between this state and a later one.
    pub fn events_until(&self, now: &Self) -> impl Iterator<Item = Event> + use<> {
        let (was, now) = (*self, *now);
        let phase = (was.phase != now.phase).then_some(Event::Phase { from: was.phase, to: now.phase });
        let cut = was.cut != now.cut;
        let ends = (cut && was.cut != Cut::None).then_some(Event::CutEnds(was.cut));
        let begins = (cut && now.cut != Cut::None).then_some(Event::CutBegins(now.cut));
        let guard = (was.guard_trips != now.guard_trips).then_some(Event::GuardTripped);
        let refusal =
            (was.refusal != now.refusal).then(|| now.refusal.map_or(Event::Learning, Event::Rejected));
        let codes = was.codes.symmetric_difference(now.codes).iter().map(move |dtc| {
            if now.codes.contains(dtc) { Event::CodeSet(dtc) } else { Event::CodeCleared(dtc) }
        });
        [phase, ends, begins, guard, refusal].into_iter().flatten().chain(codes)
    }
}

/// State before a step, for the log.
#[cfg(feature = "defmt")]
pub(crate) struct StepLog(EventState);
/// Empty without the log.
#[cfg(not(feature = "defmt"))]
pub(crate) struct StepLog;

#[cfg(feature = "defmt")]
impl StepLog {
    pub(crate) const fn of(state: &State) -> Self {
        Self(EventState::of(state))
    }

    /// Logs the events since then.
    pub(crate) fn write(&self, state: &State) {
        let now = EventState::of(state);
        if self.0 != now {
            for event in self.0.events_until(&now) {
                defmt::info!("{}", event);
            }
        }
    }
}

#[cfg(not(feature = "defmt"))]
impl StepLog {
    pub(crate) const fn of(_: &State) -> Self {
        Self
    }

    pub(crate) const fn write(&self, _: &State) {}
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::parameters::Parameters;
    use crate::trouble_codes::TroubleCodeParameters;
    use std::vec::Vec;

    fn happened(change: impl FnOnce(&mut State)) -> Vec<Event> {
        let mut state = State::new(&Parameters::DEFAULT);
        let before = EventState::of(&state);
        change(&mut state);
        before.events_until(&EventState::of(&state)).collect()
    }

    #[test]
    fn without_a_change_there_is_no_event() {
        assert_eq!(happened(|state| state.insight.map_pa = 1e5), []);
    }

    #[test]
    fn a_cut_that_turns_into_another_ends_and_begins() {
        let stands = EventState::of(&State::new(&Parameters::DEFAULT));
        let coasts = EventState { cut: Cut::Coasting, ..stands };
        let guarded = EventState { cut: Cut::LeanGuard, guard_trips: 1, ..stands };
        let expected = [Event::CutEnds(Cut::Coasting), Event::CutBegins(Cut::LeanGuard), Event::GuardTripped];
        assert!(coasts.events_until(&guarded).eq(expected));
    }

    #[test]
    fn codes_set_and_clear_independently() {
        let report = |state: &mut State, low, high| {
            for _ in 0..400 {
                state.dtcs.reports(&TroubleCodeParameters::DEFAULT).report(Dtc::MapLow, low, 0.01);
                state.dtcs.reports(&TroubleCodeParameters::DEFAULT).report(Dtc::TpHigh, high, 0.01);
            }
        };
        assert_eq!(
            happened(|state| report(state, true, true)),
            [Event::CodeSet(Dtc::MapLow), Event::CodeSet(Dtc::TpHigh)]
        );
        let mut state = State::new(&Parameters::DEFAULT);
        report(&mut state, true, false);
        let before = EventState::of(&state);
        report(&mut state, false, true);
        let expected = [Event::CodeCleared(Dtc::MapLow), Event::CodeSet(Dtc::TpHigh)];
        assert!(before.events_until(&EventState::of(&state)).eq(expected));
    }

    #[test]
    fn rejection_and_learning_are_events() {
        assert_eq!(happened(|state| state.insight.refusal = None), [Event::Learning]);
        assert_eq!(
            happened(|state| state.insight.refusal = Some(Refusal::Cold)),
            [Event::Rejected(Refusal::Cold)]
        );
    }

    #[test]
    fn a_cut_begins_and_ends_once_and_a_phase_changes_once() {
        let stands = EventState::of(&State::new(&Parameters::DEFAULT));
        let runs = EventState { phase: Phase::Running, ..stands };
        let coasts = EventState { cut: Cut::Coasting, ..runs };
        assert!(runs.events_until(&coasts).eq([Event::CutBegins(Cut::Coasting)]));
        assert!(coasts.events_until(&runs).eq([Event::CutEnds(Cut::Coasting)]));
        assert_eq!(coasts.events_until(&coasts).count(), 0);
        let change = Event::Phase { from: Phase::Stopped, to: Phase::Running };
        assert!(stands.events_until(&runs).eq([change]));
    }
}
