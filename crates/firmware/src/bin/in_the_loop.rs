//! Processor in the loop: runs the controller on the messages at the emulator's standard input and answers on its standard
//! output. The plant runs on the host.
#![no_std]
#![no_main]

use cortex_m_rt::entry;
use semihosting::fs::File;
use semihosting::io::{self, Read, Write};
use semihosting::{eprintln, process};
use trimwright_link::{MAX_BYTES, Processor, Receiver, ToHost, ToProcessor, pack};

#[entry]
fn main() -> ! {
    match serve() {
        Ok(()) => process::exit(0),
        Err(error) => {
            eprintln!("the line to the host: {error}");
            process::exit(1)
        }
    }
}

/// Answers messages until [`ToProcessor::Finish`] or the end of the input.
fn serve() -> io::Result<()> {
    let mut from_host = File::open(c"/dev/stdin")?;
    let mut to_host = File::create(c"/dev/stdout")?;
    let (mut processor, mut receiver) = (Processor::default(), Receiver::default());
    let (mut read, mut buffer) = ([0; MAX_BYTES], [0; MAX_BYTES]);
    loop {
        let bytes = from_host.read(&mut read)?;
        if bytes == 0 {
            return Ok(());
        }
        for byte in &read[..bytes] {
            let Some(received) = receiver.push::<ToProcessor>(*byte) else { continue };
            let last = matches!(received, Ok((_, ToProcessor::Finish)));
            let (number, answer): (u32, ToHost) = processor.answer(received);
            if let Ok(sent) = pack(&answer, number, &mut buffer) {
                to_host.write_all(sent)?;
            }
            if last {
                return Ok(());
            }
        }
    }
}
