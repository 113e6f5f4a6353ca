//! Constants of air, gravity and units used by several parts.

/// Gas constant of dry air, J/(kg K). ISO 2533.
pub const R_DRY_AIR: f64 = 287.052_87;
/// Ratio of specific heats of air near room temperature. ISO 2533.
pub const KAPPA: f64 = 1.4;
/// Specific heat of air at constant pressure, J/(kg K): `R kappa / (kappa - 1)`.
pub const CP_AIR: f64 = R_DRY_AIR * KAPPA / (KAPPA - 1.0);
/// Standard gravity, m/s^2. ISO 2533.
pub const GRAVITY_M_PER_S2: f64 = 9.806_65;
/// Ice point, K: 0 degC.
pub const ICE_K: f64 = 273.15;
/// Crank angle of one working cycle, rad: two turns.
pub const CYCLE_RAD: f64 = 4.0 * core::f64::consts::PI;
/// Working cycles per radian of crank angle.
pub const PER_CYCLE_RAD: f64 = 1.0 / CYCLE_RAD;
/// 1 rpm in rad/s.
pub const RPM: f64 = core::f64::consts::PI / 30.0;
