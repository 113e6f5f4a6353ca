//! Diagnostic trouble codes (SAE J2012 / ISO 15031-6), and sets of them.

/// The trouble codes that this controller can set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
#[non_exhaustive]
pub enum Dtc {
    /// Rail pressure too low.
    RailTooLow,
    /// Rail pressure too high.
    RailTooHigh,
    /// MAP implausible.
    MapPerformance,
    /// MAP circuit low.
    MapLow,
    /// MAP circuit high.
    MapHigh,
    /// IAT implausible.
    IatPerformance,
    /// IAT circuit low.
    IatLow,
    /// IAT circuit high.
    IatHigh,
    /// ECT implausible.
    EctPerformance,
    /// ECT circuit low.
    EctLow,
    /// ECT circuit high.
    EctHigh,
    /// TP implausible.
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
    /// Oxygen sensor heater: the sensor does not get ready.
    O2Heater,
    /// Mixture too lean for correction.
    SystemLean,
    /// Mixture too rich for correction.
    SystemRich,
    /// FRP implausible.
    FrpPerformance,
    /// FRP circuit low.
    FrpLow,
    /// FRP circuit high.
    FrpHigh,
    /// No pulses from the distributor.
    CrankNoSignal,
    /// Pulses from the distributor lost or too many.
    CrankPerformance,
    /// No vehicle speed while the car is driven.
    VehicleSpeed,
    /// Idle speed too low.
    IdleLow,
    /// Idle speed too high.
    IdleHigh,
    /// Supply voltage unstable.
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
        Self::CrankNoSignal,
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
            Self::CrankNoSignal => "P0335",
            Self::CrankPerformance => "P0336",
            Self::VehicleSpeed => "P0500",
            Self::IdleLow => "P0506",
            Self::IdleHigh => "P0507",
            Self::VoltsUnstable => "P0561",
            Self::VoltsLow => "P0562",
            Self::VoltsHigh => "P0563",
        }
    }

    /// Short description.
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
            Self::CrankNoSignal => "no pulses from the distributor while cranking",
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
    /// All codes.
    const ALL: u64 = (1 << Dtc::ALL.len()) - 1;

    /// The empty set.
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

    /// Codes in either set.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Codes in exactly one of the two sets.
    #[must_use]
    pub const fn symmetric_difference(self, other: Self) -> Self {
        Self(self.0 ^ other.0)
    }

    /// Whether the code is in the set.
    pub const fn contains(self, dtc: Dtc) -> bool {
        self.0 & (1 << dtc as u32) != 0
    }

    /// Whether the set is empty.
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

    /// The set of a number; `None` when a bit stands for no code.
    pub const fn from_bits(bits: u64) -> Option<Self> {
        if bits & !Self::ALL == 0 { Some(Self(bits)) } else { None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SAE J2012 codes as listed in shared/reference/dtc.csv, in order and without repetition.
    #[test]
    fn codes_are_in_order_and_unique() {
        for (index, pair) in Dtc::ALL.windows(2).enumerate() {
            assert!(pair[0].code() < pair[1].code());
            assert_eq!(pair[0] as usize, index);
        }
    }

    #[test]
    fn bits_without_a_code_are_rejected() {
        assert_eq!(Codes::from_bits(1 << Dtc::ALL.len()), None);
        assert!(Codes::from_bits(Codes::ALL).is_some_and(|codes| codes.iter().eq(Dtc::ALL)));
    }

    #[test]
    fn a_code_is_added_and_removed() {
        let codes = Codes::default().with(Dtc::VoltsHigh);
        assert!(codes.contains(Dtc::VoltsHigh) && codes.without(Dtc::VoltsHigh).is_empty());
        assert!(
            codes
                .symmetric_difference(Codes::default().with(Dtc::MapLow))
                .iter()
                .eq([Dtc::MapLow, Dtc::VoltsHigh])
        );
    }

    #[test]
    fn every_code_has_a_meaning_of_its_own() {
        for (place, dtc) in Dtc::ALL.into_iter().enumerate() {
            assert!(dtc.meaning().len() > 10);
            assert!(Dtc::ALL[..place].iter().all(|before| before.meaning() != dtc.meaning()), "{dtc:?}");
        }
    }

    #[test]
    fn ident_sets_of_codes_follow_set_algebra() {
        let (a, b) = (
            Codes::empty().with(Dtc::MapLow).with(Dtc::TpHigh),
            Codes::empty().with(Dtc::TpHigh).with(Dtc::O2Low),
        );
        assert!(a.union(b).iter().eq([Dtc::MapLow, Dtc::TpHigh, Dtc::O2Low]));
        assert!(a.symmetric_difference(b).iter().eq([Dtc::MapLow, Dtc::O2Low]));
        assert!(a.without(Dtc::TpHigh).iter().eq([Dtc::MapLow]) && a.without(Dtc::O2Low) == a);
        assert!(!a.is_empty() && Codes::empty().is_empty() && a.with(Dtc::MapLow) == a);
        assert_eq!(Codes::from_bits(a.bits()), Some(a));
    }
}
