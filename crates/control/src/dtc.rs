//! Diagnostic trouble codes (SAE J2012 / ISO 15031-6): set after a while of evidence, healed after a while without.

use crate::codes::Codes;

/// The codes this controller can set.
///
/// ```
/// use trimwright_control::Dtc;
/// let performance = Dtc::ALL.into_iter().filter(|dtc| dtc.meaning().contains("does not follow the engine"));
/// assert!(performance.map(Dtc::code).eq(["P0106", "P0111", "P0116", "P0121"]));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Dtc {
    /// Rail pressure too low.
    RailTooLow,
    /// Rail pressure too high.
    RailTooHigh,
    /// MAP does not behave.
    MapPerformance,
    /// MAP circuit low.
    MapLow,
    /// MAP circuit high.
    MapHigh,
    /// IAT does not behave.
    IatPerformance,
    /// IAT circuit low.
    IatLow,
    /// IAT circuit high.
    IatHigh,
    /// ECT does not behave.
    EctPerformance,
    /// ECT circuit low.
    EctLow,
    /// ECT circuit high.
    EctHigh,
    /// TP does not behave.
    TpPerformance,
    /// TP circuit low.
    TpLow,
    /// TP circuit high.
    TpHigh,
    /// Oxygen sensor circuit.
    O2Circuit,
    /// Oxygen sensor circuit low.
    O2Low,
    /// Oxygen sensor circuit high.
    O2High,
    /// Oxygen sensor slow.
    O2Slow,
    /// Oxygen sensor without activity.
    O2NoActivity,
    /// Oxygen sensor does not get hot.
    O2Heater,
    /// Mixture too lean to be corrected.
    SystemLean,
    /// Mixture too rich to be corrected.
    SystemRich,
    /// FRP does not behave.
    FrpPerformance,
    /// FRP circuit low.
    FrpLow,
    /// FRP circuit high.
    FrpHigh,
    /// No pulses from the distributor.
    CrankSilent,
    /// Pulses lost or too many.
    CrankPerformance,
    /// Idle speed lower than wanted.
    IdleLow,
    /// Idle speed higher than wanted.
    IdleHigh,
    /// Supply voltage jumps about.
    VoltsUnstable,
    /// Supply voltage low.
    VoltsLow,
    /// Supply voltage high.
    VoltsHigh,
}

/// Number of codes.
const KINDS: usize = 32;

impl Dtc {
    /// All codes, in the order of their numbers.
    ///
    /// ```
    /// use trimwright_control::Dtc;
    /// assert_eq!(Dtc::ALL.iter().position(|dtc| *dtc == Dtc::MapLow), Some(Dtc::MapLow as usize));
    /// assert!(Dtc::ALL.windows(2).all(|pair| pair[0].code() < pair[1].code()));
    /// ```
    pub const ALL: [Self; KINDS] = [
        Self::RailTooLow,
        Self::RailTooHigh,
        Self::MapPerformance,
        Self::MapLow,
        Self::MapHigh,
        Self::IatPerformance,
        Self::IatLow,
        Self::IatHigh,
        Self::EctPerformance,
        Self::EctLow,
        Self::EctHigh,
        Self::TpPerformance,
        Self::TpLow,
        Self::TpHigh,
        Self::O2Circuit,
        Self::O2Low,
        Self::O2High,
        Self::O2Slow,
        Self::O2NoActivity,
        Self::O2Heater,
        Self::SystemLean,
        Self::SystemRich,
        Self::FrpPerformance,
        Self::FrpLow,
        Self::FrpHigh,
        Self::CrankSilent,
        Self::CrankPerformance,
        Self::IdleLow,
        Self::IdleHigh,
        Self::VoltsUnstable,
        Self::VoltsLow,
        Self::VoltsHigh,
    ];

