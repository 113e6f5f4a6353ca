//! Fingerprint of controller and plant: sixteen hex digits that change when either changes.
//!
//! With it a table of results shows whether it is current. It covers short drives of every shipped scenario and all parameters of engines and
//! controller, so that parameters without effect on these drives count too.

use rayon::prelude::*;
use trimwright_control::{Controller, Options, Parameters};
use trimwright_harness::drive::RunError;
use trimwright_harness::scenario::Scenario;
use trimwright_harness::schedule::Schedule;
use trimwright_harness::session::{Moment, SessionBuilder, Until};
use trimwright_harness::shipped::SCENARIOS;
use trimwright_link::Digest;
use trimwright_signals::{Commands, Frame};

use crate::learners::LEARNERS;

/// Part of its own schedule that each scenario drives, s: start and first acceleration.
const OWN_S: f64 = 60.0;
/// Additional drive of each engine, warm on a dynamometer: start, idle, light load, the air conditioning, full throttle with nitrous oxide
/// armed, fuel cut, idle.
const TRIP: &str = "time [s],engine_speed [rpm],pedal [%],ac,nitrous\n0,0,0,off,off\n15,0,0,off,off\n20,1500,10,off,off\n\
                    40,2500,30,off,off\n50,3000,30,on,off\n55,3200,30,off,on\n56,3300,100,off,on\n62,3700,100,off,off\n\
                    63,3000,0,off,off\n68,2000,0,off,off\n70,1500,10,off,off\n76,0,0,off,off\n90,0,0,off,off\n";
/// Temperature of the warm engine, K, and begin of its faults, s.
const WARM_K: f64 = 360.0;
const FAULTS_S: f64 = 20.0;

/// The fingerprint of this program's controller and plant.
///
/// ```
/// let now = trimwright_study::fingerprint::fingerprint()?;
/// assert!(now.len() == 16 && now.chars().all(|digit| digit.is_ascii_hexdigit()));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`RunError`] when the truth or the answers of a shipped scenario are outside their ranges.
pub fn fingerprint() -> Result<String, RunError> {
    let cars: Result<Vec<u64>, RunError> =
        (0..SCENARIOS.len()).into_par_iter().map(|place| Ok(car(place)?.value())).collect();
    let mut digest = Digest::default();
    digest.add(format!("{:?}", Parameters::default()).as_str());
    digest.add(cars?.as_slice());
    Ok(format!("{:016x}", digest.value()))
}

/// Digest of a shipped scenario: its parameters, and frames and commands of its drives.
fn car(place: usize) -> Result<Digest, RunError> {
    let own = Scenario::load(SCENARIOS[place].name).expect("shipped scenarios can be read");
    let mut digest = Digest::default();
    // `Debug` prints every field, and floats in the shortest form that reads back as the same bits.
    digest.add(format!("{:?} {:?}", own.truth, own.answers).as_str());
    let mut add_to_digest = |frame: &Frame, commands: &Commands| {
        digest.add(frame);
        digest.add(commands);
    };
    drive(&own, OWN_S, Options::default(), &mut add_to_digest)?;
    let (trip, options) = trip(own, place);
    drive(&trip, trip.schedule.duration_s(), options, &mut add_to_digest)?;
    Ok(digest)
}

/// The additional drive in the car of a scenario; learner and self-check alternate by scenario.
fn trip(mut car: Scenario, place: usize) -> (Scenario, Options) {
    car.schedule = Schedule::parse("trip", "trip", TRIP).expect("the text above is a schedule");
    car.truth.thermal.start_k = WARM_K;
    car.answers.nitrous = true;
    car.faults.iter_mut().for_each(|fault| fault.from_s = fault.from_s.min(FAULTS_S));
    let (_, strategy) = LEARNERS[place % LEARNERS.len()];
    (car, Options { strategy, self_check: place.is_multiple_of(2), ..Options::default() })
}

/// Drives for `seconds` and passes every frame and command to `observe`.
fn drive(
    scenario: &Scenario,
    seconds: f64,
    options: Options,
    observe: &mut impl FnMut(&Frame, &Commands),
) -> Result<Controller, RunError> {
    let mut session = SessionBuilder::new(scenario.clone()).with_options(options).build()?;
    session.run(Until::After(seconds), &mut |now: &Moment<'_>| {
        observe(now.closed_loop.plant().frame(), now.closed_loop.commands());
    })?;
    Ok(session.closed_loop().controller().clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimwright_control::Refusal;

    /// Changes in functions that no drive uses would not be detected.
    #[test]
    fn the_trip_has_lessons_nitrous_and_fuel_cuts() {
        let (trip, options) = trip(Scenario::load("delivery-van").expect("shipped"), 0);
        let (mut nitrous_ms, mut conditioned_ms) = (0, 0);
        let mut observe = |frame: &Frame, commands: &Commands| {
            nitrous_ms += u32::from(commands.nitrous);
            conditioned_ms += u32::from(frame.switches.ac_request);
        };
        let controller = drive(&trip, trip.schedule.duration_s(), options, &mut observe).expect("drives");
        let counts = controller.state().counts();
        assert!(counts.lessons() > 100 && counts.of(Refusal::FuelCut) > 0, "{counts:?}");
        assert!(nitrous_ms > 1000 && conditioned_ms == 5_000, "{nitrous_ms} {conditioned_ms}");
    }

    #[test]
    fn a_changed_engine_parameter_changes_the_digest() {
        let digest_of = |scenario: &Scenario| {
            let mut digest = Digest::default();
            drive(scenario, 10.0, Options::default(), &mut |frame, commands| {
                digest.add(frame);
                digest.add(commands);
            })
            .expect("drives");
            digest.value()
        };
        let van = Scenario::load("delivery-van").expect("shipped");
        let mut other = van.clone();
        other.truth.film.x_scale *= 1.001;
        assert_ne!(digest_of(&van), digest_of(&other));
        assert_eq!(digest_of(&van), digest_of(&van.clone()));
    }
}
