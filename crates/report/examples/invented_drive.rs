//! Writes a report page with invented numbers to the given path, `invented_drive.html` by default.

#[path = "../tests/invented/mod.rs"]
mod invented;

fn main() -> std::io::Result<()> {
    let path = std::env::args().nth(1).unwrap_or_else(|| "invented_drive.html".to_owned());
    std::fs::write(path, trimwright_report::render(&invented::report_data()))
}
