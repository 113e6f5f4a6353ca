//! Lambda over the last minute. Dots are what was wanted, the line is what was read; colours only add to that.

use crate::bench::{Bench, LambdaPoint, POINT_S};
use crate::ramp::Colours;
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::{Color, Style};
use ratatui::symbols::Marker;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Axis, Block, Chart, Dataset, GraphType};

/// Rows that it needs to be worth showing.
pub(crate) const HEIGHT: u16 = 8;
/// Range that is shown.
const LAMBDA: [f64; 2] = [0.7, 1.3];
/// Points of the past for a dot: 2 s, so that the line shows between dots.
const POINTS_PER_DOT: i64 = 10;

/// The chart of what a bench did of late.
pub(crate) fn draw(frame: &mut Frame<'_>, area: Rect, bench: &Bench, colours: Colours) {
    let past: Vec<LambdaPoint> = bench.past().copied().collect();
    let (wanted, read) = (wanted(&past), read(&past));
    let [dots, line] = [32, 173].map(|index| match colours {
        Colours::None => Style::new(),
        _ => Style::new().fg(Color::Indexed(index)),
    });
    let set = |data, marker, kind, style| {
        Dataset::default().data(data).marker(marker).graph_type(kind).style(style)
    };
    let mut sets: Vec<Dataset<'_>> =
        read.iter().map(|stretch| set(stretch, Marker::Braille, GraphType::Line, line)).collect();
    sets.push(set(&wanted, Marker::Dot, GraphType::Scatter, dots));
    let title = Line::from(vec![
        Span::raw("Lambda over the last minute  "),
        Span::styled("\u{2022} \u{2022}", dots),
        Span::raw(" wanted  "),
        Span::styled("\u{2812}\u{2812}\u{2812}", line),
        Span::raw(" read, a gap: not ready"),
    ]);
    let chart = Chart::new(sets)
        .block(Block::bordered().title(title))
        .x_axis(Axis::default().bounds([-60.0, 0.0]).labels(["-60 s", "-30 s", "now"]))
        .y_axis(Axis::default().bounds(LAMBDA).labels(["0.7", "1.0", "1.3"]));
    frame.render_widget(chart, area);
}

/// Where a value stands, time before the last point, within what is shown.
fn place(past: &[LambdaPoint], time_s: f64, value: f64) -> (f64, f64) {
    let [low, high] = LAMBDA;
    (time_s - past.last().map_or(0.0, |last| last.time_s), value.clamp(low, high))
}

/// Dots at times that stay the same while the minute goes by.
fn wanted(past: &[LambdaPoint]) -> Vec<(f64, f64)> {
    let is_dot = |point: &&LambdaPoint| ((point.time_s / POINT_S).round() as i64) % POINTS_PER_DOT == 0;
    past.iter().filter(is_dot).map(|point| place(past, point.time_s, point.wanted)).collect()
}

/// Stretches without a gap.
fn read(past: &[LambdaPoint]) -> Vec<Vec<(f64, f64)>> {
    let stretches = past.chunk_by(|one, next| one.read.is_some() == next.read.is_some());
    let placed = |point: &LambdaPoint| point.read.map(|read| place(past, point.time_s, read));
    stretches.map(|stretch| stretch.iter().filter_map(placed).collect()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_ready_is_a_gap_and_dots_leave_the_line_to_be_seen() {
        let point = |(number, read): (u32, Option<f64>)| LambdaPoint {
            time_s: f64::from(number) * POINT_S,
            wanted: 0.9,
            read,
        };
        let reads = [None, None, Some(0.95), Some(9.0), None, Some(1.0)];
        let past: Vec<LambdaPoint> = (5..).zip(reads).map(point).collect();
        let lines: Vec<Vec<f64>> =
            read(&past).iter().map(|stretch| stretch.iter().map(|(_, read)| *read).collect()).collect();
        assert_eq!(lines, [vec![], vec![0.95, 1.3], vec![], vec![1.0]]);
        assert_eq!(wanted(&past), [(0.0, 0.9)]);
    }
}
