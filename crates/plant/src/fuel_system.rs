//! Fuel supply from tank to rail: suction line, pump, filter, line, regulator or returnless control.

use core::f64::consts::PI;
use trimwright_numerics::Real;

/// How the rail pressure is controlled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Supply {
    /// A regulator on the rail returns the excess to the tank.
    Return,
    /// A regulator at the tank controls the pressure upstream of filter and line; there is no return line from the rail.
    RegulatedAtTank,
    /// No regulator: the controller controls the pressure by the pump's duty.
    Returnless,
}

trimwright_numerics::choice!(Supply {
    Return = "return",
    RegulatedAtTank = "regulated at tank",
    Returnless = "returnless",
});

trimwright_numerics::parameters! {
    /// Fuel supply. Pressures are gauge (over outside air) unless stated otherwise.
    pub struct FuelSystem<f64> "fuel_system" {
        /// How the rail pressure is controlled.
        choice supply { Supply = Supply::Return, "engineering judgement" }
        /// Pump flow without back pressure at 13.5 V.
        number pump_free_kg_per_s { 0.055, 0.002..=0.3 "kg/s", "engineering judgement" }
        /// Pressure at which the pump's internal leakage equals that flow.
        number pump_stall_pa { 900e3, 100e3..=2e6 "Pa", "engineering judgement" }
        /// Set pressure of the regulator.
        number regulator_pa { 300e3, 50e3..=700e3 "Pa", "common practice, no source" }
        /// Pressure rise of the regulator from its opening point to the pump's free flow.
        number regulator_band_pa { 8e3, 1e3..=100e3 "Pa", "engineering judgement" }
        /// The regulator is referenced to manifold pressure instead of outside air.
        flag manifold_referenced { false, "engineering judgement" }
        /// Compliance of rail and hoses: fuel stored per pressure.
        number compliance_kg_per_pa { 1e-8, 1e-9..=1e-6 "kg/Pa", "engineering judgement" }
        /// Length of the line.
        number line_m { 4.5, 0.1..=20.0 "m", "engineering judgement" }
        /// Bore of the line.
        number line_bore_m { 6.5e-3, 0.003..=0.03 "m", "engineering judgement" }
        /// Length of the suction line.
        number suction_m { 0.4, 0.0..=5.0 "m", "engineering judgement" }
        /// Bore of the suction line.
        number suction_bore_m { 9.5e-3, 0.003..=0.03 "m", "engineering judgement" }
        /// Pressure drop of the clean filter at the pump's free flow.
        number filter_pa { 12e3, 0.0..=100e3 "Pa", "engineering judgement" }
        /// Fuel in the tank at the start.
        number tank_kg { 55.0, 0.0..=500.0 "kg", "engineering judgement" }
        /// Fuel level at which 1 g of acceleration uncovers the pickup.
        number slosh_kg { 4.0, 0.0..=50.0 "kg", "engineering judgement" }
        /// Temperature of the fuel in tank and line.
        number fuel_k { 298.0, 240.0..=340.0 "K", "engineering judgement" }
    }
}

/// Dynamic viscosity of petrol near 20 degC, Pa s (engineering judgement: the usual 0.5 to 0.6 mPa s).
const VISCOSITY_PA_S: f64 = 0.53e-3;
/// Roughness of drawn tube, m (Moody's usual value).
const ROUGHNESS_M: f64 = 1.5e-6;

/// Pressure drop of a straight line, Pa: Darcy-Weisbach with `64/Re` below Re 2300 and Haaland's friction
/// factor above.
pub fn line_drop_pa(flow_kg_per_s: f64, length_m: f64, bore_m: f64, density_kg_per_m3: f64) -> f64 {
    pipe_drop_pa(flow_kg_per_s, length_m, bore_m, density_kg_per_m3, VISCOSITY_PA_S)
}

