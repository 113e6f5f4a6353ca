//! Controller and plant on a Cortex-M4F.
//!
//! | program | what it shows |
//! |---|---|
//! | `same_bits` | the same drive gives the same digest of every frame and command as on the host |
//! | `cost` | instructions and stack of a control step |
//! | `in_the_loop` | processor in the loop: the controller on the processor, the plant on the host |
//! | `log` | the controller's log of phases, codes, refusals and fuel cuts, read on the host |
//! | `bare` | the controller alone, for its size; not linked if any of its paths can panic |
#![no_std]

#[cfg(target_os = "none")]
pub mod board;
pub mod ram_flash;
pub mod scripted;
#[cfg(target_os = "none")]
pub mod stack;
