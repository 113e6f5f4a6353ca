//! Trouble code monitor: a code sets after a time of evidence and clears after a time without.

use trimwright_numerics::Real;

use crate::dtc::{Codes, Dtc, KINDS};

trimwright_numerics::parameters! {
    /// When trouble codes set and clear.
    #[cfg_attr(feature = "defmt", derive(defmt::Format))]
    pub struct TroubleCodeParameters<f32> "trouble_codes" {
        /// Time of evidence until codes of sensor circuits and plausibility set.
        number circuit_s { 0.5, 0.05..=60.0 "s", "engineering judgement: longer than chance findings last" }
        /// Time of evidence until codes of fuel pressure, supply voltage and missing pulses set.
        number supply_s { 1.5, 0.05..=60.0 "s", "engineering judgement: longer than chance findings last" }
        /// Time of evidence until codes of a lambda reading at an end of its range set.
        number lambda_range_s { 2.0, 0.05..=60.0 "s", "engineering judgement: longer than chance findings last" }
        /// Time of evidence until codes of the mixture and of a slow lambda sensor set.
        number mixture_s { 5.0, 0.05..=60.0 "s", "engineering judgement: longer than chance findings last" }
        /// Time of evidence until codes of idle speed, vehicle speed and lambda sensor heater set.
        number idle_s { 10.0, 0.05..=120.0 "s", "engineering judgement: longer than chance findings last" }
        /// Time without evidence until a code clears.
        number clears_s { 3.0, 0.1..=600.0 "s", "engineering judgement" }
        /// Total correction above which the mixture is too lean.
        number lean_ln { 0.27, 0.05..=0.8 "ln", "engineering judgement" }
        /// Total correction below which the mixture is too rich.
        number rich_ln { -0.27, -0.8..=-0.05 "ln", "engineering judgement" }
        /// Idle speed below target by more than this is too low.
        number idle_low_rad_per_s { 10.5, 2.0..=60.0 "rad/s", "common practice, no source: 100 rpm" }
        /// Idle speed above target by more than this is too high.
        number idle_high_rad_per_s { 21.0, 4.0..=120.0 "rad/s", "common practice, no source: 200 rpm" }
        /// Coolant temperature above which the idle speed is monitored.
        number idle_warm_k { 333.0, 273.0..=370.0 "K", "engineering judgement: 60 degC" }
        /// Manifold over barometric pressure above which an engine in gear drives the car.
        number driven_load { 0.5, 0.2..=1.0 "1", "engineering judgement" }
        /// Crank speed over the idle speed above which an engine in gear drives the car.
        number driven_speed { 1.8, 1.2..=5.0 "1", "engineering judgement" }
        /// Rail pressure below target by more than this share is too low.
        number rail_low { 0.25, 0.05..=0.9 "1", "engineering judgement" }
        /// Rail pressure above target by more than this share is too high.
        number rail_high { 0.35, 0.05..=2.0 "1", "engineering judgement" }
    }
}

impl TroubleCodeParameters {
    /// Evidence needed before a code sets, s.
    const fn sets_after_s(&self, dtc: Dtc) -> f32 {
        match dtc {
            Dtc::SystemLean | Dtc::SystemRich | Dtc::O2Slow => self.mixture_s,
            Dtc::VehicleSpeed | Dtc::IdleLow | Dtc::IdleHigh | Dtc::O2Heater => self.idle_s,
            Dtc::O2Low | Dtc::O2High => self.lambda_range_s,
            Dtc::RailTooLow | Dtc::RailTooHigh | Dtc::VoltsLow | Dtc::VoltsHigh | Dtc::CrankNoSignal => {
                self.supply_s
            }
            _ => self.circuit_s,
        }
    }
}

/// Evidence for and state of every trouble code.
///
/// ```
/// use trimwright_control::Dtc;
/// use trimwright_control::diagnosis::Dtcs;
/// use trimwright_control::parameters::TroubleCodeParameters;
/// let mut dtcs = Dtcs::default();
/// let mut reports = dtcs.reports(&TroubleCodeParameters::DEFAULT);
/// // A loose connector: one sample in ten shows a fault. The evidence decays faster than it adds up.
/// (0..6000).for_each(|sample| reports.report(Dtc::MapLow, sample % 10 == 0, 0.01));
/// // Another came off.
/// (0..60).for_each(|_| reports.report(Dtc::TpLow, true, 0.01));
/// assert!(dtcs.active().eq([Dtc::TpLow]) && dtcs.stored().eq([Dtc::TpLow]));
/// ```
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Dtcs {
    /// Evidence, s: rises with the fault, falls without it.
    evidence_s: [f32; KINDS],
    /// Codes with evidence.
    pending: Codes,
    set: Codes,
    stored: Codes,
}

