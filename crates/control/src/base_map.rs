//! Base map of volumetric efficiency, from the setup answers: `eta = load term * speed curve * (1 - back flow)`.
//!
//! Load term `a - b / p`: published for a port-injected engine of compression ratio 9.5 (reprint of Hendricks et al., SAE 960037), its
//! second term scaled with the clearance volume `1 / (r - 1)`. Speed curve `1 - c (n / n_peak - 1)^2`. Back flow during valve overlap: Fox,
//! Cheng and Heywood, SAE 931025.

use trimwright_numerics::{Axis, AxisError, Grid, Real};

use crate::answers::{Cam, SetupAnswers};

/// Number of breakpoints of the RPM axis.
pub const RPM_POINTS: usize = 14;
/// Number of breakpoints of the MAP axis.
pub const MAP_POINTS: usize = 12;
/// Number of cells of a map.
pub const CELLS: usize = RPM_POINTS * MAP_POINTS;
/// Gas constant of dry air, J/(kg K): ISO 2533.
pub const R_AIR: f32 = 287.053;
/// Bar in a pascal.
pub(crate) const BAR_PER_PA: f32 = 1e-5;
/// Barometric pressure for which the base map holds, Pa: standard pressure of ISO 2533.
pub const OUTSIDE_PA: f32 = 101_325.0;

trimwright_numerics::parameters! {
    /// Base map of volumetric efficiency.
    pub struct BaseMapParameters<f32> "base_map" {
        /// Factor on the base map over crank speed and manifold pressure, from a dynamometer or an earlier map.
        table factor { [4, 3] = ([0.0, 150.0, 300.0, 600.0], [30e3, 60e3, 100e3], [[1.0; 4]; 3]), 0.0..=1500.0 "rad/s", 0.0..=200e3 "Pa" => 0.3..=2.0 "1", "engineering judgement: 1, no prior knowledge" }
        /// Manifold pressures of the map's rows, rising.
        list map_points_pa { [12] = [18e3, 25e3, 31e3, 37e3, 43e3, 49e3, 56e3, 64e3, 73e3, 83e3, 93e3, 104e3], 10e3..=200e3 "Pa", "engineering judgement: closer together where roads are driven" }
        /// Speed of the map's first column over the idle speed.
        number min_speed_ratio { 0.7, 0.3..=1.0 "1", "engineering judgement" }
        /// Exponent of the spacing of the map's columns up to the rev limit: above 1 they are closer together at low speed.
        number speed_spacing { 1.4, 0.5..=3.0 "1", "engineering judgement" }
        /// Volumetric efficiency of the load term at high pressure.
        number load_limit { 0.952, 0.5..=1.2 "1", "reprint of Hendricks et al., SAE 960037" }
        /// Pressure coefficient of the load term at the compression ratio of the published engine.
        number load_loss_pa { 7500.0, 0.0..=20e3 "Pa", "reprint of Hendricks et al., SAE 960037" }
        /// Compression ratio of the published engine.
        number load_compression { 9.5, 6.0..=14.0 "1", "reprint of Hendricks et al., SAE 960037" }
        /// Speed of the highest volumetric efficiency over the rev limit, for a stock, a mild and a hot cam.
        list peak_share { [3] = [0.45, 0.52, 0.62], 0.2..=0.95 "1", "engineering judgement" }
        /// Volumetric efficiency lost per squared relative distance above the peak speed.
        number off_peak { 0.22, 0.0..=1.0 "1", "engineering judgement" }
        /// The same below the peak speed, for a stock, a mild and a hot cam: a late closing intake pushes charge back at low speed.
        list below_peak { [3] = [0.22, 0.22, 0.5], 0.0..=1.0 "1", "engineering judgement" }
        /// Overlap factor of a stock, a mild and a hot cam, degrees per metre.
        list overlap_deg_per_m { [3] = [0.5, 1.4, 5.0], 0.0..=10.0 "deg/m", "engineering judgement: 20, 38 and 77 degrees of overlap between 0.15 mm of lift in a two-valve engine, by the formula of Fox, Cheng and Heywood, SAE 931025, from memory" }
        /// Factor of the back flow term.
        number back_flow { 1.266, 0.0..=5.0 "1", "Fox, Cheng and Heywood, SAE 931025, from memory" }
        /// Exponent of the pressure ratio in the back flow term.
        number back_flow_exponent { -0.87, -2.0..=0.0 "1", "Fox, Cheng and Heywood, SAE 931025, from memory" }
        /// Lower limit of volumetric efficiency in a cell.
        number min_filling { 0.2, 0.05..=0.9 "1", "engineering judgement" }
        /// Upper limit of volumetric efficiency in a cell.
        number max_filling { 1.1, 0.5..=2.0 "1", "engineering judgement" }
    }
}

impl BaseMapParameters {
    /// Breakpoints of crank speed, rad/s: from below the idle speed to the rev limit, closer together at the low end.
    pub(crate) fn rpm_axis(&self, answers: &SetupAnswers) -> Result<Axis<f32, RPM_POINTS>, AxisError> {
        let (low, high) = (self.min_speed_ratio * answers.idle_speed_rad_per_s, answers.rev_limit_rad_per_s);
        Axis::new(core::array::from_fn(|index| {
            let share = index as f32 / (RPM_POINTS - 1) as f32;
            low + (high - low) * Real::powf(share, self.speed_spacing)
        }))
    }

    /// Breakpoints of manifold pressure at standard barometric pressure, Pa.
    pub(crate) fn map_axis(&self) -> Result<Axis<f32, MAP_POINTS>, AxisError> {
        Axis::new(self.map_points_pa)
    }

