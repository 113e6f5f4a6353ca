//! The charges between intake valve and exhaust valve: drawn in, fired, pushed out.

use crate::distribution::MAX_CYLINDERS;

/// One intake event: what one cylinder drew.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CylinderEvent {
    /// Time since power-up at which the intake closed, s.
    pub time_s: f64,
    /// Which cylinder, in firing order from 0.
    pub cylinder: u8,
    /// Dry air drawn, kg. Nitrous oxide is not in it.
    pub air_kg: f64,
    /// Nitrous oxide drawn, kg.
    pub nitrous_kg: f64,
    /// Fuel before the split between cylinders, kg: what a cylinder of the mean would have got.
    pub fuel_kg: f64,
    /// Fuel that this cylinder really got, kg.
    pub cylinder_fuel_kg: f64,
    /// Mixture of the whole engine, before the split between cylinders; [`NO_FUEL`] when no fuel came.
    pub lambda: f64,
    /// Manifold pressure, Pa.
    pub map_pa: f64,
    /// Temperature of the air in the manifold, K.
    pub manifold_k: f64,
    /// Crank speed, rad/s.
    pub speed_rad_per_s: f64,
    /// Exhaust back pressure, Pa.
    pub back_pressure_pa: f64,
    /// Water vapour drawn with the air, kg.
    pub water_kg: f64,
    /// Share of the fresh charge whose place residual gas took through valve overlap.
    pub residual: f64,
}

/// Lambda stated when there is no fuel at all.
pub const NO_FUEL: f64 = 20.0;

/// Oxygen of nitrous oxide in terms of dry air: mass of air that carries as much oxygen as 1 kg of it,
/// `0.3635 / 0.2314` (atom balance; oxygen share of dry air by ISO 2533).
pub(crate) const AIR_PER_NITROUS: f64 = 0.3635 / 0.2314;

/// Dry air that would carry all the oxygen of the charge over what the fuel needs.
#[inline]
pub(crate) fn lambda_of(air_kg: f64, nitrous_kg: f64, fuel_kg: f64, stoich_afr: f64) -> f64 {
    let oxygen = air_kg + AIR_PER_NITROUS * nitrous_kg;
    let needed = fuel_kg * stoich_afr;
    if needed * NO_FUEL > oxygen { oxygen / needed } else { NO_FUEL }
}

/// Firing intervals that a charge waits; more than 3/4 of the most cylinders.
const WAITING: usize = 16;

/// Charges in the cylinders, youngest at `count`.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Cylinders {
    charges: [Charge; WAITING],
    count: usize,
    fire_after: usize,
    leave_after: usize,
}

/// A charge and what became of it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Charge {
    pub(crate) drawn: CylinderEvent,
    /// It did not burn.
    pub(crate) misfired: bool,
    /// Leaks and stops empty the cylinders: there is nothing in it.
    pub(crate) present: bool,
}

impl Cylinders {
    /// Intake closes near bottom dead centre. The power stroke, which carries the work, starts 180 degrees
    /// later; the middle of the exhaust stroke lies 450 degrees later, and most of the gas is out of the port
    /// at 540. Both are counted in whole firing intervals.
    pub(crate) fn new(cylinders: u8) -> Self {
        let cylinders = usize::from(cylinders).min(MAX_CYLINDERS);
        Self {
            charges: [Charge::default(); WAITING],
            count: 0,
            fire_after: cylinders.div_ceil(4),
            leave_after: (3 * cylinders).div_ceil(4).max(cylinders.div_ceil(4) + 1),
        }
    }

    /// Takes in a charge; afterwards [`Cylinders::fired`] and [`Cylinders::leaving`] speak of this firing
    /// interval.
    pub(crate) fn draw(&mut self, drawn: CylinderEvent) {
        self.count = (self.count + 1) % WAITING;
        self.charges[self.count] = Charge { drawn, misfired: false, present: true };
    }

    /// The charge that fires now.
    pub(crate) fn fired(&mut self) -> &mut Charge {
        &mut self.charges[(self.count + WAITING - self.fire_after) % WAITING]
    }

    /// The charge that leaves through the exhaust valve now.
    pub(crate) fn leaving(&mut self) -> Charge {
        core::mem::take(&mut self.charges[(self.count + WAITING - self.leave_after) % WAITING])
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
                pipeline.draw(CylinderEvent { cylinder: number, ..Default::default() });
                let now = pipeline.fired();
                if now.present {
                    fired += 1;
                    assert_eq!(now.drawn.cylinder, fired);
                }
                let out = pipeline.leaving();
                if out.present {
                    left += 1;
                    assert_eq!(out.drawn.cylinder, left);
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
