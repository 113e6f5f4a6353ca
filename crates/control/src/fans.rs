//! Two cooling fans with hysteresis, and the air-conditioning clutch.

use trimwright_numerics::Real;

use crate::clock::LONG_S;
use crate::estimate::Estimate;
use crate::setup::Setup;

trimwright_numerics::parameters! {
    /// Cooling fans and air-conditioning clutch. The switching temperatures of the fans are setup answers.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct FanParameters<f32> "fans" {
        /// Temperature below the switch-on point at which a fan switches off.
        number hysteresis_k { 5.0, 0.5..=20.0 "K step", "engineering judgement" }
        /// Time after the start before which the fans stay off.
        number after_start_s { 2.0, 0.0..=120.0 "s", "engineering judgement" }
        /// Time by which the idle air leads a fan, whose current lowers the supply voltage and so the idle speed.
        number fan_lead_s { 0.5, 0.0..=9.0 "s", "engineering judgement, from A/C trials of the shipped cars" }
        /// Time after the start before which the compressor stays off.
        number ac_after_start_s { 5.0, 0.0..=120.0 "s", "engineering judgement" }
        /// Time by which idle air and fan lead the compressor clutch.
        number ac_lead_s { 1.0, 0.0..=9.0 "s", "engineering judgement, from A/C trials of the shipped cars" }
        /// Coolant temperature above which the compressor is off.
        number ac_max_ect_k { 386.0, 340.0..=420.0 "K", "engineering judgement" }
        /// Throttle position above which the compressor is off, for full power to the wheels.
        number ac_max_tp { 0.8, 0.1..=1.1 "1", "engineering judgement" }
    }
}

/// Stage of the fans and the compressor clutch.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Fans {
    on: [bool; 2],
    ac_wanted: bool,
    ac_clutch: bool,
    wanted: u8,
    ac_wanted_s: f32,
    fan_wanted_s: [f32; 2],
}

/// Time for which a condition has been true, s.
fn duration_s(wanted_s: &mut f32, wanted: bool, dt_s: f32) -> f32 {
    *wanted_s = if wanted { (*wanted_s + dt_s).at_most(LONG_S) } else { 0.0 };
    *wanted_s
}

impl Fans {
    /// Whether first and second fan are on.
    pub const fn on(&self) -> [bool; 2] {
        self.on
    }

    /// Number of fans running.
    pub const fn running(&self) -> u8 {
        self.on[0] as u8 + self.on[1] as u8
    }

    /// Number of fans that run or will run shortly: idle air opens.
    pub const fn wanted(&self) -> u8 {
        self.wanted
    }

    /// Whether the compressor runs or will run shortly: idle air opens.
    pub const fn ac_wanted(&self) -> bool {
        self.ac_wanted
    }

    /// Whether the clutch is engaged.
    pub const fn ac_clutch(&self) -> bool {
        self.ac_clutch
    }

