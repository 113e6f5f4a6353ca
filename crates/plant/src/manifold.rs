//! Intake manifold: filling and emptying, with pressure and mass as states.

use crate::check::{OutOfRange, within};
use crate::gas::{CP_AIR, KAPPA};
use crate::throttle::Flow;
use trimwright_numerics::Real;
use trimwright_numerics::parameters::Range;

trimwright_numerics::parameters! {
    /// Intake manifold from the throttle plates to the intake valves.
    pub struct Manifold<f64> "manifold" {
        /// Volume, at least 0.3 and at most 5 times the displacement.
        number volume_m3 { 5.0e-3, 9e-5..=0.06 "m3", "engineering judgement" }
        /// Heat transfer from wall to air at low flow.
        number wall_w_per_k { 3.0, 0.0..=100.0 "W/K", "engineering judgement" }
        /// Heat exchanger effectiveness of the wall at high flow: rise of the air temperature over the difference to the wall.
        number wall_share { 0.15, 0.0..=0.5 "1", "engineering judgement" }
    }
}

impl Manifold {
    /// Checks the volume against the displacement.
    pub(crate) fn check_volume(&self, displacement_m3: f64) -> Result<(), OutOfRange> {
        let range = Range { min: 0.3 * displacement_m3, max: 5.0 * displacement_m3, unit: "m3" };
        within("manifold.volume_m3", self.volume_m3, range)
    }
}

/// Boundary conditions of the manifold in one step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ManifoldBoundary {
    /// Outside pressure, Pa.
    pub(crate) outside_pa: f64,
    /// Temperature of the air that flows in, K.
    pub(crate) inflow_k: f64,
    /// Wall temperature, K.
    pub(crate) wall_k: f64,
    /// Heat taken from the air by evaporation, W.
    pub(crate) evaporation_w: f64,
    /// Volume flow into the engine, m^3/s: filling efficiency times displacement times cycles per second.
    pub(crate) engine_m3_per_s: f64,
    /// Gas constant of the air, J/(kg K).
    pub(crate) gas_constant: f64,
}

/// Air masses through the manifold in one step; their difference is the change of the stored mass.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct ManifoldFlows {
    pub(crate) in_kg: f64,
    pub(crate) out_kg: f64,
}

/// Pressure and mass; the temperature follows from both.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ManifoldState {
    pub(crate) pressure_pa: f64,
    pub(crate) mass_kg: f64,
}

impl ManifoldState {
    pub(crate) fn at(manifold: &Manifold, pressure_pa: f64, temperature_k: f64, gas_constant: f64) -> Self {
        Self { pressure_pa, mass_kg: pressure_pa * manifold.volume_m3 / (gas_constant * temperature_k) }
    }

    pub(crate) fn temperature_k(&self, manifold: &Manifold, gas_constant: f64) -> f64 {
        self.pressure_pa * manifold.volume_m3 / (self.mass_kg * gas_constant)
    }

