//! Driver model: starts the engine, follows a speed schedule with a short preview, idles at stops.
//!
//! The driver sees the speedometer and hears whether the engine runs, knows the car's mass and road load approximately, and knows nothing
//! of the mixture. The gains are engineering judgement: a practised test driver who stays within the tolerance of a schedule.

use trimwright_plant::{DriverInputs, GearRange, Truth, View};

use crate::schedule::Schedule;
use crate::starting::{PERIOD_S, Starting};

/// Preview along the schedule, s.
const LOOK_AHEAD_S: f64 = 1.0;
/// Time constant for closing the gap to the scheduled speed, s.
const CLOSE_S: f64 = 1.6;
/// Integral gain on the speed error, 1/s.
const INTEGRAL_PER_S: f64 = 0.2;
/// Deceleration at full brake, roughly, m/s^2.
const FULL_BRAKE_M_PER_S2: f64 = 7.0;
/// Largest pedal speed, full travels per second, and time constant with which the pedal approaches its position, s.
const PEDAL_PER_S: f64 = 0.8;
const PEDAL_TAU_S: f64 = 0.2;
/// Brake while parked, ratio.
const PARKED_BRAKE: f64 = 0.3;
/// Pedal travel below which the pedal is released, ratio.
const RESTING: f64 = 2e-3;
/// Engine speed at which full torque needs the full pedal, rad/s.
const FULL_AIR_RAD_PER_S: f64 = 1200.0;
/// Gravity, m/s^2.
const GRAVITY: f64 = 9.81;
/// Density of air in the drag estimate, kg/m^3.
const AIR_KG_PER_M3: f64 = 1.2;

/// The driver's estimate of the car.
///
/// ```
/// use trimwright_harness::{driver::VehicleEstimate, scenario::Scenario};
/// let mut van = Scenario::load("delivery-van")?;
/// let empty = VehicleEstimate::of(&van.truth);
/// van.truth.vehicle.mass_kg += 800.0;
/// let loaded = VehicleEstimate::of(&van.truth);
/// assert!(loaded.rolling_n > empty.rolling_n && loaded.full_force_n == empty.full_force_n);
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VehicleEstimate {
    /// Mass with load and rotating parts, kg.
    pub mass_kg: f64,
    /// Rolling resistance, N.
    pub rolling_n: f64,
    /// Air drag over speed squared, N s^2/m^2.
    pub drag_n_s2_per_m2: f64,
    /// Power at the wheels at full pedal, W.
    pub full_power_w: f64,
    /// Force at the wheels at full pedal and low speed, N.
    pub full_force_n: f64,
}

impl VehicleEstimate {
    /// The estimate of a driver who has driven this car for a while: true load, and about its performance (110 N m per litre with the
    /// converter's help, 28 kW per litre).
    pub fn of(truth: &Truth) -> Self {
        let litres = truth.engine.displacement_m3 * 1e3;
        let gearbox = &truth.gearbox;
        let first = gearbox.ratios.iter().copied().fold(1.0, f64::max) * gearbox.final_drive;
        let vehicle = &truth.vehicle;
        Self {
            mass_kg: vehicle.mass_kg + vehicle.rotating_kg,
            rolling_n: vehicle.rolling * vehicle.mass_kg * GRAVITY,
            drag_n_s2_per_m2: 0.5 * AIR_KG_PER_M3 * vehicle.drag_m2,
            full_power_w: 28e3 * litres,
            full_force_n: 110.0 * litres * first / vehicle.wheel_m,
        }
    }
}

/// Driver that follows a speed schedule.
///
/// ```
/// use trimwright_harness::driver::{Driver, VehicleEstimate};
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_plant::{Key, View};
/// let scenario = Scenario::load("delivery-van")?;
/// let mut driver = Driver::new(VehicleEstimate::of(&scenario.truth));
/// let inputs = driver.act(0.0, 0.0, &scenario.schedule, &View::default());
/// assert_eq!((inputs.key, inputs.throttle), (Key::On, 0.0), "first the ignition");
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Driver {
    vehicle: VehicleEstimate,
    starting: Starting,
    integral: f64,
    inputs: DriverInputs,
}

