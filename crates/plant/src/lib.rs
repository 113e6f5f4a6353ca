//! The engine, its fuel system, exhaust, sensors and car: the truth that a controller never sees.
//!
//! A throttle-body-injected spark-ignition engine in a car, mean-value in the gas path and resolved by
//! cylinder event in the fuel and exhaust path. No allocation, no `unsafe`, no standard library, no clock;
//! randomness only from the seed.
//!
//! ```
//! use trimwright_plant::{Hands, Key, Plant, Truth};
//! use trimwright_signals::Commands;
//!
//! let mut plant = Plant::new(Truth::mild_v8(), 1).unwrap();
//! let hands = Hands { key: Key::Start, ..Hands::default() };
//! for _ in 0..1000 {
//!     plant.step(&Commands::default(), &hands, 1e-3);
//! }
//! let rpm = plant.view().speed_rad_per_s * 30.0 / core::f64::consts::PI;
//! assert!(rpm > 120.0 && rpm < 300.0, "cranking at {rpm} rpm");
//! ```
//!
//! Each part is a file with its parameters, its state and its step; [`Plant::step`] calls them in the order
//! of the flow. The parameters stand there once, with default, range, unit, source and a sentence, as a block of
//! [`mod@trimwright_numerics::parameters`]; [`Truth`] holds all blocks.
//!
//! | part | what is modelled | after |
//! |---|---|---|
//! | [`Ambient`] | pressure and temperature by altitude, water in the air | ISO 2533, WMO guide |
//! | [`Fuel`] | air demand, heating value, density of petrol with ethanol | atom balance |
//! | [`ThrottleBody`] | plates, bypass, leaks: isentropic flow, choked or blowing back | Heywood; Guzzella & Onder |
//! | [`Manifold`] | adiabatic filling and emptying, wall heat, evaporation | Hendricks et al., SAE 960037 |
//! | [`Filling`] | compression and pressures, speed curve, valve overlap, seeded deviation | Guzzella & Onder |
//! | [`Injectors`] | flow by pressure drop, delay by voltage, bent short pulses, spread, deposits | orifice law, SAE J1832 terms |
//! | [`FuelSystem`] | pump, regulator or none, line, filter, suction, vapour, slosh | Darcy-Weisbach, Haaland |
//! | [`Film`] | share on the wall and its time constant, cold walls, flashing | Aquino, SAE 810494 |
//! | [`Distribution`] | fuel of each cylinder and bank | trade |
//! | [`Combustion`] | heat released by mixture, work by spark, misfire, scatter, knock index | chemistry; Heywood |
//! | [`Friction`] | rubbing by speed and oil, pumping by pressures, compressor | Heywood |
//! | [`Crank`], [`Trigger`] | speed by torques, starter, firing pulses with jitter | mechanics |
//! | [`Gearbox`], [`Vehicle`] | converter or clutch, shifts, road load, grade, brakes | mechanics |
//! | [`Exhaust`] | gas parcels by mass, mixing, cooling, leak, back pressure | plug flow |
//! | [`OxygenSensor`], [`Sensors`] | heater, lag, noise, drift, curves and senders to volts, converter | see there |
//! | [`Thermal`] | coolant, thermostat, fans, oil, wall, under-bonnet air, heat soak | energy balance |
//! | [`Electrical`] | battery, alternator, loads | circuit |
//! | [`Nitrous`] | bottle, jet, oxygen, cooling, room taken | property tables, atom balance |
//! | [`Faults`] | leaks, weak and clogged parts, broken wires, lost and extra pulses | trade |
//!
//! # The way of air and fuel
//!
//! ```text
//!  outside air          injectors <- rail <- line, filter <- pump <- tank
//!      |                    |
//!      v                    v     X: share that wets the wall
//!  plates, bypass -> [ manifold: p, T ] <---- film m ---- evaporates with tau
//!  leaks                    |
//!                           v   one intake event a cylinder: air, fuel, lambda
//!                      cylinders -- 1/4 cycle --> fire: heat, work, torque -> crank -> coupling, gears -> car
//!                           |   -- 3/4 cycle --> exhaust valve
//!                           v
//!                 pipe: parcels by mass -> mixing at the sensor -> heater, lag, noise -> volts
//! ```
//!
//! # The equations that matter most
//!
//! | what | equation | source |
//! |---|---|---|
//! | throttle | `m' = A p0 / sqrt(R T0) psi(p / p0)`, [`flow_function`] | Heywood, app. C |
//! | plate | `A = cd pi d^2 / 4 (1 - cos a / cos a0)`, [`ThrottleBody::area_m2`] | Guzzella & Onder, ch. 2 |
//! | manifold | `dp/dt = kappa R / V (m'_in T_in - m'_out T) + (kappa - 1) / V Q'` | Hendricks et al., SAE 960037 |
//! | air of a cylinder | `eta p V / (R T)`, `eta` by compression, pressures, speed and overlap, [`Filling`] | Guzzella & Onder |
//! | injector | `Q sqrt(dp / dp0) t^2 / (t + bend)`, `t` from the opening delay on, [`Injectors`] | orifice law; bend: engineering judgement |
//! | wall film | `dm/dt = X q - m / tau`, [`Film`] | Aquino, SAE 810494; X, tau after Hendricks et al. |
//! | lambda | air over fuel times the stoichiometric ratio, [`Fuel`] | atom balance |
//! | heat released | rich mixture lacks oxygen, [`heat_released`] | water-gas equilibrium, species data of cantera |
//! | friction | `0.97 + 0.15 N + 0.05 N^2` bar, N in 1000 rpm, [`motored_fmep_pa`] | Heywood, eq. 13.6 |
//! | lambda at the sensor | `air / (fuel stoich)` of a stirred volume that the parcels flow through; of a charge that did not burn a share of the fuel counts, [`Exhaust::misfire_seen`] | atom balance; the share: engineering judgement |
//! | transport | gas leaves the pipe when the mass after it fills the pipe, [`Exhaust`] | plug flow |
//! | fuel line | `dp = f L / d rho v^2 / 2`, [`line_drop_pa`] | Darcy-Weisbach, Haaland |
//!
//! # Units
//!
//! SI throughout, the unit in the name: `_pa _k _kg _kg_per_s _s _rad_per_s _m_per_s _v _a _ohm _nm _w _m _m2 _m3 _j`; angles of plates and
//! spark `_deg`; ratios have no suffix. 1 rpm is [`gas::RPM`] rad/s.
//!
//! # Not modelled
//!
//! - Pressure waves in intake and exhaust; the ripple of manifold pressure is a fixed parabola per firing
//!   interval, seen by the sensor only.
//! - Torque within a firing interval: a firing's work is spread evenly over the next interval, so idle is
//!   smoother than in life.
//! - Residual gas that stays in the clearance, other than through filling.
//! - Air cleaner, crankcase ventilation, exhaust gas recirculation, catalyst.
//! - Uneven firing orders; both banks are fed alternately.
//! - Temperature of the fuel in the line over time; boiling in the injectors after a hot stop.
//! - Compression and expansion of the gas in the pipe, reverse flow at the tail end of a short exhaust.
//! - Brushes and field of the starter.
//! - Rail pressure bleeding down through a check valve after the pump has stopped.
//! - Composition of the exhaust: parcels carry air and fuel, not species. That lambda comes back from the species of such a gas
//!   (Brettschneider 1979) is checked apart from the plant, in `tests/val/exhaust.rs`.
//! - The oxygen sensor's own dependence on exhaust pressure and temperature.
//! - Wheel slip beyond a limit on driving force; reversing, rolling backwards.
//! - Mechanical damage: knock and lean mixtures are counted and hurt nothing.
#![no_std]

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

