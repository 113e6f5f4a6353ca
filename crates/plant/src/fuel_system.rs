//! Fuel supply from tank to rail: suction line, pump, filter, line, regulator or returnless control; and what tank, line and rail hold.
//!
//! Fuel is conserved: what leaves the tank less what returns to it is in line and rail or was injected. While line and rail are full, their
//! pressure rises above the vapour pressure by the compliance. Below, the fuel boils: the pressure stays at the vapour pressure, at which
//! an injector passes nothing, and the pump has to fill the volume before the pressure rises again.

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
        number compliance_kg_per_pa { 4e-9, 2e-10..=1e-6 "kg/Pa", "engineering judgement: a metre of hose; the fuel itself, of 1 GPa, a tenth" }
        /// Bleed or jet pump: flow that always returns to the tank per rail pressure, which lets the pressure down after the pump has
        /// stopped.
        number bleed_kg_per_pa_s { 7e-9, 0.0..=1e-7 "kg/(Pa s)", "engineering judgement: an orifice of half a millimetre" }
        /// Volume of rail and filter, beside that of the line.
        number rail_m3 { 1.5e-4, 1e-6..=2e-3 "m3", "engineering judgement: a filter of the size of a fist and a rail" }
        /// Fraction of line, filter and rail that is full of fuel at the start; 0 after a change of the filter or a dry run.
        number line_filled { 1.0, 0.0..=1.0 "1", "engineering judgement: the pump's check valve keeps the line full" }
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

/// Rail pressure to which the pump's relief valve limits it, Pa (engineering judgement: above any pump of the trade).
const RELIEF_PA: f64 = 2e6;
/// Margin over the vapour pressure at the pump's inlet within which the delivery fades, Pa (engineering judgement).
const INLET_MARGIN_PA: f64 = 10e3;
/// Pressure drop that drives a boiling fuel through an injector over the distance of the rail from the vapour pressure (engineering
/// judgement: above 1, as boiling lags in a short orifice, so that cold fuel is not choked by the vacuum of an idling engine).
const CHOKED: f64 = 1.5;
/// Share of the pump's delivery while the pickup is uncovered (engineering judgement).
const UNCOVERED: f64 = 0.3;
/// Fuel in the tank that the pickup does not reach, kg, and the fuel from which a pump that has drawn air draws fuel again (engineering
/// judgement).
const UNUSABLE_KG: f64 = 0.02;
const DRAWS_AGAIN_KG: f64 = 0.04;
/// Fraction of the delivery below which the pump has lost its prime.
const LOST_PRIME: f64 = 0.5;

/// Contents of tank, line and rail, rail pressure, flows and losses.
///
/// ```
/// use trimwright_plant::{FuelStepInputs, FuelSystemState, FuelTaskInputs, Truth};
/// let system = Truth::mild_v8().fuel_system;
/// let task = FuelTaskInputs {
///     ambient_pa: 101e3, vapour_pa: 36e3, density_kg_per_m3: 745.0, acceleration_m_per_s2: 0.0, filter_factor: 1.0,
/// };
/// let mut fuel = FuelSystemState::new(&system, &task);
/// let held_kg = fuel.tank_kg() + fuel.line_kg();
/// let pump = FuelStepInputs { pump_v: 13.8, delivery_share: 1.0, injected_kg: 0.0, manifold_gauge_pa: 0.0 };
/// (0..1000).for_each(|_| fuel.step(&system, &pump, 1e-3));
/// assert!(fuel.rail_pa() > system.regulator_pa, "the regulator is open");
/// assert!((fuel.tank_kg() + fuel.line_kg() - held_kg).abs() < 1e-9, "nothing was injected");
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct FuelSystemState {
    /// Rail pressure over outside air, Pa.
    rail_pa: f64,
    /// The fuel's vapour pressure over outside air, Pa; negative where it does not boil in the open.
    vapour_pa: f64,
    tank_kg: f64,
    /// Fuel that fills line, filter and rail at the vapour pressure, kg.
    full_kg: f64,
    /// Fuel in line, filter and rail above that, kg; negative while they are not full.
    surplus_kg: f64,
    pump_kg_per_s: f64,
    /// Pressure loss between pump and rail per flow, Pa s/kg, from the 100 ms task.
    lost_per_flow: f64,
    /// Factor on the pump's delivery by its extra leakage against the losses to the rail.
    delivery_gain: f64,
    /// Pump leakage per pressure, kg/(s Pa).
    pump_leak: f64,
    /// Regulator flow per pressure, kg/(s Pa).
    regulator_gain: f64,
    /// Pressure per fuel stored, Pa/kg.
    pa_per_kg: f64,
    /// Fraction of the delivery left by vapour at the inlet or an uncovered pickup.
    primed: f64,
}

