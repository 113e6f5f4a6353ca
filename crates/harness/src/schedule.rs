//! Drive schedules: how fast the car is to go, moment by moment.
//!
//! A schedule is a CSV file whose first line names the columns with their units in square or round brackets, such as
//! `time [s],speed [m/s]` or `time (min),speed (mph)`. Further columns are left alone.

use crate::error::InputError;
use crate::units::{Kind, Unit};

/// Longest schedule, seconds: a day. Engineering judgement.
pub const LONGEST_S: f64 = 86_400.0;
/// Shortest schedule, seconds. Engineering judgement.
pub const SHORTEST_S: f64 = 1.0;
/// Fastest speed in a schedule, m/s. Engineering judgement.
pub const FASTEST_M_PER_S: f64 = 100.0;
/// Most points of a schedule; ten a second for a day fit.
const MOST_POINTS: usize = 1_000_000;

/// The wanted speed at one time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Time since the start of the schedule, s.
    pub time_s: f64,
    /// Speed of the car, m/s.
    pub speed_m_per_s: f64,
}

/// A drive schedule: at least two points in order of time, the first at time zero.
#[derive(Clone, Debug, PartialEq)]
pub struct Schedule {
    name: String,
    points: Vec<Point>,
}

impl Schedule {
    /// Reads the text of a schedule; `file` is what a message calls it.
    ///
    /// ```
    /// use trimwright_harness::schedule::Schedule;
    /// let schedule = Schedule::parse("hill", "hill.csv", "time [s],speed [km/h]\n0,0\n10,36\n20,36\n")?;
    /// assert_eq!(schedule.duration_s(), 20.0);
    /// assert!((schedule.speed_m_per_s(5.0) - 5.0).abs() < 1e-12);
    /// assert!((schedule.distance_m() - 150.0).abs() < 1e-9);
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    ///
    /// # Errors
    ///
    /// With file, line and column when a column or its unit is missing or unknown, a value is no number, negative, faster
    /// than [`FASTEST_M_PER_S`] or later than [`LONGEST_S`], the times don't rise, fewer than two rows are left, or they are over before
    /// [`SHORTEST_S`].
    pub fn parse(name: &str, file: &str, text: &str) -> Result<Self, InputError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
        let header = reader.headers().map_err(|error| unreadable(file, &error))?.clone();
        let time = Column::find(&header, "time", Kind::Time, file)?;
        let speed = Column::find(&header, "speed", Kind::Speed, file)?;
        let mut points: Vec<Point> = Vec::new();
        let mut start_s = 0.0;
        for record in reader.records() {
            let record = record.map_err(|error| unreadable(file, &error))?;
            let time_s = time.read(&record, LONGEST_S, file)?;
            let speed_m_per_s = speed.read(&record, FASTEST_M_PER_S, file)?;
            if points.is_empty() {
                start_s = time_s;
            }
            let point = Point { time_s: time_s - start_s, speed_m_per_s };
            if points.last().is_some_and(|last| point.time_s <= last.time_s) {
                let problem = "must be later than the time of the row before";
                return Err(time.error(&record, file, problem));
            }
            if points.len() == MOST_POINTS {
                return Err(time.error(&record, file, "is one row too many; at most 1000000 are allowed"));
            }
            points.push(point);
        }
        if points.len() < 2 {
            return Err(InputError::new(file, "a schedule needs at least two rows of time and speed"));
        }
        let schedule = Self { name: name.to_owned(), points };
        if schedule.duration_s() < SHORTEST_S {
            return Err(InputError::new(file, "a schedule must last at least a second"));
        }
        Ok(schedule)
    }

    /// What it is called.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its points, in order of time, the first at time zero.
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// How long it lasts, s.
    pub fn duration_s(&self) -> f64 {
        self.points.last().map_or(0.0, |point| point.time_s)
    }

    /// How far it goes, m: speeds are joined by straight lines.
    pub fn distance_m(&self) -> f64 {
        self.points
            .windows(2)
            .map(|pair| {
                (pair[1].time_s - pair[0].time_s) * (pair[0].speed_m_per_s + pair[1].speed_m_per_s) / 2.0
            })
            .sum()
    }

    /// The wanted speed at a time, m/s, on a straight line between points; before the first and after the last point
    /// it is theirs.
    pub fn speed_m_per_s(&self, time_s: f64) -> f64 {
        let after = self.points.partition_point(|point| point.time_s <= time_s);
        match (after.checked_sub(1).and_then(|before| self.points.get(before)), self.points.get(after)) {
            (Some(a), Some(b)) => {
                let share = (time_s - a.time_s) / (b.time_s - a.time_s);
                a.speed_m_per_s + share * (b.speed_m_per_s - a.speed_m_per_s)
            }
            (Some(only), None) | (None, Some(only)) => only.speed_m_per_s,
            (None, None) => 0.0,
        }
    }
}

