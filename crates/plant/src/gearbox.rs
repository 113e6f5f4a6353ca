//! Gearbox: automatic with torque converter, or manual with clutch, with a shift schedule.

use crate::driver_inputs::GearRange;
use trimwright_numerics::{AxisError, Curve, Real};

/// Most forward gears.
pub const MAX_GEARS: usize = 6;

/// Coupling between engine and gears.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coupling {
    /// Hydrodynamic torque converter.
    Converter,
    /// Dry clutch: engages with rising engine speed, opens below it and during shifts.
    Clutch,
}

trimwright_numerics::choice!(Coupling { Converter = "converter", Clutch = "clutch" });

trimwright_numerics::parameters! {
    /// Gears and shift schedule. A manual gearbox is shifted by the same schedule: the plant operates gear lever and clutch, and closes
    /// the throttle while the clutch is open.
    pub struct Gearbox<f64> "gearbox" {
        /// Coupling between engine and gears.
        choice coupling { Coupling = Coupling::Converter, "engineering judgement" }
        /// Converter capacity: torque over squared engine speed at stall.
        number converter_capacity { 7.0e-3, 1e-4..=0.1 "N m s2", "engineering judgement" }
        /// Torque ratio of the converter at stall.
        number converter_ratio { 2.0, 1.0..=3.0 "1", "engineering judgement" }
        /// Torque capacity of the closed clutch.
        number clutch_torque_nm { 400.0, 50.0..=2000.0 "N m", "engineering judgement" }
        /// Engine speed at which the clutch starts to engage.
        number clutch_bite_rad_per_s { 120.0, 60.0..=300.0 "rad/s", "engineering judgement" }
        /// Number of forward gears.
        whole gears { u8 = 3, 1..=6 "1", "engineering judgement" }
        /// Gear ratios, from first gear.
        list ratios { [MAX_GEARS] = [2.45, 1.45, 1.0, 1.0, 1.0, 1.0], 0.4..=8.0 "1", "engineering judgement" }
        /// Final drive ratio.
        number final_drive { 3.4, 1.5..=8.0 "1", "engineering judgement" }
        /// Efficiency from coupling to wheels; on overrun, from wheels to coupling.
        number efficiency { 0.92, 0.5..=1.0 "1", "engineering judgement" }
        /// Torque of the hydraulic pump of an automatic at the engine; a gearbox with a clutch has none.
        number converter_pump_nm { 5.0, 0.0..=50.0 "N m", "common practice, no source: the pump of a three-speed automatic takes about 1 kW at 2000 rpm" }
        /// Duration of a shift.
        number shift_s { 0.5, 0.05..=2.0 "s", "engineering judgement" }
        /// Vehicle speed of the upshift from each gear at closed throttle.
        list up_closed_m_per_s { [MAX_GEARS] = [4.5, 9.0, 15.0, 20.0, 25.0, 30.0], 1.0..=100.0 "m/s", "engineering judgement" }
        /// Vehicle speed of the upshift from each gear at full throttle.
        list up_full_m_per_s { [MAX_GEARS] = [17.0, 30.0, 40.0, 50.0, 60.0, 70.0], 1.0..=100.0 "m/s", "engineering judgement" }
        /// Speed of the downshift over that of the upshift.
        number down_share { 0.7, 0.3..=0.95 "1", "engineering judgement" }
    }
}

/// Converter capacity relative to stall over the speed ratio (usual shape, engineering judgement): nearly constant up
/// to the coupling point, then falling to zero at equal speeds.
const CAPACITY_RATIOS: [f64; 6] = [0.0, 0.5, 0.8, 0.9, 0.95, 1.0];
const CAPACITY: [f64; 6] = [1.0, 0.95, 0.78, 0.52, 0.30, 0.0];
/// Coupling point: speed ratio above which the converter no longer multiplies torque.
const COUPLING_POINT: f64 = 0.88;
/// Slip at which the clutch reaches its torque, rad/s: makes the friction a smooth function of slip (engineering judgement).
const CLUTCH_SLIP_RAD_PER_S: f64 = 3.0;

/// Torques on both sides of the coupling, N m.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CouplingTorques {
    /// Torque that the coupling takes from the engine.
    pub engine_nm: f64,
    /// Torque that it gives to the gears.
    pub gears_nm: f64,
}

/// Time in which the driver closes the throttle for a shift, s (engineering judgement).
const PEDAL_LIFT_S: f64 = 0.15;