/// Inputs of the fuel system's 100 ms task.
#[derive(Clone, Copy, Debug)]
pub struct FuelTaskInputs {
    /// Outside pressure, Pa.
    pub ambient_pa: f64,
    /// Vapour pressure of the fuel, Pa absolute: [`fuel_vapour_pa`].
    pub vapour_pa: f64,
    /// Density of the fuel, kg/m^3.
    pub density_kg_per_m3: f64,
    /// Acceleration of the vehicle, m/s^2.
    pub acceleration_m_per_s2: f64,
    /// Pressure drop of the filter over that of the clean one.
    pub filter_factor: f64,
}

/// Inputs of the fuel system in each step.
#[derive(Clone, Copy, Debug)]
pub struct FuelStepInputs {
    /// Voltage at the pump, V: supply times duty.
    pub pump_v: f64,
    /// Fraction of the pump's delivery left by a fault.
    pub delivery_share: f64,
    /// Fuel through the injectors in this step, kg; at most [`FuelSystemState::line_kg`].
    pub injected_kg: f64,
    /// Manifold pressure over outside air, Pa.
    pub manifold_gauge_pa: f64,
}

impl FuelSystemState {
    /// A parked car: pump off, no pressure over outside air but that of boiling fuel. Of the inputs, those of outside air and fuel count.
    pub fn new(system: &FuelSystem, inputs: &FuelTaskInputs) -> Self {
        let line_m3 = 0.25 * PI * system.line_bore_m * system.line_bore_m * system.line_m;
        let full_kg = inputs.density_kg_per_m3 * (line_m3 + system.rail_m3);
        let vapour_pa = inputs.vapour_pa - inputs.ambient_pa;
        let surplus_kg = if system.line_filled < 1.0 {
            (system.line_filled - 1.0) * full_kg
        } else {
            system.compliance_kg_per_pa * (-vapour_pa).at_least(0.0)
        };
        let mut state = Self {
            rail_pa: vapour_pa,
            vapour_pa,
            tank_kg: system.tank_kg,
            full_kg,
            surplus_kg,
            pump_kg_per_s: 0.0,
            lost_per_flow: 0.0,
            delivery_gain: 1.0,
            pump_leak: 0.0,
            regulator_gain: 0.0,
            pa_per_kg: 0.0,
            primed: 1.0,
        };
        state.set_parameters(system);
        state.update_pressure();
        state
    }

    /// Rail pressure over outside air, Pa; negative where the fuel is sucked out.
    pub const fn rail_pa(&self) -> f64 {
        self.rail_pa
    }

    /// The fuel's vapour pressure over outside air, Pa.
    pub const fn vapour_pa(&self) -> f64 {
        self.vapour_pa
    }

    /// Fuel in the tank, kg.
    pub const fn tank_kg(&self) -> f64 {
        self.tank_kg
    }

    /// Whether the pump draws no more fuel since the tank is empty, but for what the pickup does not reach.
    pub fn tank_is_empty(&self) -> bool {
        self.tank_kg <= if self.primed < LOST_PRIME { DRAWS_AGAIN_KG } else { UNUSABLE_KG }
    }

