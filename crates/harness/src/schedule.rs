//! Schedules: wanted speed and switches over time.
//!
//! A schedule is a CSV file whose first line names the columns with their units in square or round brackets, such as `time [s],speed [m/s]`
//! or `time (min),speed (mph)`. On the road it gives the vehicle speed; on a dynamometer the crank speed `engine_speed` and the `pedal`
//! travel. Other columns are ignored. Time counts from the first row; a schedule that is driven begins at standstill.
//!
//! | column | meaning | between rows | when missing |
//! |---|---|---|---|
//! | `time` | time | | required |
//! | `speed` | speed of the car | linear | required, except on a dynamometer |
//! | `engine_speed`, `pedal` | dynamometer: crank speed (0 releases it), pedal travel | linear | a road |
//! | `altitude` | height above sea level | linear | as in the scenario |
//! | `grade` | rise over run of the road | holds | from altitude and speed, or level |
//! | `key`, `ac`, `nitrous` | `on` or `off`: ignition, air conditioning wanted, nitrous oxide armed | holds | on, off, off |

mod columns;

use crate::error::InputError;
use crate::units::Kind;
use columns::{Columns, ScheduleColumn, Switch, unreadable};

/// Longest schedule, s: a day. Engineering judgement.
pub const LONGEST_S: f64 = 86_400.0;
/// Longest learning run, all passes together, s: two days. Its trace takes some 300 MB. Engineering judgement.
pub const LONGEST_RUN_S: f64 = 172_800.0;
/// Shortest schedule, s. Engineering judgement.
pub const SHORTEST_S: f64 = 1.0;
/// Highest vehicle speed in a schedule, m/s. Engineering judgement.
pub const FASTEST_M_PER_S: f64 = 100.0;
/// Steepest slope in a schedule, rise over run. Engineering judgement.
pub const STEEPEST: f64 = 0.35;
/// Lowest and highest altitude, m. Engineering judgement.
const ALTITUDES_M: (f64, f64) = (-500.0, 5000.0);
/// Highest crank speed on a dynamometer, rad/s. Engineering judgement.
const FASTEST_RAD_PER_S: f64 = 900.0;
/// Most points of a schedule; ten per second for a day fit.
const MAX_POINTS: usize = 1_000_000;
/// Distance between two rows below which their altitudes give no slope, m.
const MIN_DISTANCE_M: f64 = 1.0;

/// Setpoints at one time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SchedulePoint {
    /// Time since the start of the schedule, s.
    pub time_s: f64,
    /// Speed of the car, m/s; 0 on a dynamometer.
    pub speed_m_per_s: f64,
    /// Slope of the road from this point on, rise over run.
    pub grade: f64,
    /// Altitude, m; `None`: as in the scenario.
    pub altitude_m: Option<f64>,
    /// Ignition on.
    pub key: bool,
    /// Air conditioning requested.
    pub ac: bool,
    /// Nitrous system armed.
    pub nitrous: bool,
    /// Dynamometer setpoint; `None` on a road.
    pub pull: Option<DynoSetpoint>,
}

/// Dynamometer setpoint.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DynoSetpoint {
    /// Crank speed to hold, rad/s; 0 leaves the crank free.
    pub speed_rad_per_s: f64,
    /// Pedal travel, 0 to 1.
    pub pedal: f64,
}

/// A schedule: at least two points in order of time, the first at time zero.
///
/// ```
/// use trimwright_harness::schedule::Schedule;
/// let trip = Schedule::parse("trip", "trip.csv", "time (min),speed (mph)\n0,0\n1,30\n3,30\n")?;
/// assert_eq!(trip.duration_s(), 180.0);
/// assert!((trip.distance_m() / 1609.344 - 1.25).abs() < 1e-9, "a mile at 30 mph and a quarter on the way there");
/// # Ok::<(), trimwright_harness::error::InputError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Schedule {
    name: String,
    points: Vec<SchedulePoint>,
}

