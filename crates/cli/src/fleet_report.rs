//! The results of a fleet as text and as a report page.

use crate::compare::EXPLANATIONS;
use crate::page;
use std::fmt::Write;
use std::path::Path;
use trimwright_control::Strategy;
use trimwright_harness::scenario::Scenario;
use trimwright_report::{Chart, ChartLine, Drawing, Fact, Study, StudyTable};
use trimwright_study::fleet::{self, Figures, FleetEngine, FleetPlan};
use trimwright_study::learners;
use trimwright_study::quantiles::{self, FIGURES, FigureFormat, FleetFigure};

/// Heads of the columns for `quantiles::SHARES`.
const HEADS: [&str; quantiles::SHARES.len()] = ["min", "5 %", "25 %", "median", "75 %", "95 %", "max"];
/// Quantiles and their heads when several learners are compared.
const COMPARED_SHARES: [(f64, &str); 3] = [(0.05, "5 %"), (0.50, "median"), (0.95, "95 %")];
/// Width of a column on the screen.
const WIDTH: usize = 8;
/// Bins of a histogram.
const BINS: usize = 24;
/// Largest number of failed engines in the text; the files list all.
const LISTED_FAILURES: usize = 5;
/// Figures with a chart in the page.
const CHARTED: [&str; 5] =
    ["base_map_rms", "learned_map_rms", "settle_s", "over_offline_fit", "within_two_sigma"];

/// The results as text that fits a screen.
pub(crate) fn text(scenario: &Scenario, plan: &FleetPlan, engines: &[FleetEngine], out: &Path) -> String {
    let mut text = String::new();
    // Writing into a String can't fail.
    let _ = fill(&mut text, scenario, plan, engines, out);
    text
}

fn fill(
    text: &mut String,
    scenario: &Scenario,
    plan: &FleetPlan,
    engines: &[FleetEngine],
    out: &Path,
) -> std::fmt::Result {
    let groups = groups(plan, engines);
    let names: Vec<&str> = groups.iter().map(|group| group.learner).collect();
    let learner = if names.len() == 1 { "learner" } else { "learners" };
    let (count, names) = (engines.len() / groups.len(), names.join(", "));
    writeln!(text, "{count} engines based on {}, {learner} {names}, seed {}", scenario.name, plan.seed)?;
    writeln!(text, "  {:<26}{}", "Schedule", page::schedule(scenario))?;
    let compared = groups.len() > 1;
    if compared {
        write!(text, "\n  {:<26}", "")?;
        let span = WIDTH * COMPARED_SHARES.len();
        groups.iter().try_for_each(|group| write!(text, "{:>span$}", group.learner))?;
    }
    let quantiles = quantile_table(&groups);
    let heads = quantiles.heads.iter().map(|head| match head.split_once(' ') {
        Some((_, share)) if compared => share.to_owned(),
        _ => head.clone(),
    });
    lines(text, std::iter::once(&heads.collect()).chain(&quantiles.rows), WIDTH)?;
    let counts = count_table(&groups);
    let width = if compared { WIDTH * COMPARED_SHARES.len() } else { WIDTH };
    write!(text, "\n  {}", counts.title)?;
    lines(text, counts.rows.iter(), width)?;
    let failed = groups.first().into_iter().flat_map(|group| &group.engines);
    let failed = failed.filter_map(|engine| engine.failure().map(|reason| (engine.index, reason)));
    for (index, reason) in failed.take(LISTED_FAILURES) {
        writeln!(text, "  engine {index} failed: {reason}")?;
    }
    writeln!(
        text,
        "\nA simulation: no proof that a real engine is safe.\nWritten to {}: report.html, fleet.csv, fleet.parquet",
        out.display()
    )
}

/// Rows of a table after an empty line; the first column is left-aligned.
fn lines<'a>(
    text: &mut String,
    rows: impl Iterator<Item = &'a Vec<String>>,
    width: usize,
) -> std::fmt::Result {
    writeln!(text)?;
    for row in rows {
        let mut words = row.iter();
        write!(text, "  {:<26}", words.next().map_or("", String::as_str))?;
        words.try_for_each(|word| write!(text, "{word:>width$}"))?;
        writeln!(text)?;
    }
    Ok(())
}

/// Label with unit.
fn labelled(figure: &FleetFigure) -> String {
    format!("{} [{}]", figure.label, figure.format.unit()).trim_end_matches(" []").to_owned()
}