    /// 10 ms task.
    ///
    /// ```
    /// use trimwright_control::sensing::Estimate;
    /// use trimwright_control::parameters::FanParameters;
    /// use trimwright_control::outputs::Fans;
    /// use trimwright_control::{Calibration, SetupAnswers};
    /// let calibration = Calibration::from_answers(&SetupAnswers::default())?;
    /// let (mut fans, mut estimate) = (Fans::default(), Estimate::default());
    /// let mut running_at = |ect_k| {
    ///     estimate.ect_k = ect_k;
    ///     for _ in 0..100 {
    ///         fans.step(&FanParameters::DEFAULT, calibration.setup(), &estimate, false, 600.0, 0.01);
    ///     }
    ///     fans.running()
    /// };
    /// // The first starts at 364 K, the second at 369 K; each stops 5 K lower.
    /// assert_eq!([360.0, 366.0, 371.0, 362.0, 358.0].map(&mut running_at), [0, 1, 2, 1, 0]);
    /// # Ok::<(), trimwright_control::AnswerError>(())
    /// ```
    pub fn step(
        &mut self,
        parameters: &FanParameters,
        setup: &Setup,
        estimate: &Estimate,
        ac_request: bool,
        running_s: f32,
        dt_s: f32,
    ) {
        let answers = setup.answers();
        let hot =
            |on_k: f32, was: bool| estimate.ect_k > if was { on_k - parameters.hysteresis_k } else { on_k };
        self.ac_wanted = ac_request
            && running_s > parameters.ac_after_start_s
            && estimate.ect_k < parameters.ac_max_ect_k
            && estimate.tp < parameters.ac_max_tp;
        self.ac_clutch = duration_s(&mut self.ac_wanted_s, self.ac_wanted, dt_s) > parameters.ac_lead_s;
        let allowed = answers.controls_fans && running_s > parameters.after_start_s;
        let ect_invalid = estimate.invalid.ect;
        let wanted = [
            allowed && (ect_invalid || self.ac_wanted || hot(answers.fan1_on_k, self.wanted > 0)),
            allowed && (ect_invalid || hot(answers.fan2_on_k, self.wanted > 1)),
        ];
        self.wanted = wanted.map(u8::from).iter().sum();
        let [first_s, second_s] = &mut self.fan_wanted_s;
        self.on = [
            duration_s(first_s, wanted[0], dt_s) > parameters.fan_lead_s,
            duration_s(second_s, wanted[1], dt_s) > parameters.fan_lead_s,
        ];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::SetupAnswers;
    use crate::calibration::Calibration;

    const FANS: FanParameters = FanParameters::DEFAULT;

    fn step(fans: &mut Fans, ect_k: f32, tp: f32, ac: bool) {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        for _ in 0..120 {
            fans.step(
                &FANS,
                calibration.setup(),
                &Estimate { ect_k, tp, ..Estimate::default() },
                ac,
                100.0,
                0.01,
            );
        }
    }

    #[test]
    fn fans_start_one_after_the_other_and_stop_with_hysteresis() {
        let mut fans = Fans::default();
        let states = [360.0, 365.0, 370.0, 366.0, 363.0, 358.0].map(|ect_k| {
            step(&mut fans, ect_k, 0.1, false);
            fans.running()
        });
        assert_eq!(states, [0, 1, 2, 2, 1, 0]);
    }

    #[test]
    fn the_compressor_brings_a_fan_and_yields_to_full_throttle_and_heat() {
        let mut fans = Fans::default();
        step(&mut fans, 350.0, 0.1, true);
        assert!(fans.ac_clutch && fans.on[0]);
        step(&mut fans, 350.0, 0.9, true);
        assert!(!fans.ac_clutch);
        step(&mut fans, 390.0, 0.1, true);
        assert!(!fans.ac_clutch && fans.running() == 2);
    }

    #[test]
    fn requests_of_fan_and_compressor_precede_their_switching() {
        let mut fans = Fans::default();
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let estimate = Estimate { ect_k: 350.0, ..Estimate::default() };
        fans.step(&FANS, calibration.setup(), &estimate, true, 100.0, 0.01);
        assert!(fans.ac_wanted && fans.wanted == 1 && !fans.ac_clutch && fans.running() == 0);
        (0..60).for_each(|_| fans.step(&FANS, calibration.setup(), &estimate, true, 100.0, 0.01));
        assert!(fans.running() == 1 && !fans.ac_clutch);
    }

    #[test]
    fn without_a_coolant_reading_both_fans_run() {
        let mut fans = Fans::default();
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let mut estimate = Estimate { ect_k: 300.0, ..Estimate::default() };
        estimate.invalid.ect = true;
        for _ in 0..60 {
            fans.step(&FANS, calibration.setup(), &estimate, false, 100.0, 0.01);
        }
        assert_eq!(fans.running(), 2);
    }

    #[test]
    fn a_wider_hysteresis_lets_a_fan_run_longer() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let runs_at_358_k = |hysteresis_k| {
            let (parameters, mut fans) = (FanParameters { hysteresis_k, ..FANS }, Fans::default());
            for ect_k in [366.0; 60].into_iter().chain([358.0; 60]) {
                let estimate = Estimate { ect_k, ..Estimate::default() };
                fans.step(&parameters, calibration.setup(), &estimate, false, 100.0, 0.01);
            }
            fans.running() > 0
        };
        assert!(!runs_at_358_k(5.0) && runs_at_358_k(8.0));
    }

