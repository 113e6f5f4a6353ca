//! Lesson 3: how long must an injector be energised, and what does a wrong opening delay cost?
//!
//! The needle opens some time after the current is switched on and closes a little after it is switched off. The difference is the opening
//! delay; it grows as the supply voltage falls. Then fuel flows in proportion to the square root of the pressure drop (orifice law). So
//! fuel over open time is a straight line that starts at the delay (SAE J1832 measures the delay this way), except for a bend at its
//! beginning. A delay error `d` causes a fuel error of `d` over the flow time: small for a long pulse, large for a short one.

mod lesson;

use lesson::plot::Plot;
use std::error::Error;
use std::fmt;
use trimwright_plant::Truth;

pub(crate) const SUPPLY_V: f64 = 13.5;
pub(crate) const DROP_PA: f64 = 300e3;
/// Error of the assumed opening delay, s.
pub(crate) const LATE_S: f64 = 1e-4;

/// One pulse.
pub(crate) struct Pulse {
    pub(crate) open_s: f64,
    pub(crate) fuel_kg: f64,
    /// Fuel of an injector that opens later, relative to the nominal one.
    pub(crate) late_ratio: f64,
}

pub(crate) struct Answer {
    pub(crate) pulses: Vec<Pulse>,
    /// Open time at which the extrapolated straight line has zero fuel, s.
    pub(crate) offset_s: f64,
}

/// Fuel of a pulse at a pressure drop, kg.
pub(crate) fn fuel_kg(open_s: f64, drop_pa: f64) -> f64 {
    Truth::mild_v8().injected_fuel_kg(open_s, SUPPLY_V, drop_pa)
}

pub(crate) fn answer() -> Answer {
    let nominal = Truth::mild_v8();
    let mut late = nominal.clone();
    late.injectors.delay_s = late.injectors.delay_s.map(|delay_s| delay_s + LATE_S);
    let pulses = (2..=160).map(|step| {
        let open_s = f64::from(step) * 1e-4;
        let [fuel_kg, late_kg] =
            [&nominal, &late].map(|truth| truth.injected_fuel_kg(open_s, SUPPLY_V, DROP_PA));
        Pulse { open_s, fuel_kg, late_ratio: late_kg / fuel_kg }
    });
    let (short_s, long_s) = (8e-3, 16e-3);
    let (short_kg, long_kg) = (fuel_kg(short_s, DROP_PA), fuel_kg(long_s, DROP_PA));
    let offset_s = short_s - short_kg * (long_s - short_s) / (long_kg - short_kg);
    Answer { pulses: pulses.collect(), offset_s }
}

impl Answer {
    /// The pulse nearest to this length.
    pub(crate) fn pulse(&self, open_s: f64) -> &Pulse {
        let off = |pulse: &&Pulse| ((pulse.open_s - open_s).abs() * 1e9) as u64;
        self.pulses.iter().min_by_key(off).expect("there are pulses")
    }

    pub(crate) fn plot(&self) -> Plot {
        let at = |pulse: &Pulse| pulse.open_s * 1e3;
        let lost = |pulse: &Pulse| (at(pulse), 100.0 * (1.0 - pulse.late_ratio));
        let missing = self.pulses.iter().filter(|pulse| pulse.open_s > 1.3e-3).map(lost);
        Plot::new("One injector at 13.5 V and 300 kPa", "open time, ms", "fuel, mg; fuel missing, %")
            .line("fuel, mg", self.pulses.iter().map(|pulse| (at(pulse), pulse.fuel_kg * 1e6)))
            .dashes("missing when it opens 0.1 ms late, %", missing)
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "The straight part of the line starts at {:.2} ms.", self.offset_s * 1e3)?;
        for open_s in [1.5e-3, 2e-3, 4e-3, 12e-3] {
            let Pulse { open_s, fuel_kg, late_ratio } = self.pulse(open_s);
            let (open_ms, fuel_mg, missing) = (open_s * 1e3, fuel_kg * 1e6, 100.0 * (1.0 - late_ratio));
            writeln!(
                f,
                "{open_ms:4.1} ms: {fuel_mg:4.1} mg; opening 0.1 ms late loses {missing:4.1} % of it"
            )?;
        }
        write!(f, "The same delay error is negligible at full load and large at idle.")
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_03_injector", &answer, &answer.plot())
}
