//! The board's own parameters, which stay in flash; all others have their defaults. A board without own parameters uses
//! `Parameters::DEFAULT`.
//!
//! Ranges are checked on the host, to save flash: see `tests/on_target.rs`.

use trimwright_control::Parameters;
use trimwright_control::parameters::SensorParameters;
use trimwright_control::sensing::Sender;

/// Sensors that differ from the defaults. A curve has six points; fewer are filled up by repeating the last one.
pub(crate) static PARAMETERS: Parameters = Parameters {
    sensors: SensorParameters {
        // A MAP sensor for up to three bar.
        map_pa: {
            let top = (4.65, 300e3);
            [(0.4, 20e3), top, top, top, top, top]
        },
        // The usual small sender of a car for the coolant, with a pull-up that suits it.
        ect_sender: Sender::TwoKiloOhm,
        ect_pull_up_ohm: 1000.0,
        // A wideband controller set to lambda 0.5 to 1.5.
        lambda: {
            let leanest = (5.0, 1.5);
            [(0.0, 0.5), leanest, leanest, leanest, leanest, leanest]
        },
        ..SensorParameters::DEFAULT
    },
    ..Parameters::DEFAULT
};
