//! Wall-film compensation.
//!
//! A share `X` of the injected fuel wets the wall; the film evaporates with the time constant `tau` (Aquino, SAE 810494):
//! `dm/dt = X q_inj - m / tau`.
//!
//! For the cylinder to get `w` at an event `dt` after the one before, the injection is `(w - m dt / (tau + dt)) / (1 - X)`, with an
//! implicit step for the film. `X` and `tau` have the form of the published trend over pressure and speed (port-injected engine, reprint of
//! Hendricks et al., SAE 960037), with coefficients from throttle steps of throttle-body engines, and grow in the cold (engineering
//! judgement). The film of an engine is of no such form: its puddles differ in speed, and follow air flow, fuel and wall temperature.

use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

use crate::base_map::BAR_PER_PA;

trimwright_numerics::parameters! {
    /// Wall film and its compensation.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct FilmParameters<f32> "film" {
        /// Coefficients a, b, c of the wetting share of a warm wall, a - b p - c n, with pressure p in bar and speed n in 1000 rpm.
        list warm_share { [3] = [0.52, 0.12, 0.02], 0.0..=2.0 "1", "engineering judgement, from tip-ins; form and magnitude of Hendricks et al., SAE 960037" }
        /// Coefficients a to f of the time constant of a warm wall, a (b - c n) (p - d)^2 + e - f n, with pressure p in bar and speed n in 1000 rpm.
        list warm_s { [6] = [0.22, 1.0, 0.0, 0.1, 0.50, 0.07], 0.0..=5.0 "s", "engineering judgement, from tip-ins; form and magnitude of Hendricks et al., SAE 960037" }
        /// Lower limit of pressure in the equations of a warm wall.
        number map_low_bar { 0.2, 0.05..=0.6 "bar", "engineering judgement: about where the published map begins" }
        /// Upper limit of pressure in the equations of a warm wall.
        number map_high_bar { 1.0, 0.7..=3.0 "bar", "engineering judgement: about where the published map ends" }
        /// Lower limit of speed in the wetting share of a warm wall.
        number share_low_krpm { 0.3, 0.05..=2.0 "krpm", "engineering judgement: about where the published map begins" }
        /// Lower limit of speed in the time constant of a warm wall.
        number tau_low_krpm { 0.6, 0.05..=2.0 "krpm", "engineering judgement: about where the published map begins" }
        /// Upper limit of speed in the equations of a warm wall.
        number high_krpm { 4.0, 2.0..=12.0 "krpm", "engineering judgement: about where the published map ends" }
        /// Additional wetting share of a cold wall, of what a warm wall leaves, against coolant temperature; too much floods a cold engine, too little delays its start.
        curve cold_share { [8] = [(253.0, 0.18), (273.0, 0.15), (293.0, 0.10), (323.0, 0.05), (355.0, 0.0)], 220.0..=400.0 "K" => 0.0..=0.9 "1", "engineering judgement" }
        /// Factor on the film's time constant against coolant temperature.
        curve cold_factor { [8] = [(253.0, 5.5), (273.0, 4.2), (293.0, 3.4), (323.0, 2.3), (355.0, 1.0)], 220.0..=400.0 "K" => 0.5..=10.0 "1", "engineering judgement" }
        /// Upper limit of the wetting share.
        number share_high { 0.88, 0.0..=0.95 "1", "engineering judgement" }
        /// Lower limit of the film's time constant.
        number min_tau_s { 0.05, 0.01..=0.5 "s", "engineering judgement" }
        /// Upper limit of the film's time constant.
        number max_tau_s { 12.0, 0.5..=60.0 "s", "engineering judgement" }
        /// Lower limit of the time constant with the learned correction.
        number learned_min_tau_s { 0.03, 0.01..=0.5 "s", "engineering judgement" }
        /// Upper limit of the time constant with the learned correction.
        number learned_max_tau_s { 12.0, 0.5..=60.0 "s", "engineering judgement" }
        /// Lower limit of the time constant with which the film dries while the crank stands.
        number drying_min_tau_s { 0.3, 0.05..=10.0 "s", "engineering judgement" }
        /// Lower limit of the share of a prime pulse that wets the wall.
        number prime_share { 0.5, 0.0..=1.0 "1", "engineering judgement" }
        /// Upper limit of the injected over the wanted fuel of an event.
        number max_injection_ratio { 4.0, 1.0..=10.0 "1", "engineering judgement" }
        /// Share of the wanted fuel from the wall above which idle air is opened against a rich mixture.
        number wet_share { 0.9, 0.5..=1.0 "1", "engineering judgement" }
    }
}