    /// One step of the adiabatic manifold with wall heat (Hendricks et al., SAE 960037):
    ///
    /// `dm/dt = m'_in - m'_out`, `dp/dt = (kappa R / V) (m'_in T_in - m'_out T) + (kappa - 1) / V Q'`.
    ///
    /// With open plates the pressure settles within a fraction of a millisecond. The step is therefore
    /// linearly implicit in the pressure (one Newton step of backward Euler), and the masses are those of the linearised flows, so
    /// that the mass balance closes to rounding.
    #[inline]
    pub(crate) fn step(
        &mut self,
        manifold: &Manifold,
        throttle: Flow,
        boundary: &ManifoldBoundary,
        dt_s: f64,
    ) -> ManifoldFlows {
        let per_m3 = 1.0 / manifold.volume_m3;
        let density = self.mass_kg * per_m3;
        let temperature_k = self.pressure_pa / (density * boundary.gas_constant);
        let inflow_k = if throttle.kg_per_s >= 0.0 { boundary.inflow_k } else { temperature_k };
        let out = boundary.engine_m3_per_s * density;
        let out_slope = out / self.pressure_pa;
        let wall = manifold.wall_w_per_k + manifold.wall_share * CP_AIR * throttle.kg_per_s.abs();
        let heat_j = dt_s * (wall * (boundary.wall_k - temperature_k) - boundary.evaporation_w);
        // Limits the heat of one step to a tenth of the air's energy, for very small manifolds.
        let most_j = 0.1 / (KAPPA - 1.0) * self.pressure_pa * manifold.volume_m3;
        let heat_j = heat_j.held(-most_j, most_j);

        let per_volume = KAPPA * boundary.gas_constant * per_m3;
        let push_pa = dt_s * per_volume * (throttle.kg_per_s * inflow_k - out * temperature_k)
            + (KAPPA - 1.0) * per_m3 * heat_j;
        let change_at = |in_slope: f64| {
            let slope = per_volume * (in_slope * inflow_k - out_slope * temperature_k);
            push_pa / (1.0 - dt_s * slope)
        };
        let gap_pa = boundary.outside_pa - self.pressure_pa;
        let mut in_slope = throttle.slope_kg_per_s_pa;
        let mut change_pa = change_at(in_slope);
        if change_pa * gap_pa > gap_pa * gap_pa {
            // A wide throttle on a small manifold would overshoot outside pressure, where the flow is zero: use the secant
            // slope to that point.
            in_slope = -throttle.kg_per_s / gap_pa;
            change_pa = change_at(in_slope);
        }

        // Limits each outflow to 45 % of the stored mass, for extreme engines.
        let most_kg = 0.45 * self.mass_kg;
        let out_kg = (dt_s * (out + out_slope * change_pa)).held(0.0, most_kg);
        let in_kg = (dt_s * (throttle.kg_per_s + in_slope * change_pa)).held(-most_kg, f64::MAX);
        self.mass_kg += in_kg - out_kg;
        let per_kelvin = self.mass_kg * boundary.gas_constant * per_m3;
        self.pressure_pa = (self.pressure_pa + change_pa).held(150.0 * per_kelvin, 700.0 * per_kelvin);
        ManifoldFlows { in_kg, out_kg }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MANIFOLD: Manifold = Manifold { volume_m3: 5.0e-3, wall_w_per_k: 0.0, wall_share: 0.0 };
    const R: f64 = 287.052_87;

    fn boundary(engine_m3_per_s: f64) -> ManifoldBoundary {
        ManifoldBoundary {
            outside_pa: 1e5,
            inflow_k: 300.0,
            wall_k: 300.0,
            evaporation_w: 0.0,
            engine_m3_per_s,
            gas_constant: R,
        }
    }

    #[test]
    fn val_emptying_time_constants() {
        // 2 V_m / (eta V_d n) for 5.7 L, 5.0 L, eta 0.8: 0.18797 s at 700 rpm, 0.032895 s at 4000 rpm. The
        // pressure of an adiabatic manifold falls kappa times as fast as that, its mass exactly as fast.
        for (rpm, tau_s) in [(700.0, 0.187_97), (4000.0, 0.032_895)] {
            let mut state = ManifoldState::at(&MANIFOLD, 9e4, 300.0, R);
            let start_kg = state.mass_kg;
            let boundary = boundary(0.8 * 5.7e-3 * rpm / 120.0);
            let shut = Flow { kg_per_s: 0.0, slope_kg_per_s_pa: 0.0 };
            let dt_s = tau_s / 20_000.0;
            for _ in 0..20_000 {
                state.step(&MANIFOLD, shut, &boundary, dt_s);
            }
            let share = state.mass_kg / start_kg;
            assert!((share / Real::exp(-1.0) - 1.0).abs() < 2e-4, "{share}");
        }
    }

    #[test]
    fn ident_filled_from_outside_it_reaches_the_outside_state_and_mass_closes() {
        let tables = crate::throttle::FlowTables::new(&crate::Truth::mild_v8().throttle);
        let mut state = ManifoldState::at(&MANIFOLD, 3e4, 300.0, R);
        let start_kg = state.mass_kg;
        let mut net_kg = 0.0;
        for _ in 0..20_000 {
            // Wide open: the explicit rate would be thousands per second.
            let flow = tables.flow(5e-3, 1e5, state.pressure_pa, Real::sqrt(R * 300.0));
            let flows = state.step(&MANIFOLD, flow, &boundary(0.05), 1e-3);
            net_kg += flows.in_kg - flows.out_kg;
        }
        assert!((state.mass_kg - start_kg - net_kg).abs() < 1e-12);
        assert!((state.pressure_pa - 1e5).abs() < 300.0, "{}", state.pressure_pa);
        assert!((state.temperature_k(&MANIFOLD, R) - 300.0).abs() < 1.0);
    }
}
