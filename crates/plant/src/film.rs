//! Fuel on the manifold's walls, in two puddles, and airborne fuel.
//!
//! Injected fuel splits into vapour, droplets that the air carries along, and fuel that lands on the floor under the throttle body; some of
//! the carried droplets land on the walls of the runners. The puddle on the floor, of fresh fuel, is fast; that in the runners, of the
//! heavy part, slow. Each evaporates by its own wall temperature, vapour pressure and mass transfer, and is also pushed towards the ports
//! as a liquid. The floor's temperature lags that of the intake wall and is cooled by air and evaporation.
//!
//! Magnitudes are bounded by what is published of warm engines: a fraction X of 0.1 to 0.6 on the walls and a time constant of 0.2 to 1.2 s
//! for port injection (Aquino, SAE 810494; Hendricks et al., SAE 960037), up to 2 s for a throttle body (common practice, no source).

use crate::fuel::{Fuel, PETROL_OVER_AIR};
use crate::throttle::ThrottleBody;
use trimwright_numerics::Real;

trimwright_numerics::parameters! {
    /// Wall film: two puddles, which evaporate and flow (structure after Guzzella & Onder, ch. 2: convective mass transfer of puddles and
    /// droplets).
    ///
    /// ```
    /// use trimwright_plant::{FilmConditions, Fuel, Truth};
    /// // A warm engine's film holds X tau of the fuel flow: at 3 g/s, a gram or so.
    /// let truth = Truth::mild_v8();
    /// let warm = FilmConditions { pressure_pa: 60e3, air_kg_per_s: 0.044, ..FilmConditions::warm(&truth.throttle) };
    /// let at = truth.film.coefficients(&truth.fuel, &warm);
    /// assert!((0.3..2.0).contains(&(at.x * at.tau_s * 3.0)));
    /// ```
    pub struct Film<f64> "film" {
        /// Factor on the fraction of the injected fuel that lands on the walls.
        number x_scale { 1.0, 0.0..=2.0 "1", "engineering judgement" }
        /// Factor on the time constants of both puddles.
        number tau_scale { 1.0, 0.2..=5.0 "1", "engineering judgement" }
        /// Fraction of the vapour of equilibrium that forms before the fuel lands.
        number flight_share { 0.3, 0.0..=1.0 "1", "engineering judgement" }
        /// Diameter of the droplets of an injector above the plates.
        number droplet_m { 2e-4, 2e-5..=1e-3 "m", "common practice, no source" }
        /// Weber number of the air in the bores at which half of the droplets are carried along.
        number half_weber { 0.3, 0.01..=100.0 "1", "engineering judgement" }
        /// Fraction of the carried droplets that lands on the walls of the runners.
        number runner_share { 0.12, 0.0..=0.5 "1", "engineering judgement: some bends of a wet manifold" }
        /// Thickness of the puddle on the floor.
        number floor_film_m { 1.4e-5, 2e-6..=2e-4 "m", "engineering judgement, from published time constants" }
        /// Thickness of the puddle in the runners.
        number runner_film_m { 2e-5, 2e-6..=2e-4 "m", "engineering judgement, from published time constants" }
        /// Rate at which liquid reaches the ports, at an air speed of 1 m/s in the bores; it grows with the root of that speed.
        number liquid_per_s { 0.2, 0.0..=2.0 "1/s", "engineering judgement" }
        /// Heat transfer from the coolant through the intake wall to the floor.
        number floor_w_per_k { 40.0, 1.0..=300.0 "W/K", "engineering judgement" }
        /// Heat capacity of the floor.
        number floor_j_per_k { 800.0, 50.0..=5000.0 "J/K", "engineering judgement: a kilogram of aluminium" }
        /// Fraction of the film that flash-evaporates per unit of relative pressure fall.
        number flash_share { 0.15, 0.0..=1.0 "1", "engineering judgement" }
        /// Fraction of the airborne fuel drawn by one intake event; lower with a long plenum.
        number draw_share { 0.75, 0.05..=1.0 "1", "engineering judgement" }
        /// Fraction of the injected fuel's heat of evaporation taken from the air.
        number air_heat_share { 0.2, 0.0..=1.0 "1", "engineering judgement" }
    }
}