/// The same for a fluid of this dynamic viscosity, Pa s.
///
/// ```
/// // Below Re 2300 Hagen and Poiseuille hold: 128 mu L Q / (pi d^4).
/// let drop_pa = trimwright_plant::pipe_drop_pa(1e-3, 1.0, 0.01, 745.0, 0.5e-3);
/// let exact_pa = 128.0 * 0.5e-3 * (1e-3 / 745.0) / (core::f64::consts::PI * 1e-8);
/// assert!((drop_pa / exact_pa - 1.0).abs() < 1e-12);
/// ```
pub fn pipe_drop_pa(
    flow_kg_per_s: f64,
    length_m: f64,
    bore_m: f64,
    density_kg_per_m3: f64,
    viscosity_pa_s: f64,
) -> f64 {
    if flow_kg_per_s <= 0.0 {
        return 0.0;
    }
    let reynolds = 4.0 * flow_kg_per_s / (PI * bore_m * viscosity_pa_s);
    let friction = if reynolds < 2300.0 {
        64.0 / reynolds
    } else {
        let rough = Real::powf(ROUGHNESS_M / bore_m / 3.7, 1.11) + 6.9 / reynolds;
        let root = -1.8 * Real::ln(rough) * core::f64::consts::LOG10_E;
        1.0 / (root * root)
    };
    let speed = flow_kg_per_s / (density_kg_per_m3 * 0.25 * PI * bore_m * bore_m);
    friction * length_m / bore_m * 0.5 * density_kg_per_m3 * speed * speed
}

/// Rail pressure, flows and losses.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FuelSystemState {
    /// Rail pressure over outside air, Pa.
    pub(crate) rail_pa: f64,
    pub(crate) tank_kg: f64,
    pub(crate) pump_kg_per_s: f64,
    /// Pressure loss between pump and rail per flow, Pa s/kg, from the 100 ms task.
    lost_per_flow: f64,
    /// Factor on the pump's delivery by its extra leakage against the losses to the rail.
    delivery_gain: f64,
    /// Pump leakage per pressure, kg/(s Pa).
    pump_leak: f64,
    /// Regulator flow per pressure, kg/(s Pa).
    regulator_gain: f64,
    /// Fraction of the delivery left by vapour at the inlet or an uncovered pickup.
    primed: f64,
}

/// Inputs of the fuel system's 100 ms task.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FuelTaskInputs {
    pub(crate) ambient_pa: f64,
    pub(crate) vapour_pa: f64,
    pub(crate) density_kg_per_m3: f64,
    pub(crate) acceleration_m_per_s2: f64,
    pub(crate) filter_factor: f64,
}

/// Inputs of the fuel system in each step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FuelStepInputs {
    /// Voltage at the pump, V: supply times duty.
    pub(crate) pump_v: f64,
    /// Fraction of the pump's delivery left by a fault.
    pub(crate) delivery_share: f64,
    pub(crate) injected_kg: f64,
    /// Manifold pressure over outside air, Pa.
    pub(crate) manifold_gauge_pa: f64,
}

impl FuelSystemState {
    pub(crate) fn new(system: &FuelSystem) -> Self {
        Self {
            rail_pa: 0.0,
            tank_kg: system.tank_kg,
            pump_kg_per_s: 0.0,
            lost_per_flow: 0.0,
            delivery_gain: 1.0,
            pump_leak: system.pump_free_kg_per_s / system.pump_stall_pa,
            regulator_gain: system.pump_free_kg_per_s / system.regulator_band_pa,
            primed: 1.0,
        }
    }

    /// Takes over changed parameters of pump and regulator.
    pub(crate) fn set_parameters(&mut self, system: &FuelSystem) {
        let made = Self::new(system);
        (self.pump_leak, self.regulator_gain) = (made.pump_leak, made.regulator_gain);
        self.update_delivery_gain(system);
    }

    /// The pump flow q solves `q = available v - leak (p + lost q)`; with the regulator at the tank the pump does not see the losses.
    fn update_delivery_gain(&mut self, system: &FuelSystem) {
        let loss = if system.supply == Supply::RegulatedAtTank { 0.0 } else { self.lost_per_flow };
        self.delivery_gain = 1.0 / (1.0 + self.pump_leak * loss);
    }

