//! What is on the wires between engine and controller, and nothing else.
//!
//! The plant writes a [`Frame`] (volts, pulses with time stamps, switches); the controller answers with [`Commands`]
//! (open times, duties, relays, degrees). Everything is electrical, so that a bad ground, a drooping supply or a wrong
//! sensor curve can exist. No model of air, fuel or exhaust lives here: if both sides shared one, agreement between them would
//! prove nothing.
#![no_std]

mod commands;
mod frame;

pub use commands::{Commands, MAX_INJECTORS};
pub use frame::{Frame, MAX_PULSES, Switches};