    /// Fuel in line, filter and rail, kg.
    pub const fn line_kg(&self) -> f64 {
        self.full_kg + self.surplus_kg
    }

    /// Flow of the pump to the rail, kg/s.
    pub const fn pump_kg_per_s(&self) -> f64 {
        self.pump_kg_per_s
    }

    /// Pressure drop that drives fuel through an injector, Pa: rail pressure over manifold pressure. Near the vapour pressure the fuel boils
    /// in the orifice, and its flow depends on the distance of the rail from that pressure only (choked flow of cavitating orifices: Nurick
    /// 1976, from memory). 0 where the fuel boils in the rail.
    #[inline]
    pub fn injector_drop_pa(&self, manifold_gauge_pa: f64) -> f64 {
        (self.rail_pa - manifold_gauge_pa).at_most(CHOKED * (self.rail_pa - self.vapour_pa))
    }

    /// Takes over changed parameters of pump, regulator and compliance. The content stays.
    pub fn set_parameters(&mut self, system: &FuelSystem) {
        self.pump_leak = system.pump_free_kg_per_s / system.pump_stall_pa;
        self.regulator_gain = system.pump_free_kg_per_s / system.regulator_band_pa;
        self.pa_per_kg = 1.0 / system.compliance_kg_per_pa;
        self.update_delivery_gain(system);
    }

    /// The pump flow q solves `q = available v - leak (p + lost q)`; with the regulator at the tank the pump does not see the losses.
    fn update_delivery_gain(&mut self, system: &FuelSystem) {
        let loss = if system.supply == Supply::RegulatedAtTank { 0.0 } else { self.lost_per_flow };
        self.delivery_gain = 1.0 / (1.0 + self.pump_leak * loss);
    }

    fn update_pressure(&mut self) {
        self.rail_pa = self.vapour_pa + self.pa_per_kg * self.surplus_kg.at_least(0.0);
    }

    /// 100 ms task: losses of line, filter and suction line at the present flow; vapour and slosh at the inlet; vapour pressure.
    pub fn task_100ms(&mut self, system: &FuelSystem, inputs: &FuelTaskInputs) {
        let flow = self.pump_kg_per_s.held(1e-4, 1.0);
        let line_pa = line_drop_pa(flow, system.line_m, system.line_bore_m, inputs.density_kg_per_m3);
        let full = flow / system.pump_free_kg_per_s;
        self.lost_per_flow = (line_pa + system.filter_pa * inputs.filter_factor * full * full) / flow;
        self.update_delivery_gain(system);
        let suction_pa =
            line_drop_pa(flow, system.suction_m, system.suction_bore_m, inputs.density_kg_per_m3);
        // Vapour forms when the inlet comes near the vapour pressure.
        let margin_pa = inputs.ambient_pa - suction_pa - inputs.vapour_pa;
        let covered = self.tank_kg * crate::gas::GRAVITY_M_PER_S2
            > system.slosh_kg * inputs.acceleration_m_per_s2.abs();
        let wet = if self.tank_is_empty() {
            0.0
        } else if covered {
            1.0
        } else {
            UNCOVERED
        };
        let target = (margin_pa / INLET_MARGIN_PA).held(0.05, 1.0) * wet;
        // A pump that draws air loses its prime within a second.
        let share = if wet > 0.0 { 0.2 } else { 0.5 };
        self.primed += share * (target - self.primed);
        self.vapour_pa = inputs.vapour_pa - inputs.ambient_pa;
        self.update_pressure();
    }

    /// Takes up to `wanted_kg` of fuel that is under pressure from the rail, beside the injectors, and returns how much it was, kg.
    pub fn tap(&mut self, wanted_kg: f64) -> f64 {
        let tapped_kg = wanted_kg.held(0.0, self.surplus_kg.at_least(0.0));
        self.surplus_kg -= tapped_kg;
        self.update_pressure();
        tapped_kg
    }