mod ambient;
mod books;
mod change;
mod check;
mod combustion;
mod crank;
mod cycle;
mod cylinders;
mod distribution;
mod driveline;
mod electrical;
mod exhaust;
mod faults;
mod filling;
mod film;
mod friction;
mod fuel;
mod fuel_system;
pub mod gas;
mod gearbox;
mod hands;
mod injector;
mod intake;
mod knock;
mod manifold;
mod nitrous;
mod noise;
mod oxygen_sensor;
mod plant;
mod round;
mod sensors;
mod slots;
mod thermal;
mod thermistor;
mod throttle;
mod transfer;
mod trigger;
mod truth;
mod vehicle;
mod view;

pub use ambient::{Air, Ambient, saturation_pa};
pub use books::Books;
pub use check::OutOfRange;
pub use combustion::{Combustion, Ignition, heat_released};
pub use crank::Crank;
pub use cylinders::{CylinderEvent, NO_FUEL};
pub use distribution::{Distribution, MAX_CYLINDERS, in_sensor_bank};
pub use electrical::Electrical;
pub use exhaust::Exhaust;
pub use faults::{Circuit, Faults};
pub use filling::{Breath, Filling, FillingModel, SPEEDS};
pub use film::{Film, FilmCoefficients};
pub use friction::{Friction, motored_fmep_pa};
pub use fuel::Fuel;
pub use fuel_system::{FuelSystem, Supply, fuel_vapour_pa, line_drop_pa, pipe_drop_pa};
pub use gearbox::{Coupling, Gearbox, MAX_GEARS};
pub use hands::{Hands, Key, Range};
pub use injector::{Injectors, VOLTAGES};
pub use manifold::Manifold;
pub use nitrous::{Nitrous, nitrous_liquid_kg_per_m3, nitrous_saturation_pa};
pub use oxygen_sensor::OxygenSensor;
pub use plant::{MAX_EVENTS, Plant};
pub use sensors::Sensors;
pub use thermal::Thermal;
pub use thermistor::{Sender, thermistor_ohm};
pub use throttle::{ThrottleBody, critical_ratio, flow_function};
pub use trigger::Trigger;
pub use truth::{Engine, Truth};
pub use vehicle::Vehicle;
pub use view::View;
