//! Transient fuel: inverse of the wall film, and the accelerator-pump shot.
//!
//! Of what is injected a share `X` wets the wall; the film gives off `m / tau` (Aquino, SAE 810494):
//! `dm/dt = X q_inj - m / tau`. For the cylinder to get `w` at an event that comes `dt` after the one before, the injection is
//! `(w - m dt / (tau + dt)) / (1 - X)`: the film's share of the event by an implicit step.
//! The believed `X` and `tau` follow the published trend over pressure and speed (port-injected engine, reprint of
//! Hendricks et al., SAE 960037) and grow in the cold (engineering judgement).

use trimwright_numerics::Real;

use crate::believe::Belief;
use crate::setup::Setup;
use trimwright_numerics::parameters::along;

/// Most of the injection that may be believed to wet the wall.
const MOST_X: f32 = 0.88;
/// Most an event may be enriched by compensation, ratio of the wanted fuel.
const MOST_OVER: f32 = 4.0;
/// Share of the wanted fuel from the wall that is nearly all of it; in steady state it is the share that wets the wall.
const NEARLY: f32 = 0.9;
/// Growth of the wall's share against coolant temperature, K: of what is left over by X, this part wets too. Believing too
/// much floods a cold engine, believing too little only starts it later.
const COLD_X: [(f32, f32); 5] = [(253.0, 0.30), (273.0, 0.22), (293.0, 0.09), (323.0, 0.04), (355.0, 0.0)];
/// Growth of the time constant against coolant temperature, ratio.
const COLD_TAU: [(f32, f32); 5] = [(253.0, 2.6), (273.0, 2.1), (293.0, 1.6), (323.0, 1.2), (355.0, 1.0)];

/// What is learned of the film: how far its share and its time constant are from the believed ones, ln.
///
/// ```
/// use trimwright_control::Parameters;
/// use trimwright_control::film::FILM;
/// assert_eq!(Parameters::DEFAULT.blank_map().film_ln, [0.0; FILM], "nothing learned of share and time constant");
/// ```
pub const FILM: usize = 2;

/// Believed share and time constant of the film.
///
/// ```
/// use trimwright_control::film::{FilmBelief, believed_film};
/// let FilmBelief { x, tau_s } = believed_film(40e3, 157.0, 363.0);
/// // A warm engine at 1500 rpm: half of the fuel goes by the wall and stays there for most of a second.
/// assert!((0.4..0.6).contains(&x) && (0.5..1.0).contains(&tau_s));
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FilmBelief {
    /// Share of the injection that wets the wall.
    pub x: f32,
    /// Time constant of the film, s.
    pub tau_s: f32,
}

/// Believed film at this pressure, speed and coolant temperature. Warm: `X = 0.68 - 0.277 p - 0.055 n`,
/// `tau = 1.35 (1.68 - 0.672 n)(p - 0.825)^2 + 0.71 - 0.06 n` s with p in bar (to 1) and n in 1000 rpm (0.6 to 4 for tau).
///
/// ```
/// use trimwright_control::film::believed_film;
/// let [cold, warm] = [263.0, 363.0].map(|ect_k| believed_film(40e3, 100.0, ect_k));
/// assert!(cold.x > warm.x + 0.1 && cold.tau_s > 2.0 * warm.tau_s, "a cold wall holds more for longer");
/// assert!(believed_film(90e3, 100.0, 363.0).x < warm.x, "more air carries more along");
/// ```
pub fn believed_film(map_pa: f32, speed_rad_per_s: f32, ect_k: f32) -> FilmBelief {
    let p = (map_pa * 1e-5).held(0.2, 1.0);
    let n = (speed_rad_per_s * (60.0 / core::f32::consts::TAU * 1e-3)).held(0.3, 4.0);
    let n_slow = n.held(0.6, 4.0);
    let x = 0.68 - 0.277 * p - 0.055 * n;
    let tau_s = 1.35 * (1.68 - 0.672 * n_slow) * (p - 0.825) * (p - 0.825) + 0.71 - 0.06 * n_slow;
    FilmBelief {
        x: (x + (1.0 - x) * along(&COLD_X, ect_k)).held(0.0, MOST_X),
        tau_s: (tau_s * along(&COLD_TAU, ect_k)).held(0.05, 8.0),
    }
}

