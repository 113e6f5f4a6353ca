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
