//! Scale of the disturbances, from section `[disturbances]` of a scenario.

use crate::block_reader;
use crate::document::Document;
use crate::error::InputError;
use trimwright_plant::Truth;

trimwright_numerics::parameters! {
    /// Factors on the engine's disturbances ([`trimwright_plant::Disturbances`]): 0 switches one off, 1 leaves it as it is.
    ///
    /// ```
    /// use trimwright_harness::scenario::{DisturbanceScale, Scenario};
    /// let van = Scenario::load("delivery-van")?;
    /// let mut calm = van.truth.clone();
    /// DisturbanceScale { all: 0.0, ..DisturbanceScale::default() }.apply(&mut calm);
    /// assert!(van.truth.disturbances.tank_ln > 0.01 && calm.disturbances.tank_ln == 0.0);
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    pub struct DisturbanceScale<f64> "disturbances" {
        /// Factor on all of them.
        number all { 1.0, 0.0..=4.0 "1", "as in the engine file" }
        /// Factor on those of the charge at the valve.
        number charge { 1.0, 0.0..=4.0 "1", "as in the engine file" }
        /// Factor on the slow drift.
        number drift { 1.0, 0.0..=4.0 "1", "as in the engine file" }
        /// Factor on the fuel vapour from canister and crankcase.
        number vapour { 1.0, 0.0..=4.0 "1", "as in the engine file" }
        /// Factor on the deviation of the fuel from one filling of the tank to another.
        number tank { 1.0, 0.0..=4.0 "1", "as in the engine file" }
        /// Number of the trip: the same car on another day.
        whole trip { u32 = 0, 0..=100_000 "1", "the first" }
    }
}

/// Reads the factors; those not given are one.
pub(crate) fn read(document: &Document) -> Result<DisturbanceScale, InputError> {
    let mut disturbances = DisturbanceScale::DEFAULT;
    block_reader::read(document, "", &mut disturbances, &[])?;
    Ok(disturbances)
}

impl DisturbanceScale {
    /// Applies the factors to a truth, within the ranges of its parameters.
    pub fn apply(&self, truth: &mut Truth) {
        let sizes = &mut truth.disturbances;
        let scale = |size: &mut f64, factor: f64, most: f64| *size = (*size * factor * self.all).min(most);
        scale(&mut sizes.charge_fast_ln, self.charge, 0.1);
        scale(&mut sizes.charge_ln, self.charge, 0.1);
        scale(&mut sizes.drift_ln, self.drift, 0.1);
        scale(&mut sizes.vapour_of_idle, self.vapour, 0.5);
        scale(&mut sizes.tank_ln, self.tank, 0.1);
        if self.trip > 0 {
            sizes.trip = self.trip;
        }
    }
}