impl Default for Dtcs {
    fn default() -> Self {
        Self {
            evidence_s: [0.0; KINDS],
            pending: Codes::empty(),
            set: Codes::empty(),
            stored: Codes::empty(),
        }
    }
}

impl Dtcs {
    /// Takes reports, with the times of these parameters.
    pub const fn reports<'a>(&'a mut self, parameters: &'a TroubleCodeParameters) -> Reports<'a> {
        Reports { dtcs: self, parameters }
    }

    /// Whether the code is set now.
    pub const fn is_set(&self, dtc: Dtc) -> bool {
        self.set.contains(dtc)
    }

    /// Whether there is evidence of the rail pressure's codes, which are set when it lasts.
    pub(crate) const fn rail_is_off(&self) -> bool {
        self.pending.contains(Dtc::RailTooLow) || self.pending.contains(Dtc::RailTooHigh)
    }

    /// The codes set now.
    pub fn active(&self) -> impl Iterator<Item = Dtc> + use<> {
        self.set.iter()
    }

    /// Codes set at any time until cleared; they survive a power-down ([`crate::persistence`]).
    pub fn stored(&self) -> impl Iterator<Item = Dtc> + use<> {
        self.stored.iter()
    }

    /// The same as [`Dtcs::active`], as a set.
    pub const fn active_codes(&self) -> Codes {
        self.set
    }

    /// The same as [`Dtcs::stored`], as a set.
    pub const fn stored_codes(&self) -> Codes {
        self.stored
    }

    /// Adds codes stored before a power-down.
    pub const fn restore_stored(&mut self, stored: Codes) {
        self.stored = self.stored.union(stored);
    }

    /// Clears the stored codes that are not set now.
    pub const fn clear(&mut self) {
        self.stored = self.set;
    }
}

/// Where the stages report their findings.
#[derive(Debug)]
pub struct Reports<'a> {
    dtcs: &'a mut Dtcs,
    parameters: &'a TroubleCodeParameters,
}