    /// 100 ms task: losses of line, filter and suction line at the present flow; vapour and slosh at the inlet.
    pub(crate) fn task_100ms(&mut self, system: &FuelSystem, inputs: &FuelTaskInputs) {
        let flow = self.pump_kg_per_s.held(1e-4, 1.0);
        let line_pa = line_drop_pa(flow, system.line_m, system.line_bore_m, inputs.density_kg_per_m3);
        let full = flow / system.pump_free_kg_per_s;
        self.lost_per_flow = (line_pa + system.filter_pa * inputs.filter_factor * full * full) / flow;
        self.update_delivery_gain(system);
        let suction_pa =
            line_drop_pa(flow, system.suction_m, system.suction_bore_m, inputs.density_kg_per_m3);
        // Vapour forms when the inlet comes near the vapour pressure: delivery fades over the last 10 kPa.
        let margin_pa = inputs.ambient_pa - suction_pa - inputs.vapour_pa;
        let covered = self.tank_kg * crate::gas::GRAVITY_M_PER_S2
            > system.slosh_kg * inputs.acceleration_m_per_s2.abs();
        let wet = if self.tank_kg <= 0.0 {
            0.0
        } else if covered {
            1.0
        } else {
            0.3
        };
        let target = (margin_pa / 10e3).held(0.05, 1.0) * wet;
        self.primed += 0.2 * (target - self.primed);
    }

    /// One step of the rail, implicit in its pressure: pump (displacement by voltage less leakage by
    /// pressure, never backwards through its check valve), regulator, injectors, compliance.
    #[inline]
    pub(crate) fn step(&mut self, system: &FuelSystem, inputs: &FuelStepInputs, dt_s: f64) {
        let available = system.pump_free_kg_per_s * inputs.delivery_share * self.primed;
        let pump_leak = self.pump_leak;
        let set_pa =
            system.regulator_pa + if system.manifold_referenced { inputs.manifold_gauge_pa } else { 0.0 };
        let mut against_pa = self.rail_pa;
        if system.supply == Supply::RegulatedAtTank {
            // The pump works against the set pressure at most; the rail fills through line and filter.
            against_pa = against_pa.min(set_pa);
        }
        let delivery_gain = self.delivery_gain;
        let free_flow = (available * inputs.pump_v * (1.0 / 13.5) - pump_leak * against_pa) * delivery_gain;
        let (mut pump, mut pump_slope) =
            if free_flow > 0.0 { (free_flow, -pump_leak * delivery_gain) } else { (0.0, 0.0) };
        if system.supply == Supply::RegulatedAtTank {
            let line_flow = (set_pa - self.rail_pa) / self.lost_per_flow.held(1e4, 1e12);
            if line_flow < pump {
                (pump, pump_slope) = if line_flow > 0.0 {
                    (line_flow, -1.0 / self.lost_per_flow.held(1e4, 1e12))
                } else {
                    (0.0, 0.0)
                };
            }
        }
        let gain = self.regulator_gain;
        let over_pa = self.rail_pa - set_pa;
        let (return_flow, return_slope) = if system.supply == Supply::Return && over_pa > 0.0 {
            (gain * over_pa, gain)
        } else {
            (0.0, 0.0)
        };
        let per_pa = system.compliance_kg_per_pa;
        let net_kg = dt_s * (pump - return_flow) - inputs.injected_kg;
        let change_pa = net_kg / (per_pa + dt_s * (return_slope - pump_slope));
        self.rail_pa = (self.rail_pa + change_pa).held(0.0, 2e6);
        self.pump_kg_per_s = pump;
        self.tank_kg = (self.tank_kg - inputs.injected_kg).held(0.0, 1e3);
    }
}

