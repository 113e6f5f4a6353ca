//! Temperatures: coolant with thermostat and fans, oil, intake wall, under-bonnet air, IAT sensor.

use crate::gas::CP_AIR;
use trimwright_numerics::Real;

trimwright_numerics::parameters! {
    /// Heat capacities, conductances and time constants.
    pub struct Thermal<f64> "thermal" {
        /// Temperature of coolant, oil and intake wall at the start.
        number start_k { 293.15, 230.0..=390.0 "K", "engineering judgement" }
        /// Temperature of the air under the bonnet at the start.
        number start_bonnet_k { 293.15, 230.0..=390.0 "K", "engineering judgement" }
        /// Heat capacity of the coolant and the metal that warms with it.
        number coolant_j_per_k { 1.3e5, 1e4..=5e5 "J/K", "engineering judgement: the time of warming at idle as recorded on a real car" }
        /// Coolant temperature at which the thermostat starts to open.
        number thermostat_k { 355.0, 330.0..=380.0 "K", "common practice, no source" }
        /// Temperature range over which the thermostat opens fully.
        number thermostat_range_k { 6.0, 1.0..=20.0 "K step", "engineering judgement" }
        /// Heat transfer of the radiator at standstill without fan.
        number radiator_w_per_k { 120.0, 0.0..=2000.0 "W/K", "engineering judgement" }
        /// Increase of the radiator's heat transfer per driving speed.
        number radiator_per_speed { 60.0, 0.0..=300.0 "W s/(K m)", "engineering judgement" }
        /// Increase of the radiator's heat transfer by one fan.
        number fan_w_per_k { 350.0, 0.0..=3000.0 "W/K", "engineering judgement" }
        /// Heat transfer from the block to the surrounding air.
        number block_w_per_k { 25.0, 0.0..=200.0 "W/K", "engineering judgement" }
        /// Time constant of the oil temperature after the coolant.
        number oil_tau_s { 240.0, 10.0..=2000.0 "s", "engineering judgement" }
        /// Time constant of the intake wall temperature after the coolant.
        number wall_tau_s { 60.0, 5.0..=1000.0 "s", "engineering judgement" }
        /// Steady intake wall temperature: fraction of the difference between coolant and outside air.
        number wall_share { 0.85, 0.0..=1.0 "1", "engineering judgement" }
        /// Steady under-bonnet air temperature at standstill: fraction of the difference between coolant and outside air.
        number bonnet_share { 0.60, 0.0..=1.0 "1", "engineering judgement" }
        /// Driving speed that halves that fraction.
        number bonnet_m_per_s { 25.0, 1.0..=50.0 "m/s", "engineering judgement" }
        /// Fraction of under-bonnet air in the air that the intake draws.
        number intake_share { 0.42, 0.0..=1.0 "1", "engineering judgement: IAT 24 K above the outside air standing and 15 K in motion, as recorded on a real car" }
        /// Heat transfer from the throttle body, as warm as the intake wall, to the intake air.
        number throttle_body_w_per_k { 0.5, 0.0..=20.0 "W/K", "engineering judgement" }
        /// Air flow that halves the heat soak of the IAT sensor.
        number soak_kg_per_s { 2e-3, 1e-4..=0.1 "kg/s", "engineering judgement" }
    }
}

/// Temperatures, K.
#[derive(Clone, Debug, PartialEq)]
pub struct ThermalState {
    /// Coolant.
    pub coolant_k: f64,
    /// Oil.
    pub oil_k: f64,
    /// Oil between rubbing parts.
    pub oil_film_k: f64,
    /// Intake wall.
    pub wall_k: f64,
    /// Air under the bonnet.
    pub bonnet_k: f64,
    /// Air at the throttle body.
    pub intake_k: f64,
    /// Tip of the IAT sensor.
    pub iat_k: f64,
}

/// Inputs of one step.
#[derive(Clone, Copy, Debug)]
pub struct ThermalInputs {
    /// Heat from gas and friction into the coolant, W.
    pub combustion_w: f64,
    /// Outside temperature, K.
    pub ambient_k: f64,
    /// Driving speed, m/s.
    pub vehicle_m_per_s: f64,
    /// Number of fans that run.
    pub fans: u8,
    /// Air into the engine, kg/s.
    pub air_kg_per_s: f64,
    /// The thermostat is stuck open.
    pub thermostat_open: bool,
}

/// Time constant of the IAT sensor in moving air, s (engineering judgement).
const IAT_TAU_S: f64 = 8.0;
/// Time constant of the air and sheet metal under the bonnet, s (engineering judgement).
const BONNET_TAU_S: f64 = 90.0;

/// Charge flow of a cylinder and its displacement at which the coolant's share of the heat is stated, kg/s and m3.
const SHARE_KG_PER_S: f64 = 1e-3;
const SHARE_M3: f64 = 0.5e-3;

/// Factor on the coolant's share of the released heat: `Re^-0.25`, as the heat from gas to wall grows with the power 0.75 of the Reynolds
/// number of the charge (Taylor and Toong; Heywood ch. 12). 1 at 1 g/s in a cylinder of 0.5 L; falls with load and speed.
///
/// ```
/// use trimwright_plant::coolant_share_factor;
/// assert!((coolant_share_factor(16e-3, 0.5e-3) - 0.5).abs() < 1e-12);
/// ```
pub fn coolant_share_factor(cylinder_kg_per_s: f64, cylinder_m3: f64) -> f64 {
    // Re is proportional to the flow over the bore, and the bore to the cube root of the displacement.
    let flow = (cylinder_kg_per_s / SHARE_KG_PER_S).held(0.2, 1e3);
    let bore_cubed = (cylinder_m3 / SHARE_M3).held(0.01, 100.0);
    Real::powf(flow, -0.25) * Real::powf(bore_cubed, 0.25 / 3.0)
}

