//! Sets of trouble codes.

use crate::dtc::Dtc;

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
    ///
    /// ```
    /// use trimwright_control::Codes;
    /// assert_eq!(Codes::empty().iter().count(), 0);
    /// ```
    pub const fn empty() -> Self {
        Self(0)
    }

    /// The set with this code.
    ///
    /// ```
    /// use trimwright_control::{Codes, Dtc};
    /// let codes = Codes::empty().with(Dtc::EctHigh);
    /// assert_eq!(codes.with(Dtc::EctHigh), codes, "a code is in it or not, once");
    /// assert_eq!(codes.with(Dtc::IatHigh).iter().count(), 2);
    /// ```
    #[must_use]
    pub const fn with(self, dtc: Dtc) -> Self {
        Self(self.0 | 1 << dtc as u32)
    }

    /// The set without this code.
    ///
    /// ```
    /// use trimwright_control::{Codes, Dtc};
    /// let codes = Codes::empty().with(Dtc::EctHigh).with(Dtc::IatHigh);
    /// assert!(codes.without(Dtc::EctHigh).iter().eq([Dtc::IatHigh]));
    /// ```
    #[must_use]
    pub const fn without(self, dtc: Dtc) -> Self {
        Self(self.0 & !(1 << dtc as u32))
    }

    /// The codes that are in one of the two sets or in both.
    ///
    /// ```
    /// use trimwright_control::{Codes, Dtc};
    /// let before = Codes::empty().with(Dtc::TpLow).with(Dtc::O2Slow);
    /// let now = Codes::empty().with(Dtc::TpLow).with(Dtc::MapLow);
    /// assert!(before.together_with(now).iter().eq([Dtc::MapLow, Dtc::TpLow, Dtc::O2Slow]));
    /// ```
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
    ///
    /// ```
    /// use trimwright_control::{Codes, Dtc};
    /// let codes = Codes::empty().with(Dtc::SystemLean);
    /// assert!(codes.contains(Dtc::SystemLean) && !codes.contains(Dtc::SystemRich));
    /// ```
    pub const fn contains(self, dtc: Dtc) -> bool {
        self.0 & (1 << dtc as u32) != 0
    }

    /// Whether none is in it.
    ///
    /// ```
    /// use trimwright_control::{Codes, Dtc};
    /// let codes = Codes::empty().with(Dtc::VoltsLow);
    /// assert!(!codes.is_empty() && codes.without(Dtc::VoltsLow).is_empty());
    /// ```
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Its codes, in the order of their numbers.
    ///
    /// ```
    /// use trimwright_control::{Codes, Dtc};
    /// let codes = Codes::empty().with(Dtc::VoltsLow).with(Dtc::RailTooLow);
    /// let mut names = codes.iter().map(Dtc::code);
    /// assert_eq!([names.next(), names.next(), names.next()], [Some("P0087"), Some("P0562"), None]);
    /// ```
    pub fn iter(self) -> impl Iterator<Item = Dtc> {
        Dtc::ALL.into_iter().filter(move |dtc| self.contains(*dtc))
    }

    /// The set as a number: bit n is the code at place n of [`Dtc::ALL`].
    ///
    /// ```
    /// use trimwright_control::{Codes, Dtc};
    /// let bits = Codes::empty().with(Dtc::RailTooLow).with(Dtc::MapPerformance).bits();
    /// assert_eq!(bits, 0b101, "the first and the third");
    /// ```
    pub const fn bits(self) -> u64 {
        self.0
    }

    /// The set of a number; `None` when a bit of it stands for no code.
    ///
    /// ```
    /// use trimwright_control::{Codes, Dtc};
    /// let both = Codes::empty().with(Dtc::RailTooLow).with(Dtc::RailTooHigh);
    /// assert_eq!(Codes::from_bits(0b11), Some(both));
    /// assert_eq!(Codes::from_bits(1 << 63), None, "written by another program, or damaged");
    /// ```
    pub const fn from_bits(bits: u64) -> Option<Self> {
        if bits & !Self::ALL == 0 { Some(Self(bits)) } else { None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
