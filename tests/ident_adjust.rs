//! Fine adjustment: each key, set in the file of a shipped scenario, changes its figure in the expected direction and by the expected
//! amount, on every shipped engine with the part.

mod adjust;

use adjust::table::{self, Row};
use trimwright_control::Parameters;
use trimwright_harness::block_reader::key_of;
use trimwright_harness::parameters::FINE_ADJUSTMENT;

/// Result of a row on each of its cars: whether it is as expected, and a description.
fn results(row: &Row) -> Vec<(bool, String)> {
    let judged = row.on.cars().map(|shipped| {
        let before = match row.beside {
            [] => (row.figure)(shipped),
            beside => (row.figure)(&shipped.adjusted(beside)),
        };
        let after = (row.figure)(&shipped.adjusted(&[row.beside, &[row.sets]].concat()));
        let moves = format!("from {before:.4} to {after:.4}, should be {:?}", row.moves);
        let told = format!("{} on {}: {moves}", row.sets.0, shipped.scenario.name);
        (row.moves.is_as_expected(before, after), told)
    });
    judged.collect()
}

fn assert_each_moves_its_figure(rows: &[Row]) {
    let wrong: Vec<String> =
        rows.iter().flat_map(results).filter(|(expected, _)| !expected).map(|(_, text)| text).collect();
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn ident_keys_of_the_mixture_move_lambda() {
    assert_each_moves_its_figure(table::MIXTURE);
}

#[test]
fn ident_keys_of_the_spark_move_spark_knock_and_torque() {
    assert_each_moves_its_figure(table::SPARK);
}

#[test]
fn ident_keys_of_the_pump_shot_move_the_tip_in() {
    assert_each_moves_its_figure(table::PUMP_SHOT);
}

#[test]
fn ident_keys_of_the_start_move_its_fuel() {
    assert_each_moves_its_figure(table::START);
}

#[test]
fn ident_keys_of_the_idle_move_its_speed() {
    assert_each_moves_its_figure(table::IDLE);
}

#[test]
fn ident_keys_of_the_fuel_cut_move_its_speeds() {
    assert_each_moves_its_figure(table::FUEL_CUT);
}

#[test]
fn ident_keys_of_the_fans_move_the_coolant() {
    assert_each_moves_its_figure(table::FANS);
}

#[test]
fn ident_keys_of_nitrous_move_its_window_fuel_and_spark() {
    assert_each_moves_its_figure(table::NITROUS);
}

#[test]
fn ident_keys_of_learning_move_map_and_trim() {
    assert_each_moves_its_figure(table::LEARNING);
}

#[test]
fn ident_every_key_of_fine_adjustment_has_a_row() {
    let parameters = Parameters::DEFAULT;
    let all: Vec<_> = parameters.blocks().into_iter().flat_map(|block| block.info()).collect();
    let tried: Vec<&str> = table::TABLE.iter().flat_map(|rows| rows.iter()).map(|row| row.sets.0).collect();
    for path in FINE_ADJUSTMENT {
        let info = all.iter().find(|info| info.path == *path).expect("a parameter");
        let key = key_of(info, &[]).expect("a key");
        assert!(tried.contains(&key), "{key} is in no row");
    }
}
