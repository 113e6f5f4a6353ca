//! Runs the same ten simulated seconds several times for a profiler: `step_cost loop|plant|control TIMES`.

#[path = "../benches/stretch/mod.rs"]
mod stretch;

use std::process::ExitCode;
use stretch::Stretch;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [part, times] = arguments.as_slice() else { return usage() };
    let drive = match part.as_str() {
        "loop" => Stretch::drive,
        "plant" => Stretch::drive_plant,
        "control" => Stretch::run_controller,
        _ => return usage(),
    };
    let Ok(times) = times.parse::<u32>() else { return usage() };
    let stretch = Stretch::new();
    for _ in 0..times {
        drive(&stretch);
    }
    ExitCode::SUCCESS
}

fn usage() -> ExitCode {
    eprintln!("usage: step_cost loop|plant|control TIMES");
    ExitCode::from(2)
}
