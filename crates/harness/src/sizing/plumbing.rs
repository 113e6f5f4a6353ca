//! Fuel lines, strainer, vapour at the pump's inlet, hose and clamps.

use super::car::Car;
use super::demand::POUND_PER_HORSEPOWER_HOUR;
use super::feed::{PETROL_VISCOSITY_PA_S, feed_drop_pa, feed_flow};
use super::installation::Clamps;
use super::line::{BORE, FLOW, LENGTH, Line, POWER, PRESSURE, TEMPERATURE, si};
use crate::units::Kind;
use core::f64::consts::PI;
use trimwright_plant::{Supply, fuel_vapour_pa, pipe_drop_pa};

/// Least pressure at a pump's inlet above the fuel's vapour pressure, Pa; the plant's pumps lose delivery below it (engineering judgement).
const MIN_INLET_MARGIN_PA: f64 = 10e3;
/// Largest share of the rail pressure lost in feed line and filter (engineering judgement).
const FEED_SHARE: f64 = 0.15;
/// Largest back pressure at the regulator's outlet, and margin below which it is tight, psi (engineering judgement).
const MAX_RETURN_PSI: [f64; 2] = [5.0, 1.5];
/// Hose rating over the working pressure (engineering judgement).
const HOSE_RESERVE: f64 = 1.5;
/// Gravity, m/s^2.
const GRAVITY: f64 = 9.806_65;
const PART: &str = "lines";

/// Suction side of the pump, from the fuel surface to the inlet. SI units.
///
/// ```
/// use trimwright_harness::sizing::Suction;
/// let stock = Suction {
///     outside_pa: 101_325.0, vapour_pa: 70e3, lift_m: 0.3, line_m: 1.0, bore_m: 6.515e-3, fittings: 2.5,
///     strainer_pa: 3e3, strainer_flow_kg_per_s: 0.019, density_kg_per_m3: 745.0,
/// };
/// assert!(stock.margin_pa(0.01) > stock.margin_pa(0.03));
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Suction {
    /// Ambient pressure on the fuel in the tank, Pa.
    pub outside_pa: f64,
    /// Vapour pressure of the hottest fuel, Pa.
    pub vapour_pa: f64,
    /// Height of the pump above the lowest fuel level, m.
    pub lift_m: f64,
    /// Length of the suction tube, m.
    pub line_m: f64,
    /// Bore of the suction tube, m.
    pub bore_m: f64,
    /// Sum of the loss coefficients of inlet, bends and fittings.
    pub fittings: f64,
    /// Pressure drop of the strainer, Pa.
    pub strainer_pa: f64,
    /// Flow of that drop, kg/s.
    pub strainer_flow_kg_per_s: f64,
    /// Density of the fuel, kg/m^3.
    pub density_kg_per_m3: f64,
}

impl Suction {
    fn of(car: &Car<'_>) -> Self {
        let (system, installation) = (car.fuel_system(), car.installation);
        Self {
            outside_pa: car.demand.outside_pa,
            vapour_pa: fuel_vapour_pa(car.parts.fuel.vapour_pressure_pa, installation.hot_fuel_k),
            lift_m: installation.suction_lift_m,
            line_m: system.suction_m,
            bore_m: system.suction_bore_m,
            fittings: installation.suction_fittings,
            strainer_pa: installation.strainer_pa,
            strainer_flow_kg_per_s: installation.strainer_flow_kg_per_s,
            density_kg_per_m3: car.density_kg_per_m3(),
        }
    }

    fn tube_pa(&self, flow: f64) -> f64 {
        pipe_drop_pa(flow, self.line_m, self.bore_m, self.density_kg_per_m3, PETROL_VISCOSITY_PA_S)
    }

    fn fittings_pa(&self, flow: f64) -> f64 {
        let speed = flow / (self.density_kg_per_m3 * 0.25 * PI * self.bore_m * self.bore_m);
        self.fittings * 0.5 * self.density_kg_per_m3 * speed * speed
    }

    fn lift_pa(&self) -> f64 {
        self.density_kg_per_m3 * GRAVITY * self.lift_m
    }

    fn strained_pa(&self, flow: f64) -> f64 {
        let share = flow / self.strainer_flow_kg_per_s;
        self.strainer_pa * share * share
    }

    /// Pressure at the pump's inlet above the vapour pressure, Pa: ambient pressure less lift, strainer, tube (Darcy-Weisbach, Haaland),
    /// fittings and vapour pressure.
    pub fn margin_pa(&self, flow_kg_per_s: f64) -> f64 {
        let losses_pa = self.lift_pa()
            + self.strained_pa(flow_kg_per_s)
            + self.tube_pa(flow_kg_per_s)
            + self.fittings_pa(flow_kg_per_s);
        self.outside_pa - losses_pa - self.vapour_pa
    }

    /// Largest flow with a sufficient inlet pressure, kg/s: 0 when even a trickle boils, at most 1.
    pub fn max_kg_per_s(&self) -> f64 {
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.margin_pa(middle) > MIN_INLET_MARGIN_PA { low = middle } else { high = middle }
        }
        low
    }
}

pub(super) fn lines(car: &Car<'_>) -> Vec<Line> {
    let mut lines = vec![feed(car), inlet(car)];
    if car.fuel_system().supply == Supply::Return {
        lines.push(back(car));
    }
    lines.extend([hose(car), clamps(car)]);
    lines
}

