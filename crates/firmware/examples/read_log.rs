//! Decodes a log in defmt's encoding from standard input and prints one event per line: `read_log PROGRAM`. PROGRAM is the file that
//! wrote the log; it contains the texts.

use defmt_decoder::{DecodeError, Table};
use std::error::Error;
use std::io::Read;

fn main() -> Result<(), Box<dyn Error>> {
    let program = std::env::args().nth(1).ok_or("which program wrote the log?")?;
    let table = Table::parse(&std::fs::read(&program)?)?.ok_or("this program logs nothing")?;
    let mut log = Vec::new();
    std::io::stdin().read_to_end(&mut log)?;
    let mut decoder = table.new_stream_decoder();
    decoder.received(&log);
    loop {
        match decoder.decode() {
            Ok(event) => println!("{}", event.display(false)),
            Err(DecodeError::UnexpectedEof) => return Ok(()),
            Err(DecodeError::Malformed) => return Err("the log is damaged".into()),
        }
    }
}