    fn after(fans: &mut Fans, answers: &SetupAnswers, estimate: &Estimate, ac: bool, running_s: f32) {
        let calibration = Calibration::from_answers(answers).unwrap();
        fans.step(&FANS, calibration.setup(), estimate, ac, running_s, 0.25);
    }

    /// Steps of a quarter second: the fan waits half a second, the compressor a whole one.
    #[test]
    fn fan_and_compressor_switch_after_their_lead_has_passed() {
        let (answers, mut fans) = (SetupAnswers::default(), Fans::default());
        let estimate = Estimate { ect_k: 350.0, ..Estimate::default() };
        let states: [(u8, bool); 5] = core::array::from_fn(|_| {
            after(&mut fans, &answers, &estimate, true, 100.0);
            assert!(fans.ac_wanted() && fans.wanted() == 1);
            (fans.running(), fans.ac_clutch())
        });
        assert_eq!(states, [(0, false), (0, false), (1, false), (1, false), (1, true)]);
        assert_eq!(fans.on(), [true, false]);
        after(&mut fans, &answers, &estimate, false, 100.0);
        assert!(!fans.ac_wanted() && !fans.ac_clutch() && fans.wanted() == 0, "they stop at once");
    }

    #[test]
    fn at_a_limit_neither_a_fan_nor_the_compressor_is_wanted_yet() {
        let answers = SetupAnswers::default();
        let wanted = |ect_k, tp, running_s| {
            let mut fans = Fans::default();
            after(&mut fans, &answers, &Estimate { ect_k, tp, ..Estimate::default() }, true, running_s);
            (fans.wanted(), fans.ac_wanted())
        };
        assert_eq!(wanted(350.0, 0.1, FANS.ac_after_start_s), (0, false));
        assert_eq!(wanted(350.0, FANS.ac_max_tp, 100.0), (0, false));
        assert_eq!(wanted(FANS.ac_max_ect_k, 0.1, 100.0), (2, false));
        assert_eq!(wanted(answers.fan2_on_k, 0.9, 100.0), (1, false));
        assert_eq!(wanted(answers.fan1_on_k, 0.9, 100.0), (0, false));
        assert_eq!(wanted(380.0, 0.9, FANS.after_start_s), (0, false));
        assert_eq!(wanted(380.0, 0.9, FANS.after_start_s + 0.1), (2, false));
    }

    #[test]
    fn fans_that_are_not_controlled_are_left_alone() {
        let answers = SetupAnswers { controls_fans: false, ..SetupAnswers::default() };
        let mut fans = Fans::default();
        (0..10).for_each(|_| {
            after(&mut fans, &answers, &Estimate { ect_k: 385.0, ..Estimate::default() }, true, 100.0)
        });
        assert!(fans.wanted() == 0 && fans.running() == 0 && fans.ac_clutch());
    }

    #[test]
    fn the_second_fan_waits_for_its_lead_too() {
        let (answers, mut fans) = (SetupAnswers::default(), Fans::default());
        let running: [u8; 3] = core::array::from_fn(|_| {
            after(&mut fans, &answers, &Estimate { ect_k: 385.0, ..Estimate::default() }, false, 100.0);
            fans.running()
        });
        assert_eq!(running, [0, 0, 2]);
    }
}
