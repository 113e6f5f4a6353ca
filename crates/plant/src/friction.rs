//! Friction by the viscosity of the oil, pumping and the belt-driven accessories.
//!
//! Rubbing friction is the published motored one with warm oil, times a power of the oil's viscosity over the warm one. The viscosity
//! follows from two points of the oil's data sheet by ASTM D341.

use crate::gas::{ICE_K, PER_CYCLE_RAD, RPM};
use trimwright_numerics::Real;

trimwright_numerics::parameters! {
    /// Friction and accessories at the crank.
    pub struct Friction<f64> "friction" {
        /// Factor on the published friction mean effective pressure.
        number scale { 1.0, 0.5..=2.0 "1", "engineering judgement: 1, as published in Heywood, eq. 13.6" }
        /// Fraction of the published motored total that is rubbing; pumping is computed from the pressures instead.
        number rubbing_share { 0.75, 0.5..=1.0 "1", "engineering judgement" }
        /// Kinematic viscosity of the oil at 40 degC.
        number oil_40_degc_m2_per_s { 68e-6, 20e-6..=250e-6 "m2/s", "common practice, no source: data sheets of SAE 10W-30" }
        /// Kinematic viscosity of the oil at 100 degC.
        number oil_100_degc_m2_per_s { 10.5e-6, 4e-6..=20e-6 "m2/s", "engineering judgement: an SAE 30 has 9.3 to 12.5 mm2/s by SAE J300" }
        /// Power of the oil's viscosity, over that at 90 degC, with which rubbing friction grows.
        number viscosity_exponent { 0.24, 0.0..=0.4 "1", "Shayler et al., SAE 970272, from memory: 0.19 to 0.24" }
        /// Heat from the oil between rubbing parts to the bulk of the oil over the rise between them, by displacement, up to 900 rpm. Above, it
        /// grows with the speed, as the flow of the oil pump does.
        number film_w_per_k_m3 { 7e4, 1e4..=1e7 "W/(K m3)", "engineering judgement: friction of a frozen engine falls by a third in its first half minute" }
        /// Time constant of the temperature between rubbing parts.
        number film_tau_s { 15.0, 1.0..=300.0 "s", "engineering judgement: the skin of bearings, rings and liners" }
        /// Torque of the air-conditioning compressor when its clutch is in.
        number ac_nm { 14.0, 0.0..=40.0 "N m", "engineering judgement" }
    }
}

/// Total motored friction mean effective pressure at full throttle, Pa: `0.97 + 0.15 N + 0.05 N^2` bar, N in
/// krpm (Heywood, eq. 13.6; four-cylinder to V8 engines between 845 and 2000 cm^3; used beyond its range for
/// larger ones).
pub fn motored_fmep_pa(speed_rad_per_s: f64) -> f64 {
    const KRPM: f64 = 1.0 / (1000.0 * RPM);
    let krpm = speed_rad_per_s * KRPM;
    1e5 * (0.97 + 0.15 * krpm + 0.05 * krpm * krpm)
}

/// Oil temperature at which the published friction applies, K: 90 degC (engineering judgement).
pub const WARM_OIL_K: f64 = ICE_K + 90.0;
/// Viscosity over the warm one above which the drag grows no further: far below an oil's pour point (engineering judgement).
const THICKEST: f64 = 1e4;
/// Speed above which the flow of oil carries away the heat between rubbing parts, rad/s: 900 rpm (engineering judgement). A gear pump of 10
/// L/min at 1000 rpm for 2 L takes away 1.3e5 W/(K m3) there; below, conduction into the parts does most.
const FILM_FLOW_RAD_PER_S: f64 = 900.0 * RPM;
/// One square millimetre, m2.
const MM2: f64 = 1e-6;

impl Friction {
    /// Kinematic viscosity of the oil, m2/s, at 220 to 450 K: `ln ln (v + 0.7)`, v in mm2/s, falls linearly with the logarithm of the
    /// absolute temperature (ASTM D341).
    ///
    /// ```
    /// let friction = trimwright_plant::Truth::mild_v8().friction;
    /// assert!((friction.oil_m2_per_s(313.15) / friction.oil_40_degc_m2_per_s - 1.0).abs() < 1e-9);
    /// assert!(friction.oil_m2_per_s(255.15) > 200.0 * friction.oil_m2_per_s(WARM_OIL_K));
    /// # use trimwright_plant::WARM_OIL_K;
    /// ```
    pub fn oil_m2_per_s(&self, oil_k: f64) -> f64 {
        let walther = |m2_per_s: f64| Real::ln(Real::ln(m2_per_s / MM2 + 0.7));
        let (cool, hot) = (walther(self.oil_40_degc_m2_per_s), walther(self.oil_100_degc_m2_per_s));
        let (cool_k, hot_k) = (ICE_K + 40.0, ICE_K + 100.0);
        let place = Real::ln(oil_k.held(220.0, 450.0) / cool_k) / Real::ln(hot_k / cool_k);
        MM2 * (Real::exp(Real::exp(cool + (hot - cool) * place)) - 0.7)
    }

    /// Rubbing friction over the published motored total, at this oil temperature.
    pub fn rubbing(&self, oil_k: f64) -> f64 {
        let thicker = (self.oil_m2_per_s(oil_k) / self.oil_m2_per_s(WARM_OIL_K)).held(0.1, THICKEST);
        self.scale * self.rubbing_share * Real::powf(thicker, self.viscosity_exponent)
    }

