//! Wall film of fuel in the manifold, and airborne fuel.

use trimwright_numerics::Real;

/// Wall temperature of the published map, K: a warm engine.
const WARM_K: f64 = 363.0;

trimwright_numerics::parameters! {
    /// X-tau wall film (Aquino, SAE 810494): a fraction X of the injected fuel lands on the wall and evaporates with time
    /// constant tau.
    ///
    /// ```
    /// use trimwright_plant::Truth;
    /// // A warm engine's film holds X tau of the fuel flow: at 3 g/s, a gram or so.
    /// let at = Truth::mild_v8().film.coefficients(50e3, 200.0, 363.0);
    /// assert!((0.5..2.0).contains(&(at.x * at.tau_s * 3.0)));
    /// ```
    pub struct Film<f64> "film" {
        /// Factor on the published X.
        number x_scale { 0.9, 0.0..=2.0 "1", "engineering judgement" }
        /// Factor on the published tau.
        number tau_scale { 0.9, 0.2..=5.0 "1", "engineering judgement" }
        /// Relative increase of X per kelvin of wall temperature below 363 K.
        number x_cold_per_k { 0.003, 0.0..=0.01 "1/K", "engineering judgement" }
        /// Relative increase of tau per kelvin of wall temperature below 363 K.
        number tau_cold_per_k { 0.02, 0.0..=0.1 "1/K", "engineering judgement" }
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

/// X and tau at one operating point.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct FilmCoefficients {
    /// Fraction of the injected fuel that lands on the wall, 0 to 0.95.
    pub x: f64,
    /// Evaporation time constant of the film, s, 0.02 to 60.
    pub tau_s: f64,
}

impl Film {
    /// X and tau. Published map for a warm port-injected engine (after Hendricks et al., SAE 960037,
    /// reprinted in Jiang et al., Adv. Mech. Eng. 2023), scaled for a throttle-body manifold and for cold
    /// walls; p in bar, n in krpm, limited to 4: `X = -0.277 p - 0.055 n + 0.68`, `tau = 1.35 (-0.672 n +
    /// 1.68) (p - 0.825)^2 + (-0.06 n + 0.15) + 0.56`.
    pub fn coefficients(&self, pressure_pa: f64, speed_rad_per_s: f64, wall_k: f64) -> FilmCoefficients {
        let p = (pressure_pa * 1e-5).held(0.1, 1.2);
        let n = (speed_rad_per_s / (1000.0 * crate::gas::RPM)).held(0.0, 4.0);
        let cold_k = (WARM_K - wall_k).held(0.0, 150.0);
        let x = -0.277 * p - 0.055 * n + 0.68;
        let tau = 1.35 * (-0.672 * n + 1.68) * (p - 0.825) * (p - 0.825) + (-0.06 * n + 0.15) + 0.56;
        FilmCoefficients {
            x: (x * self.x_scale * (1.0 + self.x_cold_per_k * cold_k)).held(0.0, 0.95),
            tau_s: (tau * self.tau_scale * (1.0 + self.tau_cold_per_k * cold_k)).held(0.02, 60.0),
        }
    }
}

/// Fuel in the wall film and airborne.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct FilmState {
    pub(crate) wall_kg: f64,
    pub(crate) airborne_kg: f64,
    /// Fuel that became airborne in the last step, kg.
    airborne_step_kg: f64,
    /// Fuel that recent cylinders drew over the mean, kg.
    excess_kg: f64,
}

/// Factor by which the excess over the mean decays per event.
const EXCESS_KEPT: f64 = 0.999;

impl FilmState {
    /// Step of `dm/dt = X q - m / tau` by implicit Euler: `m dt / (tau + dt)` evaporates. `pressure_fall` is the relative fall of
    /// manifold pressure in the step (0 when it rises), by which part of the film flash-evaporates.
    #[inline]
    pub(crate) fn step(
        &mut self,
        film: &Film,
        at: FilmCoefficients,
        injected_kg: f64,
        pressure_fall: f64,
        dt_s: f64,
    ) {
        let landed_kg = at.x * injected_kg;
        let leaving = (dt_s / (at.tau_s + dt_s) + film.flash_share * pressure_fall).held(0.0, 1.0);
        let leaves_kg = (self.wall_kg + landed_kg) * leaving;
        self.wall_kg += landed_kg - leaves_kg;
        self.airborne_step_kg = injected_kg - landed_kg + leaves_kg;
        self.airborne_kg += self.airborne_step_kg;
    }

    /// Fuel of one intake event, kg: of a mean cylinder, and of this one, whose ratio to the mean is `share`. The excess over the mean
    /// is stored and taken from the following cylinders, so that the spread does not change the mixture of the whole engine.
    /// `rest` is the fraction of the step after the event; fuel that becomes airborne then is not available yet.
    #[inline]
    pub(crate) fn draw(&mut self, film: &Film, share: f64, rest: f64) -> (f64, f64) {
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

    #[test]
    fn val_published_points_of_the_film_map() {
        // Jiang et al. 2023, printed map: 0.8 krpm/0.3 bar and 2 krpm/0.5 bar.
        let film = Film { x_scale: 1.0, tau_scale: 1.0, ..crate::Truth::mild_v8().film };
        for (rpm, pressure_pa, x, tau_s) in [(800.0, 30e3, 0.553, 1.087), (2000.0, 50e3, 0.4315, 0.638)] {
            let at = film.coefficients(pressure_pa, rpm * crate::gas::RPM, WARM_K);
            assert!((at.x - x).abs() < 1e-3 && (at.tau_s - tau_s).abs() < 1e-3, "{at:?}");
        }
    }

    #[test]
    fn val_step_response_is_that_of_the_equation() {
        // m' = X u - m / tau, from empty: m = X u tau (1 - exp(-t / tau)); u = 1 g/s.
        let film = Film { flash_share: 0.0, ..crate::Truth::mild_v8().film };
        let at = FilmCoefficients { x: 0.4, tau_s: 0.6 };
        let mut state = FilmState::default();
        for _ in 0..9000 {
            state.step(&film, at, 1e-3 * 1e-4, 0.0, 1e-4);
        }
        let want_kg = 0.4 * 1e-3 * 0.6 * (1.0 - Real::exp(-0.9 / 0.6));
        assert!((state.wall_kg / want_kg - 1.0).abs() < 5e-4, "{} {want_kg}", state.wall_kg);
        assert!((state.wall_kg + state.airborne_kg - 0.9e-3).abs() < 1e-12);
    }

    #[test]
    fn cold_walls_hold_more_and_longer() {
        let film = crate::Truth::mild_v8().film;
        let (cold, warm) = (film.coefficients(4e4, 80.0, 263.0), film.coefficients(4e4, 80.0, 363.0));
        assert!(cold.x > warm.x && cold.tau_s > 2.0 * warm.tau_s);
    }
}
