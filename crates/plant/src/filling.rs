//! True filling (volumetric) efficiency of the cylinders.

use crate::gas::{KAPPA, RPM};
use crate::noise::Noise;
use trimwright_numerics::{Curve, Real};

/// Breakpoints of the speed curve.
pub const SPEEDS: usize = 8;
/// Range of manifold pressure over which the seeded deviation varies, Pa.
const PRESSURE_SPAN_PA: (f64, f64) = (20e3, 105e3);
/// Reference speed of [`Filling::overlap`], rad/s.
const OVERLAP_SPEED_RAD_PER_S: f64 = 1000.0 * RPM;
/// Temperature of the residual gas, expanded to manifold pressure, over that of the fresh charge (engineering judgement: 700 to 800 K
/// against 350 to 400 K at the end of the intake stroke).
const RESIDUAL_HOTTER: f64 = 2.0;
/// Chebyshev orders over speed and over pressure of the deviation's modes.
const MODES: [(usize, usize); 6] = [(1, 0), (0, 1), (1, 1), (2, 1), (1, 2), (3, 0)];

trimwright_numerics::parameters! {
    /// Filling efficiency on manifold density.
    ///
    /// `eta_v = (rc - (p_exh / p)^(1/kappa)) / (rc - 1) * curve(n) * cam(p, n) * (1 + deviation(n, p))`; the
    /// first factor and the split into pressure and speed are Guzzella & Onder's. `cam = 1 / (1 + overlap (n0 /
    /// n) (p_exh / p - 1))` is the effect of residual gas that flows back during valve overlap: it grows with the
    /// pressure ratio and with the time available (trend of Fox, Cheng & Heywood, SAE 931025; the formula is
    /// engineering judgement).
    pub struct Filling<f64> "filling" {
        /// Speeds of the filling curve, each at least 1 rad/s above the one before.
        list speed_rad_per_s {
            [SPEEDS] = [500.0 * RPM, 900.0 * RPM, 1500.0 * RPM, 2200.0 * RPM, 3000.0 * RPM, 3800.0 * RPM, 4600.0 * RPM, 5600.0 * RPM],
            0.0..=1500.0 "rad/s", "engineering judgement"
        }
        /// Filling factor at each speed.
        list speed_factor { [SPEEDS] = [0.72, 0.76, 0.83, 0.88, 0.90, 0.87, 0.80, 0.68], 0.2..=1.3 "1", "engineering judgement" }
        /// Valve overlap: fraction of the fresh charge displaced by residual gas, over the rest, at 1000 rpm and an exhaust pressure twice the
        /// manifold pressure; about 0.03 stock, 0.15 mild, 0.9 hot.
        number overlap { 0.15, 0.0..=1.5 "1", "engineering judgement" }
        /// Largest relative deviation of the smooth seeded deviation.
        number deviation { 0.0, 0.0..=0.3 "1", "engineering judgement" }
        /// Seed of the deviation's shape.
        whole deviation_seed { u64 = 1, 0..=18446744073709551615_u64 "1", "engineering judgement: any number" }
    }
}

/// Filling model prepared for repeated evaluation: speed curve and weights of the seeded deviation.
#[derive(Clone, Debug, PartialEq)]
pub struct FillingModel {
    curve: Curve<f64, SPEEDS>,
    compression_ratio: f64,
    overlap: f64,
    weights: [f64; MODES.len()],
    speed_span_rad_per_s: (f64, f64),
}

/// Filling of a cylinder at one operating point.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct FillingPoint {
    /// Filling efficiency on manifold density, 0 to 2.
    pub efficiency: f64,
    /// Mass fraction of residual gas in the cylinder, of clearance volume and valve overlap, 0 to 1.
    pub residual: f64,
}