/// Number of learned film properties: corrections of its share and of its time constant, ln.
pub const FILM: usize = 2;
/// Thousands of revolutions a minute in a radian a second.
const KRPM_PER_RAD_PER_S: f32 = 60.0 / core::f32::consts::TAU * 1e-3;
/// Upper limit of the film mass, kg.
const MAX_KG: f32 = 0.1;
/// Upper and lower limit of the time between events, s.
const INTERVAL_S: (f32, f32) = (5.0, 1e-4);
/// Limit of the sensitivity of the fuel to a film property, relative change by ln.
const MAX_SHARE: f32 = 2.0;

/// Share and time constant of the film.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FilmEstimate {
    /// Share of the injection that wets the wall.
    pub x: f32,
    /// Time constant of the film, s.
    pub tau_s: f32,
}

/// Share and time constant of the film at this pressure, speed and coolant temperature. Warm: `X = a - b p - c n` with
/// [`FilmParameters::warm_share`], `tau = a (b - c n)(p - d)^2 + e - f n` s with [`FilmParameters::warm_s`], p in bar (to 1) and n in 1000
/// rpm (0.6 to 4 for tau).
pub fn film_estimate(
    parameters: &FilmParameters,
    map_pa: f32,
    speed_rad_per_s: f32,
    ect_k: f32,
) -> FilmEstimate {
    let p = (map_pa * BAR_PER_PA).held(parameters.map_low_bar, parameters.map_high_bar);
    let krpm = speed_rad_per_s * KRPM_PER_RAD_PER_S;
    let n = krpm.held(parameters.share_low_krpm, parameters.high_krpm);
    let n_slow = n.held(parameters.tau_low_krpm, parameters.high_krpm);
    let [at_rest, by_p, by_n] = parameters.warm_share;
    let x = at_rest - by_p * p - by_n * n;
    let [a, b, c, d, e, f] = parameters.warm_s;
    let tau_s = a * (b - c * n_slow) * (p - d) * (p - d) + e - f * n_slow;
    FilmEstimate {
        x: (x + (1.0 - x) * along(&parameters.cold_share, ect_k)).held(0.0, parameters.share_high),
        tau_s: (tau_s * along(&parameters.cold_factor, ect_k))
            .held(parameters.min_tau_s, parameters.max_tau_s),
    }
}

impl FilmEstimate {
    /// Share and time constant multiplied by `exp(learned_ln)`.
    #[must_use]
    pub fn scaled(self, parameters: &FilmParameters, learned_ln: &[f32; FILM]) -> Self {
        let [x_ln, tau_ln] = *learned_ln;
        if x_ln == 0.0 && tau_ln == 0.0 {
            return self;
        }
        Self {
            x: (self.x * Real::exp(x_ln)).held(0.0, parameters.share_high),
            tau_s: (self.tau_s * Real::exp(tau_ln))
                .held(parameters.learned_min_tau_s, parameters.learned_max_tau_s),
        }
    }
}

/// Stage of the wall film: its mass and the learned sensitivities.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Film {
    film_kg: f32,
    estimate: FilmEstimate,
    /// Film mass lagged by its own time constant, kg: the derivative of the mass by `ln tau`.
    lagged_kg: f32,
    gained_kg: [f32; FILM],
    wanted_kg: f32,
    overflows: bool,
    nearly_covers: bool,
    since_s: f32,
}

impl Film {
    /// Fuel on the wall, kg.
    pub const fn film_kg(&self) -> f32 {
        self.film_kg
    }

    /// Whether the film delivers more than the cylinder should get, so that no injection can make the mixture leaner.
    pub const fn overflows(&self) -> bool {
        self.overflows
    }

