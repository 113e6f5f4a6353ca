//! Simulated engine, fuel system, exhaust, sensors and vehicle: the truth, which the controller never sees.
//!
//! A throttle-body-injected spark-ignition engine in a car: a mean-value model of the intake air, resolved by cylinder event in fuel, air
//! charge and exhaust. No allocation, no `unsafe`, no standard library, no clock; randomness only from the seed.
//!
//! ```
//! use trimwright_plant::{DriverInputs, Key, Plant, Truth};
//! use trimwright_signals::Commands;
//!
//! let mut plant = Plant::new(Truth::mild_v8(), 1).unwrap();
//! let inputs = DriverInputs { key: Key::Start, ..DriverInputs::default() };
//! for _ in 0..1000 {
//!     plant.step(&Commands::default(), &inputs, 1e-3);
//! }
//! let rpm = plant.view().speed_rad_per_s * 30.0 / core::f64::consts::PI;
//! assert!(rpm > 120.0 && rpm < 300.0, "cranking at {rpm} rpm");
//! ```
//!
//! Each part is a file with its parameters, its state and its step; [`Plant::step`] calls them in the order of the data flow. A block of
//! parameters ([`mod@trimwright_numerics::parameters`]) gives default, range, unit, source and meaning of each; [`Truth`] holds all blocks.
//!
//! | part | model | source |
//! |---|---|---|
//! | [`Ambient`] | pressure and temperature by altitude, humidity | ISO 2533, WMO guide |
//! | [`Fuel`] | stoichiometric ratio, heating value, density, evaporation of petrol with ethanol | atom balance; ASTM D86 |
//! | [`ThrottleBody`] | plates, bypass, leaks: isentropic flow, choked or reversed | Heywood; Guzzella & Onder |
//! | [`Manifold`] | adiabatic filling and emptying, wall heat, evaporation | Hendricks et al., SAE 960037 |
//! | [`Filling`] | compression and pressures, speed curve, valve overlap, seeded deviation | Guzzella & Onder |
//! | [`Injectors`] | flow by pressure drop, delay by voltage, nonlinear short pulses, spread, deposits | orifice law, SAE J1832 terms |
//! | [`FuelSystem`] | tank, pump, regulator or returnless, line, filter, suction, vapour, slosh | Darcy-Weisbach, Haaland |
//! | [`Film`] | vapour, carried droplets, two puddles by mass transfer, floor temperature | Guzzella & Onder; bounds: Aquino, SAE 810494 |
//! | [`Distribution`] | fuel by cylinder and bank | common practice |
//! | [`Combustion`] | heat release by mixture, work by speed, spark and residual gas, misfire, cyclic variation, knock index | atom balance; Hendricks and Sorenson; Heywood |
//! | [`exhaust_species`] | CO2, CO, HC, H2, O2, water of each charge | atom balance, water-gas equilibrium |
//! | [`Friction`] | rubbing by speed and oil viscosity, pumping by pressures, compressor | Heywood; ASTM D341; Shayler et al. |
//! | [`Accessories`] | power steering pump, fan on the crank | common practice |
//! | [`Crank`], [`Trigger`] | speed by torques, starter, trigger pulses with jitter | mechanics |
//! | [`Gearbox`], [`Vehicle`] | converter or clutch, shifts, road load, grade, brakes | mechanics |
//! | [`Exhaust`] | gas parcels by mass, mixing, cooling, leak, back pressure | plug flow |
//! | [`OxygenSensor`], [`Sensors`] | heater, lag, noise, drift, curves and senders to volts, converter | in each block |
//! | [`Thermal`] | coolant, thermostat, fans, oil, wall, under-bonnet air, heat into the intake air | energy balance; Taylor and Toong |
//! | [`Electrical`] | battery by temperature, alternator, loads | circuit; SAE J537 |
//! | [`Nitrous`] | bottle, jet, oxygen, cooling, displaced air | property tables, atom balance |
//! | [`Disturbances`] | charge, vapour, drift, fuel of the tank: what no map can know | block means of a road car, IEEE document 8891367 |
//! | [`Faults`] | leaks, weak and clogged parts, wiring faults, lost and extra pulses | common practice |
//!
//! # Path of the data
//!
//! Air, fuel and exhaust gas:
//!
//! ```text
//!  outside air          injectors <- rail <- line, filter <- pump <- tank
//!      |                    |
//!      v                    v     X: fraction that lands on the wall
//!  plates, bypass -> [ manifold: p, m ] <---- film -- evaporates with tau
//!  leaks                    |
//!                           v   intake event of a cylinder: air, fuel, lambda
//!                      cylinders -- 1/4 cycle --> combustion: heat, work, torque -> crank -> coupling, gears -> vehicle
//!                           |   -- 3/4 cycle --> exhaust valve
//!                           v
//!                 pipe: parcels by mass -> mixing at the sensor -> heater, lag, noise -> volts
//! ```
//!
//! One [`Plant::step`], which lasts 10 us to 2 ms:
//!
//! | order | computes | from |
//! |---|---|---|
//! | 1 | every 100 ms: outside air, temperatures, fuel line losses, heater, thermistors | inputs, last step |
//! | 2 | every 10 ms: supply voltage, pump, idle air, nitrous, injector delay, film coefficients, gear, slow channels | commands, inputs |
//! | 3 | injected fuel, rail pressure | commands, delay, pressure drop |
//! | 4 | throttle flow, manifold pressure, wall film | throttle, filling efficiency, crank speed |
//! | 5 | cylinder events in this step: intake, combustion, exhaust, trigger pulses | crank angle |
//! | 6 | torques, crank speed, vehicle speed | indicated work, coupling |
//! | 7 | [`Frame`](trimwright_signals::Frame): volts, pulses, switches | all of these, noise, faults |
//!
//! # Equations
//!
//! | what | equation | source |
//! |---|---|---|
//! | throttle flow | `m' = A p0 / sqrt(R T0) psi(p / p0)`, [`flow_function`] | Heywood, app. C |
//! | throttle area | `A = cd pi d^2 / 4 (1 - cos a / cos a0)`, [`ThrottleBody::area_m2`] | Guzzella & Onder, ch. 2 |
//! | manifold | `dm/dt = m'_in - m'_out`, `dp/dt = kappa R / V (m'_in T_in - m'_out T) + (kappa - 1) / V Q'` | Hendricks et al., SAE 960037 |
//! | air charge | `eta p V / (R T)`, `eta` by compression, pressures, speed and overlap, [`Filling`] | Guzzella & Onder |
//! | injector | `Q sqrt(dp / dp0) t^2 / (t + nonlinearity)`, `t` after the opening delay, [`Injectors`] | orifice law; nonlinearity: engineering judgement |
//! | wall film | `dm/dt = X q - m / tau` of two puddles; X, tau by Weber, Reynolds and Spalding numbers, [`Film`] | Guzzella & Onder, ch. 2 |
//! | evaporation | equilibrium air distillation, [`Fuel::evaporated_share`] | Clausius-Clapeyron, Trouton's rule, vapour pressures of CoolProp; ASTM D86 |
//! | lambda | air over fuel times the stoichiometric ratio, [`Fuel`] | atom balance |
//! | heat release | limited by oxygen in rich mixtures, [`heat_released`] | water-gas equilibrium, species data of cantera |
//! | indicated efficiency | that of the Otto cycle, times `1 - 0.392 n^-0.36`, n in 1000 rpm, [`Combustion::best_efficiency`] | Hendricks and Sorenson, SAE 900616 |
//! | spark | torque `1 - 4.8e-4 d^2`, d in degrees from MBT, [`Combustion::burn`] | Hendricks and Sorenson, SAE 900616 |
//! | friction | `0.97 + 0.15 N + 0.05 N^2` bar, N in 1000 rpm, [`motored_fmep_pa`] | Heywood, eq. 13.6 |
//! | cold oil | friction times `(v / v_warm)^0.24`, `ln ln (v + 0.7)` linear in `ln T`, [`Friction`] | Shayler et al.; ASTM D341 |
//! | coolant heat | share of the heat proportional to `Re^-0.25`, [`coolant_share_factor`] | Taylor and Toong |
//! | battery | 7.2 V with its cold cranking amperes at -18 degC, [`Electrical::battery_ohm`] | SAE J537 |
//! | crank | `J dw/dt = M_indicated + M_starter - M_pumping - M_friction - M_load`, [`Crank`] | mechanics |
//! | vehicle | `m dv/dt = F - 1/2 rho c A v^2 - m g (f cos + sin) - brakes`, [`Vehicle`] | mechanics |
//! | transport delay | gas reaches the sensor when the gas behind it fills the pipe, [`Exhaust`] | plug flow |
//! | lambda at the sensor | `air / (fuel stoich)` of a stirred volume; a misfired charge counts with part of its fuel, [`Exhaust::misfire_fuel_share`] | atom balance; the fraction: engineering judgement |
//! | fuel line | `dp = f L / d rho v^2 / 2`, [`line_drop_pa`] | Darcy-Weisbach, Haaland |
//!
//! # Units
//!
//! SI units, as a suffix of each name; ratios and fractions have none.
//!
//! | suffix | unit | suffix | unit |
//! |---|---|---|---|
//! | `_pa` | pascal; absolute, where not stated as gauge | `_nm` | newton metre |
//! | `_k` | kelvin | `_j`, `_w` | joule, watt |
//! | `_kg`, `_kg_per_s` | kilogram, kilogram per second | `_v`, `_a`, `_ohm` | volt, ampere, ohm |
//! | `_s`, `_us`, `_hz` | second, microsecond, hertz | `_m`, `_m2`, `_m3`, `_m_per_s` | metre and its powers, metre per second |
//! | `_rad_per_s` | radian per second; 1 rpm is [`gas::RPM`] | `_deg` | degree of throttle plate or crank angle |
//!
//! # Not modelled
//!
//! - Pressure waves in intake and exhaust; the ripple of manifold pressure is a fixed parabola per firing interval, at the sensor only.
//! - Torque within a firing interval: the work of a charge is spread evenly over the next interval.
//! - Residual gas that varies from cycle to cycle, or that carries the unburned mixture of a misfire into the next charge.
//! - Air cleaner, exhaust gas recirculation, catalyst; the air that comes with crankcase and canister vapour.
//! - Uneven firing intervals.
//! - Temperature of the fuel in the line over time, as after a hot stop; what evaporates into an emptying line.
//! - Compression and expansion of the gas in the pipe; reverse flow at the tail end of a short exhaust.
//! - Brushes and field of the starter.
//! - Composition of the exhaust along the pipe: parcels carry air and fuel, not species, and [`Balances::exhaust`] is as it leaves the
//!   cylinders. Nitrogen oxides; hydrocarbons that burn in the exhaust.
//! - Dependence of the oxygen sensor on exhaust pressure and temperature.
//! - Wheel slip beyond a limit on driving force; reversing, rolling backwards.
//! - Mechanical damage: knock and lean mixtures are counted only.
#![no_std]

