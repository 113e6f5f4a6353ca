//! What follows from the setup answers, calculated once.

use trimwright_numerics::{Axis, Grid, Real, Weights, lag};

use crate::answers::{AnswerError, SetupAnswers};
use crate::base_map::{BaseMapParameters, CELLS, MAP_POINTS, OUTSIDE_PA, R_AIR, RPM_POINTS};
use crate::clock::FEEDBACK_PERIOD_S;
use crate::exhaust::ExhaustParameters;
use crate::options::{Firing, Options};
use crate::sensors::SensorParameters;
use crate::thermistor::Thermistor;

/// Setup answers, options, and what follows from them: axes, base map, volumes, angles, thermistor tables.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    answers: SetupAnswers,
    options: Options,
    rpm_axis: Axis<f32, RPM_POINTS>,
    map_axis: Axis<f32, MAP_POINTS>,
    filling: Grid<f32, RPM_POINTS, MAP_POINTS>,
    ect: Thermistor,
    iat: Thermistor,
    cylinder_m3: f32,
    firing_angle_rad: f32,
    flow_per_root_pa: f32,
    rail_flow_kg_per_s: f32,
    pipe_kg: f32,
    sensor_share: f32,
}

impl Setup {
    /// Calculates everything. `rail_drop_pa` is the target rail pressure within the limits of the injector model.
    ///
    /// # Errors
    /// [`AnswerError`] when an answer is outside its range.
    pub(crate) fn new(
        answers: &SetupAnswers,
        base_map: &BaseMapParameters,
        exhaust: &ExhaustParameters,
        sensors: &SensorParameters,
        rail_drop_pa: f32,
    ) -> Result<Self, AnswerError> {
        answers.check()?;
        let high = answers.rev_limit_rad_per_s;
        let not_rising = |_| AnswerError { answer: "rev_limit_rad_per_s", value: high, low: high, high };
        let rpm_axis = base_map.rpm_axis(answers).map_err(not_rising)?;
        let flow_per_root_pa =
            answers.injector_flow_kg_per_s / Real::sqrt(answers.injector_rated_pressure_pa);
        Ok(Self {
            answers: *answers,
            options: Options::default(),
            filling: base_map.filling_map(answers, &rpm_axis),
            rpm_axis,
            map_axis: base_map.map_axis().map_err(not_rising)?,
            ect: sensors.ect(),
            iat: sensors.iat(),
            cylinder_m3: answers.displacement_m3 / f32::from(answers.cylinders),
            firing_angle_rad: 2.0 * core::f32::consts::TAU / f32::from(answers.cylinders),
            flow_per_root_pa,
            rail_flow_kg_per_s: flow_per_root_pa * Real::sqrt(rail_drop_pa),
            pipe_kg: exhaust.pipe_kg_per_m3 * answers.displacement_m3,
            sensor_share: lag::share(FEEDBACK_PERIOD_S, exhaust.sensor_s),
        })
    }

    pub(crate) const fn set_options(&mut self, options: Options) {
        self.options = options;
    }

    /// The setup answers.
    pub const fn answers(&self) -> &SetupAnswers {
        &self.answers
    }

    /// The options.
    pub const fn options(&self) -> &Options {
        &self.options
    }

    /// Number of injector groups that fire by turns: two where the number of injectors is even and not all are to fire at once.
    pub(crate) fn firing_groups(&self) -> u8 {
        if self.answers.injectors.is_multiple_of(2) && self.options.firing != Firing::All { 2 } else { 1 }
    }

    /// Breakpoints of crank speed, rad/s.
    pub const fn rpm_axis(&self) -> &Axis<f32, RPM_POINTS> {
        &self.rpm_axis
    }

    /// Breakpoints of manifold pressure at standard barometric pressure, Pa.
    pub const fn map_axis(&self) -> &Axis<f32, MAP_POINTS> {
        &self.map_axis
    }

    /// Base map of volumetric efficiency, referred to manifold density, ratio: rows MAP, columns RPM.
    pub const fn filling(&self) -> &Grid<f32, RPM_POINTS, MAP_POINTS> {
        &self.filling
    }

    /// Cells around an operating point at this barometric pressure, and the share of each. Filling depends on the ratio of manifold to
    /// exhaust pressure (residual gas expands to it), so the map is entered with the manifold pressure of the same ratio at standard
    /// barometric pressure.
    #[inline]
    pub fn weights_under(&self, map_pa: f32, baro_pa: f32, speed_rad_per_s: f32) -> Weights<f32> {
        self.weights(map_pa * (OUTSIDE_PA / baro_pa.at_least(MIN_BARO_PA)), speed_rad_per_s)
    }

    /// Cells around an operating point at standard barometric pressure, and the share of each.
    #[inline]
    pub fn weights(&self, map_pa: f32, speed_rad_per_s: f32) -> Weights<f32> {
        Weights::new(self.rpm_axis.place(speed_rad_per_s), self.map_axis.place(map_pa), RPM_POINTS)
    }

    /// Volume of one cylinder, m3.
    pub const fn cylinder_m3(&self) -> f32 {
        self.cylinder_m3
    }

    /// Crank angle between firings, rad: `4 pi / cylinders`.
    pub const fn firing_angle_rad(&self) -> f32 {
        self.firing_angle_rad
    }