    /// The standard code.
    ///
    /// ```
    /// use trimwright_control::Dtc;
    /// assert_eq!([Dtc::TpLow.code(), Dtc::SystemLean.code()], ["P0122", "P0171"]);
    /// ```
    pub const fn code(self) -> &'static str {
        match self {
            Self::RailTooLow => "P0087",
            Self::RailTooHigh => "P0088",
            Self::MapPerformance => "P0106",
            Self::MapLow => "P0107",
            Self::MapHigh => "P0108",
            Self::IatPerformance => "P0111",
            Self::IatLow => "P0112",
            Self::IatHigh => "P0113",
            Self::EctPerformance => "P0116",
            Self::EctLow => "P0117",
            Self::EctHigh => "P0118",
            Self::TpPerformance => "P0121",
            Self::TpLow => "P0122",
            Self::TpHigh => "P0123",
            Self::O2Circuit => "P0130",
            Self::O2Low => "P0131",
            Self::O2High => "P0132",
            Self::O2Slow => "P0133",
            Self::O2NoActivity => "P0134",
            Self::O2Heater => "P0135",
            Self::SystemLean => "P0171",
            Self::SystemRich => "P0172",
            Self::FrpPerformance => "P0191",
            Self::FrpLow => "P0192",
            Self::FrpHigh => "P0193",
            Self::CrankSilent => "P0335",
            Self::CrankPerformance => "P0336",
            Self::IdleLow => "P0506",
            Self::IdleHigh => "P0507",
            Self::VoltsUnstable => "P0561",
            Self::VoltsLow => "P0562",
            Self::VoltsHigh => "P0563",
        }
    }

    /// What it means, in a few words.
    ///
    /// ```
    /// use trimwright_control::Dtc;
    /// let line = format!("{}: {}", Dtc::EctHigh.code(), Dtc::EctHigh.meaning());
    /// assert_eq!(line, "P0118: coolant temperature sensor circuit high");
    /// ```
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::RailTooLow => "fuel rail pressure too low",
            Self::RailTooHigh => "fuel rail pressure too high",
            Self::MapPerformance => "manifold pressure sensor does not follow the engine",
            Self::MapLow => "manifold pressure sensor circuit low",
            Self::MapHigh => "manifold pressure sensor circuit high",
            Self::IatPerformance => "intake air temperature sensor does not follow the engine",
            Self::IatLow => "intake air temperature sensor circuit low",
            Self::IatHigh => "intake air temperature sensor circuit high",
            Self::EctPerformance => "coolant temperature sensor does not follow the engine",
            Self::EctLow => "coolant temperature sensor circuit low",
            Self::EctHigh => "coolant temperature sensor circuit high",
            Self::TpPerformance => "throttle position sensor does not follow the engine",
            Self::TpLow => "throttle position sensor circuit low",
            Self::TpHigh => "throttle position sensor circuit high",
            Self::O2Circuit => "oxygen sensor circuit is noisy",
            Self::O2Low => "oxygen sensor circuit low",
            Self::O2High => "oxygen sensor circuit high",
            Self::O2Slow => "oxygen sensor responds slowly",
            Self::O2NoActivity => "oxygen sensor shows no activity",
            Self::O2Heater => "oxygen sensor does not get ready",
            Self::SystemLean => "mixture too lean",
            Self::SystemRich => "mixture too rich",
            Self::FrpPerformance => "fuel rail pressure sensor does not follow the pump",
            Self::FrpLow => "fuel rail pressure sensor circuit low",
            Self::FrpHigh => "fuel rail pressure sensor circuit high",
            Self::CrankSilent => "no pulses from the distributor while cranking",
            Self::CrankPerformance => "distributor pulses lost or too many",
            Self::IdleLow => "idle speed lower than wanted",
            Self::IdleHigh => "idle speed higher than wanted",
            Self::VoltsUnstable => "supply voltage reading jumps about",
            Self::VoltsLow => "supply voltage low",
            Self::VoltsHigh => "supply voltage high",
        }
    }

    /// Evidence needed before the code sets, s. Circuits half a second, the others as long as chance could mimic them
    /// (engineering judgement).
    const fn sets_after_s(self) -> f32 {
        match self {
            Self::SystemLean | Self::SystemRich | Self::O2Slow => 5.0,
            Self::IdleLow | Self::IdleHigh | Self::O2Heater => 10.0,
            Self::O2Low | Self::O2High => 2.0,
            Self::RailTooLow | Self::RailTooHigh | Self::VoltsLow | Self::VoltsHigh | Self::CrankSilent => {
                1.5
            }
            _ => 0.5,
        }
    }

    /// Time without evidence before the code heals, s.
    const fn heals_after_s(self) -> f32 {
        3.0
    }
}

