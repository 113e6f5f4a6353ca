//! Transient fuel: inverse of the wall film.
//!
//! Of what is injected a share `X` wets the wall; the film gives off `m / tau` (Aquino, SAE 810494):
//! `dm/dt = X q_inj - m / tau`. For the cylinder to get `w` at an event that comes `dt` after the one before, the injection is
//! `(w - m dt / (tau + dt)) / (1 - X)`: the film's share of the event by an implicit step.
//! The believed `X` and `tau` follow the published trend over pressure and speed (port-injected engine, reprint of
//! Hendricks et al., SAE 960037) and grow in the cold (engineering judgement).

use trimwright_numerics::Real;
use trimwright_numerics::parameters::along;

use crate::base_map::BAR_PER_PA;

trimwright_numerics::parameters! {
    /// Believed wall film, and how far it is compensated.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct FilmParameters<f32> "film" {
        /// Coefficients a, b, c of the wetting share of a warm wall, a - b p - c n, with pressure p in bar and speed n in 1000 rpm.
        list warm_share { [3] = [0.68, 0.277, 0.055], 0.0..=2.0 "1", "reprint of Hendricks et al., SAE 960037" }
        /// Coefficients a to f of the time constant of a warm wall, a (b - c n) (p - d)^2 + e - f n, with pressure p in bar and speed n in 1000 rpm.
        list warm_s { [6] = [1.35, 1.68, 0.672, 0.825, 0.71, 0.06], 0.0..=5.0 "s", "reprint of Hendricks et al., SAE 960037" }
        /// Lowest pressure at which share and time constant of a warm wall are followed.
        number map_low_bar { 0.2, 0.05..=0.6 "bar", "engineering judgement: about where the published map begins" }
        /// Highest pressure at which share and time constant of a warm wall are followed.
        number map_high_bar { 1.0, 0.7..=3.0 "bar", "engineering judgement: about where the published map ends" }
        /// Lowest speed at which the wetting share of a warm wall is followed.
        number share_low_krpm { 0.3, 0.05..=2.0 "krpm", "engineering judgement: about where the published map begins" }
        /// Lowest speed at which the time constant of a warm wall is followed.
        number tau_low_krpm { 0.6, 0.05..=2.0 "krpm", "engineering judgement: about where the published map begins" }
        /// Highest speed at which share and time constant of a warm wall are followed.
        number high_krpm { 4.0, 2.0..=12.0 "krpm", "engineering judgement: about where the published map ends" }
        /// Share of what is left over by the warm wall that a cold one holds besides, against coolant temperature: believing too much floods a cold engine, believing too little only starts it later.
        curve cold_share { [8] = [(253.0, 0.30), (273.0, 0.22), (293.0, 0.09), (323.0, 0.04), (355.0, 0.0)], 220.0..=400.0 "K" => 0.0..=0.9 "1", "engineering judgement" }
        /// Factor on the film's time constant against coolant temperature.
        curve cold_factor { [8] = [(253.0, 2.6), (273.0, 2.1), (293.0, 1.6), (323.0, 1.2), (355.0, 1.0)], 220.0..=400.0 "K" => 0.5..=10.0 "1", "engineering judgement" }
        /// Most of the injection that may be believed to wet the wall.
        number share_high { 0.88, 0.0..=0.95 "1", "engineering judgement" }
        /// Shortest time constant of the film that is believed.
        number shortest_s { 0.05, 0.01..=0.5 "s", "engineering judgement" }
        /// Longest time constant of the film that is believed.
        number longest_s { 8.0, 0.5..=60.0 "s", "engineering judgement" }
        /// Shortest time constant of the film with what was learned.
        number learned_shortest_s { 0.03, 0.01..=0.5 "s", "engineering judgement" }
        /// Longest time constant of the film with what was learned.
        number learned_longest_s { 12.0, 0.5..=60.0 "s", "engineering judgement" }
        /// Shortest time constant in which a film dries up while the crank stands.
        number drying_shortest_s { 0.3, 0.05..=10.0 "s", "engineering judgement" }
        /// Least share of a prime pulse that wets the wall.
        number prime_share { 0.5, 0.0..=1.0 "1", "engineering judgement" }
        /// Most that compensation may inject for an event, over the fuel wanted.
        number most_over { 4.0, 1.0..=10.0 "1", "engineering judgement" }
        /// Share of the wanted fuel from the wall that is nearly all of it; in steady state it is the share that wets the wall.
        number nearly { 0.9, 0.5..=1.0 "1", "engineering judgement" }
    }
}

