//! The loop measures itself: a small dither of the fuel for delay and loop gain; corrections against flow for air from outside.
//!
//! **Dither.** While the engine runs calmly the fuel goes up and down by [`DITHER_LN`] in a square wave. The reading follows after the
//! delay. Correlating it with the wave shifted by several candidate delays finds the true one; the height of the settled
//! parts over the height of the wave is the loop gain: 1 for a sound sensor, less for one that is masked or clogged.
//!
//! **Upstream air.** Air that enters between engine and sensor, `L` kg/s, reads as lean by `ln(1 + L/A)` at air flow `A`: much at idle,
//! little at load. Where the corrections of three classes of flow tell of the same `L`, it is not the map that is wrong: at
//! low flow nothing more is learned, and the flag says so. A leak hidden by an error of the map that happens to
//! point the other way cannot be seen like this.

use trimwright_numerics::Real;

use crate::calibration::Calibration;

/// Height of the dither, ln of fuel (engineering judgement: felt by the sensor, not by the driver).
pub const DITHER_LN: f32 = 0.025;
/// Full waves of a check.
const WAVES: f32 = 6.0;
/// Calm time before a check, s.
const CALM_S: f32 = 4.0;
/// Time between checks, s.
const PAUSE_S: f32 = 300.0;
/// Candidate delays over the believed one, ratio.
const CANDIDATES: [f32; 9] = [0.4, 0.55, 0.75, 1.0, 1.25, 1.5, 1.8, 2.2, 2.7];
/// Longest delay over the believed one that passes for an ageing sensor, s; more is slow.
const SLOW_S: f32 = 0.5;
/// Gain below which a check has seen nothing to go by.
const LEAST_GAIN: f32 = 0.3;

/// One result of a dither.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Measured {
    /// Delay from injection to reading, sensor lag included, s.
    pub delay_s: f32,
    /// Believed delay at that time, s.
    pub believed_s: f32,
    /// Height of the reading over height of the dither.
    pub gain: f32,
}

/// Sums of one candidate.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Sums {
    product: f32,
    settled: [f32; 2],
    looks: [f32; 2],
}

/// Mean correction and flow in one class of flow.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct FlowClass {
    right_ln: f32,
    per_m3: f32,
    looks: f32,
}

/// Classes of air flow over displacement, kg/(s m3), from and to: about idle, twice and four times as much.
const CLASSES: [(f32, f32); 3] = [(0.6, 1.5), (1.8, 3.0), (3.6, 6.5)];
/// Looks that a class needs before it counts: ten seconds.
const CLASS_LOOKS: f32 = 500.0;
/// Lean reading at low flow from which it is worth asking, ln.
const SUSPECT_LN: f32 = 0.08;
/// Farthest that the three classes' leaks may lie apart, over their mean.
const AGREE: f32 = 0.45;

/// What the loop knows of itself.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SelfCheck {
    calm_s: f32,
    pause_s: f32,
    /// Time into the check, s, when one runs.
    into_s: Option<f32>,
    half_s: f32,
    believed_s: f32,
    before_ln: f32,
    sums: [Sums; CANDIDATES.len()],
    classes: [FlowClass; CLASSES.len()],
    /// The last result.
    pub measured: Option<Measured>,
    /// The sensor answers too late.
    pub slow: bool,
    /// Air seems to enter upstream of the sensor, kg/s; 0 when not.
    pub upstream_air_kg_per_s: f32,
}

/// What a look back gives to the check.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// The engine runs calmly, the reading is good.
    pub calm: bool,
    /// Reading over wanted mixture, ln.
    pub error_ln: f32,
    /// Total correction that would have been right, ln.
    pub right_ln: f32,
    /// Believed delay without the sensor's lag, s.
    pub delay_s: f32,
    /// Air flow, kg/s.
    pub air_kg_per_s: f32,
    /// Time since the look before, s.
    pub dt_s: f32,
}

impl SelfCheck {
    /// Dither of this instant, ln of fuel.
    pub fn dither_ln(&self) -> f32 {
        self.into_s
            .map_or(0.0, |into_s| if into_s < self.whole_s() { DITHER_LN * self.wave(into_s) } else { 0.0 })
    }

    /// A check is running: the trim has to stand still.
    pub const fn is_running(&self) -> bool {
        self.into_s.is_some()
    }

    /// Whether a reading at this air flow is falsified by air from outside.
    pub fn is_falsified(&self, calibration: &Calibration, air_kg_per_s: f32) -> bool {
        let low_flow = air_kg_per_s < CLASSES[1].1 * calibration.answers().displacement_m3;
        self.upstream_air_kg_per_s > 0.0 && low_flow
    }