    /// Whether the film delivers nearly the wanted fuel or more.
    pub const fn nearly_covers(&self) -> bool {
        self.nearly_covers
    }

    /// Adds time between events, s, from the time stamps of the pulses.
    pub fn elapse(&mut self, dt_s: f32) {
        self.since_s = (self.since_s + dt_s).at_most(INTERVAL_S.0);
    }

    /// The crank stands: the film evaporates and no cylinder gets it.
    pub fn dry(&mut self, parameters: &FilmParameters, dt_s: f32) {
        let left = 1.0 - dt_s / (self.estimate.tau_s.at_least(parameters.drying_min_tau_s) + dt_s);
        (self.film_kg, self.lagged_kg, self.since_s) = (self.film_kg * left, self.lagged_kg * left, 0.0);
    }

    /// At a firing: fuel to inject so that the cylinder gets `wanted_kg`, kg. Without compensation the film is still tracked.
    ///
    /// ```
    /// use trimwright_control::fueling::{Film, film_estimate};
    /// use trimwright_control::parameters::FilmParameters;
    /// let parameters = FilmParameters::DEFAULT;
    /// let estimated = film_estimate(&parameters, 40e3, 157.0, 363.0);
    /// let mut film = Film::default();
    /// for _ in 0..1000 {
    ///     film.elapse(0.01);
    ///     film.step(&parameters, estimated, true, 60e-6);
    /// }
    /// // The throttle closes: the film alone delivers more than the cylinder should get.
    /// film.elapse(0.01);
    /// assert_eq!(film.step(&parameters, estimated, true, 10e-6), 0.0);
    /// assert!(film.overflows());
    /// ```
    pub fn step(
        &mut self,
        parameters: &FilmParameters,
        estimated: FilmEstimate,
        compensates: bool,
        wanted_kg: f32,
    ) -> f32 {
        let dt_s = core::mem::take(&mut self.since_s).at_least(INTERVAL_S.1);
        self.estimate = estimated;
        let FilmEstimate { x, tau_s } = estimated;
        let off_kg = self.film_kg * dt_s / (tau_s + dt_s);
        let inject_kg = if compensates {
            ((wanted_kg - off_kg) / (1.0 - x))
                .held(0.0, parameters.max_injection_ratio * wanted_kg.at_least(0.0))
        } else {
            wanted_kg.at_least(0.0)
        };
        self.overflows = inject_kg <= 0.0 && wanted_kg > 0.0;
        self.nearly_covers = wanted_kg > 0.0 && off_kg > parameters.wet_share * wanted_kg;
        let before_kg = [self.film_kg, self.lagged_kg];
        self.film_kg = (self.film_kg - off_kg + x * inject_kg).held(0.0, MAX_KG);
        self.lagged_kg += dt_s / (tau_s + dt_s) * (self.film_kg - self.lagged_kg);
        let after_kg = [self.film_kg, self.lagged_kg];
        if compensates {
            for ((gained, before), after) in self.gained_kg.iter_mut().zip(before_kg).zip(after_kg) {
                *gained += after - before;
            }
        }
        self.wanted_kg += wanted_kg;
        inject_kg
    }

    /// Sensitivity of the fuel since the last call to the film's share and time constant. A larger film takes as much more fuel as it
    /// gains: with `dm/dt = X q - m / tau` the film grows with `ln X` by `m`, with `ln tau` by `m` lagged by `tau`. Relative to the fuel
    /// wanted; 0 without fuel or without compensation.
    pub fn sensitivities(&mut self) -> [f32; FILM] {
        let gained_kg = core::mem::take(&mut self.gained_kg);
        let wanted_kg = core::mem::take(&mut self.wanted_kg);
        if wanted_kg > 0.0 {
            gained_kg.map(|gained| (gained / wanted_kg).held(-MAX_SHARE, MAX_SHARE))
        } else {
            [0.0; FILM]
        }
    }