impl Driver {
    /// A driver in a car with the engine off.
    pub fn new(vehicle: VehicleEstimate) -> Self {
        let inputs = DriverInputs { range: GearRange::Park, brake: PARKED_BRAKE, ..DriverInputs::default() };
        Self { vehicle, starting: Starting::new(), integral: 0.0, inputs }
    }

    /// Start and stall record.
    pub fn starting(&self) -> &Starting {
        &self.starting
    }

    /// Returns the driver inputs; to be called every [`PERIOD_S`]. `time_s` is the time since power-up, `schedule_s` the place in the
    /// schedule.
    pub fn act(&mut self, time_s: f64, schedule_s: f64, schedule: &Schedule, view: &View) -> &DriverInputs {
        let wanted = schedule.at(schedule_s);
        self.inputs.key = self.starting.act(time_s, wanted.key, view.speed_rad_per_s);
        self.inputs.ac = wanted.ac;
        self.inputs.nitrous_armed = wanted.nitrous;
        self.inputs.grade = wanted.grade;
        self.inputs.altitude_m = wanted.altitude_m;
        if self.starting.is_running() {
            self.drive(schedule_s, schedule, view);
        } else {
            self.inputs.throttle = 0.0;
            self.inputs.brake = PARKED_BRAKE;
            self.inputs.range = GearRange::Park;
            self.integral = 0.0;
        }
        &self.inputs
    }

    /// Moves the pedals for the scheduled speed.
    fn drive(&mut self, time_s: f64, schedule: &Schedule, view: &View) {
        self.inputs.range = GearRange::Drive;
        let speed_m_per_s = view.vehicle_m_per_s;
        let now_m_per_s = schedule.speed_m_per_s(time_s);
        let ahead_m_per_s = schedule.speed_m_per_s(time_s + LOOK_AHEAD_S);
        if now_m_per_s < 0.05 && ahead_m_per_s < 0.05 {
            // At a stop: pedal released, brake applied, harder while the car still rolls.
            self.integral = 0.0;
            self.move_pedals(0.0, if speed_m_per_s > 0.3 { 0.35 } else { 0.25 });
            return;
        }
        let wanted_m_per_s2 =
            (ahead_m_per_s - now_m_per_s) / LOOK_AHEAD_S + (now_m_per_s - speed_m_per_s) / CLOSE_S;
        let vehicle = self.vehicle;
        let slope_n = vehicle.mass_kg * GRAVITY * self.inputs.grade;
        let coasting_n =
            vehicle.rolling_n + vehicle.drag_n_s2_per_m2 * speed_m_per_s * speed_m_per_s + slope_n;
        self.integral =
            (self.integral + INTEGRAL_PER_S * (now_m_per_s - speed_m_per_s) * PERIOD_S).clamp(-1.5, 1.5);
        let wanted_n = vehicle.mass_kg * (wanted_m_per_s2 + self.integral) + coasting_n;
        let full_n = vehicle.full_force_n.min(vehicle.full_power_w / speed_m_per_s.max(1.0));
        if wanted_n > -0.15 * vehicle.mass_kg {
            // Torque is proportional to air per turn, so air flow is proportional to torque and engine speed; throttle air is roughly
            // proportional to the square of its travel.
            let share = (wanted_n / full_n).clamp(0.0, 1.0);
            let air = share * view.speed_rad_per_s / FULL_AIR_RAD_PER_S;
            self.move_pedals(libm::sqrt(air.clamp(0.0, 1.0)), 0.0);
        } else {
            let share = -wanted_n / (vehicle.mass_kg * FULL_BRAKE_M_PER_S2);
            self.move_pedals(0.0, share.clamp(0.0, 1.0));
        }
    }

    fn move_pedals(&mut self, throttle: f64, brake: f64) {
        let reach = PEDAL_PER_S * PERIOD_S;
        let lag = PERIOD_S / (PEDAL_TAU_S + PERIOD_S);
        self.inputs.throttle += (lag * (throttle - self.inputs.throttle)).clamp(-reach, reach);
        self.inputs.brake += (brake - self.inputs.brake).clamp(-reach, reach);
        if self.inputs.throttle < RESTING {
            self.inputs.throttle = 0.0;
        }
    }
}