    /// Takes one look.
    pub fn step(&mut self, calibration: &Calibration, look: &Look) {
        if look.calm && !self.is_running() {
            self.compare_flows(calibration, look);
        }
        if !calibration.options().self_check {
            return;
        }
        self.pause_s = (self.pause_s - look.dt_s).max(0.0);
        self.calm_s = if look.calm { self.calm_s + look.dt_s } else { 0.0 };
        match self.into_s {
            _ if !look.calm => self.into_s = None,
            None if self.calm_s > CALM_S && self.pause_s <= 0.0 => self.begin(look),
            None => (),
            Some(into_s) if into_s < self.whole_s() + 2.0 * self.believed_s => {
                self.listen(into_s, look);
                self.into_s = Some(into_s + look.dt_s);
            }
            Some(_) => self.end(),
        }
    }

    /// Square wave, 1 or -1; 0 before it begins.
    fn wave(&self, into_s: f32) -> f32 {
        match self.place(into_s) {
            Some((first, _)) => {
                if first {
                    1.0
                } else {
                    -1.0
                }
            }
            None => 0.0,
        }
    }

    /// Half of the wave (the first?) and share of the way through it.
    fn place(&self, into_s: f32) -> Option<(bool, f32)> {
        if !(0.0..self.whole_s()).contains(&into_s) || self.half_s <= 0.0 {
            return None;
        }
        let halves = into_s / self.half_s;
        let whole = halves as u32;
        Some((whole.is_multiple_of(2), halves - whole as f32))
    }

    fn whole_s(&self) -> f32 {
        2.0 * WAVES * self.half_s
    }

    fn begin(&mut self, look: &Look) {
        self.believed_s = look.delay_s.held(0.05, 1.5);
        self.half_s = (2.5 * self.believed_s).held(0.8, 3.0);
        (self.sums, self.before_ln, self.into_s) = (Default::default(), look.error_ln, Some(0.0));
    }

    fn listen(&mut self, into_s: f32, look: &Look) {
        // More fuel reads as less lambda: the sign is turned round here.
        // What was there before cancels over whole waves.
        let answer_ln = self.before_ln - look.error_ln;
        for index in 0..CANDIDATES.len() {
            let delay_s = CANDIDATES.get(index).copied().unwrap_or(1.0) * self.believed_s;
            let Some((first, way)) = self.place(into_s - delay_s) else { continue };
            let Some(sums) = self.sums.get_mut(index) else { continue };
            sums.product += if first { answer_ln } else { -answer_ln };
            if (0.5..0.8).contains(&way) {
                let half = usize::from(first);
                if let (Some(sum), Some(looks)) = (sums.settled.get_mut(half), sums.looks.get_mut(half)) {
                    *sum += answer_ln;
                    *looks += 1.0;
                }
            }
        }
    }

    fn end(&mut self) {
        (self.into_s, self.pause_s, self.calm_s) = (None, PAUSE_S, 0.0);
        let best =
            self.sums.iter().zip(CANDIDATES).fold(None, |best: Option<(&Sums, f32)>, (sums, candidate)| {
                if best.is_none_or(|(most, _)| sums.product > most.product) {
                    Some((sums, candidate))
                } else {
                    best
                }
            });
        let Some((sums, candidate)) = best else { return };
        let [low, high] = [0, 1].map(|half: usize| {
            let settled = sums.settled.get(half).copied().unwrap_or(0.0);
            settled / sums.looks.get(half).copied().unwrap_or(0.0).max(1.0)
        });
        let gain = (high - low) / (2.0 * DITHER_LN);
        if gain > LEAST_GAIN {
            let delay_s = candidate * self.believed_s;
            self.measured = Some(Measured { delay_s, believed_s: self.believed_s, gain });
            self.slow = delay_s - self.believed_s > SLOW_S;
        }
    }

    fn compare_flows(&mut self, calibration: &Calibration, look: &Look) {
        let per_m3 = look.air_kg_per_s / calibration.answers().displacement_m3;
        let class = CLASSES.iter().position(|(from, to)| (*from..*to).contains(&per_m3));
        let Some(class) = class.and_then(|index| self.classes.get_mut(index)) else { return };
        class.looks = (class.looks + 1.0).min(4.0 * CLASS_LOOKS);
        let share = 1.0 / class.looks;
        class.right_ln += share * (look.right_ln - class.right_ln);
        class.per_m3 += share * (per_m3 - class.per_m3);
        if self.classes.iter().all(|class| class.looks >= CLASS_LOOKS) {
            self.upstream_air_kg_per_s = self.leak_per_m3() * calibration.answers().displacement_m3;
        }
    }