fn feed(car: &Car<'_>) -> Line {
    let system = car.fuel_system();
    let flow = feed_flow(system, car.delivery_kg_per_s, &car.demand);
    let density = car.density_kg_per_m3();
    let pressure = |si| car.show(PRESSURE, si);
    let limit = FEED_SHARE * system.regulator_pa;
    let tube_pa = pipe_drop_pa(flow, system.line_m, system.line_bore_m, density, PETROL_VISCOSITY_PA_S);
    car.figure(PART, "feed line and filter", PRESSURE, feed_drop_pa(system, flow, density))
        .at_most(limit, 0.3 * limit)
        .formula(format!(
            "{} of {} bore at {}: {}; filter {}; limit {FEED_SHARE} of the rail pressure",
            car.show(LENGTH, system.line_m),
            car.show(BORE, system.line_bore_m),
            car.show(FLOW, flow),
            pressure(tube_pa),
            pressure(feed_drop_pa(system, flow, density) - tube_pa),
        ))
        .change("A wider tube, a larger or new filter, or a shorter way.")
        .source("Darcy-Weisbach, Haaland; limit: engineering judgement")
}

fn inlet(car: &Car<'_>) -> Line {
    let suction = Suction::of(car);
    // Fuel returned from the rail or from a regulator at the tank has passed the pump too.
    let flow = match car.fuel_system().supply {
        Supply::Returnless => car.demand.fuel_kg_per_s,
        Supply::Return | Supply::RegulatedAtTank => car.delivery_kg_per_s.max(car.demand.fuel_kg_per_s),
    };
    let pressure = |si| car.show(PRESSURE, si);
    let per_demand = flow / car.demand.fuel_kg_per_s;
    let max_w =
        suction.max_kg_per_s() / (per_demand * car.installation.bsfc_lb_per_hp_h * POUND_PER_HORSEPOWER_HOUR);
    car.figure(PART, "pressure over vapour at the pump's inlet", PRESSURE, suction.margin_pa(flow))
        .at_least(MIN_INLET_MARGIN_PA, 3e3)
        .formula(format!(
            "{} outside - {} lift - {} strainer - {} tube ({} of {}) - {} fittings - {} vapour at {}, at {}; this pickup carries {}",
            pressure(suction.outside_pa),
            pressure(suction.lift_pa()),
            pressure(suction.strained_pa(flow)),
            pressure(suction.tube_pa(flow)),
            car.show(LENGTH, suction.line_m),
            car.show(BORE, suction.bore_m),
            pressure(suction.fittings_pa(flow)),
            pressure(suction.vapour_pa),
            car.show(TEMPERATURE, car.installation.hot_fuel_k),
            car.show(FLOW, flow),
            car.show(POWER, max_w),
        ))
        .change("A wider pickup and suction tube, a larger strainer, the pump lower or in the tank, a pump that gives no more than is needed, cooler fuel.")
        .source("Darcy-Weisbach, Haaland, Clausius-Clapeyron; limit: engineering judgement")
}

fn back(car: &Car<'_>) -> Line {
    let installation = car.installation;
    let flow = car.delivery_kg_per_s;
    let drop_pa = pipe_drop_pa(
        flow,
        installation.return_m,
        installation.return_bore_m,
        car.density_kg_per_m3(),
        PETROL_VISCOSITY_PA_S,
    );
    let [most_pa, spare_pa] = MAX_RETURN_PSI.map(|psi| si(Kind::Pressure, "psi", psi));
    car.figure(PART, "return line", PRESSURE, drop_pa)
        .at_most(most_pa, spare_pa)
        .formula(format!(
            "{} of {} bore at {}: at idle nearly all comes back",
            car.show(LENGTH, installation.return_m),
            car.show(BORE, installation.return_bore_m),
            car.show(FLOW, flow),
        ))
        .change("A wider return line: what it holds back raises the rail pressure at idle.")
        .source("Darcy-Weisbach, Haaland; limit: engineering judgement")
}

fn hose(car: &Car<'_>) -> Line {
    let rail_pa = car.fuel_system().regulator_pa;
    let practice = car.system.pick("210 to 480 kPa against 41 to 48 kPa", "30 to 70 psi against 6 to 7 psi");
    car.figure(PART, "hose rating", PRESSURE, car.installation.hose_rating_pa)
        .at_least(HOSE_RESERVE * rail_pa, 0.0)
        .formula(format!("printed on the hose; needed {HOSE_RESERVE} x {}", car.show(PRESSURE, rail_pa)))
        .change("Hose rated for injection pressure along the whole way: carburettor hose bursts, and fuel sprays on a hot engine.")
        .source(format!("{practice} of a carburettor: common practice, no source; reserve: engineering judgement"))
}

fn clamps(car: &Car<'_>) -> Line {
    let right = car.installation.clamps == Clamps::Injection;
    Line::word(PART, "clamps made for injection", if right { "yes" } else { "no" }, right)
        .formula("as the scenario says")
        .change("Clamps with rolled edges made for injection hose, or crimped fittings: worm-drive clamps of a carburettor cut the hose and leak.")
        .source("common practice, no source")
}