/// Vapour pressure of petrol at a temperature from the one at 37.8 degC, Pa: `p exp(3600 (1/310.95 - 1/T))`
/// (Clausius-Clapeyron slope by engineering judgement for light fractions).
pub fn fuel_vapour_pa(at_37_8_pa: f64, fuel_k: f64) -> f64 {
    at_37_8_pa * Real::exp(3600.0 * (1.0 / 310.95 - 1.0 / fuel_k))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn val_fuel_line_drop_per_metre() {
        // Darcy-Weisbach with Haaland, fluids 1.3.1: shared/reference/fuel_line.csv, bore, kg/h, m/s,
        // Reynolds number, kPa per metre.
        for (bore_m, kg_per_h, speed, reynolds, kpa) in [
            (6.5151e-3, 68.039, 0.761, 9014.1, 1.0605),
            (6.5151e-3, 113.398, 1.2683, 15023.6, 2.5859),
            (6.5151e-3, 136.078, 1.5219, 18028.3, 3.5496),
            (7.9375e-3, 68.039, 0.5127, 7398.8, 0.4179),
        ] {
            let flow: f64 = kg_per_h / 3600.0;
            // Density and viscosity of the table.
            let density = flow / (speed * 0.25 * PI * bore_m * bore_m);
            let viscosity = 4.0 * flow / (PI * bore_m * reynolds);
            let drop = pipe_drop_pa(flow, 1.0, bore_m, density, viscosity);
            assert!((drop / (kpa * 1e3) - 1.0).abs() < 0.005, "{drop} {kpa}");
        }
    }

    fn settled(system: &FuelSystem, fast: FuelStepInputs) -> FuelSystemState {
        let slow = FuelTaskInputs {
            ambient_pa: 101e3,
            vapour_pa: 40e3,
            density_kg_per_m3: 745.0,
            acceleration_m_per_s2: 0.0,
            filter_factor: 1.0,
        };
        let mut state = FuelSystemState::new(system);
        for step in 0..5000 {
            if step % 10 == 0 {
                state.task_100ms(system, &slow);
            }
            state.step(system, &fast, 1e-3);
        }
        state
    }

    #[test]
    fn the_regulator_holds_its_pressure_at_rest_and_at_full_draw() {
        let system = crate::Truth::mild_v8().fuel_system;
        let fast =
            FuelStepInputs { pump_v: 13.8, delivery_share: 1.0, injected_kg: 0.0, manifold_gauge_pa: 0.0 };
        for injected_kg in [0.0, 15e-6] {
            let rail_pa = settled(&system, FuelStepInputs { injected_kg, ..fast }).rail_pa;
            assert!((rail_pa / system.regulator_pa - 1.0).abs() < 0.04, "{rail_pa}");
        }
        let weak = settled(&system, FuelStepInputs { injected_kg: 15e-6, delivery_share: 0.4, ..fast });
        assert!(weak.rail_pa < 0.8 * system.regulator_pa);
    }

    #[test]
    fn each_way_of_supply_reaches_its_pressure() {
        let base = crate::Truth::mild_v8().fuel_system;
        let fast =
            FuelStepInputs { pump_v: 13.8, delivery_share: 1.0, injected_kg: 2e-6, manifold_gauge_pa: -60e3 };
        let tank = settled(&FuelSystem { supply: Supply::RegulatedAtTank, ..base.clone() }, fast).rail_pa;
        assert!(tank <= base.regulator_pa && tank > 0.95 * base.regulator_pa, "{tank}");
        let following = settled(&FuelSystem { manifold_referenced: true, ..base.clone() }, fast).rail_pa;
        assert!((following / (base.regulator_pa - 60e3) - 1.0).abs() < 0.05);
        let free = settled(&FuelSystem { supply: Supply::Returnless, ..base.clone() }, fast).rail_pa;
        assert!(free > 1.3 * base.regulator_pa);
    }

    #[test]
    fn hot_fuel_starves_the_pump() {
        let system = crate::Truth::mild_v8().fuel_system;
        let slow = FuelTaskInputs {
            ambient_pa: 80e3,
            vapour_pa: fuel_vapour_pa(80e3, 335.0),
            density_kg_per_m3: 745.0,
            acceleration_m_per_s2: 0.0,
            filter_factor: 1.0,
        };
        let mut state = FuelSystemState::new(&system);
        for _ in 0..100 {
            state.task_100ms(&system, &slow);
        }
        assert!(state.primed < 0.1);
    }
}