/// Heat of evaporation of petrol, J/kg (engineering judgement; n-octane has 363 kJ/kg by CoolProp 8.0.0).
pub(crate) const EVAPORATION_J_PER_KG: f64 = 350e3;
/// Mixture that the air in the manifold carries, for the vapour of equilibrium: about stoichiometric.
const MANIFOLD_AFR: f64 = 14.6;
/// Viscosity of air near 300 K, Pa s (CoolProp 8.0.0).
const AIR_PA_S: f64 = 1.85e-5;
/// Gas constant of dry air, J/(kg K) (ISO 2533).
const R_AIR: f64 = 287.05;
/// Surface tension of petrol, N/m (common practice, no source).
const TENSION_N_PER_M: f64 = 0.021;
/// Density of air times diffusivity of petrol vapour in it, kg/(m s); nearly constant (common practice, no source).
const DIFFUSION_KG_PER_M_S: f64 = 1.2e-5;
/// Cube root of the Schmidt number of petrol vapour in air, 1.7 (common practice, no source).
const ROOT3_SCHMIDT: f64 = 1.19;
/// Density of the liquid, kg/m^3.
const LIQUID_KG_PER_M3: f64 = 745.0;
/// Length of the floor over the diameter of a bore (engineering judgement).
const FLOOR_LENGTH: f64 = 2.3;
/// Lower limit of the Reynolds number: free convection of a standing engine (engineering judgement).
const MIN_REYNOLDS: f64 = 100.0;
/// Upper limit of a vapour pressure over the manifold's: it boils no faster (engineering judgement).
const MOST_BOILING: f64 = 0.9;
/// Largest fraction that lands on the walls, and limits of a time constant, s.
const MAX_X: f64 = 0.95;
const TAU_S: (f64, f64) = (0.02, 60.0);

/// What the film depends on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FilmConditions {
    /// Manifold pressure, Pa.
    pub pressure_pa: f64,
    /// Air flow through the bores, kg/s.
    pub air_kg_per_s: f64,
    /// Temperature of the air in the manifold, K.
    pub air_k: f64,
    /// Temperature of the floor, K.
    pub floor_k: f64,
    /// Temperature of the walls of the runners, K.
    pub runner_k: f64,
    /// Diameter of one bore, m.
    pub bore_m: f64,
    /// Cross-section of all bores, m^2.
    pub bores_m2: f64,
}

impl FilmConditions {
    /// A warm engine at rest with this throttle body: 101 kPa, air at 313 K, walls at 345 K.
    pub fn warm(throttle: &ThrottleBody) -> Self {
        Self {
            pressure_pa: 101e3,
            air_kg_per_s: 0.0,
            air_k: 313.0,
            floor_k: 345.0,
            runner_k: 345.0,
            bore_m: throttle.bore_m,
            bores_m2: throttle.bores_m2(),
        }
    }
}

/// What depends on temperatures alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Volatility {
    /// Fraction of the injected fuel that is vapour before it lands.
    vapour: f64,
    /// Vapour pressures of the puddles, Pa.
    floor_pa: f64,
    runner_pa: f64,
}

/// One puddle at one operating point.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Puddle {
    /// Fraction of the injected fuel that lands in it.
    pub share: f64,
    /// Time constant with which fuel leaves it, s, 0.02 to 60.
    pub tau_s: f64,
    /// Rate of evaporation alone, 1/s.
    pub evaporation_per_s: f64,
}

/// Fractions and time constants at one operating point.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FilmCoefficients {
    /// Fraction of the injected fuel that lands on the walls, 0 to 0.95.
    pub x: f64,
    /// Mean time constant of the film, s: fuel on the walls in steady state over the flow onto them.
    pub tau_s: f64,
    /// Puddle on the floor under the throttle body.
    pub floor: Puddle,
    /// Puddle on the walls of the runners.
    pub runner: Puddle,
}

impl Film {
    /// Vapour before landing, and vapour pressures of the puddles: half-distilled fuel on the floor, of T90 in the runners.
    pub(crate) fn volatility(&self, fuel: &Fuel, at: &FilmConditions) -> Volatility {
        Volatility {
            vapour: self.flight_share * fuel.evaporated_share(at.air_k, at.pressure_pa, MANIFOLD_AFR),
            floor_pa: Fuel::vapour_pressure_of_cut_pa(fuel.t50_k, at.floor_k),
            runner_pa: Fuel::vapour_pressure_of_cut_pa(fuel.t90_k, at.runner_k),
        }
    }