/// Number of properties that are learned of the film: how far its share and its time constant are from the believed ones, ln.
pub const FILM: usize = 2;
/// Thousands of revolutions a minute in a radian a second.
const KRPM_PER_RAD_PER_S: f32 = 60.0 / core::f32::consts::TAU * 1e-3;
/// Most fuel on the wall that is believed, kg.
const MOST_KG: f32 = 0.1;
/// Longest and shortest time between events that counts, s.
const WAIT_S: (f32, f32) = (5.0, 1e-4);
/// Farthest that fuel may hang on the film's properties, relative change by ln.
const MOST_SHARE: f32 = 2.0;

/// Believed share and time constant of the film.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FilmBelief {
    /// Share of the injection that wets the wall.
    pub x: f32,
    /// Time constant of the film, s.
    pub tau_s: f32,
}

/// Believed film at this pressure, speed and coolant temperature. Warm, by the defaults: `X = 0.68 - 0.277 p - 0.055 n`,
/// `tau = 1.35 (1.68 - 0.672 n)(p - 0.825)^2 + 0.71 - 0.06 n` s with p in bar (to 1) and n in 1000 rpm (0.6 to 4 for tau).
///
/// ```
/// use trimwright_control::film::{FilmParameters, believed_film};
/// let at = |map_pa, ect_k| believed_film(&FilmParameters::DEFAULT, map_pa, 157.0, ect_k);
/// // A warm engine at 1500 rpm: half of the fuel goes by the wall and stays there for most of a second.
/// let warm = at(40e3, 363.0);
/// assert!((0.4..0.6).contains(&warm.x) && (0.5..1.0).contains(&warm.tau_s));
/// assert!(at(90e3, 363.0).x < warm.x, "more air carries more along");
/// ```
pub fn believed_film(
    parameters: &FilmParameters,
    map_pa: f32,
    speed_rad_per_s: f32,
    ect_k: f32,
) -> FilmBelief {
    let p = (map_pa * BAR_PER_PA).held(parameters.map_low_bar, parameters.map_high_bar);
    let krpm = speed_rad_per_s * KRPM_PER_RAD_PER_S;
    let n = krpm.held(parameters.share_low_krpm, parameters.high_krpm);
    let n_slow = n.held(parameters.tau_low_krpm, parameters.high_krpm);
    let [at_rest, by_p, by_n] = parameters.warm_share;
    let x = at_rest - by_p * p - by_n * n;
    let [a, b, c, d, e, f] = parameters.warm_s;
    let tau_s = a * (b - c * n_slow) * (p - d) * (p - d) + e - f * n_slow;
    FilmBelief {
        x: (x + (1.0 - x) * along(&parameters.cold_share, ect_k)).held(0.0, parameters.share_high),
        tau_s: (tau_s * along(&parameters.cold_factor, ect_k))
            .held(parameters.shortest_s, parameters.longest_s),
    }
}

impl FilmBelief {
    /// With share and time constant larger by the factors `exp(learned_ln)`.
    #[must_use]
    pub fn scaled(self, parameters: &FilmParameters, learned_ln: &[f32; FILM]) -> Self {
        let [x_ln, tau_ln] = *learned_ln;
        if x_ln == 0.0 && tau_ln == 0.0 {
            return self;
        }
        Self {
            x: (self.x * Real::exp(x_ln)).held(0.0, parameters.share_high),
            tau_s: (self.tau_s * Real::exp(tau_ln))
                .held(parameters.learned_shortest_s, parameters.learned_longest_s),
        }
    }
}