impl Schedule {
    /// Reads a schedule; `file` is its name in messages.
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
    /// With file, line and column when a column or its unit is missing or unknown, a value is no number or out of range (speed to
    /// [`FASTEST_M_PER_S`], time to [`LONGEST_S`], slope to [`STEEPEST`]), times do not rise, fewer than two rows are left, or the schedule
    /// is shorter than [`SHORTEST_S`].
    pub fn parse(name: &str, file: &str, text: &str) -> Result<Self, InputError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
        let header = reader.headers().map_err(|error| unreadable(file, &error))?.clone();
        let rows = Rows::new(&Columns::new(&header, file), file)?;
        let mut points: Vec<SchedulePoint> = Vec::new();
        let mut start_s = 0.0;
        for record in reader.records() {
            let record = record.map_err(|error| unreadable(file, &error))?;
            let mut point = rows.read(&record)?;
            if points.is_empty() {
                start_s = point.time_s;
            }
            point.time_s -= start_s;
            if points.last().is_some_and(|last| point.time_s <= last.time_s) {
                let problem = "must be later than the time of the row before";
                return Err(rows.time.error(&record, file, problem));
            }
            if points.len() == MAX_POINTS {
                return Err(rows.time.error(
                    &record,
                    file,
                    "is one row too many; at most 1000000 are allowed",
                ));
            }
            if rows.grade.is_none()
                && let Some(last) = points.last_mut()
            {
                last.grade = slope(last, &point);
                if last.grade.abs() > STEEPEST {
                    let problem = "makes the road from the row before steeper than 35 %";
                    return Err(rows.time.error(&record, file, problem));
                }
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

    /// Name of the schedule.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Points in order of time, the first at time zero.
    pub fn points(&self) -> &[SchedulePoint] {
        &self.points
    }

    /// The schedule up to a time, s; at least its first two points.
    ///
    /// ```
    /// use trimwright_harness::schedule::Schedule;
    /// let hill = Schedule::parse("hill", "hill.csv", "time [s],speed [km/h]\n0,0\n10,36\n20,36\n30,0\n")?;
    /// assert_eq!(hill.until(25.0).duration_s(), 20.0);
    /// # Ok::<(), trimwright_harness::error::InputError>(())
    /// ```
    #[must_use]
    pub fn until(mut self, time_s: f64) -> Self {
        let until = self.points.partition_point(|point| point.time_s <= time_s);
        self.points.truncate(until.max(2));
        self
    }

    /// True for a dynamometer schedule.
    pub fn on_dynamometer(&self) -> bool {
        self.points.first().is_some_and(|point| point.pull.is_some())
    }

    /// Duration, s.
    pub fn duration_s(&self) -> f64 {
        self.points.last().map_or(0.0, |point| point.time_s)
    }

    /// Checks that the car stands in the first row: the drive starts there with the engine off.
    ///
    /// # Errors
    ///
    /// When the first speed is not 0; `file` is the name of the schedule in the message.
    pub fn check_start(&self, file: &str) -> Result<(), InputError> {
        let speed = self.speed_m_per_s(0.0);
        if speed == 0.0 {
            return Ok(());
        }
        let problem =
            "must be 0 in the first row: the car stands there, and its engine is still to be started";
        Err(InputError::new(file, problem).key("speed").value(format!("{speed} m/s")))
    }

    /// Distance, m: speeds are interpolated linearly.
    pub fn distance_m(&self) -> f64 {
        self.points.windows(2).map(|pair| distance_between_m(&pair[0], &pair[1])).sum()
    }

    /// Scheduled speed at a time, m/s, interpolated linearly; constant before the first and after the last point.
    pub fn speed_m_per_s(&self, time_s: f64) -> f64 {
        self.at(time_s).speed_m_per_s
    }

    /// Setpoints at a time: quantities interpolated linearly; slope and switches as at the previous point.
    pub fn at(&self, time_s: f64) -> SchedulePoint {
        let after = self.points.partition_point(|point| point.time_s <= time_s);
        let before = after.checked_sub(1).and_then(|before| self.points.get(before));
        match (before, self.points.get(after)) {
            (Some(a), Some(b)) => {
                let share = (time_s - a.time_s) / (b.time_s - a.time_s);
                a.towards(b, share, time_s)
            }
            (Some(only), None) | (None, Some(only)) => SchedulePoint { time_s, ..*only },
            (None, None) => SchedulePoint::still(time_s),
        }
    }
}

impl SchedulePoint {
    /// A standing car on a level road with the ignition on.
    const fn still(time_s: f64) -> Self {
        Self {
            time_s,
            speed_m_per_s: 0.0,
            grade: 0.0,
            altitude_m: None,
            key: true,
            ac: false,
            nitrous: false,
            pull: None,
        }
    }

    /// The point at a share of the way to the next one.
    fn towards(&self, next: &Self, share: f64, time_s: f64) -> Self {
        let between = |a: f64, b: f64| a + share * (b - a);
        let pull = self.pull.zip(next.pull).map(|(a, b)| DynoSetpoint {
            speed_rad_per_s: between(a.speed_rad_per_s, b.speed_rad_per_s),
            pedal: between(a.pedal, b.pedal),
        });
        Self {
            time_s,
            speed_m_per_s: between(self.speed_m_per_s, next.speed_m_per_s),
            altitude_m: self.altitude_m.zip(next.altitude_m).map(|(a, b)| between(a, b)),
            pull,
            ..*self
        }
    }
}

/// Distance between two points, m.
fn distance_between_m(a: &SchedulePoint, b: &SchedulePoint) -> f64 {
    (b.time_s - a.time_s) * (a.speed_m_per_s + b.speed_m_per_s) / 2.0
}

/// Slope of the straight road between two points, rise over run.
fn slope(a: &SchedulePoint, b: &SchedulePoint) -> f64 {
    let Some((from_m, to_m)) = a.altitude_m.zip(b.altitude_m) else { return 0.0 };
    let (rise_m, distance_m) = (to_m - from_m, distance_between_m(a, b));
    let run_m2 = distance_m * distance_m - rise_m * rise_m;
    match (distance_m > MIN_DISTANCE_M, run_m2 > 0.0) {
        (false, _) => 0.0,
        (true, false) => f64::INFINITY,
        (true, true) => rise_m / libm::sqrt(run_m2),
    }
}

/// Columns of the rows of a file.
struct Rows<'a> {
    file: &'a str,
    time: ScheduleColumn,
    speed: Option<ScheduleColumn>,
    grade: Option<ScheduleColumn>,
    altitude: Option<ScheduleColumn>,
    pull: Option<(ScheduleColumn, ScheduleColumn)>,
    key: Option<Switch>,
    ac: Option<Switch>,
    nitrous: Option<Switch>,
}

impl<'a> Rows<'a> {
    fn new(columns: &Columns<'_>, file: &'a str) -> Result<Self, InputError> {
        let time = columns.need("time", Kind::Time)?;
        let dynamometer = columns.has("engine_speed");
        if dynamometer && columns.has("speed") {
            let problem = "a schedule has a column `speed` or, on a dynamometer, `engine_speed`, not both";
            return Err(columns.error(problem).value(columns.shown()));
        }
        let pull = if dynamometer {
            Some((columns.need("engine_speed", Kind::Rotation)?, columns.need("pedal", Kind::Ratio)?))
        } else {
            None
        };
        let speed = if dynamometer { None } else { Some(columns.need("speed", Kind::Speed)?) };
        Ok(Self {
            file,
            time,
            speed,
            grade: columns.find("grade", Kind::Ratio)?,
            altitude: columns.find("altitude", Kind::Length)?,
            pull,
            key: columns.switch("key")?,
            ac: columns.switch("ac")?,
            nitrous: columns.switch("nitrous")?,
        })
    }

