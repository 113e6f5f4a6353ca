//! A fleet's result in words, for the screen and for its page.

use std::fmt::Write;
use std::path::Path;
use trimwright_harness::scenario::Scenario;
use trimwright_report::{Chart, Drawing, Fact, Study, Table};
use trimwright_study::fleet::{Engine, Order};
use trimwright_study::learners;
use trimwright_study::quantiles::{self, FIGURES, Told, Way};

/// Heads of the columns, as the shares of `quantiles::SHARES`.
const HEADS: [&str; quantiles::SHARES.len()] = ["least", "5 %", "25 %", "median", "75 %", "95 %", "most"];
/// Bins of a histogram.
const BINS: usize = 24;
/// Most failed engines that the screen names; the files name all.
const NAMED: usize = 5;
/// Figures that the page draws.
const DRAWN: [&str; 5] =
    ["base_map_rms", "learned_map_rms", "settle_s", "over_offline_fit", "within_two_sigma"];

/// The result on less than a screen.
pub(crate) fn text(scenario: &Scenario, order: &Order, engines: &[Engine], out: &Path) -> String {
    let mut text = String::new();
    // Writing into a String can't fail.
    let _ = fill(&mut text, scenario, order, engines, out);
    text
}

fn fill(
    text: &mut String,
    scenario: &Scenario,
    order: &Order,
    engines: &[Engine],
    out: &Path,
) -> std::fmt::Result {
    let learner = learners::name(order.strategy);
    writeln!(
        text,
        "{} engines after {}, learner {learner}, seed {}",
        engines.len(),
        scenario.name,
        order.seed
    )?;
    write!(text, "\n  {:<26}", "")?;
    HEADS.iter().try_for_each(|head| write!(text, "{head:>8}"))?;
    for told in FIGURES {
        write!(text, "\n  {:<26}", labelled(&told))?;
        let quantiles = quantiles::of(engines, told.figure);
        quantiles.iter().try_for_each(|value| write!(text, "{:>8}", told.way.written(*value)))?;
    }
    writeln!(text, "\n")?;
    for (label, value) in counts(engines) {
        writeln!(text, "  {label:<26}{value:>8}")?;
    }
    let failed = || engines.iter().filter_map(|engine| engine.failure().map(|reason| (engine.index, reason)));
    for (index, reason) in failed().take(NAMED) {
        writeln!(text, "  engine {index} failed: {reason}")?;
    }
    writeln!(
        text,
        "\nA simulation: no proof that a real engine is safe.\nWritten to {}: report.html, fleet.csv, fleet.parquet",
        out.display()
    )
}

/// A label with its unit.
fn labelled(told: &Told) -> String {
    format!("{} {}", told.label, told.way.unit()).trim_end().to_owned()
}

/// How many engines or cells something befell.
fn counts(engines: &[Engine]) -> [(&'static str, u64); 5] {
    let figures = || engines.iter().filter_map(Engine::figures);
    [
        ("Engines that failed", engines.iter().filter(|engine| engine.failure().is_some()).count() as u64),
        ("Engines that stalled", figures().filter(|figures| figures.stalls > 0).count() as u64),
        ("Engines with a code", figures().filter(|figures| !figures.dtcs.is_empty()).count() as u64),
        ("Cells run away", figures().map(|figures| figures.cells_run_away).sum()),
        ("Cells beyond authority", figures().map(|figures| figures.cells_beyond_authority).sum()),
    ]
}

/// The page.
pub(crate) fn study(scenario: &Scenario, order: &Order, engines: &[Engine]) -> Study {
    let fact = |label: &str, value: String| Fact { label: label.to_owned(), value };
    let mut tables = vec![quantile_table(engines), count_table(engines)];
    if engines.iter().any(|engine| engine.failure().is_some()) {
        tables.push(failures(engines));
    }
    Study {
        title: format!("A fleet of {} engines", engines.len()),
        about: format!(
            "Scenario: {}. Each engine has parts that differ from their maker's description and an owner who is a little \
             wrong in the answers, drawn by lot. Each was driven with its first calibration, while learning, and with what it had learned.",
            scenario.title
        ),
        facts: vec![
            fact("Scenario", scenario.name.clone()),
            fact(
                "Schedule",
                format!("{}, {} times while learning", scenario.schedule.name(), scenario.passes),
            ),
            fact("Learner", learners::name(order.strategy).to_owned()),
            fact("Seed of the lots", order.seed.to_string()),
            fact("Engines", format!("{} of {}", engines.len(), order.engines)),
        ],
        tables,
        charts: FIGURES
            .iter()
            .filter(|told| DRAWN.contains(&told.name))
            .map(|told| chart(told, engines))
            .collect(),
    }
}

fn quantile_table(engines: &[Engine]) -> Table {
    let row = |told: &Told| {
        let quantiles = quantiles::of(engines, told.figure).map(|value| told.way.written(value));
        std::iter::once(labelled(told)).chain(quantiles).collect()
    };
    Table {
        title: "The engines from the least to the most".to_owned(),
        heads: std::iter::once("Figure").chain(HEADS).map(str::to_owned).collect(),
        rows: FIGURES.iter().map(row).collect(),
        note: "Half of the engines lie below the median, one in twenty below 5 % and one in twenty above 95 %. The mixture errors are \
               root mean squares of ln(lambda / wanted lambda). Left in visited cells: learned against right correction. Left by \
               the fit: the same for a least-squares fit made afterwards from the whole log. Within two sigma: share of the visited cells \
               whose error is below two of the learner's own standard deviations; some 95 % is honest."
            .to_owned(),
    }
}

fn count_table(engines: &[Engine]) -> Table {
    Table {
        title: "What happened how often".to_owned(),
        heads: vec!["What".to_owned(), "Count".to_owned()],
        rows: counts(engines).map(|(label, value)| vec![label.to_owned(), value.to_string()]).into(),
        note: "A cell has run away when it came to the end of its authority although the right correction lies inside.".to_owned(),
    }
}

fn failures(engines: &[Engine]) -> Table {
    let row = |engine: &Engine| Some(vec![engine.failure()?.to_owned(), engine.index.to_string()]);
    Table {
        title: "Engines that could not be driven".to_owned(),
        heads: vec!["Why".to_owned(), "Engine".to_owned()],
        rows: engines.iter().filter_map(row).collect(),
        note: String::new(),
    }
}

fn chart(told: &Told, engines: &[Engine]) -> Chart {
    let values = quantiles::sorted(engines, told.figure);
    let (edges, heights) = quantiles::histogram(&values, BINS);
    let middle = |pair: &[f64]| told.way.written(0.5 * (pair[0] + pair[1]));
    let beyond = values.iter().filter(|value| !value.is_finite()).count();
    let note = match beyond {
        0 => String::new(),
        some => format!("{some} of the engines did not come so far within the drive."),
    };
    let across = match told.way {
        Way::Ratio => told.label.to_owned(),
        way => format!("{} [{}]", told.label, way.unit()),
    };
    Chart {
        title: told.label.to_owned(),
        note,
        drawing: Drawing::Columns {
            across,
            up: "engines".to_owned(),
            labels: edges.windows(2).map(middle).collect(),
            heights: heights.into_iter().map(f64::from).collect(),
        },
    }
}