impl FillingModel {
    /// Prepares the model; `None` when the speeds are not strictly rising.
    pub fn new(filling: &Filling, compression_ratio: f64) -> Option<Self> {
        let curve = Curve::new(filling.speed_rad_per_s, filling.speed_factor).ok()?;
        let mut noise = Noise::new(filling.deviation_seed);
        let weights = MODES.map(|_| {
            let size = 0.5 + 0.5 * noise.uniform();
            if noise.uniform() < 0.5 { -size } else { size }
        });
        let speed_span_rad_per_s = (filling.speed_rad_per_s[0], filling.speed_rad_per_s[SPEEDS - 1]);
        let mut model =
            Self { curve, compression_ratio, overlap: filling.overlap, weights, speed_span_rad_per_s };
        let mut largest = 0.0_f64;
        for i in 0..=16 {
            for j in 0..=16 {
                let (x, y) = (f64::from(i) / 8.0 - 1.0, f64::from(j) / 8.0 - 1.0);
                largest = largest.max(model.modes(x, y).abs());
            }
        }
        let scale = if largest > 0.0 { filling.deviation / largest } else { 0.0 };
        model.weights = model.weights.map(|weight| weight * scale);
        Some(model)
    }

    /// Relative deviation from the base formula at an operating point, within about +- [`Filling::deviation`].
    pub fn deviation(&self, pressure_pa: f64, speed_rad_per_s: f64) -> f64 {
        let across =
            |value: f64, (low, high): (f64, f64)| (2.0 * (value - low) / (high - low) - 1.0).held(-1.0, 1.0);
        self.modes(across(speed_rad_per_s, self.speed_span_rad_per_s), across(pressure_pa, PRESSURE_SPAN_PA))
    }

    /// Weighted sum of products of Chebyshev polynomials on -1 to 1.
    #[inline]
    fn modes(&self, x: f64, y: f64) -> f64 {
        let chebyshev = |x: f64| [1.0, x, 2.0 * x * x - 1.0, (4.0 * x * x - 3.0) * x];
        let (tx, ty) = (chebyshev(x), chebyshev(y));
        MODES.iter().zip(&self.weights).map(|(&(i, j), weight)| weight * tx[i] * ty[j]).sum()
    }

    /// Filling efficiency on manifold density, 0 to 2.
    pub fn efficiency(&self, pressure_pa: f64, back_pressure_pa: f64, speed_rad_per_s: f64) -> f64 {
        self.at(pressure_pa, back_pressure_pa, speed_rad_per_s).efficiency
    }

