//! Trouble codes.

use crate::table;
use std::collections::{BTreeMap, BTreeSet};
use trimwright_control::Dtc;

/// Words that the meaning of a code in the standard must contain, for each code of the controller.
const WORDS: &[(Dtc, &[&str])] = &[
    (Dtc::RailTooLow, &["Rail", "Low"]),
    (Dtc::RailTooHigh, &["Rail", "High"]),
    (Dtc::MapPerformance, &["MAP", "Performance"]),
    (Dtc::MapLow, &["MAP", "Low"]),
    (Dtc::MapHigh, &["MAP", "High"]),
    (Dtc::IatPerformance, &["IAT", "Performance"]),
    (Dtc::IatLow, &["IAT", "Low"]),
    (Dtc::IatHigh, &["IAT", "High"]),
    (Dtc::EctPerformance, &["ECT", "Performance"]),
    (Dtc::EctLow, &["ECT", "Low"]),
    (Dtc::EctHigh, &["ECT", "High"]),
    (Dtc::TpPerformance, &["TPS", "Performance"]),
    (Dtc::TpLow, &["TPS", "Low"]),
    (Dtc::TpHigh, &["TPS", "High"]),
    (Dtc::O2Circuit, &["O2 Sensor Circuit (Bank 1 Sensor 1)"]),
    (Dtc::O2Low, &["O2 Sensor", "Low"]),
    (Dtc::O2High, &["O2 Sensor", "High"]),
    (Dtc::O2Slow, &["O2 Sensor", "Slow"]),
    (Dtc::O2NoActivity, &["O2 Sensor", "No Activity"]),
    (Dtc::O2Heater, &["O2 Sensor", "Heater"]),
    (Dtc::SystemLean, &["Lean", "Bank 1"]),
    (Dtc::SystemRich, &["Rich", "Bank 1"]),
    (Dtc::FrpPerformance, &["FRP", "Performance"]),
    (Dtc::FrpLow, &["FRP", "Low"]),
    (Dtc::FrpHigh, &["FRP", "High"]),
    (Dtc::CrankNoSignal, &["Crankshaft Position"]),
    (Dtc::CrankPerformance, &["CKP", "Performance"]),
    (Dtc::VehicleSpeed, &["Vehicle Speed Sensor"]),
    (Dtc::IdleLow, &["Idle", "Lower"]),
    (Dtc::IdleHigh, &["Idle", "Higher"]),
    (Dtc::VoltsUnstable, &["System Voltage", "Unstable"]),
    (Dtc::VoltsLow, &["System Voltage", "Low"]),
    (Dtc::VoltsHigh, &["System Voltage", "High"]),
];

/// Source: SAE J2012 / ISO 15031-6; the table's status column says whether each meaning was confirmed.
#[test]
fn val_each_code_means_what_the_standard_says() {
    let meanings: BTreeMap<String, String> = table::read("dtc")
        .iter()
        .map(|row| (row.text("code").to_owned(), row.text("meaning").to_owned()))
        .collect();
    for (dtc, words) in WORDS {
        let code = dtc.code();
        let meaning =
            meanings.get(code).unwrap_or_else(|| panic!("{dtc:?} has code {code}, which the table lacks"));
        for word in *words {
            assert!(meaning.contains(word), "{dtc:?} is {code}, which means {meaning}");
        }
    }
    let tested: BTreeSet<_> = WORDS.iter().map(|(dtc, _)| dtc.code()).collect();
    assert_eq!(
        tested,
        Dtc::ALL.iter().map(|dtc| dtc.code()).collect(),
        "every code is checked, and no two are the same"
    );
    assert_eq!(tested.len(), WORDS.len());
}
