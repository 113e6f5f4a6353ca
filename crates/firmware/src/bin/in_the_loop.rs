//! The controller on the processor, the plant on the host: answers the messages that come on the host's standard input of the
//! emulator, on its standard output.
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

/// Until the host says that nothing follows, or closes the line.
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
            let Some(came) = receiver.take::<ToProcessor>(*byte) else { continue };
            let last = matches!(came, Ok((_, ToProcessor::Finish)));
            let (number, answer): (u32, ToHost) = processor.answer(came);
            if let Ok(sent) = pack(&answer, number, &mut buffer) {
                to_host.write_all(sent)?;
            }
            if last {
                return Ok(());
            }
        }
    }
}
