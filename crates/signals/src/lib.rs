//! Electrical signals between engine and controller: [`Frame`] and [`Commands`].
//!
//! The plant gives a [`Frame`] (volts, pulses with time stamps, switches); the controller answers with [`Commands`]
//! (open times, duties, relays, spark advance). All signals are electrical, so that a bad ground, a drooping supply or a wrong
//! sensor curve can be simulated. There is no model of air, fuel or exhaust in this crate: if both sides shared one, their agreement
//! would prove nothing.
//!
//! ```text
//!            +-------- Frame: volts, pulses, switches ------->+
//!   engine,  |                                                | controller
//!   car      +<------- Commands: open times, duties, relays --+
//! ```
//!
//! | signal | meaning | unit |
//! |---|---|---|
//! | MAP, BARO, TP, FRP (SAE J1930) | ratiometric sensors, 0.5 to 4.5 V without faults | V |
//! | ECT, IAT | thermistors with a pull-up to 5 V | V |
//! | WR-HO2S | analog output of the wideband controller | V |
//! | trigger | time stamps of the pulses, one per firing with a distributor | us since power-up |
//! | vehicle speed | pulses | Hz |
//! | injectors | open time of each from now on | s |
//! | spark | advance before top dead centre | degrees |
//! | idle air valve, fuel pump | duty: fraction of full opening, of supply voltage | 0 to 1 |
//!
//! A frame and commands:
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
//! Feature `serde` serializes both, `defmt` logs them from a microcontroller.
#![no_std]

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

mod commands;
mod frame;

pub use commands::{Commands, MAX_INJECTORS};
pub use frame::{Frame, MAX_PULSES, Switches};