/// The film's mass and how it moved.
///
/// ```
/// use trimwright_control::film::{Film, FilmParameters, believed_film};
/// let parameters = FilmParameters::DEFAULT;
/// let at_idle = believed_film(&parameters, 40e3, 80.0, 363.0);
/// let mut film = Film::default();
/// let mut inject_kg = || {
///     film.wait(0.01);
///     film.step(&parameters, at_idle, true, 30e-6)
/// };
/// // A dry wall keeps a part, so that more is injected; once it is wet it gives back what it takes.
/// let first_kg = inject_kg();
/// let last_kg = (0..1000).map(|_| inject_kg()).last();
/// assert!(first_kg > 1.4 * 30e-6 && last_kg.is_some_and(|kg| (kg / 30e-6 - 1.0).abs() < 0.01));
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Film {
    film_kg: f32,
    belief: FilmBelief,
    /// The film, lagged by its own time constant, kg: by how much the film would be larger for `ln tau` larger by one.
    lagged_kg: f32,
    gained_kg: [f32; FILM],
    wanted_kg: f32,
    overflows: bool,
    nearly: bool,
    since_s: f32,
}

impl Film {
    /// Believed fuel on the wall, kg.
    pub const fn film_kg(&self) -> f32 {
        self.film_kg
    }

    /// Whether the wall gives off more than the cylinder is to get: nothing that is injected can make the mixture leaner.
    pub const fn overflows(&self) -> bool {
        self.overflows
    }

    /// Whether it gives off nearly as much or more.
    pub const fn nearly(&self) -> bool {
        self.nearly
    }

    /// Time passes: between events by their time stamps, which tell it finer than frames do.
    pub fn wait(&mut self, dt_s: f32) {
        self.since_s = (self.since_s + dt_s).at_most(WAIT_S.0);
    }

    /// The crank stands: what is on the wall dries up, and no cylinder gets it.
    pub fn rest(&mut self, parameters: &FilmParameters, dt_s: f32) {
        let left = 1.0 - dt_s / (self.belief.tau_s.at_least(parameters.drying_shortest_s) + dt_s);
        (self.film_kg, self.lagged_kg, self.since_s) = (self.film_kg * left, self.lagged_kg * left, 0.0);
    }

