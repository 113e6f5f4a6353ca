//! Diagnostic trouble codes (SAE J2012 / ISO 15031-6), and sets of them.

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
    /// No pulses of road speed while the car is driven.
    VehicleSpeed,
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
pub(crate) const KINDS: usize = 33;

impl Dtc {
    /// All codes, in the order of their numbers.
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
        Self::VehicleSpeed,
        Self::IdleLow,
        Self::IdleHigh,
        Self::VoltsUnstable,
        Self::VoltsLow,
        Self::VoltsHigh,
    ];

    /// The standard code.
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
            Self::VehicleSpeed => "P0500",
            Self::IdleLow => "P0506",
            Self::IdleHigh => "P0507",
            Self::VoltsUnstable => "P0561",
            Self::VoltsLow => "P0562",
            Self::VoltsHigh => "P0563",
        }
    }

    /// What it means, in a few words.
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
            Self::VehicleSpeed => "no vehicle speed while the car is driven",
            Self::IdleLow => "idle speed lower than wanted",
            Self::IdleHigh => "idle speed higher than wanted",
            Self::VoltsUnstable => "supply voltage reading jumps about",
            Self::VoltsLow => "supply voltage low",
            Self::VoltsHigh => "supply voltage high",
        }
    }
}

/// A set of trouble codes.
///
/// ```
/// use trimwright_control::{Codes, Dtc};
/// let codes = Codes::default().with(Dtc::TpHigh).with(Dtc::MapLow);
/// assert!(codes.iter().eq([Dtc::MapLow, Dtc::TpHigh]));
/// assert_eq!(Codes::from_bits(codes.bits()), Some(codes));
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Codes(u64);

impl Codes {
    /// All codes there are.
    const ALL: u64 = (1 << Dtc::ALL.len()) - 1;

    /// The set without any.
    pub const fn empty() -> Self {
        Self(0)
    }

    /// The set with this code.
    #[must_use]
    pub const fn with(self, dtc: Dtc) -> Self {
        Self(self.0 | 1 << dtc as u32)
    }

    /// The set without this code.
    #[must_use]
    pub const fn without(self, dtc: Dtc) -> Self {
        Self(self.0 & !(1 << dtc as u32))
    }

    /// The codes that are in one of the two sets or in both.
    #[must_use]
    pub const fn together_with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// The codes that are in one of the two sets and not in the other.
    ///
    /// ```
    /// use trimwright_control::{Codes, Dtc};
    /// let before = Codes::empty().with(Dtc::TpLow).with(Dtc::O2Slow);
    /// let now = Codes::empty().with(Dtc::TpLow).with(Dtc::MapLow);
    /// // What has changed: one code has set, one has healed.
    /// assert!(before.apart_from(now).iter().eq([Dtc::MapLow, Dtc::O2Slow]));
    /// ```
    #[must_use]
    pub const fn apart_from(self, other: Self) -> Self {
        Self(self.0 ^ other.0)
    }

    /// Whether a code is in it.
    pub const fn contains(self, dtc: Dtc) -> bool {
        self.0 & (1 << dtc as u32) != 0
    }

    /// Whether none is in it.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Its codes, in the order of their numbers.
    pub fn iter(self) -> impl Iterator<Item = Dtc> {
        Dtc::ALL.into_iter().filter(move |dtc| self.contains(*dtc))
    }

    /// The set as a number: bit n is the code at place n of [`Dtc::ALL`].
    pub const fn bits(self) -> u64 {
        self.0
    }

    /// The set of a number; `None` when a bit of it stands for no code.
    pub const fn from_bits(bits: u64) -> Option<Self> {
        if bits & !Self::ALL == 0 { Some(Self(bits)) } else { None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SAE J2012 codes as listed in shared/reference/dtc.csv: every code used is one of them and none is used twice.
    #[test]
    fn codes_are_in_order_and_unique() {
        for (index, pair) in Dtc::ALL.windows(2).enumerate() {
            assert!(pair[0].code() < pair[1].code());
            assert_eq!(pair[0] as usize, index);
        }
    }

    #[test]
    fn bits_without_a_code_are_no_set() {
        assert_eq!(Codes::from_bits(1 << Dtc::ALL.len()), None);
        assert!(Codes::from_bits(Codes::ALL).is_some_and(|codes| codes.iter().eq(Dtc::ALL)));
    }

    #[test]
    fn a_code_goes_as_it_came() {
        let codes = Codes::default().with(Dtc::VoltsHigh);
        assert!(codes.contains(Dtc::VoltsHigh) && codes.without(Dtc::VoltsHigh).is_empty());
        assert!(
            codes.apart_from(Codes::default().with(Dtc::MapLow)).iter().eq([Dtc::MapLow, Dtc::VoltsHigh])
        );
    }
}
