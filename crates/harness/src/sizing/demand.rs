//! Fuel demand at peak power and at idle.

use super::installation::Installation;
use core::f64::consts::TAU;
use trimwright_control::{Calibration, Cam};
use trimwright_plant::Truth;

/// One pound per horsepower hour, kg/J: 0.45359237 kg over 745.699872 W times 3600 s (NIST SP 811).
pub const POUND_PER_HORSEPOWER_HOUR: f64 = 0.453_592_37 / (745.699_872 * 3600.0);
/// Lambda at full load in the demand by air: the controller's target there.
pub(super) const FULL_LOAD_LAMBDA: f64 = 0.87;
/// Manifold over ambient pressure at full throttle (engineering judgement).
const FULL_LOAD: f64 = 0.97;
/// Charge temperature at full load and at idle, K (engineering judgement).
const FULL_LOAD_K: f64 = 315.0;
const IDLE_K: f64 = 335.0;
/// Number of speeds searched for the greatest air flow.
const SPEEDS: u32 = 200;

/// Fuel demand at peak power and at idle.
///
/// ```
/// use trimwright_control::Calibration;
/// use trimwright_harness::{scenario::Scenario, sizing::Demand};
/// let van = Scenario::load("delivery-van")?;
/// let demand = Demand::of(&Calibration::from_answers(&van.answers)?, &van.nameplate, &van.installation);
/// let idle_mg = 1e6 * demand.idle_fuel_kg;
/// assert!(idle_mg > 5.0 && idle_mg < 30.0, "some 15 mg a firing keep 5.2 L idling");
/// assert!((2000.0..5200.0).contains(&(demand.peak_rad_per_s * 9.549)), "it breathes most below the limit");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Demand {
    /// Fuel flow at peak power, kg/s.
    pub fuel_kg_per_s: f64,
    /// Power at that flow, W.
    pub power_w: f64,
    /// Greatest fuel flow by the engine's air, kg/s.
    pub by_air_kg_per_s: f64,
    /// Speed at that flow, rad/s.
    pub peak_rad_per_s: f64,
    /// Fuel of one firing at idle, kg.
    pub idle_fuel_kg: f64,
    /// Manifold pressure at idle, Pa.
    pub idle_map_pa: f64,
    /// Ambient pressure, Pa.
    pub outside_pa: f64,
}

impl Demand {
    /// Demand of this engine.
    pub fn of(calibration: &Calibration, parts: &Truth, installation: &Installation) -> Self {
        let answers = calibration.answers();
        let outside_pa = parts.ambient.air(parts.ambient.altitude_m).pressure_pa;
        let afr = f64::from(answers.stoich_afr);
        let limit = f64::from(answers.rev_limit_rad_per_s);
        let charge_kg = |map_pa: f64, speed: f64, charge_k: f64| {
            f64::from(calibration.setup().base_air_charge_kg(
                map_pa as f32,
                outside_pa as f32,
                speed as f32,
                charge_k as f32,
            ))
        };
        let firings_per_s = |speed: f64| speed / TAU * 0.5 * f64::from(answers.cylinders);
        let (by_air_kg_per_s, peak_rad_per_s) = (1..=SPEEDS)
            .map(|step| limit * f64::from(step) / f64::from(SPEEDS))
            .map(|speed| {
                let air = charge_kg(FULL_LOAD * outside_pa, speed, FULL_LOAD_K) * firings_per_s(speed);
                (air / (afr * FULL_LOAD_LAMBDA), speed)
            })
            .fold((0.0, limit), |most, next| if next.0 > most.0 { next } else { most });
        let bsfc = installation.bsfc_lb_per_hp_h * POUND_PER_HORSEPOWER_HOUR;
        let fuel_kg_per_s = installation.fed_power_w().map_or(by_air_kg_per_s, |power_w| power_w * bsfc);
        // Idle manifold pressure by camshaft: engineering judgement.
        let idle_map_pa = match answers.cam {
            Cam::Stock => 34e3,
            Cam::Mild => 40e3,
            Cam::Hot => 55e3,
        };
        let idle_speed = f64::from(answers.idle_speed_rad_per_s);
        Self {
            fuel_kg_per_s,
            power_w: fuel_kg_per_s / bsfc,
            by_air_kg_per_s,
            peak_rad_per_s,
            idle_fuel_kg: charge_kg(idle_map_pa, idle_speed, IDLE_K) / afr,
            idle_map_pa,
            outside_pa,
        }
    }
}
