//! Cuts the power in every flash operation of a long session, damages bits, and looks at what comes back.
//!
//! How many: the environment's CUTS and DAMAGES, else a thousand each; `CUTS=100000 DAMAGES=100000 cargo test --release --package
//! trimwright-store -- --nocapture` is the long run.
#![expect(clippy::print_stdout, reason = "the counts are what the long run is for")]

mod flash;

use core::future::Future;
use core::pin::pin;
use core::task::{Context, Poll, Waker};
use flash::{Flash, PAGE, PAGES, Random};
use trimwright_control::{Calibration, KeepError, LearnedMap, SetupAnswers, keep};
use trimwright_store::{MOST_ERASES_PER_HOUR, Refusal, Restored, SAVE_EVERY_S, Store};

/// The simulated flash never waits.
fn now<T>(work: impl Future<Output = T>) -> T {
    match pin!(work).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(result) => result,
        Poll::Pending => panic!("the simulated flash waits"),
    }
}

fn asked(name: &str) -> usize {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(1000)
}

fn calibration() -> Calibration {
    Calibration::from_answers(&SetupAnswers::default()).expect("sound answers")
}

/// The map of the save with this number: another in every cell for every number.
fn learned(number: u32) -> LearnedMap {
    let mut map = LearnedMap::default();
    let mut random = Random(u64::from(number));
    for ln in map.ln.flat_mut() {
        *ln = random.below(50_001) as f32 * 1e-5 - 0.25;
    }
    map
}

fn store(flash: Flash) -> Store<Flash> {
    Store::new(flash, 0..(PAGE * PAGES) as u32).expect("whole pages")
}

fn restore(flash: Flash) -> (Restored, Flash) {
    let mut store = store(flash);
    let restored = now(store.restore(&calibration()));
    (restored, store.into_flash())
}

/// Whether the map is, bit for bit, what was stored under its number.
fn is_whole(map: &LearnedMap, number: u32) -> bool {
    let calibration = calibration();
    keep::pack(&calibration, map, number) == keep::pack(&calibration, &learned(number), number)
}

/// Saves map `number` on a flash whose last save was `number - 1`.
fn save(flash: Flash, number: u32) -> (bool, Flash) {
    let mut store = store(flash);
    let saved = now(store.save(&calibration(), &learned(number), number - 1)) == Ok(number);
    (saved, store.into_flash())
}

#[test]
fn power_lost_in_any_operation_leaves_the_old_map_or_the_new_one() {
    let (wanted, mut cuts, mut old, mut new) = (asked("CUTS"), 0, 0, 0);
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
            match restored.map {
                Some((map, found)) => {
                    assert!(found == number || found + 1 == number, "{found} after a cut save of {number}");
                    assert!(is_whole(&map, found), "map {found}, cut {left} of save {number}");
                    if found == number { new += 1 } else { old += 1 }
                }
                None => {
                    assert_eq!(number, 1, "cut {left} of save {number}: {:?}", restored.refused);
                    old += 1;
                }
            }
            let (saved, cut) = save(cut, number + 1);
            assert!(saved, "the save after cut {left} of save {number}");
            assert_eq!(restore(cut).0.map.map(|(_, found)| found), Some(number + 1));
            cuts += 1;
        }
        flash = after;
        if cuts >= wanted {
            break;
        }
    }
    println!("{cuts} cuts: {old} times the old map came back, {new} times the new one, never anything else");
    assert!(old > 0 && new + old == cuts);
}

#[test]
fn damaged_bits_never_pass_for_a_map() {
    let (wanted, mut whole, mut refused) = (asked("DAMAGES"), [0; 2], 0);
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
            Restored { map: Some((map, number)), .. } => {
                assert!((1..=last).contains(&number) && is_whole(&map, number), "map {number}");
                whole[usize::from(number == last)] += 1;
            }
            Restored { map: None, refused: [Some(_), Some(_)] } => refused += 1,
            other => panic!("no map and no reason: {:?}", other.refused),
        }
    }
    println!(
        "{wanted} damages: the newest map {} times, an older one {} times, refused {refused} times",
        whole[1], whole[0]
    );
    assert!(whole[1] > 0 && whole[0] > 0 && refused > 0);
}

#[test]
fn an_image_of_another_setup_or_a_newer_layout_is_refused_by_name_and_the_last_good_one_comes_back() {
    let (_, flash) = save(Flash::new(), 1);
    let answers = SetupAnswers { displacement_m3: 4e-3, ..SetupAnswers::default() };
    let other = Calibration::from_answers(&answers).expect("sound answers");
    let mut store = store(flash);
    assert_eq!(now(store.save(&other, &learned(2), 1)), Ok(2));
    let restored = now(store.restore(&calibration()));
    assert_eq!(restored.refused, [Some(Refusal::Image(KeepError::OtherSetup)), None]);
    assert_eq!(restored.map.map(|(_, number)| number), Some(1));
    assert_eq!(restore(Flash::new()).0.refused, [Some(Refusal::Empty); 2]);
}

#[test]
fn an_hour_of_driving_wears_the_flash_as_little_as_promised() {
    let hours = 50;
    let saves_per_hour = (3600.0 / SAVE_EVERY_S) as u32 + 1;
    let mut flash = Flash::new();
    for number in 1..=hours * saves_per_hour {
        flash = save(flash, number).1;
    }
    println!("{} page erases in {hours} hours of {saves_per_hour} saves", flash.erases);
    assert!(flash.erases > 0 && flash.erases <= hours * MOST_ERASES_PER_HOUR, "{}", flash.erases);
}
