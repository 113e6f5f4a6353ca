//! The controller alone, as small as it gets: kept answers to calibration, kept map and codes back, a step for every frame,
//! all of it kept. Nothing prints, nothing is emulated; its size is the controller's. With feature `defmt` it logs, and its size is that with
//! a log.
//!
//! Without a log it links only when no path of the controller can panic: the panic handler calls a function that does not exist.
#![no_std]
#![no_main]

#[cfg(feature = "defmt")]
mod logger;

use core::hint::black_box;
use core::mem::MaybeUninit;
use cortex_m_rt::entry;
use trimwright_control::{Calibration, Controller, Parameters, SetupAnswers, persistence};
use trimwright_signals::Frame;

/// The parameters stay in flash.
static PARAMETERS: Parameters = Parameters::DEFAULT;

#[entry]
fn main() -> ! {
    static mut CONTROLLER: MaybeUninit<Controller<Calibration<&'static Parameters>>> = MaybeUninit::uninit();
    static mut KEPT: [u8; persistence::IMAGE_BYTES] = [0; persistence::IMAGE_BYTES];
    let answers =
        persistence::answers(black_box(KEPT)).map_or_else(|_| SetupAnswers::default(), |(answers, _)| answers);
    let Ok(calibration) = Calibration::from_checked(black_box(&answers), black_box(&PARAMETERS)) else {
        rest()
    };
    let restored = persistence::unpack(&calibration, black_box(KEPT));
    let controller = CONTROLLER.write(Controller::new(calibration));
    if let Ok((kept, _)) = restored {
        *controller = controller.clone().with_persistent(kept);
    }
    let mut frame = Frame::default();
    loop {
        // Stands for pins: the compiler can assume nothing of what it reads and must work out what it writes.
        black_box(&mut frame);
        black_box(controller.step(&frame));
        if black_box(false) {
            let (map, codes) = (controller.state().learned(), controller.state().dtcs().stored_codes());
            *KEPT = persistence::pack(controller.calibration(), map, codes, 1);
            black_box(&mut *KEPT);
        }
    }
}

fn rest() -> ! {
    loop {
        cortex_m::asm::wfi();
    }
}

#[cfg(not(feature = "defmt"))]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    // SAFETY: the function does not exist, so a program that could get here is never linked.
    unsafe extern "C" {
        safe fn a_path_of_the_controller_can_panic() -> !;
    }
    a_path_of_the_controller_can_panic()
}

/// The log's own crates may panic, as far as some compilers can tell.
#[cfg(feature = "defmt")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    rest()
}
