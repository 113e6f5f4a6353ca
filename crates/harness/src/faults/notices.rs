//! Puts what a drive was like into words, against the same drive without a fault.
//!
//! The differences from which something is noticed are engineering judgement: what a person at the wheel feels or sees.

use crate::faults::experience::Experience;
use crate::units::times;

/// What the owner would notice.
pub(super) fn noticed_by_owner(felt: &Experience, sound: &Experience) -> Vec<String> {
    let mut notices = Vec::new();
    if felt.ran_s < 5.0 {
        return vec!["does not start".to_owned()];
    }
    let mut notice = |is: bool, words: String| {
        if is {
            notices.push(words);
        }
    };
    notice(felt.crank_s > 1.5 * sound.crank_s + 1.0, format!("cranks {:.0} s", felt.crank_s));
    notice(felt.stalls > sound.stalls, format!("stalls {}", times(felt.stalls - sound.stalls)));
    let idle_rpm = felt.idle_rpm - sound.idle_rpm;
    notice(
        idle_rpm.abs() > 50.0,
        format!("idles at {:.0} instead of {:.0} rpm", felt.idle_rpm, sound.idle_rpm),
    );
    notice(
        felt.idle_swing_rpm > sound.idle_swing_rpm + 25.0,
        format!("idle swings by {:.0} rpm", felt.idle_swing_rpm),
    );
    let slower = felt.speed_error_rms_m_per_s - sound.speed_error_rms_m_per_s;
    notice(slower > 0.3, format!("falls {slower:.1} m/s further behind"));
    let misfires = felt.misfires - sound.misfires;
    notice(misfires > 2e-3, format!("misfires ({:.1} % more)", 100.0 * misfires));
    let knocks = felt.knocks - sound.knocks;
    notice(knocks > 2e-3, format!("pings ({:.1} % more)", 100.0 * knocks));
    let (per_m, sound_per_m) = (felt.fuel_kg / felt.distance_m, sound.fuel_kg / sound.distance_m);
    // A car that hardly moved says nothing about its thirst.
    let thirst = if felt.distance_m > 0.5 * sound.distance_m { per_m / sound_per_m - 1.0 } else { 0.0 };
    notice(thirst.abs() > 0.04, format!("uses {:+.0} % fuel", 100.0 * thirst));
    notice(
        felt.hottest_k > sound.hottest_k.max(378.0) + 3.0,
        format!("coolant {:.0} degC", felt.hottest_k - 273.15),
    );
    notice(felt.last_k < sound.last_k - 8.0, format!("heater stays cool ({:.0} degC)", felt.last_k - 273.15));
    notice(felt.last_v < sound.last_v - 0.7, format!("battery lamp ({:.1} V)", felt.last_v));
    notices
}

/// What the controller noticed.
pub(super) fn noticed_by_controller(met: &Experience, sound: &Experience) -> Vec<String> {
    let mut notices: Vec<String> =
        met.codes.iter().filter(|code| !sound.codes.contains(code)).cloned().collect();
    if met.guard_trips > sound.guard_trips {
        notices.push(format!("lean guard cut {}", times(u32::from(met.guard_trips))));
    }
    if met.upstream_air_kg_per_s > 0.0 {
        notices.push(format!("air before the sensor, {:.2} g/s", 1e3 * met.upstream_air_kg_per_s));
    }
    let before = |reason: &String| sound.refusals.get(reason).copied().unwrap_or(0);
    let mut more: Vec<(u32, &String)> = met
        .refusals
        .iter()
        .map(|(reason, &count)| (count.saturating_sub(before(reason)), reason))
        .filter(|(more, reason)| *more > 500 + before(reason) / 4)
        .collect();
    more.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(b.1)));
    notices.extend(more.iter().take(2).map(|(_, reason)| format!("refuses: {}", reason.replace('_', " "))));
    if met.lessons == 0 {
        notices.push("learns nothing".to_owned());
    }
    notices
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sound() -> Experience {
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
        assert!(noticed_by_owner(&sound(), &sound()).is_empty());
        assert!(noticed_by_controller(&sound(), &sound()).is_empty());
    }

    #[test]
    fn differences_are_put_into_words() {
        let felt = Experience { stalls: 2, fuel_kg: 2.4, last_v: 11.9, idle_rpm: 900.0, ..sound() };
        let words = noticed_by_owner(&felt, &sound());
        assert_eq!(
            words,
            ["stalls 2 times", "idles at 900 instead of 700 rpm", "uses +20 % fuel", "battery lamp (11.9 V)"]
        );
        let dead = Experience { ran_s: 0.0, ..sound() };
        assert_eq!(noticed_by_owner(&dead, &sound()), ["does not start"]);
        let met = Experience {
            codes: vec!["P0171".to_owned()],
            guard_trips: 1,
            lessons: 0,
            refusals: [("cold".to_owned(), 900)].into(),
            ..sound()
        };
        assert_eq!(
            noticed_by_controller(&met, &sound()),
            ["P0171", "lean guard cut once", "refuses: cold", "learns nothing"]
        );
    }
}