impl Reports<'_> {
    /// Codes of the idle speed: `slower_rad_per_s` is target minus actual speed, `None` while idle feedback is off or the car rolls.
    pub(crate) fn report_idle(&mut self, slower_rad_per_s: Option<f32>, dt_s: f32) {
        let (low, high) = (self.parameters.idle_low_rad_per_s, self.parameters.idle_high_rad_per_s);
        self.report(Dtc::IdleLow, slower_rad_per_s.is_some_and(|slower| slower > low), dt_s);
        self.report(Dtc::IdleHigh, slower_rad_per_s.is_some_and(|slower| slower < -high), dt_s);
    }

    /// Code of a missing vehicle speed while the engine drives the car: in gear, loaded, and well above its idle speed.
    pub(crate) fn report_vehicle_speed(&mut self, standing: bool, load: f32, over_idle: f32, dt_s: f32) {
        let driven = load > self.parameters.driven_load && over_idle > self.parameters.driven_speed;
        self.report(Dtc::VehicleSpeed, standing && driven, dt_s);
    }

    /// Reports a finding that lasted `dt_s` seconds.
    pub fn report(&mut self, dtc: Dtc, found: bool, dt_s: f32) {
        let Some(evidence_s) = self.dtcs.evidence_s.get_mut(dtc as usize) else { return };
        if !found && *evidence_s <= 0.0 {
            return;
        }
        let sets_after_s = self.parameters.sets_after_s(dtc);
        if found {
            self.dtcs.pending = self.dtcs.pending.with(dtc);
            *evidence_s = (*evidence_s + dt_s).at_most(sets_after_s);
            if *evidence_s >= sets_after_s {
                self.dtcs.set = self.dtcs.set.with(dtc);
                self.dtcs.stored = self.dtcs.stored.with(dtc);
            }
        } else {
            *evidence_s = (*evidence_s - dt_s * sets_after_s / self.parameters.clears_s).at_least(0.0);
            if *evidence_s <= 0.0 {
                self.dtcs.pending = self.dtcs.pending.without(dtc);
                self.dtcs.set = self.dtcs.set.without(dtc);
            }
        }
    }

    /// Reports many findings over `dt_s` seconds; fast in the usual case without any.
    pub(crate) fn report_all(&mut self, findings: &[(Dtc, bool)], dt_s: f32) {
        if self.dtcs.pending.is_empty() && !findings.iter().any(|(_, found)| *found) {
            return;
        }
        for &(dtc, found) in findings {
            self.report(dtc, found, dt_s);
        }
    }

    /// Codes of a mixture beyond correction: `correction_ln` is the total correction, `known` whether the reading describes what burned.
    pub fn report_mixture(&mut self, known: bool, correction_ln: f32, dt_s: f32) {
        self.report(Dtc::SystemLean, known && correction_ln > self.parameters.lean_ln, dt_s);
        self.report(Dtc::SystemRich, known && correction_ln < self.parameters.rich_ln, dt_s);
    }

    /// Codes of the rail pressure, Pa; `watched` when the pump should hold it and its sensor is valid.
    pub fn report_rail(&mut self, watched: bool, wanted_pa: f32, rail_pa: f32, dt_s: f32) {
        let off_pa = wanted_pa - rail_pa;
        let TroubleCodeParameters { rail_low, rail_high, .. } = self.parameters;
        self.report(Dtc::RailTooLow, watched && off_pa > rail_low * wanted_pa, dt_s);
        self.report(Dtc::RailTooHigh, watched && off_pa < -rail_high * wanted_pa, dt_s);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TIMES: TroubleCodeParameters = TroubleCodeParameters::DEFAULT;

    #[test]
    fn a_code_sets_after_its_time_and_clears_after_three_seconds() {
        let mut dtcs = Dtcs::default();
        for _ in 0..49 {
            dtcs.reports(&TIMES).report(Dtc::MapLow, true, 0.01);
        }
        assert!(!dtcs.is_set(Dtc::MapLow));
        for _ in 0..3 {
            dtcs.reports(&TIMES).report(Dtc::MapLow, true, 0.01);
        }
        assert!(dtcs.active().eq([Dtc::MapLow]));
        for _ in 0..290 {
            dtcs.reports(&TIMES).report(Dtc::MapLow, false, 0.01);
        }
        assert!(dtcs.is_set(Dtc::MapLow));
        for _ in 0..20 {
            dtcs.reports(&TIMES).report(Dtc::MapLow, false, 0.01);
        }
        assert!(!dtcs.is_set(Dtc::MapLow) && dtcs.stored().eq([Dtc::MapLow]));
    }

    #[test]
    fn a_glitch_sets_nothing() {
        let mut dtcs = Dtcs::default();
        for step in 0..10_000 {
            dtcs.reports(&TIMES).report(Dtc::TpHigh, step % 10 == 0, 0.01);
        }
        assert_eq!(dtcs.stored().count(), 0);
    }

    #[test]
    fn codes_from_before_a_power_down_stay_until_they_are_cleared() {
        let mut dtcs = Dtcs::default();
        dtcs.restore_stored(Codes::default().with(Dtc::TpHigh));
        for _ in 0..60 {
            dtcs.reports(&TIMES).report(Dtc::MapLow, true, 0.01);
        }
        assert!(dtcs.active().eq([Dtc::MapLow]) && dtcs.stored().eq([Dtc::MapLow, Dtc::TpHigh]));
        dtcs.clear();
        assert!(dtcs.stored().eq([Dtc::MapLow]));
    }

    #[test]
    fn pressure_far_off_sets_a_code() {
        let codes = |rail_pa| {
            let mut dtcs = Dtcs::default();
            dtcs.reports(&TIMES).report_rail(true, 300e3, rail_pa, 0.01);
            assert_eq!(dtcs.rail_is_off(), rail_pa != 290e3, "at once");
            (0..300).for_each(|_| dtcs.reports(&TIMES).report_rail(true, 300e3, rail_pa, 0.01));
            dtcs.stored_codes()
        };
        assert_eq!(codes(150e3), Codes::empty().with(Dtc::RailTooLow));
        assert_eq!(codes(450e3), Codes::empty().with(Dtc::RailTooHigh));
        assert_eq!(codes(290e3), Codes::empty());
    }

    #[test]
    fn other_parameters_move_times_and_limits() {
        let wary = TroubleCodeParameters { lean_ln: 0.1, mixture_s: 1.0, clears_s: 30.0, ..TIMES };
        let after = |parameters: &TroubleCodeParameters, correction_ln| {
            let mut dtcs = Dtcs::default();
            (0..120).for_each(|_| dtcs.reports(parameters).report_mixture(true, correction_ln, 0.01));
            (0..400).for_each(|_| dtcs.reports(parameters).report_mixture(true, 0.0, 0.01));
            dtcs.active_codes()
        };
        assert_eq!(after(&wary, 0.15), Codes::empty().with(Dtc::SystemLean));
        assert_eq!((after(&wary, -0.15), after(&TIMES, 0.15)), (Codes::empty(), Codes::empty()));
    }

    #[test]
    fn an_idle_off_its_speed_and_a_road_speed_that_is_missing_set_their_codes() {
        let codes = TroubleCodeParameters::DEFAULT;
        let after = |report: &dyn Fn(&mut Reports<'_>)| {
            let mut dtcs = Dtcs::default();
            (0..1200).for_each(|_| report(&mut dtcs.reports(&codes)));
            dtcs.active_codes()
        };
        let one = |dtc| Codes::empty().with(dtc);
        assert_eq!(after(&|reports| reports.report_idle(Some(15.0), 0.01)), one(Dtc::IdleLow));
        assert_eq!(after(&|reports| reports.report_idle(Some(-25.0), 0.01)), one(Dtc::IdleHigh));
        assert_eq!(after(&|reports| reports.report_idle(Some(-15.0), 0.01)), Codes::empty());
        assert_eq!(after(&|reports| reports.report_idle(None, 0.01)), Codes::empty());
        let driven = |standing, load, over_idle| {
            after(&move |reports| reports.report_vehicle_speed(standing, load, over_idle, 0.01))
        };
        assert_eq!(driven(true, 0.8, 2.5), one(Dtc::VehicleSpeed));
        for (standing, load, over_idle) in [(false, 0.8, 2.5), (true, 0.3, 2.5), (true, 0.8, 1.1)] {
            assert_eq!(driven(standing, load, over_idle), Codes::empty());
        }
    }

    #[test]
    fn every_code_sets_after_the_time_of_its_kind() {
        let (circuit, supply, range, mixture, idle) =
            (TIMES.circuit_s, TIMES.supply_s, TIMES.lambda_range_s, TIMES.mixture_s, TIMES.idle_s);
        let kinds: [(&[Dtc], f32); 5] = [
            (&[Dtc::SystemLean, Dtc::SystemRich, Dtc::O2Slow], mixture),
            (&[Dtc::VehicleSpeed, Dtc::IdleLow, Dtc::IdleHigh, Dtc::O2Heater], idle),
            (&[Dtc::O2Low, Dtc::O2High], range),
            (&[Dtc::RailTooLow, Dtc::RailTooHigh, Dtc::VoltsLow, Dtc::VoltsHigh, Dtc::CrankNoSignal], supply),
            (&[Dtc::MapLow, Dtc::TpHigh, Dtc::EctPerformance, Dtc::CrankPerformance], circuit),
        ];
        for (dtc, time_s) in
            kinds.iter().flat_map(|(codes, time_s)| codes.iter().map(move |dtc| (*dtc, *time_s)))
        {
            let mut dtcs = Dtcs::default();
            let quarters = (1..100).find(|_| {
                dtcs.reports(&TIMES).report(dtc, true, 0.25);
                dtcs.is_set(dtc)
            });
            assert_eq!(quarters, Some((time_s / 0.25) as u32), "{dtc:?}");
        }
    }

    #[test]
    fn at_its_limit_no_code_is_set() {
        let after = |report: &dyn Fn(&mut Reports<'_>)| {
            let mut dtcs = Dtcs::default();
            (0..100).for_each(|_| report(&mut dtcs.reports(&TIMES)));
            dtcs.active_codes()
        };
        for slower in [TIMES.idle_low_rad_per_s, -TIMES.idle_high_rad_per_s] {
            assert!(after(&|reports| reports.report_idle(Some(slower), 0.25)).is_empty());
        }
        for correction_ln in [TIMES.lean_ln, TIMES.rich_ln] {
            assert!(after(&|reports| reports.report_mixture(true, correction_ln, 0.25)).is_empty());
        }
        for rail_pa in [300e3 - TIMES.rail_low * 300e3, 300e3 + TIMES.rail_high * 300e3] {
            assert!(after(&|reports| reports.report_rail(true, 300e3, rail_pa, 0.25)).is_empty());
        }
        for (load, over_idle) in [(TIMES.driven_load, 3.0), (0.9, TIMES.driven_speed)] {
            assert!(after(&|reports| reports.report_vehicle_speed(true, load, over_idle, 0.25)).is_empty());
        }
    }

    #[test]
    fn what_is_not_watched_sets_no_code() {
        let mut dtcs = Dtcs::default();
        for _ in 0..100 {
            let mut reports = dtcs.reports(&TIMES);
            reports.report_rail(false, 300e3, 0.0, 0.25);
            reports.report_rail(false, 300e3, 900e3, 0.25);
            reports.report_mixture(false, 1.0, 0.25);
            reports.report_mixture(false, -1.0, 0.25);
        }
        assert_eq!(dtcs, Dtcs::default());
    }

    #[test]
    fn findings_are_reported_together_while_any_is_pending() {
        let mut dtcs = Dtcs::default();
        let findings = |found| [(Dtc::MapLow, false), (Dtc::TpHigh, found)];
        (0..4).for_each(|_| dtcs.reports(&TIMES).report_all(&findings(true), 0.25));
        assert!(dtcs.active().eq([Dtc::TpHigh]));
        (0..13).for_each(|_| dtcs.reports(&TIMES).report_all(&findings(false), 0.25));
        assert!(dtcs.active_codes().is_empty() && dtcs.pending.is_empty());
    }
}