    /// Filling efficiency and residual gas at an operating point.
    ///
    /// Residual gas expands from the clearance volume to manifold pressure and flows back during valve overlap; both displace fresh charge
    /// by volume, and mixing does not change the volume. Its mass fraction follows from its volume and temperature; it agrees with the
    /// correlation of Fox, Cheng and Heywood (SAE 931025) within 20 %.
    pub fn at(&self, pressure_pa: f64, back_pressure_pa: f64, speed_rad_per_s: f64) -> FillingPoint {
        let ratio = (back_pressure_pa / pressure_pa.held(5e3, 1e6)).held(0.3, 10.0);
        let fresh = self.compression_ratio - Real::powf(ratio, 1.0 / KAPPA);
        let clearance = fresh / (self.compression_ratio - 1.0);
        let speed = speed_rad_per_s.held(20.0, 2000.0);
        let across = (ratio - 1.0).held(0.0, 10.0);
        let cam = 1.0 / (1.0 + self.overlap * OVERLAP_SPEED_RAD_PER_S / speed * across);
        let efficiency = clearance * self.curve.at(speed) * cam;
        let deviation = self.deviation(pressure_pa, speed_rad_per_s);
        let displaced = (1.0 - fresh * cam / self.compression_ratio).held(0.0, 1.0);
        FillingPoint {
            efficiency: (efficiency * (1.0 + deviation)).held(0.0, 2.0),
            residual: displaced / (displaced + RESIDUAL_HOTTER * (1.0 - displaced)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn truth() -> crate::Truth {
        crate::Truth::mild_v8()
    }

    #[test]
    fn the_deviation_reaches_its_size_somewhere_and_exceeds_it_nowhere() {
        for seed in 0..50 {
            let mut filling = truth().filling;
            filling.deviation = 0.15;
            filling.deviation_seed = seed;
            let model = FillingModel::new(&filling, 8.8).unwrap();
            let mut largest = 0.0_f64;
            for i in 0..100 {
                for j in 0..100 {
                    let d = model.deviation(20e3 + 850.0 * f64::from(i), 6.0 * f64::from(j));
                    largest = largest.max(d.abs());
                }
            }
            assert!(largest < 0.165 && largest > 0.12, "seed {seed}: {largest}");
        }
    }

    #[test]
    fn more_overlap_costs_filling_at_idle_and_nothing_at_full_load() {
        let [mild, hot] = [0.15, 0.6].map(|overlap| {
            let filling = Filling { overlap, deviation: 0.0, ..truth().filling };
            FillingModel::new(&filling, 8.8).unwrap()
        });
        let idle = 700.0 * RPM;
        assert!(hot.efficiency(35e3, 101e3, idle) < 0.7 * mild.efficiency(35e3, 101e3, idle));
        assert_eq!(hot.efficiency(101e3, 101e3, idle), mild.efficiency(101e3, 101e3, idle));
    }

    /// Residual fraction of Fox, Cheng and Heywood (SAE 931025, from memory): `1.266 (OF / N) (p / pe)^-0.87 sqrt(pe - p) + 0.632 (p /
    /// pe)^-0.74 / rc`, overlap factor in deg/m, N in 1/s, pressures in bar.
    fn published_residual(overlap: f64, pressure_pa: f64, rpm: f64, compression_ratio: f64) -> f64 {
        let (p, pe) = (pressure_pa * 1e-5, 1.013_25);
        let back_flow = 1.266 * overlap / (rpm / 60.0) * Real::powf(p / pe, -0.87) * Real::sqrt(pe - p);
        back_flow + 0.632 * Real::powf(p / pe, -0.74) / compression_ratio
    }

    #[test]
    fn band_residual_gas_follows_the_published_correlation() {
        // A stock cam has an overlap factor near 0.25 deg/m, a mild one near 0.6.
        for (overlap, factor) in [(0.0, 0.0), (0.05, 0.25), (0.15, 0.6)] {
            let filling = Filling { overlap, deviation: 0.0, ..truth().filling };
            let model = FillingModel::new(&filling, 8.8).unwrap();
            for (kpa, rpm) in [(40.0, 700.0), (40.0, 1500.0), (60.0, 1500.0), (60.0, 2500.0), (95.0, 2500.0)]
            {
                let found = model.at(1e3 * kpa, 101_325.0, rpm * RPM).residual;
                let published = published_residual(factor, 1e3 * kpa, rpm, 8.8);
                assert!((found / published - 1.0).abs() < 0.2, "{overlap} {kpa} {rpm}: {found} {published}");
            }
        }
    }

    #[test]
    fn a_hot_cam_idles_on_a_third_of_residual_gas_and_a_stock_one_on_less_than_a_fifth() {
        let residual = |overlap, kpa: f64, rpm: f64| {
            let filling = Filling { overlap, deviation: 0.0, ..truth().filling };
            FillingModel::new(&filling, 8.8).unwrap().at(1e3 * kpa, 101_325.0, rpm * RPM).residual
        };
        let (hot, stock) = (residual(0.88, 60.0, 900.0), residual(0.05, 38.0, 700.0));
        assert!((0.30..0.37).contains(&hot) && (0.12..0.20).contains(&stock), "{hot} {stock}");
        assert!(residual(0.88, 101.325, 3000.0) < 0.07);
    }

    #[test]
    fn without_pressure_across_only_the_speed_curve_is_left() {
        let filling = Filling { deviation: 0.0, ..truth().filling };
        let model = FillingModel::new(&filling, 8.8).unwrap();
        for (&speed, &factor) in filling.speed_rad_per_s.iter().zip(&filling.speed_factor) {
            assert!((model.efficiency(9e4, 9e4, speed) - factor).abs() < 1e-12);
        }
    }
}
