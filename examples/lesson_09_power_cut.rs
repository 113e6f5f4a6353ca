//! Lesson 9: what is left of the map when the power fails while it is saved?
//!
//! Flash is erased page by page and written word by word; the power can fail during either. If a new map is written over the last one, an
//! interrupted save loses both. So each map is written to a free page, with a sequence number and a checksum, and the previous one is kept
//! until the new one is complete. Here the power is cut in every single operation of a save, with both methods, and the restored map is
//! compared.

#[path = "../crates/store/tests/power/flash.rs"]
mod flash;
mod lesson;

use embedded_storage_async::nor_flash::NorFlash;
use flash::{Flash, PAGE, PAGES, Random};
use lesson::plot::Plot;
use std::error::Error;
use std::fmt;
use trimwright_control::{Calibration, Codes, Parameters, SetupAnswers, persistence};
use trimwright_store::{Store, wait_for};

/// Sequence number of the map that is saved when the power fails.
pub(crate) const NEW: u32 = 5;

pub(crate) struct Answer {
    /// Number of the restored map for each operation in which the power failed, 0 for none. The last save is not interrupted.
    pub(crate) beside: Vec<u32>,
    pub(crate) over: Vec<u32>,
}

fn calibration() -> Calibration {
    Calibration::from_answers(&SetupAnswers::default()).expect("default answers")
}

/// Saves map `number` in a free page. Errors are expected; the result is checked afterwards.
fn save_beside(flash: Flash, number: u32) -> Flash {
    let mut store = Store::new(flash, 0..(PAGE * PAGES) as u32).expect("whole pages");
    let _ =
        wait_for(store.save(&calibration(), &Parameters::DEFAULT.blank_map(), Codes::empty(), number - 1));
    store.into_flash()
}

fn read_beside(flash: Flash) -> u32 {
    let mut store = Store::new(flash, 0..(PAGE * PAGES) as u32).expect("whole pages");
    wait_for(store.restore(&calibration())).kept.map_or(0, |(_, number)| number)
}

/// Saves map `number` over the last one.
fn save_over(mut flash: Flash, number: u32) -> Flash {
    let image = persistence::pack(&calibration(), &Parameters::DEFAULT.blank_map(), Codes::empty(), number);
    let _ = wait_for(flash.erase(0, PAGE as u32)).and_then(|()| wait_for(flash.write(0, &image)));
    flash
}

fn read_over(flash: Flash) -> u32 {
    persistence::unpack(&calibration(), &flash.bytes[..persistence::IMAGE_BYTES])
        .map_or(0, |(_, number)| number)
}

/// Restored map after a power failure in each operation of the last save.
fn cut_everywhere(save: fn(Flash, u32) -> Flash, read: fn(Flash) -> u32) -> Vec<u32> {
    let before = (1..NEW).fold(Flash::new(), save);
    let operations = save(before.clone(), NEW).operations - before.operations;
    let cut = |left| {
        let flash = save(Flash { left: Some(left), random: Random(left), ..before.clone() }, NEW);
        read(Flash { left: None, ..flash })
    };
    (1..=operations + 1).map(cut).collect()
}

pub(crate) fn answer() -> Answer {
    Answer { beside: cut_everywhere(save_beside, read_beside), over: cut_everywhere(save_over, read_over) }
}

impl Answer {
    pub(crate) fn plot(&self) -> Plot {
        let points = |restored: &[u32]| {
            (1..).zip(restored.to_vec()).map(|(at, number)| (f64::from(at), f64::from(number)))
        };
        Plot::new(
            "Map 5 is saved after map 4",
            "operation of the flash in which the power fails",
            "restored map, 0: none",
        )
        .line("in a free page", points(&self.beside))
        .dashes("over the last one", points(&self.over))
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (way, restored) in [("in a free page", &self.beside), ("over the last one", &self.over)] {
            let [none, old, new] =
                [0, NEW - 1, NEW].map(|wanted| restored.iter().filter(|&&it| it == wanted).count());
            writeln!(
                f,
                "saved {way}: the old map was restored {old} times, the new one {new}, none {none} times"
            )?;
        }
        write!(f, "An interrupted save loses the last minutes of learning, not the map.")
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_09_power_cut", &answer, &answer.plot())
}
