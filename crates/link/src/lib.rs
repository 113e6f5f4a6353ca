//! Serial protocol between a host with the plant and a processor with the controller, and a digest of a drive.
//!
//! Messages are in the [postcard](https://postcard.jamesmunns.com) wire format: whole numbers as variable-length integers, seven
//! bits a byte, least significant first; floats as their four little-endian bytes; a list as its length and its items; a
//! variant of an enum as its index, from 0 in the order of the declaration. No allocation, no standard library.
//!
//! | module | what |
//! |---|---|
//! | [`digest`] | 64-bit hash over all frames and commands, equal on all machines that compute the same bits |
//! | [`message`] | messages of host and processor |
//! | [`packet`] | a message as a packet of bytes: version, sequence number, checksum, end mark |
//! | [`processor`] | the processor's side: controller, answers |
#![no_std]

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

pub mod digest;
pub mod message;
pub mod packet;
pub mod processor;

pub use digest::Digest;
pub use message::{Rejection, ToHost, ToProcessor};
pub use packet::{MAX_BYTES, PacketError, Receiver, pack};
pub use processor::Processor;
