//! Accessories that the crank drives beside the alternator and the compressor.

trimwright_numerics::parameters! {
    /// Belt-driven accessories.
    pub struct Accessories<f64> "accessories" {
        /// Torque of the power steering pump at the crank with the wheels straight; 0 without one.
        number steering_nm { 2.0, 0.0..=20.0 "N m", "common practice, no source: some 0.3 kW at 1500 rpm" }
        /// Torque of a cooling fan on the crank over squared speed; 0 with electric fans.
        number fan_nm_s2 { 0.0, 0.0..=5e-4 "N m s2", "engineering judgement: the shipped cars have electric fans; 6e-5 is 1.1 kW at 2500 rpm" }
    }
}

impl Accessories {
    /// Torque at the crank, N m.
    #[inline]
    pub fn torque_nm(&self, speed_rad_per_s: f64) -> f64 {
        self.steering_nm + self.fan_nm_s2 * speed_rad_per_s * speed_rad_per_s
    }
}