    /// Adds fuel injected outside the events, kg.
    pub fn add_fuel(&mut self, parameters: &FilmParameters, fuel_kg: f32) {
        let share = self.estimate.x.at_least(parameters.prime_share);
        self.film_kg = (self.film_kg + share * fuel_kg).held(0.0, MAX_KG);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILM_PARAMETERS: FilmParameters = FilmParameters::DEFAULT;

    fn estimated(map_pa: f32, speed_rad_per_s: f32, ect_k: f32) -> FilmEstimate {
        film_estimate(&FILM_PARAMETERS, map_pa, speed_rad_per_s, ect_k)
    }

    fn inject_kg(film: &mut Film, dt_s: f32, wanted_kg: f32) -> f32 {
        film.elapse(dt_s);
        film.step(&FILM_PARAMETERS, estimated(45e3, 150.0, 365.0), true, wanted_kg)
    }

    /// Published map as reprinted (see the module), with its coefficients: 0.8 krpm, 0.3 bar: X 0.553, tau 1.087 s; 2 krpm, 0.5 bar:
    /// 0.4315, 0.638 s.
    #[test]
    fn val_a_warm_film_follows_the_published_map() {
        let printed = FilmParameters {
            warm_share: [0.68, 0.277, 0.055],
            warm_s: [1.35, 1.68, 0.672, 0.825, 0.71, 0.06],
            ..FILM_PARAMETERS
        };
        for (rpm, map_pa, x, tau_s) in [(800.0, 30e3, 0.553, 1.087), (2000.0, 50e3, 0.4315, 0.638)] {
            let film = film_estimate(&printed, map_pa, rpm * core::f32::consts::TAU / 60.0, 365.0);
            assert!((film.x - x).abs() < 5e-4 && (film.tau_s - tau_s).abs() < 2e-3, "{film:?}");
        }
    }

    /// ln 1.2 is 20 % more of each, ln 0.9 10 % less.
    #[test]
    fn learned_properties_scale_share_and_time_constant() {
        let film = estimated(45e3, 150.0, 365.0);
        let scaled = film.scaled(&FILM_PARAMETERS, &[1.2_f32.ln(), 0.9_f32.ln()]);
        assert!(
            (scaled.x / film.x - 1.2).abs() < 1e-5 && (scaled.tau_s / film.tau_s - 0.9).abs() < 1e-5,
            "{scaled:?}"
        );
    }

    #[test]
    fn a_cold_wall_holds_more_for_longer() {
        let (cold, warm) = (estimated(40e3, 100.0, 263.0), estimated(40e3, 100.0, 363.0));
        assert!(cold.x > warm.x + 0.02 && cold.tau_s > 2.0 * warm.tau_s);
    }

    /// A separate film with the same properties: the cylinder gets the wanted fuel through a step.
    #[test]
    fn ident_compensation_inverts_the_film() {
        let mut film = Film::default();
        let (mut wall_kg, dt_s) = (0.0, 0.01);
        for event in 0..600 {
            let wanted_kg = if event < 300 { 10e-6 } else { 25e-6 };
            let inject_kg = inject_kg(&mut film, dt_s, wanted_kg);
            let FilmEstimate { x, tau_s } = film.estimate;
            let off_kg = wall_kg * dt_s / (tau_s + dt_s);
            let cylinder_kg = (1.0 - x) * inject_kg + off_kg;
            wall_kg += x * inject_kg - off_kg;
            assert!((cylinder_kg / wanted_kg - 1.0).abs() < 1e-4, "event {event}: {cylinder_kg}");
        }
    }

    #[test]
    fn in_steady_state_the_injection_is_what_is_wanted() {
        let mut film = Film::default();
        let last_kg = (0..3000).fold(0.0, |_, _| inject_kg(&mut film, 0.01, 12e-6));
        assert!((last_kg / 12e-6 - 1.0).abs() < 1e-3, "{last_kg}");
    }

    #[test]
    fn a_film_dries_while_the_crank_stands() {
        let mut film = Film { film_kg: 1e-3, ..Film::default() };
        (0..1000).for_each(|_| film.dry(&FILM_PARAMETERS, 0.01));
        assert!(film.film_kg < 1e-6);
    }

    #[test]
    fn compensation_is_bounded_and_never_negative() {
        let mut film = Film::default();
        film.elapse(0.01);
        let cold = estimated(90e3, 30.0, 250.0);
        assert!(
            film.step(&FILM_PARAMETERS, cold, true, 10e-6) <= FILM_PARAMETERS.max_injection_ratio * 10e-6
        );
        film.film_kg = 0.05;
        film.elapse(0.5);
        assert_eq!(film.step(&FILM_PARAMETERS, cold, true, 10e-6), 0.0);
    }

    /// Half of a prime pulse wets the wall; less is injected the longer the film had to evaporate.
    #[test]
    fn a_wet_wall_delivers_fuel_with_time() {
        let mut film = Film::default();
        film.add_fuel(&FILM_PARAMETERS, 0.2e-3);
        assert!((film.film_kg - 0.1e-3).abs() < 1e-9);
        assert!(inject_kg(&mut film.clone(), 0.04, 30e-6) < inject_kg(&mut film, 0.01, 30e-6));
    }

    /// The fuel depends on the film's properties while the wall gets wet, not in steady state.
    #[test]
    fn fuel_depends_on_the_film_while_the_wall_gets_wet() {
        let mut film = Film::default();
        let mut share = |events: u32| {
            (0..events).for_each(|_| _ = inject_kg(&mut film, 0.01, 30e-6));
            film.sensitivities()[0]
        };
        assert!(share(2) > 0.3);
        share(1000);
        assert!(share(2).abs() < 0.01);
    }

    /// By hand at 800 rpm and 0.3 bar; at 20 degC 0.09 of what passes the warm wall stays, 1.6 times as long.
    #[test]
    fn a_cold_wall_keeps_a_share_of_what_a_warm_one_lets_pass() {
        let parameters = FilmParameters {
            warm_share: [0.60, 0.10, 0.02],
            warm_s: [0.2, 1.0, 0.0, 0.1, 0.5, 0.05],
            cold_share: trimwright_numerics::parameters::padded([(293.0, 0.09), (355.0, 0.0)]),
            cold_factor: trimwright_numerics::parameters::padded([(293.0, 1.6), (355.0, 1.0)]),
            ..FILM_PARAMETERS
        };
        let film = film_estimate(&parameters, 30e3, 800.0 * core::f32::consts::TAU / 60.0, 293.0);
        let (x, tau_s) = (0.554 + 0.446 * 0.09, 0.468 * 1.6);
        assert!((film.x - x).abs() < 1e-5 && (film.tau_s - tau_s).abs() < 1e-5, "{film:?}");
    }

    #[test]
    fn each_learned_property_scales_its_own() {
        let film = estimated(45e3, 150.0, 365.0);
        let [share, time] = [[0.1, 0.0], [0.0, 0.1]].map(|ln| film.scaled(&FILM_PARAMETERS, &ln));
        assert!((share.x / film.x - 1.105_17).abs() < 1e-4 && share.tau_s == film.tau_s);
        assert!((time.tau_s / film.tau_s - 1.105_17).abs() < 1e-4 && time.x == film.x);
        assert_eq!(film.scaled(&FILM_PARAMETERS, &[0.0; FILM]), film);
    }

    /// A wall that holds half of the injected fuel for 0.4 s; in 0.1 s a fifth evaporates.
    fn wet(wanted_kg: f32, compensates: bool) -> (Film, f32) {
        let mut film = Film { film_kg: 1e-3, lagged_kg: 0.5e-3, ..Film::default() };
        film.elapse(0.1);
        let inject_kg =
            film.step(&FILM_PARAMETERS, FilmEstimate { x: 0.5, tau_s: 0.4 }, compensates, wanted_kg);
        (film, inject_kg)
    }

    fn is_near(is: f32, expected: f32) -> bool {
        (is - expected).abs() <= 1e-5 * expected.abs()
    }

    /// By hand: 0.2 mg come off the wall, so half of what is injected has to be 0.1 mg.
    #[test]
    fn a_step_of_the_film_by_hand() {
        let (mut film, inject_kg) = wet(0.3e-3, true);
        assert!(is_near(inject_kg, 0.2e-3));
        assert!(is_near(film.film_kg(), 0.9e-3) && is_near(film.lagged_kg, 0.58e-3), "{film:?}");
        let [share, time] = film.sensitivities();
        assert!((share + 1.0 / 3.0).abs() < 1e-4 && (time - 0.8 / 3.0).abs() < 1e-4, "{share} {time}");
        assert_eq!(film.sensitivities(), [0.0; FILM], "they count from the last call");
        let (mut film, inject_kg) = wet(0.3e-3, false);
        assert_eq!((inject_kg, film.sensitivities()), (0.3e-3, [0.0; FILM]));
        assert!(is_near(film.film_kg(), 0.95e-3));
    }

    #[test]
    fn a_dry_wall_gets_no_more_than_a_multiple_of_what_is_wanted() {
        let cold = FilmEstimate { x: 0.88, tau_s: 5.0 };
        let inject_kg = Film::default().step(&FILM_PARAMETERS, cold, true, 10e-6);
        assert_eq!(inject_kg, FILM_PARAMETERS.max_injection_ratio * 10e-6);
    }

    #[test]
    fn sensitivities_are_those_of_all_events_since_the_last_call_and_bounded() {
        let mut film = Film { gained_kg: [0.03e-3, -0.06e-3], wanted_kg: 0.3e-3, ..Film::default() };
        let [share, time] = film.sensitivities();
        assert!((share - 0.1).abs() < 1e-6 && (time + 0.2).abs() < 1e-6);
        let mut film = Film { gained_kg: [1e-3, -1e-3], wanted_kg: 1e-6, ..Film::default() };
        assert_eq!(film.sensitivities(), [MAX_SHARE, -MAX_SHARE]);
    }

    #[test]
    fn a_film_that_gives_more_than_is_wanted_overflows() {
        let state = |wanted_kg| {
            let (film, inject_kg) = wet(wanted_kg, true);
            (film.overflows(), film.nearly_covers(), inject_kg > 0.0)
        };
        assert_eq!(state(0.3e-3), (false, false, true));
        assert_eq!(state(0.21e-3), (false, true, true), "0.2 of 0.21 mg are more than nine tenths");
        assert_eq!(state(0.1e-3), (true, true, false));
        assert_eq!(state(0.0), (false, false, false), "nothing is wanted");
    }

    /// By hand: 0.1 s of a film that lasts 0.3 s at least leaves three quarters, of one that lasts 1.9 s nineteen of twenty parts.
    #[test]
    fn a_film_dries_with_its_time_constant() {
        for (tau_s, left) in [(0.0, 0.75), (1.9, 0.95)] {
            let estimate = FilmEstimate { x: 0.5, tau_s };
            let mut film =
                Film { film_kg: 1e-3, lagged_kg: 0.5e-3, estimate, since_s: 1.0, ..Film::default() };
            film.dry(&FILM_PARAMETERS, 0.1);
            assert!(is_near(film.film_kg(), left * 1e-3) && is_near(film.lagged_kg, left * 0.5e-3));
            assert_eq!(film.since_s, 0.0);
        }
    }

    #[test]
    fn fuel_of_a_wall_that_holds_more_than_the_prime_share_is_added_by_its_own() {
        let mut film =
            Film { estimate: FilmEstimate { x: 0.75, tau_s: 1.0 }, film_kg: 1e-4, ..Film::default() };
        film.add_fuel(&FILM_PARAMETERS, 0.2e-3);
        assert!(is_near(film.film_kg(), 2.5e-4));
    }

    /// Powers of two: a quarter of the film evaporates, half of what is wanted.
    #[test]
    fn a_film_that_gives_just_its_share_does_not_nearly_cover_what_is_wanted() {
        let covers = |wet_share| {
            let parameters = FilmParameters { wet_share, ..FILM_PARAMETERS };
            let mut film = Film { film_kg: 1.0 / 1024.0, ..Film::default() };
            film.elapse(0.25);
            film.step(&parameters, FilmEstimate { x: 0.5, tau_s: 0.75 }, true, 1.0 / 2048.0);
            film.nearly_covers()
        };
        assert!(!covers(0.5) && covers(0.499));
    }
}
