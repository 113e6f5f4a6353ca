//! Power cuts in every flash operation of a long session, and damaged bits: what is restored afterwards.
//!
//! Number of cases: environment variables CUTS and DAMAGES, default 1000 each; `CUTS=100000 DAMAGES=100000 cargo test --release --package
//! trimwright-store -- --nocapture` is the long run.
#![expect(clippy::print_stdout, reason = "the counts are the result of the long run")]

mod flash;

use crc::{CRC_32_ISO_HDLC, Crc};
use flash::{Flash, PAGE, PAGES, Random};
use sequential_storage::cache::Cache;
use sequential_storage::map::{MapConfig, MapStorage};
use trimwright_control::persistence::{self, ImageError, PersistentData};
use trimwright_control::{Calibration, Codes, Parameters, SetupAnswers};
use trimwright_store::{MAX_ERASES_PER_HOUR, MIN_SAVE_INTERVAL_S, Restored, SlotError, Store, wait_for};

fn number_of(name: &str) -> usize {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(1000)
}

fn calibration() -> Calibration {
    Calibration::from_answers(&SetupAnswers::default()).expect("answers in range")
}

/// Content of the save with this number: corrections and codes differ for every number.
fn kept(number: u32) -> PersistentData {
    let mut map = Parameters::DEFAULT.blank_map();
    let mut random = Random(u64::from(number));
    let codes = Codes::from_bits(random.next() >> 33).expect("there are more than 31 codes");
    for ln in map.ln.flat_mut() {
        *ln = random.below(50_001) as f32 * 1e-5 - 0.25;
    }
    PersistentData { learned: map, codes }
}

fn store(flash: Flash) -> Store<Flash> {
    Store::new(flash, 0..(PAGE * PAGES) as u32).expect("whole pages")
}

fn restore(flash: Flash) -> (Restored, Flash) {
    let mut store = store(flash);
    let restored = wait_for(store.restore(&calibration()));
    (restored, store.into_flash())
}

fn image(kept: &PersistentData, number: u32) -> [u8; persistence::IMAGE_BYTES] {
    persistence::pack(&calibration(), &kept.learned, kept.codes, number)
}

/// Whether it equals, bit for bit, what was stored under its number.
fn is_whole(found: &PersistentData, number: u32) -> bool {
    image(found, number) == image(&kept(number), number)
}

/// Saves number `number` on a flash whose last save was `number - 1`.
fn save(flash: Flash, number: u32) -> (bool, Flash) {
    let (mut store, PersistentData { learned, codes }) = (store(flash), kept(number));
    let saved = wait_for(store.save(&calibration(), &learned, codes, number - 1)) == Ok(number);
    (saved, store.into_flash())
}

#[test]
fn power_lost_in_any_operation_leaves_the_old_image_or_the_new_one() {
    let (wanted, mut cuts, mut old, mut new) = (number_of("CUTS"), 0, 0, 0);
    let mut flash = Flash::new();
    for number in 1.. {
        let (saved, after) = save(flash.clone(), number);
        assert!(saved, "save {number}");
        for left in 1..=after.operations - flash.operations {
            let mut cut = flash.clone();
            (cut.left, cut.random) = (Some(left), Random(u64::from(number) << 20 | left));
            let (_, mut cut) = save(cut, number);
            cut.left = None;
            let (restored, cut) = restore(cut);
            match restored.kept {
                Some((kept, found)) => {
                    assert!(found == number || found + 1 == number, "{found} after a cut save of {number}");
                    assert!(is_whole(&kept, found), "image {found}, cut {left} of save {number}");
                    if found == number { new += 1 } else { old += 1 }
                }
                None => {
                    assert_eq!(number, 1, "cut {left} of save {number}: {:?}", restored.rejected);
                    old += 1;
                }
            }
            let (saved, cut) = save(cut, number + 1);
            assert!(saved, "the save after cut {left} of save {number}");
            assert_eq!(restore(cut).0.kept.map(|(_, found)| found), Some(number + 1));
            cuts += 1;
        }
        flash = after;
        if cuts >= wanted {
            break;
        }
    }
    println!(
        "{cuts} cuts: {old} times the old image was restored, {new} times the new one, never anything else"
    );
    assert!(old > 0 && new + old == cuts);
}