impl ThermalState {
    /// Everything as warm as it stood at the start.
    pub fn new(thermal: &Thermal, ambient_k: f64) -> Self {
        let start_k = thermal.start_k;
        let intake_k = ambient_k + thermal.intake_share * (thermal.start_bonnet_k - ambient_k);
        Self {
            coolant_k: start_k,
            oil_k: start_k,
            oil_film_k: start_k,
            wall_k: start_k,
            bonnet_k: thermal.start_bonnet_k,
            intake_k,
            iat_k: thermal.start_bonnet_k,
        }
    }

    /// Energy balance of the coolant, first-order lags for the other temperatures. Part of the 100 ms task.
    pub fn step(&mut self, thermal: &Thermal, heat: &ThermalInputs, dt_s: f64) {
        let over_k = self.coolant_k - heat.ambient_k;
        let open = ((self.coolant_k - thermal.thermostat_k) / thermal.thermostat_range_k).held(0.0, 1.0);
        let open = if heat.thermostat_open { 1.0 } else { open };
        let radiator = thermal.radiator_w_per_k
            + thermal.radiator_per_speed * heat.vehicle_m_per_s
            + thermal.fan_w_per_k * f64::from(heat.fans);
        let lost_w = (open * radiator + thermal.block_w_per_k) * over_k;
        self.coolant_k = (self.coolant_k + dt_s * (heat.combustion_w - lost_w) / thermal.coolant_j_per_k)
            .held(200.0, 450.0);
        let follow = |from: f64, to: f64, tau_s: f64| from + (to - from) * (dt_s / tau_s).held(0.0, 1.0);
        self.oil_k = follow(self.oil_k, self.coolant_k + 8.0 * open, thermal.oil_tau_s);
        let wall_k = heat.ambient_k + thermal.wall_share * over_k;
        self.wall_k = follow(self.wall_k, wall_k, thermal.wall_tau_s);
        let wind = 1.0 + heat.vehicle_m_per_s / thermal.bonnet_m_per_s;
        let bonnet_k = heat.ambient_k + thermal.bonnet_share * over_k / wind;
        self.bonnet_k = follow(self.bonnet_k, bonnet_k, BONNET_TAU_S);
        let air_kg_per_s = heat.air_kg_per_s.held(0.0, 1.0);
        let drawn_k = heat.ambient_k + thermal.intake_share * (self.bonnet_k - heat.ambient_k);
        let body = thermal.throttle_body_w_per_k;
        let heated = (body / (body + CP_AIR * air_kg_per_s)).held(0.0, 1.0);
        self.intake_k = drawn_k + heated * (self.wall_k - drawn_k);
        let soak = thermal.soak_kg_per_s / (thermal.soak_kg_per_s + air_kg_per_s);
        let tip_k = self.intake_k + soak * (self.bonnet_k - self.intake_k);
        self.iat_k = follow(self.iat_k, tip_k, IAT_TAU_S);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(start_k: f64, heat: ThermalInputs, seconds: u32) -> ThermalState {
        let thermal = Thermal { start_k, start_bonnet_k: heat.ambient_k, ..crate::Truth::mild_v8().thermal };
        let mut state = ThermalState::new(&thermal, heat.ambient_k);
        for _ in 0..seconds * 10 {
            state.step(&thermal, &heat, 0.1);
        }
        state
    }

    #[test]
    fn the_thermostat_holds_the_coolant_in_motion_and_a_fan_is_needed_standing() {
        let driving = ThermalInputs {
            combustion_w: 18e3,
            ambient_k: 293.0,
            vehicle_m_per_s: 15.0,
            fans: 0,
            air_kg_per_s: 0.02,
            thermostat_open: false,
        };
        let warm = run(293.0, driving, 1800);
        assert!((355.0..364.0).contains(&warm.coolant_k), "{}", warm.coolant_k);
        let idling = ThermalInputs {
            combustion_w: 8e3,
            ambient_k: 308.0,
            vehicle_m_per_s: 0.0,
            fans: 0,
            air_kg_per_s: 0.006,
            thermostat_open: false,
        };
        let hot = run(360.0, idling, 1800);
        let cooled = run(360.0, ThermalInputs { fans: 1, ..idling }, 1800);
        assert!(hot.coolant_k > cooled.coolant_k + 3.0, "{} {}", hot.coolant_k, cooled.coolant_k);
    }

    #[test]
    fn band_intake_air_is_warm_and_warmer_standing() {
        // A warm 1.5 L car, recorded: IAT some 24 K above the outside air standing and 15 K in motion; within 30 %.
        let inputs = ThermalInputs {
            combustion_w: 8e3,
            ambient_k: 298.0,
            vehicle_m_per_s: 0.0,
            fans: 0,
            air_kg_per_s: 5e-3,
            thermostat_open: false,
        };
        let standing = run(360.0, inputs, 900).iat_k - 298.0;
        let moving =
            ThermalInputs { combustion_w: 15e3, vehicle_m_per_s: 10.0, air_kg_per_s: 15e-3, ..inputs };
        let moving = run(360.0, moving, 900).iat_k - 298.0;
        assert!((17.0..31.0).contains(&standing) && (10.5..19.5).contains(&moving), "{standing} {moving}");
        assert!(standing > moving + 5.0);
    }

    #[test]
    fn a_hot_stop_soaks_into_the_intake_air_sensor() {
        let off = ThermalInputs {
            combustion_w: 0.0,
            ambient_k: 293.0,
            vehicle_m_per_s: 0.0,
            fans: 0,
            air_kg_per_s: 0.0,
            thermostat_open: false,
        };
        assert!(run(365.0, off, 600).iat_k > 315.0);
    }
}
