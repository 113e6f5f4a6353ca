//! What is on the wires between engine and controller, and nothing else.
//!
//! The plant writes a [`Frame`] (volts, pulses with time stamps, switches); the controller answers with [`Commands`]
//! (open times, duties, relays, degrees). Everything is electrical, so that a bad ground, a drooping supply or a wrong
//! sensor curve can exist. No model of air, fuel or exhaust lives here: if both sides shared one, agreement between them would
//! prove nothing.
//!
//! ```text
//!            +-------- Frame: volts, pulses, switches ------->+
//!   engine,  |                                                | controller
//!   car      +<------- Commands: open times, duties, relays --+
//! ```
//!
//! | wire | what the controller sees | unit |
//! |---|---|---|
//! | MAP, TP, FRP (SAE J1930) | ratiometric sensors, 0.5 to 4.5 V when sound | V |
//! | ECT, IAT | thermistors under a pull-up to 5 V | V |
//! | wide-range oxygen sensor | analog output of its driver | V |
//! | distributor | one time stamp a firing | us since power-up |
//! | vehicle speed | pulses | Hz |
//! | injectors | how long to energise each from now on | s |
//! | spark | advance before top dead centre | degrees |
//! | idle air valve, fuel pump | share of full opening, of supply voltage | 0 to 1 |
//!
//! A frame goes one way and its commands the other, a millisecond apart:
//!
//! ```
//! use trimwright_signals::{Commands, Frame};
//! let mut frame = Frame { time_us: 1000, map_v: 2.1, ..Frame::default() };
//! frame.pulses_us.push(730).expect("there is room for eight");
//! let mut commands = Commands::default();
//! commands.open_time_s[0] = 2.4e-3;
//! assert!(commands != Commands::default() && frame.pulses_us.len() == 1);
//! ```
//!
//! With feature `serde` both can be written and read, with `defmt` they can be logged from a microcontroller.
#![no_std]

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

mod commands;
mod frame;

pub use commands::{Commands, MAX_INJECTORS};
pub use frame::{Frame, MAX_PULSES, Switches};