impl FilmBelief {
    /// With share and time constant larger by the factors `exp(learned_ln)`.
    fn scaled(self, learned_ln: &[f32; FILM]) -> Self {
        let [x_ln, tau_ln] = *learned_ln;
        if x_ln == 0.0 && tau_ln == 0.0 {
            return self;
        }
        Self {
            x: (self.x * Real::exp(x_ln)).held(0.0, MOST_X),
            tau_s: (self.tau_s * Real::exp(tau_ln)).held(0.03, 12.0),
        }
    }
}

/// The film's mass and how it moved.
///
/// ```
/// use trimwright_control::believe::Belief;
/// use trimwright_control::film::Film;
/// use trimwright_control::{Calibration, SetupAnswers};
/// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
/// let (mut film, belief) = (Film::default(), Belief::default());
/// let mut inject_kg = || {
///     film.wait(0.01);
///     film.step(&calibration, &belief, 157.0, &[0.0; 2], 30e-6)
/// };
/// // A dry wall keeps a part, so that more is injected; once it is wet it gives back what it takes.
/// let first_kg = inject_kg();
/// let last_kg = (0..1000).map(|_| inject_kg()).last();
/// assert!(first_kg > 1.4 * 30e-6 && last_kg.is_some_and(|kg| (kg / 30e-6 - 1.0).abs() < 0.01));
/// # Ok::<(), trimwright_control::AnswerError>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Film {
    /// Believed fuel on the wall, kg.
    pub film_kg: f32,
    /// Believed film of the last event.
    pub belief: FilmBelief,
    /// The film, lagged by its own time constant, kg: by how much the film would be larger for `ln tau` larger by one.
    lagged_kg: f32,
    gained_kg: [f32; FILM],
    wanted_kg: f32,
    /// The wall gives off more than the cylinder is to get: nothing that is injected can make the mixture leaner.
    pub overflows: bool,
    /// It gives off nearly as much or more.
    pub nearly: bool,
    since_s: f32,
}

impl Film {
    /// Time passes: between events by their time stamps, which tell it finer than frames do.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::film::Film;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let inject_kg = |waited_s| {
    ///     let mut film = Film::default();
    ///     film.wet(100e-6);
    ///     film.wait(waited_s);
    ///     film.step(&calibration, &Belief::default(), 157.0, &[0.0; 2], 30e-6)
    /// };
    /// // The longer the wall had time, the more came off it and the less is to be added.
    /// assert!(inject_kg(0.04) < inject_kg(0.01));
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn wait(&mut self, dt_s: f32) {
        self.since_s = (self.since_s + dt_s).min(5.0);
    }

    /// The crank stands: what is on the wall dries up, and no cylinder gets it.
    ///
    /// ```
    /// use trimwright_control::film::Film;
    /// let mut film = Film::default();
    /// film.wet(200e-6);
    /// let primed_kg = film.film_kg;
    /// // Nobody turns the starter for five seconds.
    /// (0..500).for_each(|_| film.rest(0.01));
    /// assert!(film.film_kg < 0.01 * primed_kg);
    /// ```
    pub fn rest(&mut self, dt_s: f32) {
        let left = 1.0 - dt_s / (self.belief.tau_s.max(0.3) + dt_s);
        (self.film_kg, self.lagged_kg, self.since_s) = (self.film_kg * left, self.lagged_kg * left, 0.0);
    }

