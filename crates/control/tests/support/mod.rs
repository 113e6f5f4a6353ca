//! A stand-in for an engine on a brake: speed, pressure and throttle are held from outside, air is the base map's times a known
//! error, fuel arrives without a film, and the reading comes a pipe, a cycle and a lag later. It is only there to see what
//! the controller makes of an error that is known.

use std::collections::VecDeque;

use trimwright_control::{Calibration, Controller};
use trimwright_signals::{Commands, Frame};

/// The stand-in and the controller on it.
pub(crate) struct Brake {
    pub(crate) controller: Controller,
    /// Air that is really there over air of the base map, at this speed and pressure.
    pub(crate) error: fn(f32, f32) -> f32,
    pub(crate) speed_rad_per_s: f32,
    pub(crate) map_pa: f32,
    pub(crate) tp: f32,
    pub(crate) ect_v: f32,
    /// Delay of the stand-in over the one that its flow gives.
    pub(crate) delay_factor: f32,
    /// Share of the true deviation that the reading shows, ln.
    pub(crate) gain: f32,
    /// Added to the reading, ln.
    pub(crate) bias_ln: f32,
    /// Changes frames on their way.
    pub(crate) spoil: fn(&mut Frame),
    /// Lambda in the cylinder at the last event.
    pub(crate) lambda: f32,
    pub(crate) commands: Commands,
    gas: VecDeque<(f32, f32)>,
    reading_ln: f32,
    time_us: u64,
    pulse_in_s: f32,
    fuel_kg: f32,
    noise: u32,
}

impl Brake {
    pub(crate) fn new(calibration: Calibration) -> Self {
        Self {
            controller: Controller::new(calibration),
            error: |_, _| 1.0,
            speed_rad_per_s: 160.0,
            map_pa: 45e3,
            tp: 0.1,
            ect_v: 0.9,
            delay_factor: 1.0,
            gain: 1.0,
            bias_ln: 0.0,
            spoil: |_| (),
            lambda: 1.0,
            commands: Commands::default(),
            gas: VecDeque::new(),
            reading_ln: 0.0,
            time_us: 0,
            pulse_in_s: 0.0,
            fuel_kg: 0.0,
            noise: 1,
        }
    }

    /// Seconds of frames 1 ms apart.
    pub(crate) fn run(&mut self, seconds: f32) {
        for _ in 0..(seconds * 1000.0) as u32 {
            self.step();
        }
    }

    pub(crate) fn time_s(&self) -> f32 {
        self.time_us as f32 * 1e-6
    }

    fn noise(&mut self) -> f32 {
        self.noise = self.noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.noise >> 8) as f32 / (1 << 24) as f32 - 0.5
    }

    fn step(&mut self) {
        let calibration = self.controller.calibration().clone();
        self.time_us += 1000;
        let mut frame = Frame { time_us: self.time_us, battery_v: 13.8, ..Frame::default() };
        self.pulse_in_s -= 1e-3;
        let drop_pa = 300e3 + 101_325.0 - self.map_pa;
        self.fuel_kg += self
            .commands
            .open_time_s
            .iter()
            .map(|open| calibration.injected_fuel_kg(*open, 13.8, drop_pa))
            .sum::<f32>();
        if self.pulse_in_s <= 0.0 {
            self.pulse_in_s += calibration.setup().firing_angle_rad() / self.speed_rad_per_s;
            frame.pulses_us.push(self.time_us).unwrap();
            self.burn(&calibration);
        }
        self.reading();
        frame.map_v = 0.5 + (self.map_pa - 10e3) / 25e3 + 0.004 * self.noise();
        frame.tp_v = 0.5 + 4.0 * self.tp + 0.004 * self.noise();
        (frame.ect_v, frame.iat_v) = (self.ect_v, 2.3);
        frame.frp_v = 0.5 + 300e3 / 175e3 + 0.004 * self.noise();
        frame.o2_v = ((self.reading_ln.exp() - 0.68) / 0.136 + 0.02 * self.noise()).clamp(0.0, 5.0);
        frame.switches.ignition = true;
        frame.switches.o2_ready = true;
        (self.spoil)(&mut frame);
        self.commands = self.controller.step(&frame);
    }

    fn burn(&mut self, calibration: &Calibration) {
        let charge_k = self.controller.state().insight().charge_k;
        let air_kg =
            calibration.setup().base_air_charge_kg(self.map_pa, 101_325.0, self.speed_rad_per_s, charge_k)
                * (self.error)(self.speed_rad_per_s, self.map_pa);
        let fuel_kg = std::mem::take(&mut self.fuel_kg);
        self.lambda = (air_kg / (calibration.answers().stoich_afr * fuel_kg.max(1e-9))).clamp(0.5, 3.0);
        let flow_kg_per_s = air_kg * self.speed_rad_per_s / calibration.setup().firing_angle_rad();
        let turn_s = core::f32::consts::TAU / self.speed_rad_per_s;
        let delay_s = (1.7 * turn_s + calibration.setup().pipe_kg() / flow_kg_per_s) * self.delay_factor;
        self.gas.push_back((self.time_s() + delay_s, self.lambda.ln()));
    }

    fn reading(&mut self) {
        while self.gas.len() > 1 && self.gas[1].0 <= self.time_s() {
            self.gas.pop_front();
        }
        if let Some((arrives_s, lambda_ln)) = self.gas.front()
            && *arrives_s <= self.time_s()
        {
            let shown_ln = self.gain * lambda_ln + self.bias_ln;
            self.reading_ln += 1e-3 / 0.09 * (shown_ln - self.reading_ln);
        }
    }
}
