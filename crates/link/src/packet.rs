//! Packet: one message on a serial byte stream.
//!
//! | part | bytes | what |
//! |---|---|---|
//! | version | 1 | [`VERSION`] |
//! | number | 1 to 5 | sequence number, from 0, as a variable-length integer; an answer has the number of its message |
//! | body | | the message in the postcard wire format |
//! | checksum | 4 | CRC-32 as of ITU-T V.42 over all before it, little-endian |
//!
//! The whole is encoded by consistent overhead byte stuffing (COBS: Cheshire and Baker, IEEE/ACM Trans. Networking 7, 1999), so that it
//! contains no zero, and ends with a zero. After an error the receiver resynchronizes at the next zero.

use crc::{CRC_32_ISO_HDLC, Crc};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

/// Version of the encoding and of the messages.
pub const VERSION: u8 = 1;
/// Longest packet with its end mark, bytes.
pub const MAX_BYTES: usize = 256;

const CHECKSUM: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
/// Longest packet before byte stuffing, which adds at most one byte in 254, and the end mark.
const BODY_BYTES: usize = MAX_BYTES - 4;

/// Why received bytes are not a valid packet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum PacketError {
    /// More than [`MAX_BYTES`] without an end mark, or a message does not fit.
    TooLong,
    /// Checksum, byte stuffing or body is invalid.
    Damaged,
    /// The packet has this other version.
    Version(u8),
}

impl core::fmt::Display for PacketError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::TooLong => write!(f, "longer than the {MAX_BYTES} bytes a message may have"),
            Self::Damaged => f.write_str("damaged: checksum or layout is wrong"),
            Self::Version(version) => {
                write!(f, "in version {version} of the encoding, this is version {VERSION}")
            }
        }
    }
}

impl core::error::Error for PacketError {}

#[derive(Serialize, Deserialize)]
struct Numbered<T> {
    version: u8,
    number: u32,
    body: T,
}

/// Encodes a message with its sequence number into `buffer` and returns the bytes to send, end mark included.
///
/// ```
/// use trimwright_link::{MAX_BYTES, Receiver, ToHost, pack};
/// let mut buffer = [0; MAX_BYTES];
/// let sent = pack(&ToHost::Ready, 7, &mut buffer)?;
/// let mut receiver = Receiver::default();
/// let received = sent.iter().find_map(|byte| receiver.push(*byte));
/// assert_eq!(received, Some(Ok((7, ToHost::Ready))));
/// # Ok::<(), trimwright_link::PacketError>(())
/// ```
///
/// # Errors
/// [`PacketError::TooLong`] when it does not fit; no message of [`crate::message`] is that long.
pub fn pack<'a, T: Serialize>(
    body: &T,
    number: u32,
    buffer: &'a mut [u8; MAX_BYTES],
) -> Result<&'a [u8], PacketError> {
    let mut plain = [0; BODY_BYTES];
    let numbered = Numbered { version: VERSION, number, body };
    let plain = postcard::to_slice_crc32(&numbered, &mut plain, CHECKSUM.digest())
        .map_err(|_| PacketError::TooLong)?;
    let stuffed = cobs::try_encode(plain, buffer).map_err(|_| PacketError::TooLong)?;
    let whole = buffer.get_mut(..=stuffed).ok_or(PacketError::TooLong)?;
    if let Some(end) = whole.last_mut() {
        *end = 0;
    }
    Ok(whole)
}

/// Collects received bytes into packets.
#[derive(Clone, Debug)]
pub struct Receiver {
    bytes: [u8; MAX_BYTES],
    /// Number of bytes since the last end mark, including those that did not fit.
    received: usize,
}

impl Default for Receiver {
    fn default() -> Self {
        Self { bytes: [0; MAX_BYTES], received: 0 }
    }
}

impl Receiver {
    /// Adds the next byte; at an end mark returns the message with its sequence number, or the error.
    pub fn push<T: DeserializeOwned>(&mut self, byte: u8) -> Option<Result<(u32, T), PacketError>> {
        if byte != 0 {
            if let Some(place) = self.bytes.get_mut(self.received) {
                *place = byte;
            }
            self.received = self.received.saturating_add(1);
            return None;
        }
        let length = core::mem::take(&mut self.received);
        Some(self.bytes.get_mut(..length).ok_or(PacketError::TooLong).and_then(unpack))
    }
}

