//! Chart of lambda over the last minute: dots are wanted lambda, the line is measured lambda.

use crate::bench::{Bench, LambdaSample, SAMPLE_S};
use crate::colours::Colours;
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::{Color, Style};
use ratatui::symbols::Marker;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Axis, Block, Chart, Dataset, GraphType};

/// Smallest height at which the chart is shown, rows.
pub(crate) const HEIGHT: u16 = 8;
/// Range of the lambda axis.
const LAMBDA_RANGE: [f64; 2] = [0.7, 1.3];
/// Samples per dot: 2 s, so that the line is visible between dots.
const SAMPLES_PER_DOT: i64 = 10;

/// Draws the chart.
pub(crate) fn draw(frame: &mut Frame<'_>, area: Rect, bench: &Bench, colours: Colours) {
    let past: Vec<LambdaSample> = bench.lambda_history().copied().collect();
    let (wanted, measured) = (wanted(&past), measured(&past));
    let [dots, line] = [32, 173].map(|index| match colours {
        Colours::None => Style::new(),
        _ => Style::new().fg(Color::Indexed(index)),
    });
    let set = |data, marker, kind, style| {
        Dataset::default().data(data).marker(marker).graph_type(kind).style(style)
    };
    let mut sets: Vec<Dataset<'_>> =
        measured.iter().map(|section| set(section, Marker::Braille, GraphType::Line, line)).collect();
    sets.push(set(&wanted, Marker::Dot, GraphType::Scatter, dots));
    let title = Line::from(vec![
        Span::raw("Lambda over the last minute  "),
        Span::styled("\u{2022} \u{2022}", dots),
        Span::raw(" wanted  "),
        Span::styled("\u{2812}\u{2812}\u{2812}", line),
        Span::raw(" measured, gap: not ready"),
    ]);
    let chart = Chart::new(sets)
        .block(Block::bordered().title(title))
        .x_axis(Axis::default().bounds([-60.0, 0.0]).labels(["-60 s", "-30 s", "now"]))
        .y_axis(Axis::default().bounds(LAMBDA_RANGE).labels(["0.7", "1.0", "1.3"]));
    frame.render_widget(chart, area);
}

/// Coordinates of a value: time relative to the last sample, s, and lambda limited to the axis range.
fn place(past: &[LambdaSample], time_s: f64, value: f64) -> (f64, f64) {
    let [low, high] = LAMBDA_RANGE;
    (time_s - past.last().map_or(0.0, |last| last.time_s), value.clamp(low, high))
}

/// Dots at multiples of 2 s of simulated time, so that they move with the chart.
fn wanted(past: &[LambdaSample]) -> Vec<(f64, f64)> {
    let is_dot = |point: &&LambdaSample| ((point.time_s / SAMPLE_S).round() as i64) % SAMPLES_PER_DOT == 0;
    past.iter().filter(is_dot).map(|point| place(past, point.time_s, point.wanted)).collect()
}

/// The measured lambda, split where the sensor was not ready.
fn measured(past: &[LambdaSample]) -> Vec<Vec<(f64, f64)>> {
    let sections = past.chunk_by(|one, next| one.measured.is_some() == next.measured.is_some());
    let placed = |point: &LambdaSample| point.measured.map(|lambda| place(past, point.time_s, lambda));
    sections.map(|section| section.iter().filter_map(placed).collect()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_invalid_sensor_is_a_gap_and_there_is_one_dot_per_ten_samples() {
        let point = |(number, measured): (u32, Option<f64>)| LambdaSample {
            time_s: f64::from(number) * SAMPLE_S,
            wanted: 0.9,
            measured,
        };
        let measured_lambda = [None, None, Some(0.95), Some(9.0), None, Some(1.0)];
        let past: Vec<LambdaSample> = (5..).zip(measured_lambda).map(point).collect();
        let lines: Vec<Vec<f64>> = measured(&past)
            .iter()
            .map(|section| section.iter().map(|(_, lambda)| *lambda).collect())
            .collect();
        assert_eq!(lines, [vec![], vec![0.95, 1.3], vec![], vec![1.0]]);
        assert_eq!(wanted(&past), [(0.0, 0.9)]);
    }
}