    fn read(&self, record: &csv::StringRecord) -> Result<SchedulePoint, InputError> {
        let quantity = |column: &ScheduleColumn, range| column.read(record, range, self.file);
        let maybe = |column: &Option<ScheduleColumn>, range| {
            column.as_ref().map(|column| quantity(column, range)).transpose()
        };
        let switch = |switch: &Option<Switch>, without: bool| {
            switch.as_ref().map_or(Ok(without), |switch| switch.read(record, self.file))
        };
        let pull = match &self.pull {
            None => None,
            Some((speed, pedal)) => Some(DynoSetpoint {
                speed_rad_per_s: quantity(speed, (0.0, FASTEST_RAD_PER_S))?,
                pedal: quantity(pedal, (0.0, 1.0))?,
            }),
        };
        Ok(SchedulePoint {
            time_s: quantity(&self.time, (0.0, LONGEST_S))?,
            speed_m_per_s: maybe(&self.speed, (0.0, FASTEST_M_PER_S))?.unwrap_or(0.0),
            grade: maybe(&self.grade, (-STEEPEST, STEEPEST))?.unwrap_or(0.0),
            altitude_m: maybe(&self.altitude, ALTITUDES_M)?,
            key: switch(&self.key, true)?,
            ac: switch(&self.ac, false)?,
            nitrous: switch(&self.nitrous, false)?,
            pull,
        })
    }
}

#[cfg(test)]
mod tests;