/// Evidence for and state of every code.
///
/// ```
/// use trimwright_control::Dtc;
/// use trimwright_control::dtc::Dtcs;
/// let mut dtcs = Dtcs::default();
/// // A loose plug: one slot in ten shows a fault. That heals faster than it adds up.
/// (0..6000).for_each(|slot| dtcs.report(Dtc::MapLow, slot % 10 == 0, 0.01));
/// assert_eq!(dtcs.stored().count(), 0);
/// // It came off.
/// (0..60).for_each(|_| dtcs.report(Dtc::MapLow, true, 0.01));
/// assert!(dtcs.active().eq([Dtc::MapLow]));
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Dtcs {
    /// Evidence gathered, s: rises with the fault, falls without it.
    evidence_s: [f32; KINDS],
    set: Codes,
    stored: Codes,
}

impl Dtcs {
    /// Takes what one check found over `dt_s` seconds.
    ///
    /// ```
    /// use trimwright_control::Dtc;
    /// use trimwright_control::dtc::Dtcs;
    /// let mut dtcs = Dtcs::default();
    /// let mut set_after = |found, seconds| {
    ///     dtcs.report(Dtc::IdleLow, found, seconds);
    ///     dtcs.is_set(Dtc::IdleLow)
    /// };
    /// // A slow idle has to last ten seconds, and has to be gone for three.
    /// assert!(!set_after(true, 9.0) && set_after(true, 2.0));
    /// assert!(set_after(false, 2.0) && !set_after(false, 2.0));
    /// ```
    pub fn report(&mut self, dtc: Dtc, found: bool, dt_s: f32) {
        let Some(evidence_s) = self.evidence_s.get_mut(dtc as usize) else { return };
        if !found && *evidence_s <= 0.0 {
            return;
        }
        if found {
            *evidence_s = (*evidence_s + dt_s).min(dtc.sets_after_s());
            if *evidence_s >= dtc.sets_after_s() {
                self.set = self.set.with(dtc);
                self.stored = self.stored.with(dtc);
            }
        } else {
            *evidence_s = (*evidence_s - dt_s * dtc.sets_after_s() / dtc.heals_after_s()).max(0.0);
            if *evidence_s <= 0.0 {
                self.set = self.set.without(dtc);
            }
        }
    }

    /// Whether a code is set now.
    ///
    /// ```
    /// use trimwright_control::Dtc;
    /// use trimwright_control::dtc::Dtcs;
    /// let mut dtcs = Dtcs::default();
    /// dtcs.report(Dtc::FrpHigh, true, 0.3);
    /// assert!(!dtcs.is_set(Dtc::FrpHigh), "0.3 s of evidence do not do");
    /// dtcs.report(Dtc::FrpHigh, true, 0.3);
    /// assert!(dtcs.is_set(Dtc::FrpHigh));
    /// ```
    pub const fn is_set(&self, dtc: Dtc) -> bool {
        self.set.contains(dtc)
    }

    /// The codes set now.
    ///
    /// ```
    /// use trimwright_control::Dtc;
    /// use trimwright_control::dtc::Dtcs;
    /// let mut dtcs = Dtcs::default();
    /// dtcs.report(Dtc::TpLow, true, 0.6);
    /// dtcs.report(Dtc::EctHigh, true, 0.6);
    /// assert!(dtcs.active().map(Dtc::code).eq(["P0118", "P0122"]));
    /// ```
    pub fn active(&self) -> impl Iterator<Item = Dtc> + use<> {
        self.set.iter()
    }

    /// The codes set at any time, until they are cleared; kept over a power-down ([`crate::keep`]).
    ///
    /// ```
    /// use trimwright_control::Dtc;
    /// use trimwright_control::dtc::Dtcs;
    /// let mut dtcs = Dtcs::default();
    /// dtcs.report(Dtc::TpLow, true, 0.6);
    /// dtcs.report(Dtc::TpLow, false, 3.1);
    /// // The plug is on again: the lamp can go out, but what happened is remembered.
    /// assert!(dtcs.active().next().is_none() && dtcs.stored().eq([Dtc::TpLow]));
    /// ```
    pub fn stored(&self) -> impl Iterator<Item = Dtc> + use<> {
        self.stored.iter()
    }