    /// The leak that all classes tell of, over displacement, kg/(s m3); 0 when they do not agree.
    fn leak_per_m3(&self) -> f32 {
        let leaks = self.classes.map(|class| class.per_m3 * (Real::exp(class.right_ln) - 1.0));
        let mean = leaks.iter().sum::<f32>() / leaks.len() as f32;
        let suspect = self.classes.first().is_some_and(|idle| idle.right_ln > SUSPECT_LN);
        let agree = leaks.iter().all(|leak| (leak - mean).abs() < AGREE * mean);
        if suspect && agree { mean } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::Options;
    use crate::setup::SetupAnswers;
    use trimwright_numerics::{Lag, Ring};

    fn calibration() -> Calibration {
        let options = Options { self_check: true, ..Options::default() };
        Calibration::from_answers(&SetupAnswers::default()).unwrap().with_options(options)
    }

    fn look(error_ln: f32, air_kg_per_s: f32) -> Look {
        Look { calm: true, error_ln, right_ln: 0.0, delay_s: 0.4, air_kg_per_s, dt_s: 0.02 }
    }

    /// Lets a check run on a loop of that delay and gain, behind a sensor of 70 ms.
    fn check(delay_s: f32, gain: f32, calm: impl Fn(u32) -> bool) -> SelfCheck {
        let calibration = calibration();
        let (mut check, mut past, mut sensor) =
            (SelfCheck::default(), Ring::<f32, 100>::filled(0.0), Lag::at(0.0));
        for step in 0..2000 {
            past.push(check.dither_ln());
            let then = past.back((delay_s / 0.02) as usize).copied().unwrap();
            let noise = if step % 7 < 3 { 0.004 } else { -0.003 };
            sensor.step(-gain * then, 0.02, 0.07);
            check.step(&calibration, &Look { calm: calm(step), ..look(sensor.value() + noise, 0.02) });
        }
        check
    }

    #[test]
    fn delay_and_gain_are_measured() {
        for (delay_s, gain) in [(0.2, 1.0), (0.4, 1.0), (0.6, 0.7), (0.8, 1.3)] {
            let measured = check(delay_s, gain, |_| true).measured.unwrap();
            assert!((measured.delay_s - delay_s - 0.05).abs() < 0.12, "{delay_s}: {measured:?}");
            assert!((measured.gain - gain).abs() < 0.15, "{gain}: {measured:?}");
        }
    }

    #[test]
    fn a_sensor_that_answers_late_is_slow() {
        assert!(!check(0.4, 1.0, |_| true).slow);
        assert!(check(0.95, 1.0, |_| true).slow);
    }

    #[test]
    fn a_disturbed_check_says_nothing_and_stops_dithering() {
        let disturbed = check(0.4, 1.0, |step| step % 300 < 250);
        assert_eq!(disturbed.measured, None);
        assert_eq!(check(0.4, 1.0, |step| step < 300).dither_ln(), 0.0);
    }

    fn after_flows(right_ln: impl Fn(f32) -> f32) -> SelfCheck {
        let calibration = calibration();
        let mut check = SelfCheck::default();
        for air_kg_per_s in [5.2e-3, 12e-3, 25e-3] {
            for _ in 0..600 {
                let right_ln = right_ln(air_kg_per_s);
                check.compare_flows(&calibration, &Look { right_ln, ..look(0.0, air_kg_per_s) });
            }
        }
        check
    }

    #[test]
    fn air_from_outside_is_found_by_its_share_of_the_flow() {
        let leaking = after_flows(|air_kg_per_s| Real::ln(1.0 + 8e-4 / air_kg_per_s));
        assert!((leaking.upstream_air_kg_per_s / 8e-4 - 1.0).abs() < 0.05);
        assert!(leaking.is_falsified(&calibration(), 5e-3) && !leaking.is_falsified(&calibration(), 40e-3));
    }

    #[test]
    fn a_wrong_map_is_not_taken_for_air_from_outside() {
        for right_ln in [0.12, -0.2, 0.0] {
            assert_eq!(after_flows(|_| right_ln).upstream_air_kg_per_s, 0.0, "{right_ln}");
        }
        assert_eq!(after_flows(|air_kg_per_s| 0.15 - air_kg_per_s * 10.0).upstream_air_kg_per_s, 0.0);
    }
}
