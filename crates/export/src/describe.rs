//! Descriptions of the columns of a run.

/// Name and meaning of each column of `trace.csv` and `map.csv`.
const COLUMNS: [(&str, &str); 26] = [
    ("time", "Time since power-up"),
    ("wanted_speed", "Road speed of the schedule"),
    ("speed", "Road speed"),
    ("engine_speed", "Crank speed; in the map, the breakpoint"),
    ("throttle", "Share of pedal travel"),
    ("map", "Manifold absolute pressure; in the map, the breakpoint"),
    ("ect", "Engine coolant temperature"),
    ("iat", "Intake air temperature"),
    ("battery", "Supply voltage"),
    ("lambda", "True lambda of the last charge, whole engine; empty without fuel"),
    ("wanted_lambda", "Lambda that the controller wants; empty without fuel"),
    ("sensor_lambda", "Lambda measured by the controller; empty while the sensor is not ready"),
    ("short_term_trim", "Fuel added by feedback"),
    ("long_term_trim", "Learned correction of fuel at this operating point"),
    ("open_time", "Last open time of an injector"),
    ("fuel_flow", "Fuel into the cylinders"),
    ("air_flow", "Air into the cylinders"),
    ("spark_advance", "Spark advance commanded, before top dead centre"),
    ("torque", "Torque at the crank after friction, pumping and accessories"),
    ("phase", "Engine phase as estimated by the controller"),
    ("base_filling", "Filling efficiency of the first calibration, relative to manifold density"),
    ("learned", "Natural logarithm of the learned fuel factor"),
    ("right", "Natural logarithm of the true fuel factor"),
    ("standard_deviation", "Standard deviation of the cell as estimated by the learner"),
    ("dwell", "Time in steady state near the cell"),
    ("visited", "Whether the dwell was long enough to learn"),
];

/// Description of a column of a run; empty for an unknown one.
///
/// ```
/// assert_eq!(trimwright_export::description("iat"), "Intake air temperature");
/// assert_eq!(trimwright_export::description("colour"), "");
/// ```
pub fn description(column: &str) -> &'static str {
    COLUMNS.iter().find(|(name, _)| *name == column).map_or("", |(_, description)| description)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_column_of_the_trace_is_described() {
        for column in trimwright_harness::trace::COLUMNS {
            let name = column.split(" [").next().expect("a name");
            assert!(!description(name).is_empty(), "{name}");
        }
    }
}
