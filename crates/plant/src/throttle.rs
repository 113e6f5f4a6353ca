//! Throttle body: flow from outside air through plates, idle-air bypass and leaks into the manifold.

use crate::gas::KAPPA;
use core::f64::consts::PI;
use trimwright_numerics::Real;

/// Pressure ratio above which the flow is linear in the pressure difference, so that its slope stays
/// finite (engineering judgement; Hendricks et al., SAE 960037, and Guzzella & Onder ch. 2 do likewise).
const LINEAR_ABOVE: f64 = 0.99;
const PSI_STEPS: usize = 256;
const AREA_STEPS: usize = 128;

trimwright_numerics::parameters! {
    /// Throttle body with one to four bores.
    pub struct ThrottleBody<f64> "throttle" {
        /// Number of bores.
        whole bores { u8 = 4, 1..=4 "1", "engineering judgement" }
        /// Diameter of one bore.
        number bore_m { 0.044, 0.02..=0.1 "m", "engineering judgement" }
        /// Angle of the closed plate to the cross-section of the bore.
        number closed_plate_deg { 8.0, 0.0..=20.0 "deg", "engineering judgement" }
        /// Effective leak area of the closed plates, all bores.
        number leak_m2 { 1.5e-5, 0.0..=2e-4 "m2", "engineering judgement" }
        /// Discharge coefficient.
        number discharge { 0.8, 0.5..=1.0 "1", "engineering judgement" }
        /// Fraction of pedal travel at which the secondary half of the bores starts to open; 0 when all open together.
        number secondary_start { 0.4, 0.0..=0.8 "1", "engineering judgement" }
        /// Effective area of the fully open idle-air bypass.
        number iac_m2 { 4.5e-5, 0.0..=3e-4 "m2", "engineering judgement" }
    }
}

impl ThrottleBody {
    /// Cross-section of all bores, m^2.
    pub fn bores_m2(&self) -> f64 {
        0.25 * PI * self.bore_m * self.bore_m * f64::from(self.bores)
    }

    /// Effective area of the plates at an `opening` of 0 to 1 of pedal travel, m^2.
    ///
    /// Per bore `A = cd pi d^2 / 4 (1 - cos a / cos a0)` with plate angle `a` from the closed angle `a0` to
    /// 90 degrees (Guzzella & Onder, ch. 2), plus the closed-plate leak.
    ///
    /// ```
    /// let throttle = trimwright_plant::Truth::mild_v8().throttle;
    /// let [closed, half, open] = [0.0, 0.5, 1.0].map(|opening| throttle.area_m2(opening));
    /// assert!(closed < half && half < open && closed == throttle.leak_m2);
    /// ```
    pub fn area_m2(&self, opening: f64) -> f64 {
        let bore = |share: f64| {
            let closed = self.closed_plate_deg * PI / 180.0;
            let angle = closed + share.held(0.0, 1.0) * (0.5 * PI - closed);
            self.discharge
                * 0.25
                * PI
                * self.bore_m
                * self.bore_m
                * (1.0 - Real::cos(angle) / Real::cos(closed))
        };
        let second = (opening - self.secondary_start) / (1.0 - self.secondary_start);
        let half = 0.5 * f64::from(self.bores);
        self.leak_m2 + half * (bore(opening) + bore(second))
    }
}

/// Isentropic flow function of an ideal gas, `m' = A p0 / sqrt(R T0) psi(p / p0)`: `psi = sqrt(2 k / (k-1)
/// (pr^(2/k) - pr^((k+1)/k)))`, constant below the critical pressure ratio (Heywood, app. C).
///
/// ```
/// let choked = trimwright_plant::flow_function(0.3);
/// assert!((choked - 0.684_731_456).abs() < 1e-9);
/// ```
pub fn flow_function(pressure_ratio: f64) -> f64 {
    let ratio = pressure_ratio.held(critical_ratio(), 1.0);
    let (two, both) = (Real::powf(ratio, 2.0 / KAPPA), Real::powf(ratio, (KAPPA + 1.0) / KAPPA));
    Real::sqrt((2.0 * KAPPA / (KAPPA - 1.0) * (two - both)).held(0.0, 1.0))
}

/// Critical pressure ratio, below which the flow is choked: `(2 / (k+1))^(k / (k-1))`, 0.528 for air.
pub fn critical_ratio() -> f64 {
    Real::powf(2.0 / (KAPPA + 1.0), KAPPA / (KAPPA - 1.0))
}

/// Mass flow and its slope over the downstream pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Flow {
    pub(crate) kg_per_s: f64,
    pub(crate) slope_kg_per_s_pa: f64,
}

/// Tables computed once: `psi` over `sqrt(1 - pr)`, in which it is smooth, and the plate area over pedal travel.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FlowTables {
    psi: [f64; PSI_STEPS + 1],
    area_m2: [f64; AREA_STEPS + 1],
    root_critical: f64,
    per_root: f64,
    /// `psi` at [`LINEAR_ABOVE`].
    psi_at_linear: f64,
}

impl FlowTables {
    pub(crate) fn new(body: &ThrottleBody) -> Self {
        let root_critical = Real::sqrt(1.0 - critical_ratio());
        let psi = core::array::from_fn(|i| {
            let root = root_critical * i as f64 / PSI_STEPS as f64;
            flow_function(1.0 - root * root)
        });
        let area_m2 = core::array::from_fn(|i| body.area_m2(area_node(i)));
        Self {
            psi,
            area_m2,
            root_critical,
            per_root: PSI_STEPS as f64 / root_critical,
            psi_at_linear: flow_function(LINEAR_ABOVE),
        }
    }

