//! Lesson 1: what does a controller know of an engine from one frame of volts?
//!
//! The controller does not receive pressures and temperatures: a [`Frame`] holds the voltages at its pins. Each sensor has a curve. That
//! of MAP is a straight line, 10 kPa at 0.5 V to 110 kPa at 4.5 V. That of the coolant thermistor is nonlinear: with a pull-up of
//! 2490 ohm to 5 V, the voltage over a thermistor of `R` ohm is `5 R / (R + 2490)`, and `R` halves about every 16 K. Where the curve is
//! flat, a millivolt of noise is a large error.

mod lesson;

use lesson::plot::Plot;
use std::error::Error;
use std::fmt;
use trimwright_control::sensing::Estimate;
use trimwright_control::{Calibration, Controller, SetupAnswers};
use trimwright_signals::{Frame, Switches};

/// Estimates from one frame, and the curve of the thermistor.
pub(crate) struct Answer {
    pub(crate) map_kpa: f32,
    pub(crate) coolant_c: f32,
    /// Volts and degrees Celsius.
    pub(crate) curve: Vec<(f64, f64)>,
}

/// A frame of a stopped engine with the ignition on.
fn frame(coolant_v: f32) -> Frame {
    let switches = Switches { ignition: true, ..Switches::default() };
    Frame {
        battery_v: 12.5,
        map_v: 4.15,
        tp_v: 0.5,
        ect_v: coolant_v,
        iat_v: 2.3,
        switches,
        ..Frame::default()
    }
}

/// Estimates of a controller after 20 s of this frame.
pub(crate) fn estimated(coolant_v: f32) -> Estimate {
    let answers = SetupAnswers::default();
    let mut controller = Controller::new(Calibration::from_answers(&answers).expect("default answers"));
    for step in 1..=2000 {
        controller.step(&Frame { time_us: step * 10_000, ..frame(coolant_v) });
    }
    controller.state().estimate().clone()
}

pub(crate) fn answer() -> Answer {
    let estimate = estimated(0.9);
    let volts = (8..=94).map(|step| step as f32 * 0.05);
    let curve = volts.map(|volts| (f64::from(volts), f64::from(estimated(volts).ect_k) - 273.15)).collect();
    Answer { map_kpa: estimate.map_pa / 1e3, coolant_c: estimate.ect_k - 273.15, curve }
}

impl Answer {
    /// Slope of the curve at this voltage, degC/V.
    pub(crate) fn slope_c_per_v(&self, volts: f64) -> f64 {
        let after = self.curve.iter().position(|point| point.0 > volts).expect("within the curve");
        let ((from_v, from_c), (to_v, to_c)) = (self.curve[after - 1], self.curve[after]);
        (to_c - from_c) / (to_v - from_v)
    }

    pub(crate) fn plot(&self) -> Plot {
        Plot::new("Coolant thermistor", "pin, V", "coolant, degC")
            .line("estimated temperature", self.curve.iter().copied())
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "4.15 V on the MAP wire are {:.1} kPa: with a stopped engine this is the barometric pressure.",
            self.map_kpa
        )?;
        writeln!(f, "0.90 V on the coolant wire are {:.0} degC.", self.coolant_c)?;
        let [hot, warm] = [0.45, 2.5].map(|volts| self.slope_c_per_v(volts).abs() / 100.0);
        write!(
            f,
            "10 mV of noise are {warm:.2} K at 2.5 V, but {hot:.2} K at 0.45 V, where the engine is hot."
        )
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let answer = answer();
    lesson::show("lesson_01_frame", &answer, &answer.plot())
}