    /// Both puddles at one operating point.
    ///
    /// - Vapour: a part of that of equilibrium air distillation.
    /// - Carried droplets: `c = We^(1/4) / (We^(1/4) + We_half^(1/4))`, `We = rho u^2 d / sigma` with the air speed `u` in the bores
    ///   (engineering judgement: a smooth law over the range of droplet sizes).
    /// - Evaporation: `1 / tau = Sh rho D ln(1 + B) / (L h rho_liquid)`; Spalding number `B = M_fuel p_v / (M_air (p - p_v))`; Sherwood
    ///   number `0.664 Re^(1/2) Sc^(1/3)` on the floor (flat plate, laminar) and `0.0395 Re^(3/4) Sc^(1/3)` in the runners (analogy of
    ///   Chilton and Colburn with the friction law of Blasius), textbook forms, from memory.
    pub fn coefficients(&self, fuel: &Fuel, at: &FilmConditions) -> FilmCoefficients {
        self.coefficients_with(&self.volatility(fuel, at), at)
    }

    /// The same, with what depends on temperatures already known.
    pub(crate) fn coefficients_with(&self, volatility: &Volatility, at: &FilmConditions) -> FilmCoefficients {
        let pressure_pa = at.pressure_pa.held(5e3, 5e5);
        let flux = at.air_kg_per_s.held(0.0, 10.0) / at.bores_m2;
        let density = pressure_pa / (R_AIR * at.air_k.held(150.0, 700.0));
        let speed_m_per_s = flux / density;
        let weber = flux * speed_m_per_s * self.droplet_m / (TENSION_N_PER_M * self.half_weber);
        let root = Real::sqrt(Real::sqrt(weber));
        let carried = root / (1.0 + root);
        let liquid = 1.0 - volatility.vapour;
        let scale = self.x_scale * liquid;
        let (floor, runner) = (scale * (1.0 - carried), scale * carried * self.runner_share);
        let excess = MAX_X / (floor + runner).at_least(MAX_X);

        let reynolds = (flux * at.bore_m / AIR_PA_S).at_least(MIN_REYNOLDS);
        let root = Real::sqrt(reynolds);
        let flows_per_s = self.liquid_per_s * Real::sqrt(speed_m_per_s);
        let puddle = |share: f64, sherwood: f64, vapour_pa: f64, length_m: f64, film_m: f64| {
            let vapour = (vapour_pa / pressure_pa).at_most(MOST_BOILING);
            let drive = Real::ln(1.0 + PETROL_OVER_AIR * vapour / (1.0 - vapour));
            let per_s = sherwood * ROOT3_SCHMIDT * DIFFUSION_KG_PER_M_S * drive;
            let evaporation_per_s = per_s / (length_m * film_m * LIQUID_KG_PER_M3 * self.tau_scale);
            let leaves_per_s = evaporation_per_s + flows_per_s / self.tau_scale;
            let tau_s = (1.0 / leaves_per_s.at_least(1.0 / TAU_S.1)).held(TAU_S.0, TAU_S.1);
            Puddle { share: share * excess, tau_s, evaporation_per_s }
        };
        let floor =
            puddle(floor, 0.664 * root, volatility.floor_pa, FLOOR_LENGTH * at.bore_m, self.floor_film_m);
        let runner_sherwood = 0.0395 * root * Real::sqrt(root);
        let runner = puddle(runner, runner_sherwood, volatility.runner_pa, at.bore_m, self.runner_film_m);
        let x = floor.share + runner.share;
        let held_s = floor.share * floor.tau_s + runner.share * runner.tau_s;
        FilmCoefficients { x, tau_s: if x > 0.0 { held_s / x } else { floor.tau_s }, floor, runner }
    }
}

/// Fuel on the walls and airborne, and the floor's temperature.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FilmState {
    /// Fuel on the floor under the throttle body, kg.
    pub floor_kg: f64,
    /// Fuel on the walls of the runners, kg.
    pub runner_kg: f64,
    /// Fuel in the air, kg.
    pub airborne_kg: f64,
    /// Temperature of the floor, K.
    pub floor_k: f64,
    /// Fuel that became airborne in the last step, kg.
    airborne_step_kg: f64,
    /// Fuel that recent cylinders drew over the mean, kg.
    excess_kg: f64,
}

/// Factor by which the excess over the mean decays per event.
const EXCESS_KEPT: f64 = 0.999;

impl FilmState {
    /// Dry walls, with the floor at this temperature, K.
    pub fn new(floor_k: f64) -> Self {
        Self { floor_k, ..Self::default() }
    }

    /// Fuel on all walls, kg.
    pub fn wall_kg(&self) -> f64 {
        self.floor_kg + self.runner_kg
    }

