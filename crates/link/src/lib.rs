//! Frames and commands as bytes: messages between a host and a processor, and a digest of a whole drive.
//!
//! Bodies are in the [postcard](https://postcard.jamesmunns.com) wire format: whole numbers as variable-length integers, seven
//! bits a byte, least significant first; floats as their four little-endian bytes; a list as its length and its items; a
//! choice as its number, from 0 in the order of the declaration. No allocation, no standard library.
//!
//! | module | what |
//! |---|---|
//! | [`digest`] | one number over every frame and every command, the same on every machine that computes the same bits |
//! | [`message`] | what host and processor tell each other |
//! | [`parcel`] | a message on a line of bytes: version, running number, checksum, end mark |
//! | [`processor`] | the processor's side of the line |
#![no_std]

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

pub mod digest;
pub mod message;
pub mod parcel;
pub mod processor;

pub use digest::Digest;
pub use message::{Complaint, ToHost, ToProcessor};
pub use parcel::{MAX_BYTES, ParcelError, Receiver, pack};
pub use processor::Processor;