/// The examples of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

mod accessories;
mod ambient;
mod balances;
mod change;
mod check;
mod combustion;
mod crank;
mod cycle;
mod cylinders;
mod distribution;
mod disturbances;
mod driveline;
mod driver_inputs;
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
mod species;
mod tasks;
mod thermal;
mod thermistor;
mod throttle;
mod transfer;
mod trigger;
mod truth;
mod vehicle;
mod view;

pub use accessories::Accessories;
pub use ambient::{Air, Ambient, saturation_pa};
pub use balances::Balances;
pub use check::OutOfRange;
pub use combustion::{
    Burn, ChargeState, Combustion, EfficiencyCurve, Ignition, heat_released, nitrous_later_deg,
};
pub use crank::Crank;
pub use cylinders::{CylinderEvent, LAMBDA_WITHOUT_FUEL};
pub use distribution::{Distribution, MAX_CYLINDERS, in_sensor_bank};
pub use disturbances::{Disturbances, DisturbancesState};
pub use driver_inputs::{DriverInputs, GearRange, Key};
pub use electrical::Electrical;
pub use exhaust::Exhaust;
pub use faults::{Circuit, Faults};
pub use filling::{Filling, FillingModel, FillingPoint, SPEEDS};
pub use film::{Film, FilmCoefficients, FilmConditions, FilmState, Puddle};
pub use friction::{Friction, WARM_OIL_K, motored_fmep_pa};
pub use fuel::Fuel;
pub use fuel_system::{
    FuelStepInputs, FuelSystem, FuelSystemState, FuelTaskInputs, Supply, fuel_vapour_pa, line_drop_pa,
    pipe_drop_pa,
};
pub use gearbox::{Coupling, CouplingTorques, Gearbox, GearboxState, MAX_GEARS};
pub use injector::{InjectorState, Injectors, VOLTAGES};
pub use manifold::Manifold;
pub use nitrous::{
    Nitrous, NitrousState, nitrous_evaporation_j_per_kg, nitrous_liquid_kg_per_m3, nitrous_saturation_pa,
    nitrous_vapour_kg_per_m3,
};
pub use noise::Noise;
pub use oxygen_sensor::OxygenSensor;
pub use plant::{MAX_EVENTS, Plant};
pub use sensors::Sensors;
pub use species::{ExhaustSpecies, Molecule, exhaust_species};
pub use thermal::{Thermal, coolant_share_factor};
pub use thermistor::{SenderKind, thermistor_ohm};
pub use throttle::{ThrottleBody, critical_ratio, flow_function};
pub use trigger::Trigger;
pub use truth::{Engine, Truth};
pub use vehicle::{Forces, Vehicle, VehicleState};
pub use view::View;

/// States of single parts, to step a part by itself.
pub mod parts {
    pub use crate::crank::{CrankState, Torques, Work};
    pub use crate::electrical::ElectricalState;
    pub use crate::thermal::{ThermalInputs, ThermalState};
}
