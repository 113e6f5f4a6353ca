//! What does the page look like? Writes one from invented numbers to the path given, `invented_drive.html` by default.

#[path = "../tests/invented/mod.rs"]
mod invented;

fn main() -> std::io::Result<()> {
    let path = std::env::args().nth(1).unwrap_or_else(|| "invented_drive.html".to_owned());
    std::fs::write(path, trimwright_report::render(&invented::story()))
}