/// Label of a count and its function.
type Count = (&'static str, fn(&[&FleetEngine]) -> u64);

/// Counts of engines and cells.
const COUNTS: [Count; 6] = [
    ("Engines not driven", |engines| {
        engines.iter().filter(|engine| engine.failure().is_some()).count() as u64
    }),
    ("Engines with stalls", |engines| figures(engines).filter(|figures| figures.stalls > 0).count() as u64),
    ("Engines with codes", |engines| {
        figures(engines).filter(|figures| !figures.dtcs.is_empty()).count() as u64
    }),
    ("Cells visited", |engines| figures(engines).map(|figures| figures.cells_visited).sum()),
    ("Cells saturated", |engines| figures(engines).map(|figures| figures.cells_run_away).sum()),
    ("Cells beyond authority", |engines| {
        figures(engines).map(|figures| figures.cells_beyond_authority).sum()
    }),
];

fn figures<'a>(engines: &[&'a FleetEngine]) -> impl Iterator<Item = &'a Figures> {
    engines.iter().filter_map(|engine| engine.figures())
}

/// The engines with one learner.
struct Group<'a> {
    learner: &'static str,
    engines: Vec<&'a FleetEngine>,
}

fn groups<'a>(plan: &FleetPlan, engines: &'a [FleetEngine]) -> Vec<Group<'a>> {
    let group = |learner: &Strategy| Group {
        learner: learners::name(*learner),
        engines: fleet::with_learner(engines, *learner),
    };
    plan.learners.iter().map(group).collect()
}

/// The report page.
pub(crate) fn study(scenario: &Scenario, plan: &FleetPlan, engines: &[FleetEngine]) -> Study {
    let fact = |label: &str, value: String| Fact { label: label.to_owned(), value };
    let groups = groups(plan, engines);
    let count = engines.len() / groups.len();
    let mut tables = vec![quantile_table(&groups), count_table(&groups)];
    if groups.len() > 1 {
        // The explanations are already below the first table.
        tables.extend(
            groups.iter().map(|group| StudyTable { note: String::new(), ..one_quantile_table(group) }),
        );
    }
    if engines.iter().any(|engine| engine.failure().is_some()) {
        tables.push(failures(&groups));
    }
    Study {
        title: format!("A fleet of {count} engines"),
        about: format!(
            "Scenario: {}. Schedule: {}. Each engine has randomly sampled deviations of its parts and errors of the owner's answers. \
             Each was driven with its first calibration, while learning, and with the learned map.",
            scenario.title,
            page::schedule(scenario)
        ),
        facts: vec![
            fact("Scenario", scenario.name.clone()),
            fact("Schedule", page::schedule(scenario)),
            fact("Learner", groups.iter().map(|group| group.learner).collect::<Vec<_>>().join(", ")),
            fact("Seed", plan.seed.to_string()),
            fact("Engines", format!("{count} of {}", plan.engines)),
        ],
        tables,
        charts: FIGURES
            .iter()
            .filter(|figure| CHARTED.contains(&figure.name))
            .map(|figure| chart(figure, &groups))
            .collect(),
    }
}

