//! Controller and plant on a Cortex-M4F.
//!
//! | program | what it shows |
//! |---|---|
//! | `same_bits` | the same drive gives the same digest of every frame and command as on the host |
#![no_std]

#[cfg(target_os = "none")]
pub mod board;
pub mod scripted;
