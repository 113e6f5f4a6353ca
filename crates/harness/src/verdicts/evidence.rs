//! Measurements of a run from the controller's state and the log. The plant's truth is not used.

use trimwright_control::{Controller, Phase, State};

use super::mean::Mean;
use super::pattern::{FlowCorrection, Pattern};
use crate::mixture_observer::pulse;

/// Time between two samples, s.
pub const PERIOD_S: f64 = 0.02;
/// Coolant temperature above which the engine counts as warm, K: 75 degC.
const WARM_K: f32 = 348.15;
/// Coolant temperature below which the engine counts as cold, K: 45 degC.
const COLD_K: f32 = 318.15;
/// Rail pressure over the wanted one below which no fuel arrives.
const STARVED: f32 = 0.4;
/// Cranking time after which the pump has long filled the rail, s.
const FILLED_S: f32 = 2.0;
/// Time after a start from which the supply is evaluated, s.
const CHARGING_S: f32 = 60.0;
/// Time after a start from which the engine runs by itself, s.
const RUNS_S: f32 = 5.0;
/// Lambda above which the reading shows air.
const AIR_LAMBDA: f32 = 1.25;
/// Lambda below which the reading shows a mixture again.
const MIXTURE_LAMBDA: f32 = 1.1;
/// Longest wait for air after a fuel cut, and for the mixture after its end, s.
const LONGEST_CUT_S: f64 = 4.0;

/// Reading expected after a change of the fuel cut, with the time since the change and the expected delay.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Wait {
    /// Air, during the cut.
    Air { for_s: f64, expected_s: f64 },
    /// None: air was seen, and the cut continues.
    AirSeen,
    /// None: air was not seen in time.
    AirMissed,
    /// The mixture, after the cut.
    Mixture { for_s: f64, expected_s: f64 },
}

/// Measurements behind the findings.
///
/// ```
/// use trimwright_control::Options;
/// use trimwright_harness::{drive::learn, scenario::Scenario, schedule::Schedule};
/// let schedule = Schedule::parse("trip", "trip.csv", "time [s],speed [km/h]\n0,0\n20,0\n40,50\n100,50\n")?;
/// let van = Scenario { schedule, passes: 1, ..Scenario::load("delivery-van")? };
/// let evidence = learn(&van, Options::default())?.evidence;
/// assert!(evidence.stalls == 0 && evidence.ect_max_k > 300.0, "it ran and got warmer");
/// assert!(evidence.pattern.high_ln().is_none(), "the trip was too short to judge the mixture");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, Default)]
pub struct Evidence {
    /// True on a dynamometer, where the idle valve gives no evidence.
    pub on_dynamometer: bool,
    /// Corrections by air flow.
    pub pattern: Pattern,
    /// Duty of the idle valve beyond its feed-forward, warm.
    pub idle_extra: Mean,
    /// Least lagged rail pressure over the wanted one, ln.
    pub rail_min_ln: f64,
    /// Supply voltage with the engine stopped, and charging, V.
    pub battery_v: [Mean; 2],
    /// Highest coolant temperature, K.
    pub ect_max_k: f64,
    /// Coolant temperature from ten minutes after the start, K.
    pub ect_late_k: Mean,
    /// Time from the start of a fuel cut to a reading of air, less the expected delay, s.
    pub air_late_s: Mean,
    /// Time from the end of a fuel cut to a reading of a mixture, less the expected delay, s; the largest effect of a slow sensor.
    pub mixture_late_s: Mean,
    /// Required corrections, cold and warm, ln.
    pub required_ln: [Mean; 2],
    /// Distributor pulses lost or rejected while the engine ran.
    pub bad_pulses: u32,
    /// Number of stalls.
    pub stalls: u32,
    /// Stalls without rail pressure, and attempts to start without it.
    pub starved: u32,
    /// Share of readings at an end of the range without a fuel cut.
    pub at_range_end: Mean,
    wait: Option<Wait>,
    rail_lagged_ln: f64,
    bad_pulses_total: u32,
    ran: bool,
    cranked_s: f32,
    samples: u64,
}

impl Evidence {
    /// Samples the controller; to be called every [`PERIOD_S`].
    pub fn sample(&mut self, controller: &Controller) {
        let state = controller.state();
        let wanted_pa = controller.calibration().answers().rail_pressure_pa;
        self.samples += 1;
        self.supply(state);
        self.coolant(state);
        self.cut(state);
        self.pulses(state);
        self.count_stalls(state, wanted_pa);
        if !state.insight().phase.burns() || state.phase().since_start_s() < 15.0 {
            return;
        }
        self.rail(state, wanted_pa);
        self.at_range_end
            .add(f64::from(u8::from(state.estimate().lambda_at_end && !state.estimate().invalid.lambda)));
        self.mixture(state, controller);
        self.idle(state);
    }

    fn idle(&mut self, state: &State) {
        let known =
            !state.estimate().invalid.tp && !state.estimate().invalid.ect && state.estimate().ect_k > WARM_K;
        if known && !self.on_dynamometer && state.phase().since_start_s() > 60.0 {
            self.idle_extra.add(f64::from(state.idle().integral()));
        }
    }

