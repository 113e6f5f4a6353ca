//! Digest: a 64-bit hash over frames and commands.

use postcard::ser_flavors::Flavor;
use serde::Serialize;

/// 64-bit FNV-1a hash (Fowler, Noll and Vo) over values in the postcard wire format.
///
/// ```
/// use trimwright_link::Digest;
/// use trimwright_signals::Commands;
/// let mut digest = Digest::default();
/// digest.add(&Commands::default());
/// let quiet = digest.value();
/// let mut digest = Digest::default();
/// digest.add(&Commands { fan1: true, ..Commands::default() });
/// assert_ne!(digest.value(), quiet);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Digest(u64);

impl Default for Digest {
    fn default() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
}

impl Digest {
    /// Adds every bit of a value: positive and negative zero, and NaNs with different bits, differ.
    pub fn add<T: Serialize + ?Sized>(&mut self, value: &T) {
        // The only possible error is a sequence of unknown length, which no type here has; it changes the digest.
        match postcard::serialize_with_flavor(value, Hashing(*self)) {
            Ok(digest) => *self = digest,
            Err(_) => self.0 = !self.0,
        }
    }

    /// Adds one byte.
    pub fn byte(&mut self, byte: u8) {
        self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
    }

    /// The hash so far.
    pub const fn value(self) -> u64 {
        self.0
    }
}

struct Hashing(Digest);

impl Flavor for Hashing {
    type Output = Digest;

    fn try_push(&mut self, byte: u8) -> postcard::Result<()> {
        self.0.byte(byte);
        Ok(())
    }

    fn finalize(self) -> postcard::Result<Digest> {
        Ok(self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::Digest;
    use trimwright_signals::Frame;

    /// The digest of the letter a is af63dc4c8601ec8c: test vector of the FNV draft, from memory.
    #[test]
    fn val_the_digest_is_fnv_1a() {
        let mut digest = Digest::default();
        digest.byte(b'a');
        assert_eq!(digest.value(), 0xaf63_dc4c_8601_ec8c);
    }

    #[test]
    fn every_bit_of_a_frame_counts() {
        let of = |frame: &Frame| {
            let mut digest = Digest::default();
            digest.add(frame);
            digest.value()
        };
        let plain = of(&Frame::default());
        for bit in 0..32 {
            assert_ne!(of(&Frame { map_v: f32::from_bits(1 << bit), ..Frame::default() }), plain);
        }
        for bit in 0..64 {
            assert_ne!(of(&Frame { time_us: 1 << bit, ..Frame::default() }), plain);
        }
        let mut pulsed = Frame::default();
        assert_eq!(pulsed.pulses_us.push(0), Ok(()));
        assert_ne!(of(&pulsed), plain);
    }
}