/// All quantiles of one learner, or some quantiles of several learners.
fn quantile_table(groups: &[Group<'_>]) -> StudyTable {
    if let [group] = groups {
        return one_quantile_table(group);
    }
    let row = |figure: &FleetFigure| {
        let values = groups.iter().flat_map(|group| {
            let values = quantiles::sorted(&group.engines, figure.value);
            COMPARED_SHARES.map(|(share, _)| figure.format.text(quantiles::quantile(&values, share)))
        });
        std::iter::once(labelled(figure)).chain(values).collect()
    };
    let heads = groups
        .iter()
        .flat_map(|group| COMPARED_SHARES.map(|(_, share)| format!("{} {share}", group.learner)));
    StudyTable {
        title: "Comparison of the learners".to_owned(),
        heads: std::iter::once(String::new()).chain(heads).collect(),
        rows: FIGURES.iter().map(row).collect(),
        note: explanation(),
    }
}

/// Explanation of the tables of quantiles.
fn explanation() -> String {
    format!(
        "Quantiles over the engines. The mixture errors are root mean squares \
         of ln(lambda / wanted lambda).\n{EXPLANATIONS}\nLearner / offline fit: error in the visited cells of the learner divided by that of the offline \
         fit."
    )
}

fn one_quantile_table(group: &Group<'_>) -> StudyTable {
    let row = |figure: &FleetFigure| {
        let quantiles =
            quantiles::quantiles_of(&group.engines, figure.value).map(|value| figure.format.text(value));
        std::iter::once(labelled(figure)).chain(quantiles).collect()
    };
    StudyTable {
        title: format!("Learner {}: quantiles over the engines", group.learner),
        heads: std::iter::once("").chain(HEADS).map(str::to_owned).collect(),
        rows: FIGURES.iter().map(row).collect(),
        note: explanation(),
    }
}

fn count_table(groups: &[Group<'_>]) -> StudyTable {
    let row = |(label, count): &Count| {
        let counts = groups.iter().map(|group| count(&group.engines).to_string());
        std::iter::once((*label).to_owned()).chain(counts).collect()
    };
    let heads = groups.iter().map(|group| group.learner);
    StudyTable {
        title: "Counts over all engines".to_owned(),
        heads: std::iter::once("").chain(heads).map(str::to_owned).collect(),
        rows: COUNTS.iter().map(row).collect(),
        note: "Cells of all engines together.\n\
               Cells saturated: at the authority limit of a correction although the true correction, there and in the neighbouring cells, lies inside it by more than two standard deviations.\n\
               Cells beyond authority: the true correction lies outside the authority limit, so that the learner cannot reach it."
            .to_owned(),
    }
}

/// Engines that could not be driven; such an engine fails with every learner and is listed once.
fn failures(groups: &[Group<'_>]) -> StudyTable {
    let row = |engine: &&FleetEngine| Some(vec![engine.failure()?.to_owned(), engine.index.to_string()]);
    StudyTable {
        title: "Engines that could not be driven".to_owned(),
        heads: vec!["Reason".to_owned(), "Engine".to_owned()],
        rows: groups.first().into_iter().flat_map(|group| &group.engines).filter_map(row).collect(),
        note: String::new(),
    }
}

/// Distribution of a figure: a histogram for one learner, cumulative shares as lines for several.
fn chart(figure: &FleetFigure, groups: &[Group<'_>]) -> Chart {
    let x_label = labelled(figure);
    let drawing = match groups {
        [group] => {
            let values = quantiles::sorted(&group.engines, figure.value);
            let (edges, heights) = quantiles::histogram(&values, BINS);
            let labels =
                edges.windows(2).map(|pair| format!("{}–{}", edge(figure, pair[0]), edge(figure, pair[1])));
            Drawing::Columns {
                x_label,
                y_label: "engines".to_owned(),
                labels: labels.collect(),
                heights: heights.into_iter().map(f64::from).collect(),
            }
        }
        _ => Drawing::Lines {
            x_label,
            y_label: "engines below [%]".to_owned(),
            logarithmic: false,
            lines: groups.iter().map(|group| cumulative(figure, group)).collect(),
        },
    };
    Chart { title: figure.label.to_owned(), note: missing_note(figure, groups), drawing }
}

/// An edge of a histogram in the unit of its label, without trailing zeros.
fn edge(figure: &FleetFigure, value: f64) -> String {
    let shown = if figure.format == FigureFormat::Percent { 100.0 * value } else { value };
    format!("{shown:.4}").trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The cumulative share of engines over the value.
fn cumulative(figure: &FleetFigure, group: &Group<'_>) -> ChartLine {
    let values = quantiles::sorted(&group.engines, figure.value);
    let shown = |value: f64| if figure.format == FigureFormat::Percent { 100.0 * value } else { value };
    let finite = values.iter().enumerate().filter(|(_, value)| value.is_finite());
    let point =
        |(place, value): (usize, &f64)| [shown(*value), 100.0 * (place + 1) as f64 / values.len() as f64];
    ChartLine { name: group.learner.to_owned(), points: finite.map(point).collect(), dots: false }
}

/// Note on engines with infinite values, which a chart cannot show.
fn missing_note(figure: &FleetFigure, groups: &[Group<'_>]) -> String {
    let infinite = |group: &Group<'_>| {
        let values = quantiles::sorted(&group.engines, figure.value);
        values.iter().filter(|value| !value.is_finite()).count()
    };
    let some = groups.iter().map(|group| (group.learner, infinite(group))).filter(|(_, count)| *count > 0);
    let some: Vec<String> = some.map(|(learner, count)| format!("{count} with {learner}")).collect();
    if some.is_empty() {
        String::new()
    } else {
        format!("Engines that did not reach it within the drive: {}.", some.join(", "))
    }
}