fn unpack<T: DeserializeOwned>(bytes: &mut [u8]) -> Result<(u32, T), PacketError> {
    let plain = cobs::decode_in_place(bytes).map_err(|_| PacketError::Damaged)?;
    let plain = bytes.get(..plain).ok_or(PacketError::Damaged)?;
    let (body, checksum) = plain.split_last_chunk::<4>().ok_or(PacketError::Damaged)?;
    if CHECKSUM.checksum(body) != u32::from_le_bytes(*checksum) {
        return Err(PacketError::Damaged);
    }
    match body.first() {
        Some(&VERSION) => {}
        Some(&version) => return Err(PacketError::Version(version)),
        None => return Err(PacketError::Damaged),
    }
    match postcard::take_from_bytes::<Numbered<T>>(body) {
        Ok((numbered, [])) => Ok((numbered.number, numbered.body)),
        _ => Err(PacketError::Damaged),
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::message::{ToHost, ToProcessor};
    use proptest::prelude::*;
    use std::vec::Vec;
    use trimwright_control::{Options, SetupAnswers};
    use trimwright_signals::{Commands, Frame, MAX_PULSES};

    fn received<T: DeserializeOwned>(bytes: &[u8]) -> Vec<Result<(u32, T), PacketError>> {
        let mut receiver = Receiver::default();
        bytes.iter().filter_map(|byte| receiver.push(*byte)).collect()
    }

    /// The longest frame: the latest of times, all pulses, all floats full of set bits.
    fn full_frame() -> Frame {
        let volts = f32::from_bits(u32::MAX);
        let mut frame =
            Frame { time_us: u64::MAX, battery_v: volts, map_v: volts, tp_v: volts, ..Frame::default() };
        for _ in 0..MAX_PULSES {
            assert_eq!(frame.pulses_us.push(u64::MAX), Ok(()));
        }
        frame
    }

    #[test]
    fn ident_the_longest_messages_fit_and_are_received() {
        let mut buffer = [0; MAX_BYTES];
        let sent = pack(&ToProcessor::Frame(full_frame()), u32::MAX, &mut buffer).unwrap();
        match &received::<ToProcessor>(sent)[..] {
            // NaN is not equal to itself; its bits are what must come back.
            [Ok((u32::MAX, ToProcessor::Frame(back)))] => {
                assert_eq!((back.time_us, &back.pulses_us), (u64::MAX, &full_frame().pulses_us));
                assert_eq!(back.tp_v.to_bits(), u32::MAX);
            }
            other => panic!("{other:?}"),
        }
        let start = ToProcessor::Start {
            answers: SetupAnswers::default(),
            options: Options::default(),
            keep_map: true,
        };
        let sent = pack(&start, 3, &mut buffer).unwrap();
        assert_eq!(received(sent), [Ok((3, start))]);
        let commands = ToHost::Commands(Commands { open_time_s: [1.25e-3; 8], ..Commands::default() });
        let sent = pack(&commands, 4, &mut buffer).unwrap();
        assert_eq!(received(sent), [Ok((4, commands))]);
    }

    #[test]
    fn every_flipped_bit_is_detected() {
        let mut buffer = [0; MAX_BYTES];
        let sent =
            pack(&ToProcessor::Frame(Frame { map_v: 1.5, ..Frame::default() }), 9, &mut buffer).unwrap();
        for bit in 0..sent.len() * 8 {
            let mut line = Vec::from(sent);
            line[bit / 8] ^= 1 << (bit % 8);
            // A lost end mark joins the message to the next one, which is damaged by it.
            line.extend_from_slice(sent);
            let packets = received::<ToProcessor>(&line);
            assert!(packets.iter().any(Result::is_err), "bit {bit}: {packets:?}");
        }
    }

    #[test]
    fn another_version_is_reported() {
        let mut plain = [0; 16];
        let numbered = Numbered { version: 9, number: 1, body: ToHost::Ready };
        let plain = postcard::to_slice_crc32(&numbered, &mut plain, CHECKSUM.digest()).unwrap();
        let mut line = [0; 32];
        let stuffed = cobs::encode(plain, &mut line);
        assert_eq!(received::<ToHost>(&line[..=stuffed]), [Err(PacketError::Version(9))]);
    }

    #[test]
    fn after_noise_the_next_message_is_received() {
        let mut buffer = [0; MAX_BYTES];
        let sent = pack(&ToHost::Ready, 2, &mut buffer).unwrap();
        let mut line = std::vec![7; 1000];
        line.push(0);
        line.extend_from_slice(sent);
        assert_eq!(received(&line), [Err(PacketError::TooLong), Ok((2, ToHost::Ready))]);
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
            for packet in received::<ToProcessor>(&bytes) {
                prop_assert!(packet.is_err());
            }
        }
    }
}
