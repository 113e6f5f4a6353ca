//! The controller alone, for its size: calibration from the stored answers, restored map and codes, a step per frame, and storing. It
//! prints nothing and emulates nothing. With feature `defmt` it logs, and its size includes the log.
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
    let answers = persistence::answers(black_box(KEPT))
        .map_or_else(|_| SetupAnswers::default(), |(answers, _)| answers);
    let Ok(calibration) = Calibration::from_checked(black_box(&answers), black_box(&PARAMETERS)) else {
        halt()
    };
    let restored = persistence::unpack(&calibration, black_box(KEPT));
    let controller = CONTROLLER.write(Controller::new(calibration));
    if let Ok((kept, _)) = restored {
        *controller = controller.clone().with_persistent(kept);
    }
    let mut frame = Frame::default();
    loop {
        // Stands for the pins: the compiler can assume nothing about the inputs and must compute the outputs.
        black_box(&mut frame);
        black_box(controller.step(&frame));
        if black_box(false) {
            let (map, codes) = (controller.state().learned(), controller.state().dtcs().stored_codes());
            *KEPT = persistence::pack(controller.calibration(), map, codes, 1);
            black_box(&mut *KEPT);
        }
    }
}

fn halt() -> ! {
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

/// The logging crates may panic, as far as some compilers can tell.
#[cfg(feature = "defmt")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    halt()
}
