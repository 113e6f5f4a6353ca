//! Everything that can be set in the controller: one block of parameters for each stage, `[calibration.<stage>]` in a scenario file.
//!
//! Each parameter has a unit, a default, an allowed range and a source; `trimwright parameters` prints them. Change fields of
//! [`Parameters::DEFAULT`] and make a [`Calibration`](crate::Calibration) of them: that checks every range.

use crate::learned_map::{CommonCorrection, LearnedMap};

pub use crate::air_charge::AirChargeParameters;
pub use crate::attribution::AttributionParameters;
pub use crate::base_map::BaseMapParameters;
pub use crate::common_correction::CommonCorrectionParameters;
pub use crate::crank::CrankParameters;
pub use crate::enable_conditions::EnableConditionParameters;
pub use crate::enrichment::EnrichmentParameters;
pub use crate::estimate::EstimateParameters;
pub use crate::exhaust::ExhaustParameters;
pub use crate::fans::FanParameters;
pub use crate::feedback::FeedbackParameters;
pub use crate::film::FilmParameters;
pub use crate::fuel_cut::{FuelCutParameters, LeanGuardParameters};
pub use crate::fuel_pump::FuelPumpParameters;
pub use crate::idle::IdleParameters;
pub use crate::injector::InjectorParameters;
pub use crate::learned_map::LearnerParameters;
pub use crate::nitrous::NitrousParameters;
pub use crate::open_time::OpenTimeParameters;
pub use crate::phase::PhaseParameters;
pub use crate::plausibility::PlausibilityParameters;
pub use crate::pump_shot::PumpShotParameters;
pub use crate::self_check::SelfCheckParameters;
pub use crate::sensors::SensorParameters;
pub use crate::spark::SparkParameters;
pub use crate::start_assist::StartAssistParameters;
pub use crate::throttle_speed::ThrottleSpeedParameters;
pub use crate::torque_response::TorqueResponseParameters;
pub use crate::trouble_codes::TroubleCodeParameters;
pub use crate::wanted_lambda::WantedLambdaParameters;

trimwright_numerics::blocks! {
    /// All parameters of the controller.
    pub struct Parameters<f32> {
        /// Sensor curves.
        sensors: SensorParameters,
        /// Crank speed and trigger pulses.
        crank: CrankParameters,
        /// Limits of valid signals.
        plausibility: PlausibilityParameters,
        /// MAP estimate from throttle and speed, used when the MAP sensor has failed.
        throttle_speed: ThrottleSpeedParameters,
        /// Filters, substitutes, extrapolation.
        estimate: EstimateParameters,
        /// Lean guard.
        lean_guard: LeanGuardParameters,
        /// Fuel cuts.
        fuel_cut: FuelCutParameters,
        /// Engine phase.
        phase: PhaseParameters,
        /// Accelerator-pump shot.
        pump_shot: PumpShotParameters,
        /// Additional fuel for a stumbling engine without a lambda reading.
        start_assist: StartAssistParameters,
        /// Base map of volumetric efficiency.
        base_map: BaseMapParameters,
        /// Charge temperature.
        air_charge: AirChargeParameters,
        /// Wanted lambda.
        wanted_lambda: WantedLambdaParameters,
        /// Enrichment around a start.
        enrichment: EnrichmentParameters,
        /// Wall film.
        film: FilmParameters,
        /// Injectors.
        injector: InjectorParameters,
        /// Order and limits of the injector pulses.
        open_time: OpenTimeParameters,
        /// Exhaust transport delay and sensor lag.
        exhaust: ExhaustParameters,
        /// Short-term trim.
        feedback: FeedbackParameters,
        /// Attribution of lambda readings to past injections.
        attribution: AttributionParameters,
        /// Enable conditions of learning.
        enable_conditions: EnableConditionParameters,
        /// Long-term trim: limits and weight of lessons.
        learner: LearnerParameters,
        /// Fuel scale and opening delay common to all cells.
        common_correction: CommonCorrectionParameters,
        /// Check of loop delay and loop gain.
        self_check: SelfCheckParameters,
        /// Mixture estimate from the torque response.
        torque_response: TorqueResponseParameters,
        /// Idle speed control.
        idle: IdleParameters,
        /// Spark advance.
        spark: SparkParameters,
        /// Cooling fans and air-conditioning clutch.
        fans: FanParameters,
        /// Fuel pump.
        fuel_pump: FuelPumpParameters,
        /// Nitrous oxide.
        nitrous: NitrousParameters,
        /// When trouble codes set and clear.
        trouble_codes: TroubleCodeParameters,
    }
}

impl Parameters {
    /// A learned map before any lesson.
    pub fn blank_map(&self) -> LearnedMap {
        LearnedMap::new(&self.learner, CommonCorrection::new(&self.common_correction))
    }
}