    /// What to inject so that the cylinder gets `wanted_kg` past the film that is believed now, kg. Without compensation the film is
    /// followed all the same.
    ///
    /// ```
    /// use trimwright_control::film::{Film, FilmParameters, believed_film};
    /// let parameters = FilmParameters::DEFAULT;
    /// let believed = believed_film(&parameters, 40e3, 157.0, 363.0);
    /// let mut film = Film::default();
    /// for _ in 0..1000 {
    ///     film.wait(0.01);
    ///     film.step(&parameters, believed, true, 60e-6);
    /// }
    /// // The foot comes off: the wall alone gives more than the cylinder is to get.
    /// film.wait(0.01);
    /// assert_eq!(film.step(&parameters, believed, true, 10e-6), 0.0);
    /// assert!(film.overflows());
    /// ```
    pub fn step(
        &mut self,
        parameters: &FilmParameters,
        believed: FilmBelief,
        compensates: bool,
        wanted_kg: f32,
    ) -> f32 {
        let dt_s = core::mem::take(&mut self.since_s).at_least(WAIT_S.1);
        self.belief = believed;
        let FilmBelief { x, tau_s } = believed;
        let off_kg = self.film_kg * dt_s / (tau_s + dt_s);
        let inject_kg = if compensates {
            ((wanted_kg - off_kg) / (1.0 - x)).held(0.0, parameters.most_over * wanted_kg.at_least(0.0))
        } else {
            wanted_kg.at_least(0.0)
        };
        self.overflows = inject_kg <= 0.0 && wanted_kg > 0.0;
        self.nearly = wanted_kg > 0.0 && off_kg > parameters.nearly * wanted_kg;
        let before_kg = [self.film_kg, self.lagged_kg];
        self.film_kg = (self.film_kg - off_kg + x * inject_kg).held(0.0, MOST_KG);
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

    /// How much the fuel since the last call depended on the film's share and time constant: a film that is larger by a factor takes
    /// as much more fuel as it gains. With `dm/dt = X q - m / tau` the film grows with `ln X` by `m`, with `ln tau`
    /// by `m` lagged by `tau` (the sensitivities of the equation). Relative to the fuel wanted; 0 without fuel or without
    /// compensation, where the belief has no part in the fuel.
    pub fn shares(&mut self) -> [f32; FILM] {
        let gained_kg = core::mem::take(&mut self.gained_kg);
        let wanted_kg = core::mem::take(&mut self.wanted_kg);
        if wanted_kg > 0.0 {
            gained_kg.map(|gained| (gained / wanted_kg).held(-MOST_SHARE, MOST_SHARE))
        } else {
            [0.0; FILM]
        }
    }

    /// Takes in fuel that is injected outside the events, kg.
    pub fn wet(&mut self, parameters: &FilmParameters, fuel_kg: f32) {
        let share = self.belief.x.at_least(parameters.prime_share);
        self.film_kg = (self.film_kg + share * fuel_kg).held(0.0, MOST_KG);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILM_PARAMETERS: FilmParameters = FilmParameters::DEFAULT;

    fn believed(map_pa: f32, speed_rad_per_s: f32, ect_k: f32) -> FilmBelief {
        believed_film(&FILM_PARAMETERS, map_pa, speed_rad_per_s, ect_k)
    }

    fn inject_kg(film: &mut Film, dt_s: f32, wanted_kg: f32) -> f32 {
        film.wait(dt_s);
        film.step(&FILM_PARAMETERS, believed(45e3, 150.0, 365.0), true, wanted_kg)
    }

    /// Published map as reprinted (see the module): 0.8 krpm, 0.3 bar: X 0.553, tau 1.087 s; 2 krpm, 0.5 bar: 0.4315, 0.638 s.
    #[test]
    fn val_a_warm_film_follows_the_published_map() {
        for (rpm, map_pa, x, tau_s) in [(800.0, 30e3, 0.553, 1.087), (2000.0, 50e3, 0.4315, 0.638)] {
            let film = believed(map_pa, rpm * core::f32::consts::TAU / 60.0, 365.0);
            assert!((film.x - x).abs() < 5e-4 && (film.tau_s - tau_s).abs() < 2e-3, "{film:?}");
        }
    }

    #[test]
    fn a_cold_wall_holds_more_for_longer() {
        let (cold, warm) = (believed(40e3, 100.0, 263.0), believed(40e3, 100.0, 363.0));
        assert!(cold.x > warm.x + 0.1 && cold.tau_s > 2.0 * warm.tau_s);
    }

    /// The same film filled from outside: if the belief is right, the cylinder gets what was wanted through a step.
    #[test]
    fn ident_compensation_undoes_its_own_film() {
        let mut film = Film::default();
        let (mut wall_kg, dt_s) = (0.0, 0.01);
        for event in 0..600 {
            let wanted_kg = if event < 300 { 10e-6 } else { 25e-6 };
            let inject_kg = inject_kg(&mut film, dt_s, wanted_kg);
            let FilmBelief { x, tau_s } = film.belief;
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
    fn a_film_dries_up_while_the_crank_stands() {
        let mut film = Film { film_kg: 1e-3, ..Film::default() };
        (0..1000).for_each(|_| film.rest(&FILM_PARAMETERS, 0.01));
        assert!(film.film_kg < 1e-6);
    }

    #[test]
    fn compensation_is_bounded_and_never_negative() {
        let mut film = Film::default();
        film.wait(0.01);
        let cold = believed(90e3, 30.0, 250.0);
        assert!(film.step(&FILM_PARAMETERS, cold, true, 10e-6) <= FILM_PARAMETERS.most_over * 10e-6);
        film.film_kg = 0.05;
        film.wait(0.5);
        assert_eq!(film.step(&FILM_PARAMETERS, cold, true, 10e-6), 0.0);
    }

    /// Half of a prime pulse ends on the wall of a manifold that nothing is known of yet, and less is added the longer that had to come off.
    #[test]
    fn a_wall_that_was_wetted_gives_back_by_time() {
        let mut film = Film::default();
        film.wet(&FILM_PARAMETERS, 0.2e-3);
        assert!((film.film_kg - 0.1e-3).abs() < 1e-9);
        assert!(inject_kg(&mut film.clone(), 0.04, 30e-6) < inject_kg(&mut film, 0.01, 30e-6));
    }

    /// While the wall gets wet the fuel hangs on the belief; later a wrong one would not show.
    #[test]
    fn fuel_hangs_on_the_film_while_the_wall_gets_wet() {
        let mut film = Film::default();
        let mut share = |events: u32| {
            (0..events).for_each(|_| _ = inject_kg(&mut film, 0.01, 30e-6));
            film.shares()[0]
        };
        assert!(share(2) > 0.3);
        share(1000);
        assert!(share(2).abs() < 0.01);
    }
}
