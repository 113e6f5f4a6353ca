//! The learned map as rows of text.

use crate::colours::Colours;
use ratatui::style::{Color, Style};
use ratatui::text::{Line, Span};
use trimwright_control::{Controller, MAP_POINTS, RPM_POINTS};

/// A cell with a standard deviation above this share of the initial one is shown as not learned, ratio.
const NOT_LEARNED: f32 = 0.9;
/// Standard deviation below which a cell is shown as known, ln.
const KNOWN_SIGMA_LN: f32 = 0.01;
/// 100 rpm in rad/s.
const HUNDRED_RPM: f32 = 10.471_976;

/// Height with the heading, rows.
pub(crate) const HEIGHT: u16 = MAP_POINTS as u16 + 1;
/// Width, characters: four for each cell.
pub(crate) const WIDTH: u16 = 4 + 4 * RPM_POINTS as u16;

/// The map row by row: highest pressure first, crank speed in 100 rpm as the last row. A cell that has not learned is a dot, one known
/// to 1 % is bold, and `>` marks the cell nearest to the operating point.
pub(crate) fn lines(controller: &Controller, colours: Colours) -> Vec<Line<'static>> {
    let calibration = controller.calibration();
    let weights = &controller.state().insight().weights;
    let most = weights.iter().max_by(|one, other| one.1.total_cmp(&other.1));
    let here = most.filter(|(_, share)| *share > 0.0).map(|(cell, _)| cell);
    let pressures = calibration.setup().map_axis().points().iter().enumerate().rev();
    let rows = pressures.map(|(row, map_pa)| {
        let cells = (0..RPM_POINTS).map(|column| {
            let cell = row * RPM_POINTS + column;
            cell_span(controller, cell, here == Some(cell), colours)
        });
        std::iter::once(Span::raw(format!("{:>3} ", map_pa / 1e3))).chain(cells).collect()
    });
    let speeds = calibration.setup().rpm_axis().points().iter();
    let heading: String = speeds.map(|speed| format!("{:4.0}", speed / HUNDRED_RPM)).collect();
    rows.chain([Line::raw(format!("    {heading}"))]).collect()
}

/// One cell, four characters wide.
fn cell_span(controller: &Controller, cell: usize, here: bool, colours: Colours) -> Span<'static> {
    let learned = controller.state().learned();
    let (ln, sigma_ln) = (learned.ln.flat().get(cell).copied().unwrap_or(0.0), learned.sigma_ln(cell));
    let mark = if here { '>' } else { ' ' };
    if sigma_ln > NOT_LEARNED * controller.calibration().parameters().learner.prior_sigma_ln {
        return Span::raw(format!("{mark}  \u{b7}"));
    }
    let percent = 100.0 * (f64::from(ln).exp() - 1.0);
    let mut style = Style::new();
    if let Some(colour) = colours.for_correction(ln) {
        style = style.bg(colour).fg(Color::Black);
    }
    if sigma_ln < KNOWN_SIGMA_LN {
        style = style.bold();
    }
    // Adding zero turns a negative zero into a plain one.
    Span::styled(format!("{mark}{:+3.0}", percent.round() + 0.0), style)
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimwright_control::{Calibration, LearnedMap, Parameters, SetupAnswers};

    fn controller(learned: LearnedMap) -> Controller {
        Controller::new(Calibration::from_answers(&SetupAnswers::default()).expect("default answers"))
            .with_learned(learned)
    }

    #[test]
    fn an_empty_map_is_all_dots() {
        let lines = lines(&controller(Parameters::DEFAULT.blank_map()), Colours::TrueColour);
        assert_eq!(lines.len(), usize::from(HEIGHT));
        let dots: usize = lines.iter().map(|line| line.to_string().matches('\u{b7}').count()).sum();
        assert_eq!(dots, MAP_POINTS * RPM_POINTS);
        assert!(lines.iter().all(|line| line.width() == usize::from(WIDTH)));
    }

    #[test]
    fn learned_values_are_shown_with_and_without_colours() {
        let mut learned = Parameters::DEFAULT.blank_map();
        (learned.ln.flat_mut()[0], learned.variance.flat_mut()[0]) = (-0.1, 0.05 * 0.05);
        (learned.ln.flat_mut()[1], learned.variance.flat_mut()[1]) = (0.0953, 0.005 * 0.005);
        let controller = controller(learned);
        for colours in [Colours::None, Colours::TrueColour] {
            let lines = lines(&controller, colours);
            let lowest = &lines[MAP_POINTS - 1];
            assert!(lowest.to_string().starts_with(" 18  -10 +10"), "{lowest}");
            assert_eq!(lowest.spans[1].style.bg.is_some(), colours == Colours::TrueColour);
            let bold = ratatui::style::Modifier::BOLD;
            assert_eq!([1, 2].map(|cell| lowest.spans[cell].style.has_modifier(bold)), [false, true]);
        }
    }
}