    /// Steady rise of the oil between rubbing parts over the bulk, K: heat of the friction that the cold adds. With warm oil it is 0, as the
    /// published friction contains it. `rubbing` is [`Friction::rubbing`] at its present temperature.
    pub fn film_rise_k(&self, rubbing: f64, speed_rad_per_s: f64) -> f64 {
        let added = (rubbing - self.scale * self.rubbing_share).at_least(0.0);
        let w_per_m3 = added * motored_fmep_pa(speed_rad_per_s) * PER_CYCLE_RAD * speed_rad_per_s;
        w_per_m3 / (self.film_w_per_k_m3 * (speed_rad_per_s / FILM_FLOW_RAD_PER_S).at_least(1.0))
    }

    /// Rubbing friction torque, N m: `fmep V / (4 pi)`. `rubbing` is [`Friction::rubbing`].
    #[inline]
    pub fn rubbing_nm(rubbing: f64, displacement_m3: f64, speed_rad_per_s: f64) -> f64 {
        rubbing * motored_fmep_pa(speed_rad_per_s) * displacement_m3 * PER_CYCLE_RAD
    }

    /// Pumping torque of a turning engine, N m: `(p_exhaust - p_intake) V / (4 pi)`.
    #[inline]
    pub fn pumping_nm(displacement_m3: f64, back_pressure_pa: f64, manifold_pa: f64) -> f64 {
        (back_pressure_pa - manifold_pa) * displacement_m3 * PER_CYCLE_RAD
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn val_motored_friction_pressure() {
        // Heywood eq. 13.6 at 1000, 3000 and 5000 rpm: exact arithmetic.
        for (rpm, bar) in [(1000.0, 1.17), (3000.0, 1.87), (5000.0, 2.97)] {
            assert!((motored_fmep_pa(rpm * RPM) / (bar * 1e5) - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn val_the_default_oil_is_an_sae_10w_30() {
        // SAE J300: an SAE 30 has 9.3 to 12.5 mm2/s at 100 degC; a 10W at most 7000 mPa s at -25 degC, and is no 5W, of which at most
        // 6600 mPa s at -30 degC are allowed. Density 0.90 kg/L in the cold: common practice, no source.
        let friction = crate::Truth::mild_v8().friction;
        let mpa_s = |degc: f64| 1e3 * 900.0 * friction.oil_m2_per_s(ICE_K + degc);
        let warm = friction.oil_m2_per_s(ICE_K + 100.0) / MM2;
        assert!((9.3..12.5).contains(&warm), "{warm}");
        assert!(mpa_s(-25.0) < 7000.0 && mpa_s(-30.0) > 6600.0, "{} {}", mpa_s(-25.0), mpa_s(-30.0));
    }

    #[test]
    fn ident_two_data_sheet_points_make_a_straight_line_on_the_chart() {
        // ASTM D341: log log (v + 0.7) against log T, in decadic logarithms as the standard has them.
        let friction = crate::Truth::mild_v8().friction;
        let chart = |kelvin: f64| {
            let mm2_per_s = friction.oil_m2_per_s(kelvin) / MM2;
            (kelvin.log10(), (mm2_per_s + 0.7).log10().log10())
        };
        let (x1, y1) = chart(ICE_K + 40.0);
        let (x2, y2) = chart(ICE_K + 100.0);
        for degc in [-30.0, 0.0, 20.0, 70.0, 130.0] {
            let (x, y) = chart(ICE_K + degc);
            assert!((y - y1 - (y2 - y1) * (x - x1) / (x2 - x1)).abs() < 1e-9, "{degc}");
        }
        assert!((friction.oil_m2_per_s(ICE_K + 100.0) / friction.oil_100_degc_m2_per_s - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_frozen_engine_that_runs_loses_a_third_of_its_friction_in_half_a_minute_and_a_warm_one_none() {
        let friction = crate::Truth::mild_v8().friction;
        let after = |degc: f64, rpm: f64| {
            let mut rise_k = 0.0;
            for _ in 0..300 {
                let rubbing = friction.rubbing(ICE_K + degc + rise_k);
                rise_k += (friction.film_rise_k(rubbing, rpm * RPM) - rise_k) * 0.1 / friction.film_tau_s;
            }
            friction.rubbing(ICE_K + degc + rise_k) / friction.rubbing(ICE_K + degc)
        };
        assert!((0.6..0.75).contains(&after(-18.0, 900.0)), "{}", after(-18.0, 900.0));
        assert!(after(-18.0, 100.0) > 0.9 && after(90.0, 3000.0) == 1.0, "{}", after(-18.0, 100.0));
    }

    #[test]
    fn the_oil_between_the_parts_of_a_half_warm_engine_is_hardly_hotter_at_speed_than_at_idle() {
        let friction = crate::Truth::mild_v8().friction;
        let rubbing = friction.rubbing(ICE_K + 60.0);
        let rise_k = |rpm: f64| friction.film_rise_k(rubbing, rpm * RPM);
        // The flow of oil grows as the heat does, so that only the friction pressure counts.
        let pressures = motored_fmep_pa(4000.0 * RPM) / motored_fmep_pa(900.0 * RPM);
        assert!((rise_k(4000.0) / rise_k(900.0) - pressures).abs() < 1e-9);
        assert!((0.5..6.0).contains(&rise_k(4000.0)), "{}", rise_k(4000.0));
    }

    #[test]
    fn band_cold_oil_drags_three_to_five_times_as_much_at_minus_18() {
        // Common practice, no source.
        let friction = crate::Truth::mild_v8().friction;
        let ratio = |degc| friction.rubbing(ICE_K + degc) / friction.rubbing(WARM_OIL_K);
        assert!((3.0..5.0).contains(&ratio(-18.0)), "{}", ratio(-18.0));
        assert!((1.6..2.2).contains(&ratio(20.0)) && ratio(120.0) < 0.95, "{}", ratio(20.0));
    }
}