#[test]
fn damaged_bits_never_give_a_wrong_image() {
    let (wanted, mut whole, mut rejected) = (number_of("DAMAGES"), [0; 2], 0);
    let mut flash = Flash::new();
    let last = 41;
    for number in 1..=last {
        flash = save(flash, number).1;
    }
    let mut random = Random(7);
    for _ in 0..wanted {
        let mut damaged = flash.clone();
        let most = if random.below(4) == 0 { 4000 } else { 8 };
        for _ in 0..1 + random.below(most) {
            let bit = random.below(PAGE * PAGES * 8);
            damaged.bytes[bit / 8] ^= 1 << (bit % 8);
        }
        match restore(damaged).0 {
            Restored { kept: Some((kept, number)), .. } => {
                assert!((1..=last).contains(&number) && is_whole(&kept, number), "image {number}");
                whole[usize::from(number == last)] += 1;
            }
            Restored { kept: None, rejected: [Some(_), Some(_)] } => rejected += 1,
            other => panic!("nothing and no reason: {:?}", other.rejected),
        }
    }
    println!(
        "{wanted} damages: the newest image {} times, an older one {} times, rejected {rejected} times",
        whole[1], whole[0]
    );
    assert!(whole[1] > 0 && whole[0] > 0 && rejected > 0);
}

#[test]
fn an_image_of_another_setup_is_rejected_by_name_and_the_last_valid_one_is_restored() {
    let (_, flash) = save(Flash::new(), 1);
    let answers = SetupAnswers { displacement_m3: 4e-3, ..SetupAnswers::default() };
    let other = Calibration::from_answers(&answers).expect("answers in range");
    let (mut store, PersistentData { learned, codes }) = (store(flash), kept(2));
    assert_eq!(wait_for(store.answers()), Some(SetupAnswers::default()));
    assert_eq!(wait_for(store.save(&other, &learned, codes, 1)), Ok(2));
    assert_eq!(wait_for(store.answers()), Some(answers), "those of the newest image");
    let restored = wait_for(store.restore(&calibration()));
    assert_eq!(restored.rejected, [Some(SlotError::Image(ImageError::OtherSetup)), None]);
    assert!(restored.kept.is_some_and(|(kept, number)| number == 1 && is_whole(&kept, 1)));
    assert_eq!(restore(Flash::new()).0.rejected, [Some(SlotError::Empty); 2]);
}

/// Stores bytes in the slot of the image with this number.
fn put(flash: Flash, number: u32, bytes: &[u8]) -> Flash {
    let config = MapConfig::try_new(0..(PAGE * PAGES) as u32).expect("whole pages");
    let mut log = MapStorage::new(flash, config, Cache::new_uncached());
    let stored = wait_for(log.store_item(&mut [0; 2048], &((number % 2) as u8), &bytes));
    assert!(stored.is_ok(), "{stored:?}");
    log.destroy().0
}

#[test]
fn an_image_of_a_later_version_is_rejected_by_name_and_the_last_valid_one_is_restored() {
    // The same layout with more at its end, as a later controller may have it.
    let mut later = image(&kept(2), 2).to_vec();
    later.truncate(persistence::IMAGE_BYTES - 4);
    later[4] = persistence::VERSION + 1;
    later.extend([0x5A; 40]);
    later.extend(Crc::<u32>::new(&CRC_32_ISO_HDLC).checksum(&later).to_le_bytes());
    let flash = put(save(Flash::new(), 1).1, 2, &later);
    let (restored, flash) = restore(flash);
    assert_eq!(
        restored.rejected,
        [Some(SlotError::Image(ImageError::TooNew(persistence::VERSION + 1))), None]
    );
    assert!(restored.kept.is_some_and(|(kept, number)| number == 1 && is_whole(&kept, 1)));
    assert_eq!(wait_for(store(flash).answers()), Some(SetupAnswers::default()));
}

#[test]
fn an_hour_of_driving_erases_no_more_pages_than_the_limit() {
    let hours = 50;
    let saves_per_hour = (3600.0 / MIN_SAVE_INTERVAL_S) as u32 + 1;
    let mut flash = Flash::new();
    for number in 1..=hours * saves_per_hour {
        flash = save(flash, number).1;
    }
    println!("{} page erases in {hours} hours of {saves_per_hour} saves", flash.erases);
    assert!(flash.erases > 0 && flash.erases <= hours * MAX_ERASES_PER_HOUR, "{}", flash.erases);
}
