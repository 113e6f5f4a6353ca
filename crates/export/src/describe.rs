//! What the columns of a run are.

/// Name and meaning of each column of `trace.csv` and `map.csv`.
const COLUMNS: [(&str, &str); 26] = [
    ("time", "Time since power-up"),
    ("wanted_speed", "Road speed that the schedule asks for"),
    ("speed", "Road speed"),
    ("engine_speed", "Crank speed; in the map, the breakpoint"),
    ("throttle", "Share of pedal travel"),
    ("map", "Manifold absolute pressure; in the map, the breakpoint"),
    ("ect", "Engine coolant temperature"),
    ("iat", "Intake air temperature"),
    ("battery", "Supply voltage"),
    ("lambda", "True lambda of the last charge, whole engine; empty without fuel"),
    ("wanted_lambda", "Lambda that the controller wants; empty without fuel"),
    ("sensor_lambda", "Lambda that the controller reads; empty while the sensor is not ready"),
    ("short_term_trim", "Fuel added by feedback"),
    ("long_term_trim", "Fuel added by what was learned, at this operating point"),
    ("open_time", "Last time for which an injector was energised"),
    ("fuel_flow", "Fuel into the cylinders"),
    ("air_flow", "Air into the cylinders"),
    ("spark_advance", "Spark advance commanded, before top dead centre"),
    ("torque", "Torque at the crank after friction, pumping and accessories"),
    ("phase", "What the controller takes the engine to be doing"),
    ("base_filling", "Filling efficiency that the first calibration believes, against manifold density"),
    ("learned", "Natural logarithm of the fuel factor that was learned"),
    ("right", "Natural logarithm of the fuel factor that would have been right"),
    ("standard_deviation", "The map's own estimate of its error in the cell"),
    ("dwell", "Time in steady state near the cell"),
    ("visited", "Whether the dwell was long enough for the cell to count"),
];

/// What a column of a run is; empty for one that is not known.
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
