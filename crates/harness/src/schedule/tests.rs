use super::*;
use proptest::prelude::*;

fn shipped(name: &str) -> Schedule {
    let path = format!("{}/shared/schedules/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    Schedule::parse(name, &path, &std::fs::read_to_string(&path).expect("shipped")).expect("valid")
}

fn problem(text: &str) -> String {
    Schedule::parse("x", "x.csv", text).expect_err("rejected").to_string()
}

/// Against 40 CFR part 86 appendix I(a) and part 600 appendix I, as tabulated in `shared/reference/drive_schedules.csv`.
#[test]
fn val_public_schedules_have_their_published_length_and_distance() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/shared/reference/drive_schedules.csv");
    let mut table = csv::Reader::from_path(path).expect("the reference table");
    let rows: Vec<csv::StringRecord> = table.records().map(|row| row.expect("a row")).collect();
    for (name, row) in ["udds", "hwfet"].into_iter().zip(&rows) {
        let published = |column: usize| row[column].parse::<f64>().expect("a number");
        let schedule = shipped(name);
        assert_eq!(&row[0], name.to_uppercase());
        assert_eq!(schedule.points().len() as f64, published(2));
        assert_eq!(schedule.duration_s(), published(3));
        assert!((schedule.distance_m() / 1000.0 - published(4)).abs() < 1e-9, "{}", schedule.distance_m());
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
fn a_limit_that_is_printed_is_allowed() {
    let graded = |percent: &str| {
        Schedule::parse("x", "x.csv", &format!("time [s],speed [m/s],grade [%]\n0,0,{percent}\n1,0,0\n"))
    };
    assert_eq!(graded("35").expect("allowed").at(0.0).grade, STEEPEST);
    assert!(graded("35.1").expect_err("rejected").to_string().ends_with("must be at most 35%"));
}

#[test]
fn time_counts_from_the_first_row_and_the_car_stands_there() {
    let late = Schedule::parse("x", "x.csv", "time [s],speed [m/s]\n100,0\n110,5\n").expect("valid");
    assert_eq!((late.duration_s(), late.speed_m_per_s(5.0)), (10.0, 2.5));
    assert_eq!(late.check_start("x.csv"), Ok(()));
    let rolling = Schedule::parse("x", "x.csv", "time [s],speed [km/h]\n0,36\n10,36\n").expect("valid");
    assert_eq!(
        rolling.check_start("x.csv").expect_err("rejected").to_string(),
        "x.csv, speed = 10 m/s: must be 0 in the first row: the car stands there, and its engine is still to be started"
    );
}

#[test]
fn errors_name_file_line_and_column() {
    assert_eq!(
        problem("time [s],speed [m/s]\n0,0\n1,-2\n"),
        "x.csv, line 3, speed = -2: must not be negative"
    );
    assert_eq!(problem("time [s],speed [m/s]\n0,0\n1,NaN\n"), "x.csv, line 3, speed = NaN: must be a number");
    assert_eq!(
        problem("time [s],speed [mph]\n0,0\n1,999\n"),
        "x.csv, line 3, speed = 999: must be at most 223 mph"
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
        problem("time,speed\n0,0\n").contains("the column `time` must be named with its unit in brackets")
    );
    assert!(problem("time [s],speed [knots]\n").contains("`knots` is no unit of speed"));
    assert_eq!(
        problem("time [s];speed [km/h]\n0;0\n1;2,5\n"),
        "x.csv, line 1, time [s];speed [km/h]: columns are separated by commas, not semicolons, and numbers have a decimal point"
    );
    assert!(problem("time [s]\tspeed [km/h]\n0\t0\n").contains("by commas, not tabs"));
    assert!(problem("time [s],speed [m/s]\n0,0\n").ends_with("needs at least two rows of time and speed"));
}

proptest! {
    #[test]
    fn any_text_is_read_or_rejected(text in any::<String>(), rows in "[-0-9.,eNan\n\"]{0,200}") {
        for text in [text, format!("time [s],speed [m/s]\n{rows}")] {
            if let Ok(schedule) = Schedule::parse("any", "any.csv", &text) {
                prop_assert!(schedule.points().windows(2).all(|pair| pair[0].time_s < pair[1].time_s));
                prop_assert!((SHORTEST_S..=LONGEST_S).contains(&schedule.duration_s()));
                prop_assert!((0.0..=FASTEST_M_PER_S).contains(&schedule.speed_m_per_s(1.0)));
            }
        }
    }
}

#[test]
fn a_dynamometer_schedule_holds_crank_speed_and_pedal() {
    let text = "time [s],engine_speed [rpm],pedal [%],nitrous\n0,0,0,off\n10,3000,100,on\n20,3000,50,off\n";
    let pulls = Schedule::parse("pull", "pull.csv", text).expect("valid");
    assert!(pulls.on_dynamometer() && pulls.distance_m() == 0.0);
    let wanted = pulls.at(15.0);
    let pull = wanted.pull.expect("a pull");
    assert!((pull.speed_rad_per_s - 314.159_265).abs() < 1e-5, "{pull:?}");
    assert!((pull.pedal - 0.75).abs() < 1e-12 && wanted.nitrous && !pulls.at(5.0).nitrous);
    assert!(
        problem("time [s],engine_speed [rpm]\n0,0\n").contains("must name a column `pedal` with its unit")
    );
    assert!(
        problem("time [s],speed [m/s],engine_speed [rpm],pedal [1]\n")
            .contains("a column `speed` or, on a dynamometer, `engine_speed`, not both")
    );
}

#[test]
fn a_given_slope_holds_to_the_next_row_and_overrules_the_altitude() {
    let text = "time [s],speed [m/s],grade [%],altitude [m]\n0,10,7,0\n10,10,-3,90\n20,10,0,90\n";
    let hill = Schedule::parse("hill", "hill.csv", text).expect("valid");
    for (time_s, grade) in [(0.0, 0.07), (9.9, 0.07), (10.0, -0.03), (25.0, 0.0)] {
        assert!((hill.at(time_s).grade - grade).abs() < 1e-12, "{time_s}");
    }
    assert_eq!(hill.at(5.0).altitude_m, Some(45.0));
    assert_eq!(
        problem("time [s],speed [m/s],grade [%]\n0,0,50\n1,0,0\n"),
        "x.csv, line 2, grade = 50: must be at most 35%"
    );
    assert_eq!(
        problem("time [s],speed [m/s],altitude [m]\n0,10,0\n10,10,60\n"),
        "x.csv, line 3, time = 10: makes the road from the row before steeper than 35 %"
    );
    assert_eq!(
        problem("time [s],speed [m/s],altitude [m]\n0,10,-9000\n10,10,60\n"),
        "x.csv, line 2, altitude = -9000: must be at least -500 m"
    );
}

#[test]
fn switches_are_on_or_off() {
    let text = "time [s],speed [m/s],key,ac\n0,10,on,off\n10,10,off,on\n20,10,on,on\n";
    let stop = Schedule::parse("stop", "stop.csv", text).expect("valid");
    assert!(stop.at(5.0).key && !stop.at(5.0).ac && !stop.at(15.0).key && stop.at(15.0).ac);
    assert_eq!(
        problem("time [s],speed [m/s],key\n0,0,maybe\n1,0,on\n"),
        "x.csv, line 2, key = maybe: must be on or off"
    );
}
