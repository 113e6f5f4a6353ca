//! Describes the differences between a drive with a fault and the same drive without.
//!
//! Thresholds: engineering judgement of what a driver feels or sees.

use crate::faults::experience::Experience;
use crate::units::times;

/// Differences that the owner would notice.
pub(super) fn noticed_by_owner(faulty: &Experience, reference: &Experience) -> Vec<String> {
    let mut notices = Vec::new();
    if faulty.ran_s < 5.0 {
        return vec!["does not start".to_owned()];
    }
    let mut notice = |is: bool, words: String| {
        if is {
            notices.push(words);
        }
    };
    notice(faulty.crank_s > 1.5 * reference.crank_s + 1.0, format!("cranks {:.0} s", faulty.crank_s));
    notice(faulty.stalls > reference.stalls, format!("stalls {}", times(faulty.stalls - reference.stalls)));
    let idle_rpm = faulty.idle_rpm - reference.idle_rpm;
    notice(
        idle_rpm.abs() > 50.0,
        format!("idles at {:.0} instead of {:.0} rpm", faulty.idle_rpm, reference.idle_rpm),
    );
    notice(
        faulty.idle_swing_rpm > reference.idle_swing_rpm + 25.0,
        format!("idle swings by {:.0} rpm", faulty.idle_swing_rpm),
    );
    let slower = faulty.speed_error_rms_m_per_s - reference.speed_error_rms_m_per_s;
    notice(slower > 0.3, format!("falls {slower:.1} m/s further behind"));
    let misfires = faulty.misfires - reference.misfires;
    notice(misfires > 2e-3, format!("misfires ({:.1} % more)", 100.0 * misfires));
    let knocks = faulty.knocks - reference.knocks;
    notice(knocks > 2e-3, format!("pings ({:.1} % more)", 100.0 * knocks));
    let (per_m, reference_per_m) =
        (faulty.fuel_kg / faulty.distance_m, reference.fuel_kg / reference.distance_m);
    // A car that hardly moved has no meaningful consumption.
    let consumption_change =
        if faulty.distance_m > 0.5 * reference.distance_m { per_m / reference_per_m - 1.0 } else { 0.0 };
    notice(consumption_change.abs() > 0.04, format!("uses {:+.0} % fuel", 100.0 * consumption_change));
    notice(
        faulty.hottest_k > reference.hottest_k.max(378.0) + 3.0,
        format!("coolant {:.0} degC", faulty.hottest_k - 273.15),
    );
    notice(
        faulty.last_k < reference.last_k - 8.0,
        format!("heater stays cool ({:.0} degC)", faulty.last_k - 273.15),
    );
    notice(faulty.last_v < reference.last_v - 0.7, format!("battery lamp ({:.1} V)", faulty.last_v));
    notices
}

/// Differences that the controller detected.
pub(super) fn noticed_by_controller(faulty: &Experience, reference: &Experience) -> Vec<String> {
    let mut notices: Vec<String> =
        faulty.codes.iter().filter(|code| !reference.codes.contains(code)).cloned().collect();
    if faulty.guard_trips > reference.guard_trips {
        notices.push(format!("lean guard cut {}", times(u32::from(faulty.guard_trips))));
    }
    if faulty.upstream_air_kg_per_s > 0.0 {
        notices.push(format!("air before the sensor, {:.2} g/s", 1e3 * faulty.upstream_air_kg_per_s));
    }
    let before = |reason: &String| reference.refusals.get(reason).copied().unwrap_or(0);
    let mut more: Vec<(u32, &String)> = faulty
        .refusals
        .iter()
        .map(|(reason, &count)| (count.saturating_sub(before(reason)), reason))
        .filter(|(more, reason)| *more > 500 + before(reason) / 4)
        .collect();
    more.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(b.1)));
    notices.extend(more.iter().take(2).map(|(_, reason)| format!("refusals: {}", reason.replace('_', " "))));
    if faulty.lessons == 0 {
        notices.push("learns nothing".to_owned());
    }
    notices
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reference() -> Experience {
        Experience {
            ran_s: 700.0,
            crank_s: 1.0,
            idle_rpm: 700.0,
            idle_swing_rpm: 8.0,
            speed_error_rms_m_per_s: 1.0,
            distance_m: 8000.0,
            fuel_kg: 2.0,
            hottest_k: 368.0,
            last_k: 360.0,
            last_v: 14.2,
            lessons: 900,
            ..Experience::default()
        }
    }

    #[test]
    fn the_same_drive_gives_nothing_to_notice() {
        assert!(noticed_by_owner(&reference(), &reference()).is_empty());
        assert!(noticed_by_controller(&reference(), &reference()).is_empty());
    }

    #[test]
    fn differences_are_put_into_words() {
        let faulty = Experience { stalls: 2, fuel_kg: 2.4, last_v: 11.9, idle_rpm: 900.0, ..reference() };
        let words = noticed_by_owner(&faulty, &reference());
        assert_eq!(
            words,
            ["stalls 2 times", "idles at 900 instead of 700 rpm", "uses +20 % fuel", "battery lamp (11.9 V)"]
        );
        let dead = Experience { ran_s: 0.0, ..reference() };
        assert_eq!(noticed_by_owner(&dead, &reference()), ["does not start"]);
        let faulty = Experience {
            codes: vec!["P0171".to_owned()],
            guard_trips: 1,
            lessons: 0,
            refusals: [("cold".to_owned(), 900)].into(),
            ..reference()
        };
        assert_eq!(
            noticed_by_controller(&faulty, &reference()),
            ["P0171", "lean guard cut once", "refusals: cold", "learns nothing"]
        );
    }
}