    /// Temperature of the floor after `dt_s`, by implicit Euler: heat from the intake wall of `wall_k`, to the air of `air_k` by
    /// `air_w_per_k`, and into evaporation. Part of the 100 ms task.
    pub fn warm_floor(
        &mut self,
        film: &Film,
        at: &FilmCoefficients,
        wall_k: f64,
        air: (f64, f64),
        dt_s: f64,
    ) {
        let (air_k, air_w_per_k) = air;
        let evaporation_w = EVAPORATION_J_PER_KG * at.floor.evaporation_per_s * self.floor_kg;
        let per_k = dt_s / film.floor_j_per_k;
        let heated = film.floor_w_per_k * wall_k + air_w_per_k * air_k - evaporation_w;
        let floor_k = (self.floor_k + per_k * heated) / (1.0 + per_k * (film.floor_w_per_k + air_w_per_k));
        self.floor_k = floor_k.held(200.0, 450.0);
    }

    /// Step of both puddles, `dm/dt = X q - m / tau`, by implicit Euler: `m dt / (tau + dt)` leaves. `pressure_fall` is the relative fall
    /// of manifold pressure in the step (0 when it rises), by which part of the film flash-evaporates.
    #[inline]
    pub fn step(
        &mut self,
        film: &Film,
        at: &FilmCoefficients,
        injected_kg: f64,
        pressure_fall: f64,
        dt_s: f64,
    ) {
        let flash = film.flash_share * pressure_fall;
        let puddle = |wall_kg: &mut f64, at: &Puddle| {
            let landed_kg = at.share * injected_kg;
            let leaving = (dt_s / (at.tau_s + dt_s) + flash).held(0.0, 1.0);
            let leaves_kg = (*wall_kg + landed_kg) * leaving;
            *wall_kg += landed_kg - leaves_kg;
            leaves_kg - landed_kg
        };
        let off_kg = puddle(&mut self.floor_kg, &at.floor) + puddle(&mut self.runner_kg, &at.runner);
        self.airborne_step_kg = injected_kg + off_kg;
        self.airborne_kg += self.airborne_step_kg;
    }