/// Gear, ratio and shift in progress.
///
/// ```
/// use trimwright_plant::{GearRange, GearboxState, Truth};
/// let gearbox = Truth::mild_v8().gearbox;
/// let state = GearboxState::new(&gearbox)?;
/// let stall = state.couple(&gearbox, GearRange::Drive, 70.0, 0.0);
/// assert_eq!(stall.gears_nm, 2.0 * stall.engine_nm);
/// # Ok::<(), trimwright_numerics::AxisError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct GearboxState {
    /// Index of the gear, 0 for first.
    gear: usize,
    /// Overall ratio between coupling and wheels; changes gradually during a shift.
    ratio: f64,
    shifting_s: f64,
    capacity: Curve<f64, 6>,
}

impl GearboxState {
    /// First gear.
    ///
    /// # Errors
    /// Never: the speed ratios of the capacity curve rise.
    pub fn new(gearbox: &Gearbox) -> Result<Self, AxisError> {
        let capacity = Curve::new(CAPACITY_RATIOS, CAPACITY)?;
        Ok(Self { gear: 0, ratio: gearbox.ratios[0] * gearbox.final_drive, shifting_s: 0.0, capacity })
    }

    /// Gear shown to the driver, 1 for first.
    pub fn gear(&self) -> u8 {
        self.gear as u8 + 1
    }

    /// Overall ratio between coupling and wheels.
    pub fn overall_ratio(&self) -> f64 {
        self.ratio
    }

    /// Throttle opening during a shift: with a clutch it is closed and opened again by the end of the shift.
    #[inline]
    pub fn throttle_while_shifting(&self, gearbox: &Gearbox, throttle: f64) -> f64 {
        if gearbox.coupling != Coupling::Clutch || self.shifting_s <= 0.0 {
            return throttle;
        }
        let lift_s = PEDAL_LIFT_S.min(0.5 * gearbox.shift_s);
        let elapsed_s = gearbox.shift_s - self.shifting_s;
        throttle * (1.0 - elapsed_s.min(self.shifting_s) / lift_s).held(0.0, 1.0)
    }

    /// 10 ms task: shift schedule with thresholds by throttle and hysteresis, one shift at a time.
    pub fn shift(&mut self, gearbox: &Gearbox, vehicle_m_per_s: f64, throttle: f64, dt_s: f64) {
        let threshold = |gear: usize| {
            let gear = gear.min(MAX_GEARS - 1);
            let (closed, full) = (gearbox.up_closed_m_per_s[gear], gearbox.up_full_m_per_s[gear]);
            closed + (full - closed) * throttle.held(0.0, 1.0)
        };
        if self.shifting_s > 0.0 {
            self.shifting_s -= dt_s;
        } else if self.gear + 1 < usize::from(gearbox.gears) && vehicle_m_per_s > threshold(self.gear) {
            self.gear += 1;
            self.shifting_s = gearbox.shift_s;
        } else if self.gear > 0 && vehicle_m_per_s < gearbox.down_share * threshold(self.gear - 1) {
            self.gear -= 1;
            self.shifting_s = gearbox.shift_s;
        }
        let target = gearbox.ratios[self.gear.min(MAX_GEARS - 1)] * gearbox.final_drive;
        let share = if self.shifting_s > dt_s { dt_s / self.shifting_s } else { 1.0 };
        self.ratio += share * (target - self.ratio);
    }

    /// Torque of the hydraulic pump at the engine, N m.
    #[inline]
    pub fn pump_nm(&self, gearbox: &Gearbox) -> f64 {
        if gearbox.coupling == Coupling::Converter { gearbox.converter_pump_nm } else { 0.0 }
    }

    /// Torque at the wheels for a torque of the coupling, N m; a negative one is that of the wheels on overrun.
    #[inline]
    pub fn wheels_nm(&self, gearbox: &Gearbox, gears_nm: f64) -> f64 {
        let kept = if gears_nm < 0.0 { 1.0 / gearbox.efficiency } else { gearbox.efficiency };
        gears_nm * self.ratio * kept
    }