    /// The same as [`Dtcs::active`], as a set.
    ///
    /// ```
    /// use trimwright_control::dtc::Dtcs;
    /// use trimwright_control::{Codes, Dtc};
    /// let mut dtcs = Dtcs::default();
    /// let before = dtcs.active_codes();
    /// dtcs.report(Dtc::VoltsHigh, true, 2.0);
    /// assert_eq!(before.apart_from(dtcs.active_codes()), Codes::empty().with(Dtc::VoltsHigh));
    /// ```
    pub const fn active_codes(&self) -> Codes {
        self.set
    }

    /// The same as [`Dtcs::stored`], as a set.
    ///
    /// ```
    /// use trimwright_control::dtc::Dtcs;
    /// use trimwright_control::{Codes, Dtc};
    /// let mut dtcs = Dtcs::default();
    /// dtcs.recall(Codes::empty().with(Dtc::O2Slow));
    /// dtcs.report(Dtc::VoltsLow, true, 2.0);
    /// assert_eq!(dtcs.stored_codes(), dtcs.active_codes().with(Dtc::O2Slow));
    /// ```
    pub const fn stored_codes(&self) -> Codes {
        self.stored
    }

    /// Adds codes stored before a power-down.
    ///
    /// ```
    /// use trimwright_control::dtc::Dtcs;
    /// use trimwright_control::{Codes, Dtc};
    /// let mut dtcs = Dtcs::default();
    /// dtcs.recall(Codes::empty().with(Dtc::SystemRich));
    /// // It happened in an earlier drive; of now it says nothing.
    /// assert!(dtcs.stored().eq([Dtc::SystemRich]) && !dtcs.is_set(Dtc::SystemRich));
    /// ```
    pub const fn recall(&mut self, stored: Codes) {
        self.stored = self.stored.together_with(stored);
    }

    /// Forgets the stored codes but those that are set now.
    ///
    /// ```
    /// use trimwright_control::dtc::Dtcs;
    /// use trimwright_control::{Codes, Dtc};
    /// let mut dtcs = Dtcs::default();
    /// dtcs.recall(Codes::empty().with(Dtc::SystemRich));
    /// dtcs.report(Dtc::IatLow, true, 0.6);
    /// dtcs.clear();
    /// assert!(dtcs.stored().eq([Dtc::IatLow]), "what is still wrong can't be cleared away");
    /// ```
    pub const fn clear(&mut self) {
        self.stored = self.set;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_sets_after_its_time_and_heals_after_three_seconds() {
        let mut dtcs = Dtcs::default();
        for _ in 0..49 {
            dtcs.report(Dtc::MapLow, true, 0.01);
        }
        assert!(!dtcs.is_set(Dtc::MapLow));
        for _ in 0..3 {
            dtcs.report(Dtc::MapLow, true, 0.01);
        }
        assert!(dtcs.active().eq([Dtc::MapLow]));
        for _ in 0..290 {
            dtcs.report(Dtc::MapLow, false, 0.01);
        }
        assert!(dtcs.is_set(Dtc::MapLow));
        for _ in 0..20 {
            dtcs.report(Dtc::MapLow, false, 0.01);
        }
        assert!(!dtcs.is_set(Dtc::MapLow) && dtcs.stored().eq([Dtc::MapLow]));
    }

    #[test]
    fn a_glitch_sets_nothing() {
        let mut dtcs = Dtcs::default();
        for step in 0..10_000 {
            dtcs.report(Dtc::TpHigh, step % 10 == 0, 0.01);
        }
        assert_eq!(dtcs.stored().count(), 0);
    }

    #[test]
    fn codes_from_before_a_power_down_stay_until_they_are_cleared() {
        let mut dtcs = Dtcs::default();
        dtcs.recall(Codes::default().with(Dtc::TpHigh));
        for _ in 0..60 {
            dtcs.report(Dtc::MapLow, true, 0.01);
        }
        assert!(dtcs.active().eq([Dtc::MapLow]) && dtcs.stored().eq([Dtc::MapLow, Dtc::TpHigh]));
        dtcs.clear();
        assert!(dtcs.stored().eq([Dtc::MapLow]));
    }

    /// SAE J2012 codes as listed in shared/reference/dtc.csv: every code used is one of them and none is used twice.
    #[test]
    fn codes_are_in_order_and_unique() {
        for (index, pair) in Dtc::ALL.windows(2).enumerate() {
            assert!(pair[0].code() < pair[1].code());
            assert_eq!(pair[0] as usize, index);
        }
    }
}
