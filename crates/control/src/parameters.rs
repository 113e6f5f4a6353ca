//! All parameters, a block a stage: `[calibration.<stage>]` in files.

use crate::air_charge::AirChargeParameters;
use crate::attribution::AttributionParameters;
use crate::base_map::BaseMapParameters;
use crate::believe::EstimateParameters;
use crate::common::CommonCorrectionParameters;
use crate::crank::CrankParameters;
use crate::cuts::{FuelCutParameters, LeanGuardParameters};
use crate::enrichment::EnrichmentParameters;
use crate::exhaust::ExhaustParameters;
use crate::fans::FanParameters;
use crate::feedback::FeedbackParameters;
use crate::film::FilmParameters;
use crate::gates::EnableConditionParameters;
use crate::idle::IdleParameters;
use crate::injector::InjectorParameters;
use crate::learned_map::{Common, LearnedMap, LearnerParameters};
use crate::nitrous::NitrousParameters;
use crate::open_time::OpenTimeParameters;
use crate::phase::PhaseParameters;
use crate::plausible::PlausibilityParameters;
use crate::pull::TorqueResponseParameters;
use crate::pump::FuelPumpParameters;
use crate::pump_shot::PumpShotParameters;
use crate::self_check::SelfCheckParameters;
use crate::sensors::SensorParameters;
use crate::spark::SparkParameters;
use crate::stumble::StartAssistParameters;
use crate::throttle_speed::ThrottleSpeedParameters;
use crate::trouble_codes::TroubleCodeParameters;
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
        /// What a lambda reading describes.
        attribution: AttributionParameters,
        /// When readings teach.
        enable_conditions: EnableConditionParameters,
        /// Long-term trim: authority and trust.
        learner: LearnerParameters,
        /// What all cells have in common.
        common_correction: CommonCorrectionParameters,
        /// How the loop measures itself.
        self_check: SelfCheckParameters,
        /// What the crank says of the mixture.
        torque_response: TorqueResponseParameters,
        /// Idle air.
        idle: IdleParameters,
        /// Spark advance.
        spark: SparkParameters,
        /// Cooling fans and air-conditioning clutch.
        fans: FanParameters,
        /// Fuel pump.
        fuel_pump: FuelPumpParameters,
        /// Nitrous oxide.
        nitrous: NitrousParameters,
        /// When trouble codes set and heal.
        trouble_codes: TroubleCodeParameters,
    }
}

impl Parameters {
    /// A map that has learned nothing: the base map is as good as these parameters say.
    ///
    /// ```
    /// use trimwright_control::Parameters;
    /// let map = Parameters::DEFAULT.blank_map();
    /// assert!(map.ln.flat().iter().all(|ln| *ln == 0.0) && map.sigma_ln(40) == 0.12);
    /// ```
    pub fn blank_map(&self) -> LearnedMap {
        LearnedMap::new(&self.learner, Common::new(&self.common_correction))
    }
}
