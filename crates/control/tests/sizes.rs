//! What a controller takes of a microcontroller's memory.
#![expect(clippy::print_stdout, reason = "the sizes are what this test is for")]

use trimwright_control::{Calibration, Controller, LearnedMap, Parameters, State};

/// A calibration whose parameters stay in flash.
type InFlash = Calibration<&'static Parameters>;

/// Prints the sizes (`cargo test -- --nocapture`) and holds them: the parts this is meant for have 64 KiB or more of RAM. The docs of the
/// crate quote them.
#[test]
fn state_and_calibration_fit_a_small_part() {
    let sizes = [
        ("calibration, parameters in flash", size_of::<InFlash>(), 2560),
        ("state", size_of::<State>(), 10_240),
        ("learned map", size_of::<LearnedMap>(), 1536),
        ("controller", size_of::<Controller<InFlash>>(), 12_288),
    ];
    for (name, bytes, limit) in sizes {
        println!("{name}: {bytes} bytes of at most {limit}");
        assert!(bytes <= limit, "{name} takes {bytes} bytes");
        let quoted = format!("//! | {name} | {bytes} |\n");
        assert!(include_str!("../src/lib.rs").contains(&quoted), "the docs lack {quoted}");
    }
}