    /// What to inject so that the cylinder gets `wanted_kg`, kg. Without compensation the film is followed all the same.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::film::Film;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (mut film, belief) = (Film::default(), Belief::default());
    /// for _ in 0..1000 {
    ///     film.wait(0.01);
    ///     film.step(&calibration, &belief, 157.0, &[0.0; 2], 60e-6);
    /// }
    /// // The foot comes off: the wall alone gives more than the cylinder is to get.
    /// film.wait(0.01);
    /// assert_eq!(film.step(&calibration, &belief, 157.0, &[0.0; 2], 10e-6), 0.0);
    /// assert!(film.overflows);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        setup: &Setup,
        belief: &Belief,
        speed_rad_per_s: f32,
        learned_ln: &[f32; FILM],
        wanted_kg: f32,
    ) -> f32 {
        let dt_s = core::mem::take(&mut self.since_s).max(1e-4);
        self.belief = believed_film(belief.map_pa, speed_rad_per_s, belief.ect_k).scaled(learned_ln);
        let FilmBelief { x, tau_s } = self.belief;
        let off_kg = self.film_kg * dt_s / (tau_s + dt_s);
        let inject_kg = if setup.options().film_compensation {
            ((wanted_kg - off_kg) / (1.0 - x)).held(0.0, MOST_OVER * wanted_kg.max(0.0))
        } else {
            wanted_kg.max(0.0)
        };
        self.overflows = inject_kg <= 0.0 && wanted_kg > 0.0;
        self.nearly = wanted_kg > 0.0 && off_kg > NEARLY * wanted_kg;
        let before_kg = [self.film_kg, self.lagged_kg];
        self.film_kg = (self.film_kg - off_kg + x * inject_kg).held(0.0, 0.1);
        self.lagged_kg += dt_s / (tau_s + dt_s) * (self.film_kg - self.lagged_kg);
        let after_kg = [self.film_kg, self.lagged_kg];
        if setup.options().film_compensation {
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
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::film::Film;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (mut film, belief) = (Film::default(), Belief::default());
    /// let mut share = |events| {
    ///     for _ in 0..events {
    ///         film.wait(0.01);
    ///         film.step(&calibration, &belief, 157.0, &[0.0; 2], 30e-6);
    ///     }
    ///     film.shares()[0]
    /// };
    /// // While the wall gets wet the fuel hangs on the belief; later a wrong one would not show.
    /// assert!(share(2) > 0.3);
    /// share(1000);
    /// assert!(share(2).abs() < 0.01);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn shares(&mut self) -> [f32; FILM] {
        let gained_kg = core::mem::take(&mut self.gained_kg);
        let wanted_kg = core::mem::take(&mut self.wanted_kg);
        if wanted_kg > 0.0 {
            gained_kg.map(|gained| (gained / wanted_kg).held(-2.0, 2.0))
        } else {
            [0.0; FILM]
        }
    }

    /// Takes in fuel that is injected outside the events, kg.
    ///
    /// ```
    /// use trimwright_control::film::Film;
    /// let mut film = Film::default();
    /// // Half of a prime pulse of 0.2 g ends on the wall of a manifold that nothing is known of yet.
    /// film.wet(0.2e-3);
    /// assert!((film.film_kg - 0.1e-3).abs() < 1e-9);
    /// ```
    pub fn wet(&mut self, fuel_kg: f32) {
        self.film_kg = (self.film_kg + self.belief.x.max(0.5) * fuel_kg).held(0.0, 0.1);
    }
}

/// Throttle rate below which there is no shot, 1/s.
const SHOT_FROM_PER_S: f32 = 0.4;
/// Pressure that a throttle step from closed to open is believed to add before MAP shows it, Pa.
const SHOT_PA: f32 = 7.5e3;
/// Time constant in which MAP catches up, s: sensor lag, averaging and the way from injection to intake.
const SHOT_S: f32 = 0.08;

/// Accelerator-pump shot: pressure that is on its way but not yet in MAP.
///
/// ```
/// use trimwright_control::film::Shot;
/// let mut shot = Shot::default();
/// // A quick foot: half of the throttle in 0.1 s. MAP will follow.
/// (0..10).for_each(|_| shot.step(5.0, 0.01));
/// assert!((1.5e3..4e3).contains(&shot.ahead_pa));
/// // It has.
/// (0..50).for_each(|_| shot.step(0.0, 0.01));
/// assert!(shot.ahead_pa < 20.0);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Shot {
    /// Believed pressure to come, Pa.
    pub ahead_pa: f32,
}

impl Shot {
    /// Follows the throttle.
    ///
    /// ```
    /// use trimwright_control::film::Shot;
    /// let ahead_pa = |tp_rate_per_s| {
    ///     let mut shot = Shot::default();
    ///     (0..10).for_each(|_| shot.step(tp_rate_per_s, 0.01));
    ///     shot.ahead_pa
    /// };
    /// assert!(ahead_pa(4.0) > 1e3);
    /// assert_eq!([ahead_pa(0.2), ahead_pa(-4.0)], [0.0; 2], "neither a gentle foot nor a closing throttle");
    /// ```
    pub fn step(&mut self, tp_rate_per_s: f32, dt_s: f32) {
        let opening = if tp_rate_per_s > SHOT_FROM_PER_S { tp_rate_per_s } else { 0.0 };
        let left = self.ahead_pa * (1.0 - dt_s / (SHOT_S + dt_s)) + SHOT_PA * opening * dt_s;
        self.ahead_pa = left.held(0.0, SHOT_PA);
    }