    /// Fuel of one intake event, kg: of a mean cylinder, and of this one, whose ratio to the mean is `share`. The excess over the mean
    /// is stored and taken from the following cylinders, so that the spread does not change the mixture of the whole engine.
    /// `rest` is the fraction of the step after the event; fuel that becomes airborne then is not available yet.
    #[inline]
    pub fn draw(&mut self, film: &Film, share: f64, rest: f64) -> (f64, f64) {
        let available_kg = (self.airborne_kg - rest * self.airborne_step_kg).held(0.0, self.airborne_kg);
        let mean_kg = (available_kg + self.excess_kg).max(0.0) * film.draw_share;
        let drawn_kg = (mean_kg * share).held(0.0, available_kg);
        self.airborne_kg -= drawn_kg;
        // The shares average to one, so that the excess has mean zero; the decay removes what a transient leaves.
        self.excess_kg = (self.excess_kg + drawn_kg - mean_kg) * EXCESS_KEPT;
        (mean_kg, drawn_kg)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Truth;

    /// A warm engine at these rpm and pressure, Pa: mild V8, filling 0.8.
    fn warm(rpm: f64, pressure_pa: f64) -> FilmConditions {
        let truth = Truth::mild_v8();
        let density = pressure_pa / (R_AIR * 313.0);
        let air_kg_per_s = 0.8 * truth.engine.displacement_m3 * density * rpm / 120.0;
        FilmConditions { pressure_pa, air_kg_per_s, ..FilmConditions::warm(&truth.throttle) }
    }

    #[test]
    fn val_viscosity_and_density_of_air() {
        // US Standard Atmosphere 1976: viscosity 1.458e-6 T^1.5 / (T + 110.4), Sutherland's law. ISO 2533: 1.2250 kg/m3 at sea level.
        let sutherland_pa_s = 1.458e-6 * Real::powf(300.0, 1.5) / (300.0 + 110.4);
        assert!((AIR_PA_S / sutherland_pa_s - 1.0).abs() < 0.01, "{sutherland_pa_s}");
        let density = 101_325.0 / (R_AIR * 288.15);
        assert!((density / 1.225 - 1.0).abs() < 1e-4, "{density}");
    }

    #[test]
    fn ident_step_response_of_each_puddle_is_that_of_the_equation() {
        // m' = X u - m / tau, from empty: m = X u tau (1 - exp(-t / tau)); u = 1 g/s.
        let film = Film { flash_share: 0.0, ..Film::DEFAULT };
        let floor = Puddle { share: 0.4, tau_s: 0.6, evaporation_per_s: 1.0 };
        let runner = Puddle { share: 0.05, tau_s: 2.5, evaporation_per_s: 0.3 };
        let at = FilmCoefficients { x: 0.45, tau_s: 0.81, floor, runner };
        let mut state = FilmState::default();
        for _ in 0..9000 {
            state.step(&film, &at, 1e-3 * 1e-4, 0.0, 1e-4);
        }
        for (wall_kg, puddle) in [(state.floor_kg, floor), (state.runner_kg, runner)] {
            let want_kg = puddle.share * 1e-3 * puddle.tau_s * (1.0 - Real::exp(-0.9 / puddle.tau_s));
            assert!((wall_kg / want_kg - 1.0).abs() < 5e-4, "{wall_kg} {want_kg}");
        }
        assert!((state.wall_kg() + state.airborne_kg - 0.9e-3).abs() < 1e-12);
    }

    /// Published magnitudes of warm engines: X 0.1 to 0.6, tau 0.2 to 1.2 s for port injection (Aquino, SAE 810494; Hendricks et al.,
    /// SAE 960037), up to 2 s for a throttle body (common practice, no source).
    #[test]
    fn band_a_warm_film_has_published_magnitudes() {
        for (rpm, bar) in
            [(700.0, 0.35), (1500.0, 0.4), (2000.0, 0.5), (2000.0, 1.0), (3500.0, 0.6), (4500.0, 1.0)]
        {
            let at = Film::DEFAULT.coefficients(&Fuel::DEFAULT, &warm(rpm, bar * 1e5));
            assert!((0.1..0.6).contains(&at.x) && (0.2..2.0).contains(&at.tau_s), "{rpm} {bar}: {at:?}");
            assert!(at.runner.share < 0.25 * at.x && at.runner.tau_s > 1.5 * at.floor.tau_s, "{at:?}");
        }
    }

    #[test]
    fn cold_walls_hold_more_and_longer() {
        let warm = warm(900.0, 4e4);
        let cold = FilmConditions { air_k: 258.0, floor_k: 263.0, runner_k: 263.0, ..warm };
        let [cold, warm] = [cold, warm].map(|at| Film::DEFAULT.coefficients(&Fuel::DEFAULT, &at));
        assert!(cold.x > warm.x && cold.tau_s > 2.0 * warm.tau_s, "{cold:?} {warm:?}");
    }

    #[test]
    fn fast_air_carries_more_droplets_and_wets_the_runners() {
        let [slow, fast] =
            [800.0, 4000.0].map(|rpm| Film::DEFAULT.coefficients(&Fuel::DEFAULT, &warm(rpm, 8e4)));
        assert!(fast.floor.share < 0.9 * slow.floor.share && fast.runner.share > 1.1 * slow.runner.share);
    }

    #[test]
    fn winter_petrol_leaves_the_walls_sooner() {
        let [summer, winter] =
            [Fuel::DEFAULT, Fuel::WINTER].map(|fuel| Film::DEFAULT.coefficients(&fuel, &warm(900.0, 4e4)));
        assert!(winter.tau_s < summer.tau_s && winter.x <= summer.x, "{winter:?} {summer:?}");
    }

    /// Without heat of evaporation the floor reaches the mean of wall and air by their conductances, with the time constant of its heat
    /// capacity over both; evaporation cools it.
    #[test]
    fn ident_the_floor_follows_wall_and_air_and_evaporation_cools_it() {
        let film = Film { floor_w_per_k: 30.0, floor_j_per_k: 800.0, ..Film::DEFAULT };
        let at = FilmCoefficients {
            floor: Puddle { share: 0.4, tau_s: 1.0, evaporation_per_s: 1.0 },
            ..FilmCoefficients::default()
        };
        let run = |floor_kg: f64, seconds: f64| {
            let mut state = FilmState { floor_kg, ..FilmState::new(300.0) };
            for _ in 0..(seconds / 0.01) as u32 {
                state.warm_floor(&film, &at, 350.0, (310.0, 10.0), 0.01);
            }
            state.floor_k
        };
        assert!((run(0.0, 400.0) - 340.0).abs() < 0.01);
        assert!((run(0.0, 20.0) - (340.0 - 40.0 * Real::exp(-1.0))).abs() < 0.05);
        // 0.4 g a second take 140 W, through 40 W/K.
        assert!((run(0.4e-3, 400.0) - 336.5).abs() < 0.01);
    }
}
