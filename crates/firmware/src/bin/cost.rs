//! Counts the instructions and the stack of every control step of the scripted drive: `cost SECONDS`, on an emulator
//! where one instruction takes one nanosecond (`-icount shift=0`).
#![no_std]
#![no_main]

use core::hint::black_box;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::entry;
use semihosting::{eprintln, println, process};
use trimwright_control::Controller;
use trimwright_firmware::scripted::{Drive, InFlash, STEPS_PER_S};
use trimwright_firmware::{board, stack};
use trimwright_signals::{Commands, Frame};

/// Instructions between two ticks of the timer: the board's 25 MHz (Arm DAI 0386) at a thousand instructions a microsecond.
const PER_TICK: f64 = 40.0;
/// Repetitions of a step that may be the worst, to resolve between the ticks.
const REPETITIONS: u32 = 64;
/// Highest count of the timer.
const RELOAD: u32 = 0x00FF_FFFF;

#[entry]
fn main() -> ! {
    let (Ok(mut drive), Some(core)) = (Drive::new(), cortex_m::Peripherals::take()) else {
        eprintln!("the drive is out of range");
        process::exit(1)
    };
    let mut timer = core.SYST;
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(RELOAD);
    timer.clear_current();
    timer.enable_counter();

    let empty = (0..10_000).map(|_| ticks(|| ())).sum::<u32>();
    let empty = f64::from(empty) / 10_000.0;
    let steps = board::number_argument(120) * STEPS_PER_S;
    let (mut sum, mut worst, mut worst_at, mut deepest) = (0_u64, 0.0_f64, 0, 0);
    let mut over_half = 0_u32;
    for step in 0..steps {
        let before = drive.controller().clone();
        let frame = drive.step().clone();
        let mut controller = before.clone();
        let once = ticks(|| run_step(&mut controller, &frame));
        sum += u64::from(once);
        if f64::from(once) + 2.0 > worst {
            let mut all = 0;
            for _ in 0..REPETITIONS {
                controller = before.clone();
                all += ticks(|| run_step(&mut controller, &frame));
            }
            let mean = f64::from(all) / f64::from(REPETITIONS);
            if mean > worst {
                (worst, worst_at) = (mean, step);
            }
        }
        over_half += u32::from(f64::from(once) * PER_TICK > 3000.0);
        if step % 10 == 0 || f64::from(once) + 2.0 > worst {
            controller = before;
            deepest = deepest.max(stack::depth_bytes(|| run_step(&mut controller, &frame)).1);
        }
    }
    let instructions = |ticks: f64| (ticks - empty) * PER_TICK;
    println!("control steps: {steps}");
    println!("instructions per step, mean: {:.0}", instructions(sum as f64 / f64::from(steps)));
    println!("instructions per step, worst: {:.0} (step {worst_at})", instructions(worst));
    println!("steps of more than 3000 instructions: {over_half}");
    println!("stack of a step, bytes: {deepest}");
    println!("state and calibration, bytes: {}", size_of::<Controller<InFlash>>());
    process::exit(0)
}

#[inline(never)]
fn run_step(controller: &mut Controller<InFlash>, frame: &Frame) {
    black_box::<Commands>(controller.step(black_box(frame)));
}

fn ticks(work: impl FnOnce()) -> u32 {
    let start = SYST::get_current();
    work();
    start.wrapping_sub(SYST::get_current()) & RELOAD
}