    /// Effective plate area at an opening of 0 to 1, m^2. The nodes are denser near closed.
    #[inline]
    pub(crate) fn area_m2(&self, opening: f64) -> f64 {
        let (value, _) = interpolate(&self.area_m2, Real::sqrt(opening.held(0.0, 1.0)) * AREA_STEPS as f64);
        value
    }

    /// Flow through `area_m2` from outside air at `pressure_pa` into `manifold_pa`; `root_rt` is `sqrt(R T)`
    /// of the outside air, also when a manifold above outside pressure blows back.
    #[inline]
    pub(crate) fn flow(&self, area_m2: f64, pressure_pa: f64, manifold_pa: f64, root_rt: f64) -> Flow {
        let scale = area_m2 / root_rt;
        let back = manifold_pa > pressure_pa;
        let (up_pa, down_pa) = if back { (manifold_pa, pressure_pa) } else { (pressure_pa, manifold_pa) };
        let ratio = down_pa / up_pa;
        if ratio > LINEAR_ABOVE {
            let slope = self.psi_at_linear / (1.0 - LINEAR_ABOVE);
            return Flow {
                kg_per_s: scale * slope * (pressure_pa - manifold_pa),
                slope_kg_per_s_pa: -scale * slope,
            };
        }
        let (psi, slope) = self.psi(ratio);
        let kg_per_s = scale * up_pa * psi;
        if back {
            // d(p psi(p_out / p)) / dp.
            return Flow { kg_per_s: -kg_per_s, slope_kg_per_s_pa: -scale * (psi - ratio * slope) };
        }
        Flow { kg_per_s, slope_kg_per_s_pa: scale * slope }
    }

    /// `psi` and its slope over the pressure ratio.
    #[inline]
    fn psi(&self, ratio: f64) -> (f64, f64) {
        let root = Real::sqrt((1.0 - ratio).held(0.0, 1.0));
        if root >= self.root_critical {
            return (self.psi[PSI_STEPS], 0.0);
        }
        let (psi, slope) = interpolate(&self.psi, root * self.per_root);
        (psi, slope * self.per_root * -0.5 / root.held(1e-3, 1.0))
    }
}

/// Opening at a node of the area table.
fn area_node(index: usize) -> f64 {
    let root = index as f64 / AREA_STEPS as f64;
    root * root
}

/// Value and slope of an evenly spaced table at `place`, in nodes from 0.
#[inline]
fn interpolate<const N: usize>(table: &[f64; N], place: f64) -> (f64, f64) {
    let index = (place as u32 as usize).min(N - 2);
    let (low, high) = (table[index], table[index + 1]);
    let slope = high - low;
    (low + slope * (place - index as f64), slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Isentropic relations, fluids 1.3.1: shared/reference/nozzle_flow.csv.
    const NOZZLE: [(f64, f64); 7] = [
        (0.1, 0.684_731_456_377_270_5),
        (0.528_282, 0.684_731_456_377_270_5),
        (0.53, 0.684_727_020_941_281_4),
        (0.55, 0.684_021_205_958_161_9),
        (0.6, 0.676_915_252_862_722_5),
        (0.65, 0.661_888_190_242_796_3),
        (0.7, 0.638_317_233_285_635_5),
    ];

    fn tables() -> FlowTables {
        FlowTables::new(&crate::Truth::mild_v8().throttle)
    }

    #[test]
    fn val_nozzle_flow_function_and_its_table() {
        let tables = tables();
        for (ratio, psi) in NOZZLE {
            assert!((flow_function(ratio) - psi).abs() < 1e-9, "{ratio}");
            assert!((tables.psi(ratio).0 - psi).abs() < 1e-5, "{ratio}");
        }
        assert!((critical_ratio() - 0.528_281_787_717_174_2).abs() < 1e-12);
    }

    #[test]
    fn the_table_stays_within_its_error_of_the_formula() {
        let tables = tables();
        for i in 0..=10_000 {
            let ratio = LINEAR_ABOVE * f64::from(i) / 10_000.0;
            assert!((tables.psi(ratio).0 - flow_function(ratio)).abs() < 1e-5, "{ratio}");
        }
    }

    #[test]
    fn flow_is_continuous_where_the_linear_law_takes_over_and_turns_with_the_pressure() {
        let tables = tables();
        let flow = |manifold_pa| tables.flow(1e-3, 1e5, manifold_pa, 290.0).kg_per_s;
        assert!((flow(98_999.9) / flow(99_000.1) - 1.0).abs() < 1e-3);
        assert_eq!(flow(1e5), 0.0);
        assert!(flow(1.005e5) < 0.0 && flow(1.2e5) < flow(1.1e5));
        let choked_back = flow(4e5) / -flow(2e4) / 4.0;
        assert!((choked_back - 1.0).abs() < 1e-9, "{choked_back}");
    }

    #[test]
    fn area_grows_with_the_pedal_from_the_leak_to_the_whole_bores() {
        let body = crate::Truth::mild_v8().throttle;
        let tables = FlowTables::new(&body);
        assert_eq!(tables.area_m2(0.0), body.leak_m2);
        let whole = 0.25 * PI * body.bore_m * body.bore_m * f64::from(body.bores) * body.discharge;
        assert!((tables.area_m2(1.0) / (whole + body.leak_m2) - 1.0).abs() < 1e-12);
        for i in 1..=1000 {
            let (low, here) = (f64::from(i - 1) / 1e3, f64::from(i) / 1e3);
            assert!(tables.area_m2(here) > tables.area_m2(low));
            assert!((tables.area_m2(here) / body.area_m2(here) - 1.0).abs() < 3e-3, "{here}");
        }
    }
}