/// A column of the file and the unit that its header names.
struct Column {
    index: usize,
    name: &'static str,
    unit: Unit,
}

impl Column {
    fn find(
        header: &csv::StringRecord,
        name: &'static str,
        kind: Kind,
        file: &str,
    ) -> Result<Self, InputError> {
        let named = |field: &&str| {
            let word = field.split(['[', '(']).next().unwrap_or_default().trim();
            word.eq_ignore_ascii_case(name)
        };
        let wanted = || format!("with its unit in brackets, one of {}", kind.accepted());
        let shown = header.iter().collect::<Vec<_>>().join(",");
        let error = |problem: String| InputError::new(file, problem).line(1);
        let mut found = header.iter().enumerate().filter(|(_, field)| named(field));
        let Some((index, field)) = found.next() else {
            return Err(
                error(format!("the first line must name a column `{name}` {}", wanted())).value(shown)
            );
        };
        if found.next().is_some() {
            return Err(error(format!("more than one column is called `{name}`")).value(shown));
        }
        let spelling =
            field.split_once(['[', '(']).and_then(|(_, rest)| rest.strip_suffix([']', ')'])).map(str::trim);
        let Some(spelling) = spelling else {
            return Err(error(format!("the column `{name}` must be named {}", wanted())).value(field));
        };
        match Unit::find(kind, spelling) {
            Some(unit) => Ok(Self { index, name, unit }),
            None => {
                Err(error(format!("`{spelling}` is no unit of {name}; write {name} {}", wanted()))
                    .value(field))
            }
        }
    }

    /// The value of this row, in SI, from 0 to `most`.
    fn read(&self, record: &csv::StringRecord, most: f64, file: &str) -> Result<f64, InputError> {
        let text = record.get(self.index).unwrap_or_default();
        let value = text.parse::<f64>().map(|number| self.unit.to_si(number));
        match value {
            Ok(value) if (0.0..=most).contains(&value) => Ok(value),
            Ok(value) if value < 0.0 => Err(self.error(record, file, "must not be negative")),
            Ok(value) if value > most => {
                Err(self.error(record, file, &format!("must be at most {}", self.unit.show(most))))
            }
            _ => Err(self.error(record, file, "must be a number")),
        }
    }

    fn error(&self, record: &csv::StringRecord, file: &str, problem: &str) -> InputError {
        let error =
            InputError::new(file, problem).key(self.name).value(record.get(self.index).unwrap_or_default());
        match record.position() {
            Some(position) => error.line(line_number(position)),
            None => error,
        }
    }
}

fn line_number(position: &csv::Position) -> usize {
    usize::try_from(position.line()).unwrap_or(usize::MAX)
}