    /// One step of the rail, implicit in its pressure: pump (displacement by voltage less leakage by
    /// pressure, never backwards through its check valve), regulator, injectors, compliance.
    #[inline]
    pub fn step(&mut self, system: &FuelSystem, inputs: &FuelStepInputs, dt_s: f64) {
        let available = system.pump_free_kg_per_s * inputs.delivery_share * self.primed;
        let pump_leak = self.pump_leak;
        let set_pa =
            system.regulator_pa + if system.manifold_referenced { inputs.manifold_gauge_pa } else { 0.0 };
        // The leakage flows back only: a rail below outside pressure sucks no fuel through a pump that stands.
        let mut against_pa = self.rail_pa.at_least(0.0);
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
        let full = self.surplus_kg >= 0.0;
        let (mut return_flow, mut return_slope) = if system.supply == Supply::Return && over_pa > 0.0 && full
        {
            (gain * over_pa, gain)
        } else {
            (0.0, 0.0)
        };
        if self.rail_pa > 0.0 && full {
            return_flow += system.bleed_kg_per_pa_s * self.rail_pa;
            return_slope += system.bleed_kg_per_pa_s;
        }
        let per_pa = system.compliance_kg_per_pa;
        let net_kg = dt_s * (pump - return_flow) - inputs.injected_kg;
        let change_kg = if full {
            // The flows change with the pressure, which follows the content.
            net_kg * per_pa / (per_pa + dt_s * (return_slope - pump_slope))
        } else {
            net_kg
        };
        // What left the tank less what came back: no more than it holds or the relief valve lets pass, and no less than empties the line.
        let most_kg = (per_pa * (RELIEF_PA - self.rail_pa) + inputs.injected_kg).at_most(self.tank_kg);
        let least_kg = inputs.injected_kg - self.line_kg();
        let from_tank_kg = (change_kg + inputs.injected_kg).at_most(most_kg).at_least(least_kg);
        self.tank_kg -= from_tank_kg;
        self.surplus_kg += from_tank_kg - inputs.injected_kg;
        self.update_pressure();
        self.pump_kg_per_s = pump;
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

    const SLOW: FuelTaskInputs = FuelTaskInputs {
        ambient_pa: 101e3,
        vapour_pa: 40e3,
        density_kg_per_m3: 745.0,
        acceleration_m_per_s2: 0.0,
        filter_factor: 1.0,
    };
    const PUMP: FuelStepInputs =
        FuelStepInputs { pump_v: 13.8, delivery_share: 1.0, injected_kg: 0.0, manifold_gauge_pa: 0.0 };

    fn run(state: &mut FuelSystemState, system: &FuelSystem, fast: FuelStepInputs, steps: u32) {
        for step in 0..steps {
            if step % 100 == 0 {
                state.task_100ms(system, &SLOW);
            }
            state.step(system, &fast, 1e-3);
        }
    }

    fn settled(system: &FuelSystem, fast: FuelStepInputs) -> FuelSystemState {
        let mut state = FuelSystemState::new(system, &SLOW);
        run(&mut state, system, fast, 5000);
        state
    }

    #[test]
    fn without_a_pump_the_injectors_drain_the_pressure_and_then_pass_nothing() {
        let system = crate::Truth::mild_v8().fuel_system;
        let mut state = settled(&system, PUMP);
        let dead = FuelStepInputs { delivery_share: 0.0, manifold_gauge_pa: -70e3, ..PUMP };
        let injectors = crate::Truth::mild_v8().injectors;
        let (start_kg, mut injected_kg) = (state.tank_kg() + state.line_kg(), 0.0);
        for _ in 0..60_000 {
            let flow = injectors.flow_kg_per_s(state.injector_drop_pa(dead.manifold_gauge_pa));
            let wanted_kg = (0.05 * flow * 1e-3).at_most(state.line_kg());
            injected_kg += wanted_kg;
            state.step(&system, &FuelStepInputs { injected_kg: wanted_kg, ..dead }, 1e-3);
        }
        assert!((state.tank_kg() + state.line_kg() + injected_kg - start_kg).abs() < 1e-9, "{state:?}");
        // Some of the grams of stored pressure, and no more however long it is sucked at.
        assert!((1e-4..1.5e-3).contains(&injected_kg), "{injected_kg}");
        assert!(state.injector_drop_pa(dead.manifold_gauge_pa) < 100.0);
    }

    #[test]
    fn an_empty_tank_keeps_what_the_pickup_does_not_reach_and_draws_again_once_filled() {
        let system = FuelSystem { tank_kg: 0.1, ..crate::Truth::mild_v8().fuel_system };
        let mut state = settled(&system, PUMP);
        assert!(!state.tank_is_empty() && state.rail_pa() > 0.9 * system.regulator_pa);
        run(&mut state, &system, FuelStepInputs { injected_kg: 4e-6, ..PUMP }, 30_000);
        assert!(state.tank_is_empty() && state.tank_kg() > 0.01, "{state:?}");
        assert!(state.rail_pa() < 0.0, "{state:?}");
        state.tank_kg += 1.0;
        run(&mut state, &system, PUMP, 5000);
        assert!(!state.tank_is_empty() && state.rail_pa() > 0.9 * system.regulator_pa);
    }

    #[test]
    fn the_pressure_falls_within_seconds_of_a_stop() {
        let system = crate::Truth::mild_v8().fuel_system;
        let mut state = settled(&system, PUMP);
        run(&mut state, &system, FuelStepInputs { pump_v: 0.0, ..PUMP }, 5000);
        assert!(state.rail_pa() < 0.01 * system.regulator_pa && state.injector_drop_pa(0.0) > 0.0);
    }

    #[test]
    fn a_drained_line_takes_pump_time_until_there_is_pressure() {
        let drained = FuelSystem { line_filled: 0.0, ..crate::Truth::mild_v8().fuel_system };
        let mut state = FuelSystemState::new(&drained, &SLOW);
        assert_eq!(state.line_kg(), 0.0);
        let mut filled_s = 0.0;
        while state.rail_pa() < 0.9 * drained.regulator_pa && filled_s < 60.0 {
            run(&mut state, &drained, PUMP, 100);
            filled_s += 0.1;
        }
        // Content over the pump's free flow.
        let least_s = state.line_kg() / (drained.pump_free_kg_per_s * PUMP.pump_v / 13.5);
        assert!(filled_s >= least_s - 0.1 && filled_s < 1.5 * least_s, "{filled_s} s against {least_s} s");
    }

    #[test]
    fn fuel_near_boiling_leaves_less_pressure_to_the_injectors() {
        let system = crate::Truth::mild_v8().fuel_system;
        let idle_pa = -70e3;
        let mut state = settled(&system, PUMP);
        assert_eq!(
            state.injector_drop_pa(idle_pa),
            state.rail_pa() - idle_pa,
            "cold fuel: over the manifold"
        );
        let hot = FuelTaskInputs { vapour_pa: fuel_vapour_pa(100e3, 335.0), ..SLOW };
        (0..50).for_each(|_| state.task_100ms(&system, &hot));
        (0..1000).for_each(|_| state.step(&system, &PUMP, 1e-3));
        assert!(state.injector_drop_pa(idle_pa) < 0.9 * (state.rail_pa() - idle_pa), "{state:?}");
    }

    #[test]
    fn the_regulator_holds_its_pressure_at_rest_and_at_full_draw() {
        let system = crate::Truth::mild_v8().fuel_system;
        for injected_kg in [0.0, 15e-6] {
            let rail_pa = settled(&system, FuelStepInputs { injected_kg, ..PUMP }).rail_pa;
            assert!((rail_pa / system.regulator_pa - 1.0).abs() < 0.04, "{rail_pa}");
        }
        let weak = settled(&system, FuelStepInputs { injected_kg: 15e-6, delivery_share: 0.4, ..PUMP });
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
        let mut state = FuelSystemState::new(&system, &slow);
        for _ in 0..100 {
            state.task_100ms(&system, &slow);
        }
        assert!(state.primed < 0.1);
    }
}