    /// Ratio of the charge to come over the charge that MAP shows.
    ///
    /// ```
    /// use trimwright_control::believe::Belief;
    /// use trimwright_control::film::Shot;
    /// let (shot, mut belief) = (Shot { ahead_pa: 4e3 }, Belief::default());
    /// belief.map_pa = 40e3;
    /// assert!((shot.ratio(&belief) - 1.1).abs() < 1e-6, "4 kPa to come over 40 kPa are a tenth");
    /// belief.map_pa = belief.baro_pa;
    /// assert_eq!(shot.ratio(&belief), 1.0, "at full load there is nothing to come");
    /// ```
    pub fn ratio(&self, belief: &Belief) -> f32 {
        let room_pa = (belief.baro_pa - belief.map_pa).max(0.0);
        1.0 + self.ahead_pa.min(0.8 * room_pa) / belief.map_pa.max(15e3)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    fn calibration() -> Calibration {
        Calibration::from_answers(&SetupAnswers::default()).unwrap()
    }

    fn warm(map_pa: f32) -> Belief {
        Belief { map_pa, ect_k: 365.0, ..Belief::default() }
    }

    /// Published map as reprinted (see the module): 0.8 krpm, 0.3 bar: X 0.553, tau 1.087 s; 2 krpm, 0.5 bar: 0.4315, 0.638 s.
    #[test]
    fn val_a_warm_film_follows_the_published_map() {
        for (rpm, map_pa, x, tau_s) in [(800.0, 30e3, 0.553, 1.087), (2000.0, 50e3, 0.4315, 0.638)] {
            let film = believed_film(map_pa, rpm * core::f32::consts::TAU / 60.0, 365.0);
            assert!((film.x - x).abs() < 5e-4 && (film.tau_s - tau_s).abs() < 2e-3, "{film:?}");
        }
    }

    #[test]
    fn a_cold_wall_holds_more_for_longer() {
        let (cold, warm) = (believed_film(40e3, 100.0, 263.0), believed_film(40e3, 100.0, 363.0));
        assert!(cold.x > warm.x + 0.1 && cold.tau_s > 2.0 * warm.tau_s);
    }

    /// The same film filled from outside: if the belief is right, the cylinder gets what was wanted through a step.
    #[test]
    fn ident_compensation_undoes_its_own_film() {
        let calibration = calibration();
        let mut film = Film::default();
        let (mut wall_kg, dt_s) = (0.0, 0.01);
        for event in 0..600 {
            let wanted_kg = if event < 300 { 10e-6 } else { 25e-6 };
            film.wait(dt_s);
            let inject_kg = film.step(&calibration, &warm(45e3), 150.0, &[0.0; FILM], wanted_kg);
            let FilmBelief { x, tau_s } = film.belief;
            let off_kg = wall_kg * dt_s / (tau_s + dt_s);
            let cylinder_kg = (1.0 - x) * inject_kg + off_kg;
            wall_kg += x * inject_kg - off_kg;
            assert!((cylinder_kg / wanted_kg - 1.0).abs() < 1e-4, "event {event}: {cylinder_kg}");
        }
    }

    #[test]
    fn in_steady_state_the_injection_is_what_is_wanted() {
        let calibration = calibration();
        let mut film = Film::default();
        let mut inject_kg = 0.0;
        for _ in 0..3000 {
            film.wait(0.01);
            inject_kg = film.step(&calibration, &warm(45e3), 150.0, &[0.0; FILM], 12e-6);
        }
        assert!((inject_kg / 12e-6 - 1.0).abs() < 1e-3, "{inject_kg}");
    }

    #[test]
    fn a_film_dries_up_while_the_crank_stands() {
        let mut film = Film { film_kg: 1e-3, ..Film::default() };
        (0..1000).for_each(|_| film.rest(0.01));
        assert!(film.film_kg < 1e-6);
    }

    #[test]
    fn compensation_is_bounded_and_never_negative() {
        let calibration = calibration();
        let mut film = Film::default();
        film.wait(0.01);
        let cold = Belief { ect_k: 250.0, ..warm(90e3) };
        assert!(film.step(&calibration, &cold, 30.0, &[0.0; FILM], 10e-6) <= MOST_OVER * 10e-6);
        film.film_kg = 0.05;
        film.wait(0.5);
        assert_eq!(film.step(&calibration, &cold, 30.0, &[0.0; FILM], 10e-6), 0.0);
    }

    #[test]
    fn a_stab_of_the_throttle_gives_a_shot_that_fades() {
        let mut shot = Shot::default();
        for _ in 0..100 {
            shot.step(5.0, 0.001);
        }
        let at_once = shot.ratio(&warm(40e3));
        for _ in 0..400 {
            shot.step(0.0, 0.001);
        }
        assert!(at_once > 1.03 && shot.ratio(&warm(40e3)) < 1.01);
        shot.step(-5.0, 0.001);
        assert!(shot.ratio(&warm(40e3)) < 1.01);
    }
}
