//! Charges in the cylinders between intake and exhaust.

use crate::distribution::MAX_CYLINDERS;

/// One intake event: the charge of one cylinder.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct CylinderEvent {
    /// Time since power-up at which the intake closed, s.
    pub time_s: f64,
    /// Index of the cylinder in firing order, from 0.
    pub cylinder: u8,
    /// Dry air, kg, without nitrous oxide.
    pub air_kg: f64,
    /// Nitrous oxide, kg.
    pub nitrous_kg: f64,
    /// Fuel of a mean cylinder, kg, without the spread between cylinders.
    pub fuel_kg: f64,
    /// Fuel of this cylinder, kg, with the spread.
    pub cylinder_fuel_kg: f64,
    /// Lambda of the engine, from `fuel_kg`; [`LAMBDA_WITHOUT_FUEL`] without fuel.
    pub lambda: f64,
    /// Manifold pressure, Pa.
    pub map_pa: f64,
    /// Temperature of the air in the manifold, K.
    pub manifold_k: f64,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f64,
    /// Exhaust back pressure, Pa.
    pub back_pressure_pa: f64,
    /// Water vapour in the air, kg.
    pub water_kg: f64,
    /// Mass fraction of residual gas, 0 to 1.
    pub residual: f64,
    /// Effect on lambda of the disturbances that last over the trip, ln: fuel of the tank, mean flow of fuel vapour.
    pub lasting_ln: f64,
    /// Effect on lambda of the disturbances that pass within seconds or minutes, ln.
    pub passing_ln: f64,
}

/// Lambda reported without fuel, and its upper limit.
pub const LAMBDA_WITHOUT_FUEL: f64 = 20.0;

/// Mass of dry air with as much oxygen as 1 kg of nitrous oxide: `0.3635 / 0.2314` (atom balance; oxygen mass fraction of dry
/// air by ISO 2533).
pub(crate) const AIR_PER_NITROUS: f64 = 0.3635 / 0.2314;

/// Lambda of a charge: oxygen as dry air, nitrous oxide included, over the stoichiometric demand of the fuel.
#[inline]
pub(crate) fn lambda_of(air_kg: f64, nitrous_kg: f64, fuel_kg: f64, stoich_afr: f64) -> f64 {
    let oxygen = air_kg + AIR_PER_NITROUS * nitrous_kg;
    let needed = fuel_kg * stoich_afr;
    if needed * LAMBDA_WITHOUT_FUEL > oxygen { oxygen / needed } else { LAMBDA_WITHOUT_FUEL }
}

/// Capacity in charges; more than the firing intervals from intake to exhaust, 3/4 of the most cylinders.
const CAPACITY: usize = 16;

/// Ring of the charges in the cylinders, the newest at `newest`.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Cylinders {
    charges: [Charge; CAPACITY],
    newest: usize,
    fire_after: usize,
    leave_after: usize,
}

/// A charge and its state.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Charge {
    pub(crate) intake: CylinderEvent,
    /// It misfired.
    pub(crate) misfired: bool,
    /// There is a charge: false before the first ones and after the exhaust event.
    pub(crate) present: bool,
}

impl Cylinders {
    /// The intake closes near bottom dead centre. The power stroke starts 180 degrees later; the middle of the exhaust stroke lies
    /// 450 degrees later, and most of the gas has left the port at 540. Both are counted in whole firing intervals.
    pub(crate) fn new(cylinders: u8) -> Self {
        let cylinders = usize::from(cylinders).min(MAX_CYLINDERS);
        Self {
            charges: [Charge::default(); CAPACITY],
            newest: 0,
            fire_after: cylinders.div_ceil(4),
            leave_after: (3 * cylinders).div_ceil(4).max(cylinders.div_ceil(4) + 1),
        }
    }

    /// Adds a charge and advances by one firing interval: call before [`Cylinders::firing`] and
    /// [`Cylinders::take_exhausting`].
    pub(crate) fn push(&mut self, intake: CylinderEvent) {
        self.newest = (self.newest + 1) % CAPACITY;
        self.charges[self.newest] = Charge { intake, misfired: false, present: true };
    }

    /// The charge that fires now.
    pub(crate) fn firing(&mut self) -> &mut Charge {
        &mut self.charges[(self.newest + CAPACITY - self.fire_after) % CAPACITY]
    }

    /// Takes the charge whose exhaust event is now.
    pub(crate) fn take_exhausting(&mut self) -> Charge {
        core::mem::take(&mut self.charges[(self.newest + CAPACITY - self.leave_after) % CAPACITY])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ident_every_charge_fires_once_and_leaves_once_in_order() {
        for cylinders in [2_u8, 3, 4, 6, 8, 12] {
            let mut pipeline = Cylinders::new(cylinders);
            let (mut fired, mut left) = (0, 0);
            for number in 1..=100_u8 {
                pipeline.push(CylinderEvent { cylinder: number, ..Default::default() });
                let now = pipeline.firing();
                if now.present {
                    fired += 1;
                    assert_eq!(now.intake.cylinder, fired);
                }
                let out = pipeline.take_exhausting();
                if out.present {
                    left += 1;
                    assert_eq!(out.intake.cylinder, left);
                }
            }
            assert!(fired >= 100 - cylinders && left >= 100 - cylinders && fired > left);
        }
    }

    #[test]
    fn val_nitrous_oxide_needs_its_stoichiometric_share_of_fuel() {
        // N2O to CH1.87 at stoichiometric 9.296 by mass: atom balance.
        assert!((lambda_of(0.0, 9.296, 1.0, 14.6022) - 1.0).abs() < 1e-3);
    }
}
