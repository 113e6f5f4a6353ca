//! The controller alone, as small as it gets: setup answers to calibration, the kept map back, a step for every frame, the map
//! kept. Nothing prints, nothing is emulated; its size is the controller's. With feature `defmt` it logs, and its size is that with
//! a log.
//!
//! It links only when no path of the controller can panic: the panic handler calls a function that does not exist.
#![no_std]
#![no_main]

#[cfg(feature = "defmt")]
mod logger;

use core::hint::black_box;
use core::mem::MaybeUninit;
use cortex_m_rt::entry;
use trimwright_control::{Calibration, Controller, SetupAnswers, keep};
use trimwright_signals::Frame;

#[entry]
fn main() -> ! {
    static mut CONTROLLER: MaybeUninit<Controller> = MaybeUninit::uninit();
    static mut KEPT: [u8; keep::IMAGE_BYTES] = [0; keep::IMAGE_BYTES];
    let Ok(calibration) = Calibration::from_answers(black_box(&SetupAnswers::default())) else { rest() };
    let restored = keep::unpack(&calibration, black_box(KEPT));
    let controller = CONTROLLER.write(Controller::new(calibration));
    if let Ok((map, _)) = restored {
        *controller = controller.clone().with_learned(map);
    }
    let mut frame = Frame::default();
    loop {
        // Stands for pins: the compiler can assume nothing of what it reads and must work out what it writes.
        black_box(&mut frame);
        black_box(controller.step(&frame));
        if black_box(false) {
            *KEPT = keep::pack(controller.calibration(), &controller.state().learned, 1);
            black_box(&mut *KEPT);
        }
    }
}

fn rest() -> ! {
    loop {
        cortex_m::asm::wfi();
    }
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    // SAFETY: the function does not exist, so a program that could get here is never linked.
    unsafe extern "C" {
        safe fn a_path_of_the_controller_can_panic() -> !;
    }
    a_path_of_the_controller_can_panic()
}