    fn count_stalls(&mut self, state: &State, wanted_pa: f32) {
        let phase = state.insight().phase;
        let runs = phase.started();
        let ran = core::mem::replace(&mut self.ran, runs);
        self.stalls += u32::from(ran && !runs);
        let cranked_s = if phase == Phase::Cranking { state.phase().for_s() } else { 0.0 };
        let before_s = core::mem::replace(&mut self.cranked_s, cranked_s);
        let tried = before_s <= FILLED_S && cranked_s > FILLED_S;
        let estimate = state.estimate();
        let empty = !estimate.invalid.rail && estimate.rail_pa < STARVED * wanted_pa;
        self.starved += u32::from(empty && (tried || (ran && !runs)));
    }

    /// Counts only in a running engine: during cranking and stalls the speed is uneven.
    fn pulses(&mut self, state: &State) {
        let ever = state.crank().lost_pulses().saturating_add(state.crank().rejected_pulses());
        let new = ever.saturating_sub(core::mem::replace(&mut self.bad_pulses_total, ever));
        if state.insight().phase.burns() && state.phase().since_start_s() > RUNS_S {
            self.bad_pulses = self.bad_pulses.saturating_add(new);
        }
    }

    fn supply(&mut self, state: &State) {
        let volts = f64::from(state.estimate().battery_v);
        match state.insight().phase {
            Phase::Stopped | Phase::Priming if !state.estimate().invalid.battery => {
                self.battery_v[0].add(volts)
            }
            Phase::Running if state.phase().since_start_s() > CHARGING_S => {
                self.battery_v[1].add(volts);
            }
            _ => (),
        }
    }

    fn coolant(&mut self, state: &State) {
        if state.estimate().invalid.ect {
            return;
        }
        let ect_k = f64::from(state.estimate().ect_k);
        self.ect_max_k = self.ect_max_k.max(ect_k);
        if state.phase().since_start_s() > 600.0 {
            self.ect_late_k.add(ect_k);
        }
    }

    fn rail(&mut self, state: &State, wanted_pa: f32) {
        if state.estimate().invalid.rail {
            return;
        }
        let ln = libm::log(f64::from(state.estimate().rail_pa.max(1e3) / wanted_pa));
        self.rail_lagged_ln += 0.02 * (ln - self.rail_lagged_ln);
        self.rail_min_ln = self.rail_min_ln.min(self.rail_lagged_ln);
    }

    fn mixture(&mut self, state: &State, controller: &Controller) {
        let (insight, past) = (state.insight(), &state.attribution().latest());
        let off_ln = f64::from(insight.required_ln - insight.learned_ln);
        let freezes = insight.refusal.is_some_and(|refusal| refusal.freezes_trim());
        if freezes || state.estimate().lambda_at_end || !off_ln.is_finite() || past.movement > 1.0 {
            return;
        }
        // The required correction is the cell's part and that of the opening delay.
        let required_ln = f64::from(insight.required_ln) + pulse(controller).1;
        if state.estimate().ect_k < COLD_K {
            self.required_ln[0].add(required_ln);
        }
        if state.estimate().ect_k < WARM_K || state.phase().since_start_s() < 60.0 {
            return;
        }
        self.required_ln[1].add(required_ln);
        self.pattern.add(&FlowCorrection {
            required_ln,
            per_m3: f64::from(insight.air_flow_kg_per_s / controller.calibration().answers().displacement_m3),
        });
    }

    /// Required correction at idle minus that at high flow, ln.
    pub fn rise_ln(&self) -> Option<f64> {
        Some(self.pattern.low_ln()? - self.pattern.high_ln()?)
    }

    /// Rise of the supply voltage with the engine running, V.
    pub fn charge_v(&self) -> f64 {
        self.battery_v[1].value() - self.battery_v[0].value()
    }

    /// Measures the times from fuel cuts to air at the sensor, and from their ends to the mixture.
    fn cut(&mut self, state: &State) {
        let (cutting, lambda) = (state.insight().phase == Phase::FuelCut, state.estimate().lambda);
        let expected_s = f64::from(state.insight().delay_s);
        self.wait = match (self.wait, cutting) {
            (Some(Wait::Air { for_s, expected_s }), _) if lambda > AIR_LAMBDA || for_s > LONGEST_CUT_S => {
                self.air_late_s.add(for_s - expected_s);
                Some(if lambda > AIR_LAMBDA { Wait::AirSeen } else { Wait::AirMissed })
            }
            (Some(Wait::AirMissed), true) => Some(Wait::AirMissed),
            (Some(Wait::Air { for_s, expected_s }), true) => {
                Some(Wait::Air { for_s: for_s + PERIOD_S, expected_s })
            }
            (Some(Wait::Air { for_s, expected_s }), false) => {
                // The cut ended before the air arrived: the delay is at least this long.
                if for_s > expected_s + 0.4 {
                    self.air_late_s.add(for_s - expected_s);
                }
                None
            }
            (Some(Wait::AirSeen), true) => Some(Wait::AirSeen),
            (Some(Wait::AirSeen), false) => Some(Wait::Mixture { for_s: 0.0, expected_s }),
            (Some(Wait::Mixture { for_s, expected_s }), false) if state.insight().phase.burns() => {
                if lambda < MIXTURE_LAMBDA || for_s > LONGEST_CUT_S {
                    self.mixture_late_s.add(for_s - expected_s);
                    None
                } else {
                    Some(Wait::Mixture { for_s: for_s + PERIOD_S, expected_s })
                }
            }
            (_, true) if self.samples > 1 && lambda < MIXTURE_LAMBDA => {
                Some(Wait::Air { for_s: 0.0, expected_s })
            }
            _ => None,
        };
    }
}