    /// Base map of volumetric efficiency, ratio: rows MAP, columns RPM.
    pub(crate) fn filling_map(
        &self,
        answers: &SetupAnswers,
        rpm_axis: &Axis<f32, RPM_POINTS>,
    ) -> Grid<f32, RPM_POINTS, MAP_POINTS> {
        let cell = |map_pa, speed| {
            let factor = self.factor.at(speed, map_pa);
            factor * self.filling(answers, map_pa, speed)
        };
        Grid::new(self.map_points_pa.map(|map_pa| rpm_axis.points().map(|speed| cell(map_pa, speed))))
    }

    /// Volumetric efficiency by the equation of the module, ratio.
    fn filling(&self, answers: &SetupAnswers, map_pa: f32, speed_rad_per_s: f32) -> f32 {
        let of_cam = |[stock, mild, hot]: [f32; 3]| match answers.cam {
            Cam::Stock => stock,
            Cam::Mild => mild,
            Cam::Hot => hot,
        };
        let lost =
            self.load_loss_pa / map_pa * (self.load_compression - 1.0) / (answers.compression_ratio - 1.0);
        let load = self.load_limit - lost;
        let off_peak = speed_rad_per_s / (of_cam(self.peak_share) * answers.rev_limit_rad_per_s) - 1.0;
        let loss = if off_peak < 0.0 { of_cam(self.below_peak) } else { self.off_peak };
        let speed = 1.0 - loss * off_peak * off_peak;
        let back_flow = self.back_flow(of_cam(self.overlap_deg_per_m), map_pa, speed_rad_per_s);
        (load * speed * (1.0 - back_flow)).held(self.min_filling, self.max_filling)
    }

    /// Share of the charge that is exhaust gas flowing back during valve overlap: `1.266 (OF / N) (p / pe)^-0.87 sqrt(pe - p)` with the
    /// overlap factor in deg/m, N in 1/s, pressures in bar.
    fn back_flow(&self, overlap_deg_per_m: f32, map_pa: f32, speed_rad_per_s: f32) -> f32 {
        let ratio = (map_pa / OUTSIDE_PA).held(0.1, 1.0);
        let drop_bar = (1.0 - ratio) * OUTSIDE_PA * BAR_PER_PA;
        let turns_per_s = speed_rad_per_s / core::f32::consts::TAU;
        let expanded = Real::powf(ratio, self.back_flow_exponent);
        self.back_flow * overlap_deg_per_m / turns_per_s * expanded * Real::sqrt(drop_bar)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BASE: BaseMapParameters = BaseMapParameters::DEFAULT;

    /// Hendricks et al. (SAE 960037), as reprinted: 0.952 - 0.075/p with p in bar, of a compression ratio of 9.5; worked by hand at 1.25 and
    /// 2 bar, where nothing else acts, and for a ratio of 11, whose clearance volume is 0.85 times as large.
    #[test]
    fn val_the_load_term_is_the_published_one_where_nothing_else_acts() {
        let answers = SetupAnswers { cam: Cam::Stock, compression_ratio: 11.0, ..SetupAnswers::default() };
        let peak = 0.45 * answers.rev_limit_rad_per_s;
        for (map_pa, expected) in [(125e3, 0.901), (200e3, 0.920_125)] {
            let found = BASE.filling(&answers, map_pa, peak);
            assert!((found - expected).abs() < 1e-5, "{map_pa}: {found}");
        }
    }

    /// Fox, Cheng and Heywood (SAE 931025, from memory): overlap 1.4 deg/m, 620 rpm, 0.43 bar against 1.013 bar.
    #[test]
    fn ident_back_flow_is_the_term_of_its_equation() {
        let expected =
            1.266 * 1.4 / (620.0 / 60.0) * (0.43_f64 / 1.01325).powf(-0.87) * (1.01325_f64 - 0.43).sqrt();
        let got = BASE.back_flow(1.4, 43e3, 620.0 * core::f32::consts::TAU / 60.0);
        assert!((f64::from(got) - expected).abs() < 1e-4);
        assert_eq!(BASE.back_flow(1.4, OUTSIDE_PA, 65.0), 0.0);
    }

    #[test]
    fn a_factor_acts_only_near_its_point() {
        let answers = SetupAnswers::default();
        let rpm_axis = BASE.rpm_axis(&answers).unwrap();
        let mut more = BASE;
        more.factor.cells[0][1] = 1.2;
        let (was, is) = (BASE.filling_map(&answers, &rpm_axis), more.filling_map(&answers, &rpm_axis));
        let (first, last) = (was.flat()[2 * RPM_POINTS + 4], is.flat()[2 * RPM_POINTS + 4]);
        assert!(last > 1.1 * first, "{first} {last}");
        assert_eq!(was.rows()[MAP_POINTS - 1], is.rows()[MAP_POINTS - 1]);
    }

    /// By hand: the seventh of fourteen columns is 6/13 to the power of 1.4 of the way.
    #[test]
    fn columns_reach_from_below_the_idle_speed_to_the_rev_limit() {
        let answers = SetupAnswers::default();
        let points = *BASE.rpm_axis(&answers).unwrap().points();
        assert!((points[0] - 0.7 * 73.3).abs() < 1e-3 && (points[13] - 545.0).abs() < 1e-3);
        let seventh = 51.31 + (545.0 - 51.31) * (6.0_f32 / 13.0).powf(1.4);
        assert!((points[6] - seventh).abs() < 0.01, "{}", points[6]);
    }
}