fn unreadable(file: &str, error: &csv::Error) -> InputError {
    let problem = match error.kind() {
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!("has {len} values where the first line names {expected_len} columns")
        }
        csv::ErrorKind::Utf8 { .. } => "is not UTF-8 text".to_owned(),
        _ => "is not a table of comma-separated values".to_owned(),
    };
    let position = error.position().map(line_number);
    let error = InputError::new(file, problem);
    position.map_or(error.clone(), |line| error.line(line))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn shipped(name: &str) -> Schedule {
        let path = format!("{}/../../shared/schedules/{name}.csv", env!("CARGO_MANIFEST_DIR"));
        Schedule::parse(name, &path, &std::fs::read_to_string(&path).expect("shipped")).expect("valid")
    }

    fn problem(text: &str) -> String {
        Schedule::parse("x", "x.csv", text).expect_err("refused").to_string()
    }

    /// Against 40 CFR part 86 appendix I(a) and part 600 appendix I, as tabulated in `shared/reference/drive_schedules.csv`.
    #[test]
    fn val_public_schedules_have_their_published_length_and_distance() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/reference/drive_schedules.csv");
        let mut table = csv::Reader::from_path(path).expect("the reference table");
        let rows: Vec<csv::StringRecord> = table.records().map(|row| row.expect("a row")).collect();
        for (name, row) in ["udds", "hwfet"].into_iter().zip(&rows) {
            let published = |column: usize| row[column].parse::<f64>().expect("a number");
            let schedule = shipped(name);
            assert_eq!(&row[0], name.to_uppercase());
            assert_eq!(schedule.points().len() as f64, published(2));
            assert_eq!(schedule.duration_s(), published(3));
            assert!(
                (schedule.distance_m() / 1000.0 - published(4)).abs() < 1e-9,
                "{}",
                schedule.distance_m()
            );
            let top = schedule.points().iter().map(|point| point.speed_m_per_s).fold(0.0, f64::max);
            assert!((top * 3.6 - published(7)).abs() < 1e-6, "{top}");
        }
        assert_eq!(rows.len(), 2);
    }

    #[test]
    fn speed_runs_straight_between_points_and_holds_outside() {
        let text = "speed (mph),note,time (min)\n10,a,1\n30,b,2\n";
        let schedule = Schedule::parse("own", "own.csv", text).expect("valid");
        assert_eq!(schedule.duration_s(), 60.0);
        for (time_s, mph) in [(-5.0, 10.0), (0.0, 10.0), (15.0, 15.0), (60.0, 30.0), (1e9, 30.0)] {
            assert!((schedule.speed_m_per_s(time_s) - mph * 0.44704).abs() < 1e-12, "{time_s}");
        }
    }

    #[test]
    fn each_fault_is_named_with_file_line_and_column() {
        assert_eq!(
            problem("time [s],speed [m/s]\n0,0\n1,-2\n"),
            "x.csv, line 3, speed = -2: must not be negative"
        );
        assert_eq!(
            problem("time [s],speed [m/s]\n0,0\n1,NaN\n"),
            "x.csv, line 3, speed = NaN: must be a number"
        );
        assert_eq!(
            problem("time [s],speed [mph]\n0,0\n1,999\n"),
            "x.csv, line 3, speed = 999: must be at most 223.694 mph"
        );
        assert_eq!(
            problem("time [s],speed [m/s]\n0,0\n5,1\n4,1\n"),
            "x.csv, line 4, time = 4: must be later than the time of the row before"
        );
        assert_eq!(
            problem("time [h],speed [m/s]\n0,0\n24.5,0\n"),
            "x.csv, line 3, time = 24.5: must be at most 24 h"
        );
        assert_eq!(
            problem("time [s],speed [m/s]\n0,0\n1\n"),
            "x.csv, line 3: has 1 values where the first line names 2 columns"
        );
        assert_eq!(
            problem("time [ms],speed [m/s]\n0,0\n999,0\n"),
            "x.csv: a schedule must last at least a second"
        );
        assert!(problem("").starts_with("x.csv, line 1, nothing: the first line must name a column `time`"));
        assert!(
            problem("time,speed\n0,0\n")
                .contains("the column `time` must be named with its unit in brackets")
        );
        assert!(problem("time [s],speed [knots]\n").contains("`knots` is no unit of speed"));
        assert!(
            problem("time [s],speed [m/s]\n0,0\n").ends_with("needs at least two rows of time and speed")
        );
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in any::<String>(), rows in "[-0-9.,eNan\n\"]{0,200}") {
            for text in [text, format!("time [s],speed [m/s]\n{rows}")] {
                if let Ok(schedule) = Schedule::parse("any", "any.csv", &text) {
                    prop_assert!(schedule.points().windows(2).all(|pair| pair[0].time_s < pair[1].time_s));
                    prop_assert!((SHORTEST_S..=LONGEST_S).contains(&schedule.duration_s()));
                    prop_assert!((0.0..=FASTEST_M_PER_S).contains(&schedule.speed_m_per_s(1.0)));
                }
            }
        }
    }
}
