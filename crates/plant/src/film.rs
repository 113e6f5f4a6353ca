//! Wall film in the wet manifold and the fuel that travels with the air.

use trimwright_numerics::Real;

/// Wall temperature at which the published map counts, K: a warm engine.
const WARM_K: f64 = 363.0;

trimwright_numerics::parameters! {
    /// The tau-X film (Aquino, SAE 810494): a share `X` of the injected fuel lands on the wall and leaves it with
    /// a time constant tau.
    ///
    /// ```
    /// use trimwright_plant::Truth;
    /// // A warm engine's film holds X tau of the fuel flow: at 3 g/s, a gram or so.
    /// let at = Truth::mild_v8().film.coefficients(50e3, 200.0, 363.0);
    /// assert!((0.5..2.0).contains(&(at.x * at.tau_s * 3.0)));
    /// ```
    pub struct Film<f64> "film" {
        /// Scale on the published share that hits the wall.
        number x_scale { 0.9, 0.0..=2.0 "1", "engineering judgement" }
        /// Scale on the published time constant.
        number tau_scale { 0.9, 0.2..=5.0 "1", "engineering judgement" }
        /// Growth of X per kelvin of wall below 363 K.
        number x_cold_per_k { 0.003, 0.0..=0.01 "1/K", "engineering judgement" }
        /// Growth of tau per kelvin of wall below 363 K.
        number tau_cold_per_k { 0.02, 0.0..=0.1 "1/K", "engineering judgement" }
        /// Share of the film that flashes off per unit of relative pressure fall.
        number flash { 0.15, 0.0..=1.0 "1", "engineering judgement" }
        /// Share of the airborne fuel that a cylinder event draws; little of it from a long plenum.
        number draw { 0.75, 0.05..=1.0 "1", "engineering judgement" }
        /// Share of the evaporation heat of injected fuel that the air gives.
        number air_heat_share { 0.2, 0.0..=1.0 "1", "engineering judgement" }
    }
}

/// Heat of evaporation of petrol, J/kg (engineering judgement; n-octane has 363 kJ/kg by CoolProp 8.0.0).
pub(crate) const EVAPORATION_J_PER_KG: f64 = 350e3;

/// Share on the wall and time constant in one condition.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FilmCoefficients {
    /// Share of injected fuel that lands on the wall, 0 to 0.95.
    pub x: f64,
    /// Time constant with which the film leaves the wall, s.
    pub tau_s: f64,
}

impl Film {
    /// X and tau. Published map for a warm port-injected engine (after Hendricks et al., SAE 960037,
    /// reprinted in Jiang et al., Adv. Mech. Eng. 2023), scaled for a throttle-body manifold and for cold
    /// walls; p in bar, n in krpm, n held at 4: `X = -0.277 p - 0.055 n + 0.68`, `tau = 1.35 (-0.672 n +
    /// 1.68) (p - 0.825)^2 + (-0.06 n + 0.15) + 0.56`.
    ///
    /// ```
    /// let film = trimwright_plant::Film { x_scale: 1.0, tau_scale: 1.0, ..trimwright_plant::Truth::mild_v8().film };
    /// let at = film.coefficients(30e3, 83.7758, 363.0);
    /// assert!((at.x - 0.553).abs() < 1e-3 && (at.tau_s - 1.087).abs() < 2e-3);
    /// ```
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

/// Fuel on the wall and in the air of the manifold.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct FilmState {
    pub(crate) wall_kg: f64,
    pub(crate) airborne_kg: f64,
    /// What became airborne in the last step.
    fresh_kg: f64,
    /// What cylinders got over the mean lately.
    uneven_kg: f64,
}

/// Share of the uneven rest that is left after an event.
const UNEVEN_KEPT: f64 = 0.999;

impl FilmState {
    /// Lands the fuel of this step and evaporates the film implicitly: `m (1 - 1 / (1 + dt/tau))` leaves.
    /// `pressure_fall` is the relative fall of manifold pressure in the step (0 when it rises): a puddle
    /// boils when pressure drops.
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
        let leaving = (dt_s / (at.tau_s + dt_s) + film.flash * pressure_fall).held(0.0, 1.0);
        let leaves_kg = (self.wall_kg + landed_kg) * leaving;
        self.wall_kg += landed_kg - leaves_kg;
        self.fresh_kg = injected_kg - landed_kg + leaves_kg;
        self.airborne_kg += self.fresh_kg;
    }

    /// Fuel drawn into a cylinder whose share of the mean is `share`: what a cylinder of the mean would have
    /// got, and what this one got, kg. Who gets more is no matter for the mixture of the whole engine: what
    /// one cylinder got over the mean is remembered and missing for the others, so that the mean goes on as
    /// if all shares were one.
    /// `rest` is the share of the step that comes after the event: what becomes airborne then is not there yet.
    #[inline]
    pub(crate) fn draw(&mut self, film: &Film, share: f64, rest: f64) -> (f64, f64) {
        let there_kg = (self.airborne_kg - rest * self.fresh_kg).held(0.0, self.airborne_kg);
        let mean_kg = (there_kg + self.uneven_kg).max(0.0) * film.draw;
        let drawn_kg = (mean_kg * share).held(0.0, there_kg);
        self.airborne_kg -= drawn_kg;
        // Shares average to one, so that this swings around zero; in a transient a rest would stay, and
        // fades.
        self.uneven_kg = (self.uneven_kg + drawn_kg - mean_kg) * UNEVEN_KEPT;
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
        let film = Film { flash: 0.0, ..crate::Truth::mild_v8().film };
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
