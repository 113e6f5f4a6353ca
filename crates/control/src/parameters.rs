//! All parameters, a block a stage: `[calibration.<stage>]` in files.

use crate::base_map::BaseMapParameters;
use crate::exhaust::ExhaustParameters;
use crate::feedback::FeedbackParameters;
use crate::injector::InjectorParameters;
use crate::sensors::SensorParameters;

trimwright_numerics::blocks! {
    /// All parameters of the controller.
    pub struct Parameters<f32> {
        /// Curves of the sensors.
        sensors: SensorParameters,
        /// The first filling map.
        base_map: BaseMapParameters,
        /// Injectors.
        injector: InjectorParameters,
        /// Exhaust and its sensor.
        exhaust: ExhaustParameters,
        /// Short-term trim.
        feedback: FeedbackParameters,
    }
}
