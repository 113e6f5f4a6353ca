//! All parameters, a block a stage: `[calibration.<stage>]` in files.

use crate::air_charge::AirChargeParameters;
use crate::base_map::BaseMapParameters;
use crate::believe::EstimateParameters;
use crate::crank::CrankParameters;
use crate::cuts::{FuelCutParameters, LeanGuardParameters};
use crate::enrichment::EnrichmentParameters;
use crate::exhaust::ExhaustParameters;
use crate::feedback::FeedbackParameters;
use crate::film::FilmParameters;
use crate::injector::InjectorParameters;
use crate::open_time::OpenTimeParameters;
use crate::phase::PhaseParameters;
use crate::plausible::PlausibilityParameters;
use crate::pump_shot::PumpShotParameters;
use crate::sensors::SensorParameters;
use crate::stumble::StartAssistParameters;
use crate::throttle_speed::ThrottleSpeedParameters;
use crate::wanted_lambda::WantedLambdaParameters;

trimwright_numerics::blocks! {
    /// All parameters of the controller.
    pub struct Parameters<f32> {
        /// Curves of the sensors.
        sensors: SensorParameters,
        /// Crank speed and trigger pulses.
        crank: CrankParameters,
        /// What wires show that work.
        plausibility: PlausibilityParameters,
        /// Pressure by throttle and speed, where MAP has failed.
        throttle_speed: ThrottleSpeedParameters,
        /// Filters, substitutes, looking ahead.
        estimate: EstimateParameters,
        /// Lean guard.
        lean_guard: LeanGuardParameters,
        /// Fuel cuts.
        fuel_cut: FuelCutParameters,
        /// Phase of the engine.
        phase: PhaseParameters,
        /// Accelerator-pump shot.
        pump_shot: PumpShotParameters,
        /// Extra fuel for an engine that stumbles.
        start_assist: StartAssistParameters,
        /// The first filling map.
        base_map: BaseMapParameters,
        /// Charge temperature.
        air_charge: AirChargeParameters,
        /// Wanted mixture.
        wanted_lambda: WantedLambdaParameters,
        /// Extra fuel around a start.
        enrichment: EnrichmentParameters,
        /// Wall film.
        film: FilmParameters,
        /// Injectors.
        injector: InjectorParameters,
        /// Turns and limits of the injectors.
        open_time: OpenTimeParameters,
        /// Exhaust and its sensor.
        exhaust: ExhaustParameters,
        /// Short-term trim.
        feedback: FeedbackParameters,
    }
}