    /// Air charge of one cylinder by the base map, kg: `eta p V / (R T)`. `charge_k` is limited to 200 K and above.
    pub fn base_air_charge_kg(&self, map_pa: f32, baro_pa: f32, speed_rad_per_s: f32, charge_k: f32) -> f32 {
        self.air_charge_kg(&self.weights_under(map_pa, baro_pa, speed_rad_per_s), map_pa, charge_k)
    }

    /// The same for given weights.
    #[inline]
    pub(crate) fn air_charge_kg(&self, weights: &Weights<f32>, map_pa: f32, charge_k: f32) -> f32 {
        self.filling.at(weights) * map_pa * self.cylinder_m3() / (R_AIR * charge_k.at_least(MIN_CHARGE_K))
    }

    /// Fuel of one cylinder event at lambda 1 in a cell of the base map, kg; `None` outside the map.
    pub(crate) fn fuel_of_cell_kg(&self, cell: usize, charge_k: f32) -> Option<f32> {
        const { assert!(CELLS == RPM_POINTS * MAP_POINTS) };
        let filling = self.filling.flat().get(cell)?;
        let map_pa = self.map_axis.points().get(cell / RPM_POINTS)?;
        let per_pa = self.cylinder_m3 / (R_AIR * charge_k * self.answers.stoich_afr);
        Some(filling * map_pa * per_pa)
    }

    /// Static flow of one injector over the root of its rated pressure drop, kg/(s Pa^0.5).
    pub(crate) const fn flow_per_root_pa(&self) -> f32 {
        self.flow_per_root_pa
    }

    /// Flow of one open injector at the target rail pressure, kg/s.
    pub(crate) const fn rail_flow_kg_per_s(&self) -> f32 {
        self.rail_flow_kg_per_s
    }

    /// Coolant temperature sender.
    pub(crate) const fn ect(&self) -> &Thermistor {
        &self.ect
    }

    /// Intake air temperature sender.
    pub(crate) const fn iat(&self) -> &Thermistor {
        &self.iat
    }

    /// Gas mass between valves and sensor, kg.
    pub const fn pipe_kg(&self) -> f32 {
        self.pipe_kg
    }

    /// Share of a step of the sensor's lag in 20 ms.
    pub(crate) const fn sensor_share(&self) -> f32 {
        self.sensor_share
    }
}

/// Lower limit of barometric pressure, Pa.
pub(crate) const MIN_BARO_PA: f32 = 30e3;
/// Lower limit of the charge temperature, K.
const MIN_CHARGE_K: f32 = 200.0;

#[cfg(test)]
mod tests {
    use crate::answers::{Cam, SetupAnswers};
    use crate::base_map::{CELLS, OUTSIDE_PA, RPM_POINTS};
    use crate::calibration::Calibration;
    use proptest::prelude::*;

    #[test]
    fn more_overlap_fills_less_at_idle_and_more_at_speed() {
        let of = |cam, map_pa, speed| {
            let calibration =
                Calibration::from_answers(&SetupAnswers { cam, ..SetupAnswers::default() }).unwrap();
            calibration.setup().base_air_charge_kg(map_pa, OUTSIDE_PA, speed, 310.0)
        };
        assert!(of(Cam::Hot, 45e3, 80.0) < 0.95 * of(Cam::Stock, 45e3, 80.0));
        assert!(of(Cam::Hot, 100e3, 520.0) > of(Cam::Stock, 100e3, 520.0));
    }

    #[test]
    fn ident_the_fuel_of_a_cell_is_its_air_over_the_stoichiometric_ratio() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let setup = calibration.setup();
        for (row, &map_pa) in setup.map_axis().points().iter().enumerate() {
            for (column, &speed) in setup.rpm_axis().points().iter().enumerate() {
                let fuel_kg = setup.fuel_of_cell_kg(row * RPM_POINTS + column, 325.0).unwrap();
                let air_kg = setup.base_air_charge_kg(map_pa, OUTSIDE_PA, speed, 325.0);
                assert!((fuel_kg * 14.6 / air_kg - 1.0).abs() < 1e-4, "{row} {column}");
            }
        }
        assert_eq!(setup.fuel_of_cell_kg(CELLS, 325.0), None);
    }

    /// By hand: an eighth of 5.2 l; an eighth of two turns; 0.6 kg of gas per cubic metre of displacement.
    #[test]
    fn volumes_and_angles_follow_from_the_answers() {
        let calibration = Calibration::from_answers(&SetupAnswers::default()).unwrap();
        let setup = calibration.setup();
        assert!((setup.cylinder_m3() - 0.65e-3).abs() < 1e-9 && (setup.pipe_kg() - 3.12e-3).abs() < 1e-8);
        assert!((setup.firing_angle_rad() - core::f32::consts::FRAC_PI_2).abs() < 1e-6);
        // 20 ms of a lag of 90 ms.
        assert!((setup.sensor_share() - 0.199_26).abs() < 1e-4, "{}", setup.sensor_share());
    }

    proptest! {
        #[test]
        fn any_allowed_answers_give_a_valid_base_map(
            displacement_m3 in 0.5e-3..10e-3_f32, idle in 45.0..160.0_f32, limit in 300.0..900.0_f32, ratio in 6.0..14.0_f32,
        ) {
            let calibration = Calibration::from_answers(&SetupAnswers {
                displacement_m3, idle_speed_rad_per_s: idle, rev_limit_rad_per_s: limit, compression_ratio: ratio,
                ..SetupAnswers::default()
            }).unwrap();
            prop_assert!(calibration.setup().filling().flat().iter().all(|eta| (0.2..=1.1).contains(eta)));
        }
    }
}