    /// Torques of the coupling at engine speed `engine` and gearbox input speed `input`, rad/s.
    #[inline]
    pub fn couple(&self, gearbox: &Gearbox, range: GearRange, engine: f64, input: f64) -> CouplingTorques {
        if range != GearRange::Drive {
            return CouplingTorques::default();
        }
        match gearbox.coupling {
            Coupling::Converter => {
                let (capacity, ratio) = (gearbox.converter_capacity, gearbox.converter_ratio);
                if engine >= input {
                    let slip = if engine > 0.0 { input / engine } else { 1.0 };
                    let torque = capacity * self.capacity.at(slip) * engine * engine;
                    let gain = if slip < COUPLING_POINT {
                        ratio - (ratio - 1.0) * slip / COUPLING_POINT
                    } else {
                        1.0
                    };
                    CouplingTorques { engine_nm: torque, gears_nm: torque * gain }
                } else {
                    // Overrun: the wheels drive the engine, with the smaller capacity of the reversed converter.
                    let torque = -0.6 * capacity * self.capacity.at(engine / input) * input * input;
                    CouplingTorques { engine_nm: torque, gears_nm: torque }
                }
            }
            Coupling::Clutch => {
                let closed = ((engine / gearbox.clutch_bite_rad_per_s - 1.0) / 0.6).held(0.0, 1.0);
                let open = self.shifting_s > 0.0;
                let capacity_nm = if open { 0.0 } else { gearbox.clutch_torque_nm * closed };
                let torque = capacity_nm * ((engine - input) / CLUTCH_SLIP_RAD_PER_S).held(-1.0, 1.0);
                CouplingTorques { engine_nm: torque, gears_nm: torque }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn automatic() -> (Gearbox, GearboxState) {
        let gearbox = crate::Truth::mild_v8().gearbox;
        let state = GearboxState::new(&gearbox).unwrap();
        (gearbox, state)
    }

    #[test]
    fn the_converter_multiplies_at_stall_and_passes_nothing_at_equal_speeds() {
        let (gearbox, state) = automatic();
        let stall = state.couple(&gearbox, GearRange::Drive, 70.0, 0.0);
        assert!((stall.gears_nm / stall.engine_nm - 2.0).abs() < 0.2 && stall.engine_nm > 10.0);
        assert_eq!(state.couple(&gearbox, GearRange::Drive, 70.0, 70.0), CouplingTorques::default());
        assert!(state.couple(&gearbox, GearRange::Drive, 70.0, 90.0).engine_nm < 0.0);
        for range in [GearRange::Park, GearRange::Neutral] {
            assert_eq!(state.couple(&gearbox, range, 70.0, 0.0), CouplingTorques::default());
        }
    }

    #[test]
    fn it_changes_up_and_down_with_hysteresis() {
        let (gearbox, mut state) = automatic();
        let mut drive = |speed: f64, throttle: f64| {
            for _ in 0..300 {
                state.shift(&gearbox, speed, throttle, 0.01);
            }
            state.gear()
        };
        assert_eq!(drive(0.0, 0.1), 1);
        assert_eq!(drive(25.0, 0.1), 3);
        let up =
            gearbox.up_closed_m_per_s[1] + 0.1 * (gearbox.up_full_m_per_s[1] - gearbox.up_closed_m_per_s[1]);
        assert_eq!(drive(0.9 * up, 0.1), 3);
        assert_eq!(drive(0.6 * up, 0.1), 2);
        assert_eq!(drive(0.0, 0.0), 1);
    }

    #[test]
    fn the_throttle_closes_and_opens_gradually_in_a_shift() {
        let (mut gearbox, mut state) = automatic();
        state.shift(&gearbox, 25.0, 0.1, 0.01);
        assert_eq!(state.throttle_while_shifting(&gearbox, 0.3), 0.3, "an automatic shifts under throttle");
        gearbox.coupling = Coupling::Clutch;
        let throttles: [f64; 51] = core::array::from_fn(|_| {
            let left = state.throttle_while_shifting(&gearbox, 0.3);
            state.shift(&gearbox, 25.0, 0.3, 0.01);
            left
        });
        assert!(
            throttles.windows(2).all(|pair| (pair[1] - pair[0]).abs() < 0.3 * 0.011 / PEDAL_LIFT_S),
            "{throttles:?}"
        );
        assert!(throttles[0] > 0.29 && throttles[25] == 0.0 && throttles[50] > 0.27, "{throttles:?}");
    }

    #[test]
    fn the_clutch_opens_below_its_engagement_speed_and_is_limited_to_its_torque() {
        let gearbox = Gearbox {
            coupling: Coupling::Clutch,
            clutch_torque_nm: 300.0,
            clutch_bite_rad_per_s: 95.0,
            ..crate::Truth::mild_v8().gearbox
        };
        let state = GearboxState::new(&gearbox).unwrap();
        assert_eq!(state.couple(&gearbox, GearRange::Drive, 80.0, 0.0).engine_nm, 0.0);
        assert_eq!(state.couple(&gearbox, GearRange::Drive, 400.0, 0.0).engine_nm, 300.0);
        assert!(state.couple(&gearbox, GearRange::Drive, 200.0, 201.0).engine_nm < 0.0);
    }
}
