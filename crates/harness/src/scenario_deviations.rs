//! Deviations of an engine from its nameplate, from section `[deviations]` of a scenario.

use crate::block_reader;
use crate::document::Document;
use crate::error::InputError;
use trimwright_plant::Truth;

trimwright_numerics::parameters! {
    /// Deviations of the engine's parts from the nominal values in its file.
    ///
    /// ```
    /// use trimwright_harness::scenario::{Deviations, Scenario};
    /// let van = Scenario::load("delivery-van")?;
    /// let mut engine = van.nameplate.clone();
    /// Deviations { injector_flow: -0.04, film_x: 0.2, ..Deviations::default() }.apply(&mut engine);
    /// assert_eq!(engine.injectors.static_flow_kg_per_s, van.truth.injectors.static_flow_kg_per_s);
    /// assert_eq!(engine.film.x_scale, 1.2, "a fifth more fuel wets the wall");
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    pub struct Deviations<f64> "deviations" {
        /// Largest relative deviation of the filling, smooth over speed and pressure.
        number filling { 0.0, 0.0..=0.3 "1", "no deviation" }
        /// Seed of the shape of that deviation.
        whole filling_seed { u64 = 0, 0..=9_223_372_036_854_775_807_u64 "1", "no deviation" }
        /// Relative deviation of the injector flow.
        number injector_flow { 0.0, -0.5..=0.5 "1", "no deviation" }
        /// Additional opening delay of the injectors.
        number opening_delay_s { 0.0, -5e-4..=5e-4 "s", "no deviation" }
        /// Relative deviation of the film share (X).
        number film_x { 0.0, -0.9..=1.0 "1", "no deviation" }
        /// Relative deviation of the film time constant (tau).
        number film_tau { 0.0, -0.75..=2.0 "1", "no deviation" }
        /// Relative deviation of the oxygen sensor's time constant.
        number sensor_lag { 0.0, -0.5..=4.0 "1", "no deviation" }
    }
}

/// Reads the deviations; those not given are zero. Ranges: engineering judgement, wider than parts in use need.
pub(crate) fn read(document: &Document) -> Result<Deviations, InputError> {
    let mut deviations = Deviations::DEFAULT;
    block_reader::read(document, "", &mut deviations, &[])?;
    Ok(deviations)
}

impl Deviations {
    /// Applies the deviations to a truth.
    pub fn apply(&self, truth: &mut Truth) {
        truth.filling.deviation = self.filling;
        truth.filling.deviation_seed = self.filling_seed;
        truth.injectors.static_flow_kg_per_s *= 1.0 + self.injector_flow;
        for delay_s in &mut truth.injectors.delay_s {
            *delay_s += self.opening_delay_s;
        }
        truth.film.x_scale *= 1.0 + self.film_x;
        truth.film.tau_scale *= 1.0 + self.film_tau;
        truth.oxygen_sensor.tau_s *= 1.0 + self.sensor_lag;
    }
}
