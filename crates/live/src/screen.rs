//! The screen: car, mixture, learned map, codes and faults, lambda chart, and the overlay.

use crate::bench::Bench;
use crate::colours::Colours;
use crate::keys::HELP;
pub use crate::overlay::Overlay;
use crate::pace::Pace;
use crate::text_rows::wrapped;
use crate::{codes_and_faults, lambda_chart, map_view, outcome};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::text::Line;
use ratatui::widgets::{Block, Clear, List, ListState, Paragraph, Wrap};
use trimwright_control::{Insight, Phase};
use trimwright_harness::faults::{Fault, FaultKind};
use trimwright_harness::units::UnitSystem;
use trimwright_plant::GearRange;

/// Smallest terminal in which the screen fits, columns and rows.
pub const SMALLEST: (u16, u16) = (80, 24);
/// Last row of the screen.
const FOOT: &str = "? keys  q quit  arrows: pedals  d gearbox  f faults  + - time  space: pause";
/// Everything that the screen is drawn from.
///
/// ```
/// use ratatui::{Terminal, backend::TestBackend};
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::screen::{Overlay, SMALLEST, Screen};
/// use trimwright_live::{BenchAction, Bench, Colours, Pace};
/// use trimwright_harness::units::UnitSystem;
/// let mut bench = Bench::new(&Scenario::load("town-coupe")?)?;
/// bench.apply(BenchAction::ChangeThrottle(4));
/// let (pace, units, colours) = (Pace::new(10), UnitSystem::Si, Colours::None);
/// let screen = Screen { bench: &bench, pace: &pace, over: Overlay::None, units, colours };
/// let mut terminal = Terminal::new(TestBackend::new(SMALLEST.0, SMALLEST.1))?;
/// terminal.draw(|frame| screen.draw(frame))?;
/// let text = terminal.backend().to_string();
/// assert!(text.contains("10 x real time") && text.contains("throttle  8 %"), "{text}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Screen<'a> {
    /// The car that is shown.
    pub bench: &'a Bench,
    /// The simulation speed.
    pub pace: &'a Pace,
    /// The overlay.
    pub over: Overlay,
    /// Units of speed and temperature.
    pub units: UnitSystem,
    /// Colours that the terminal supports.
    pub colours: Colours,
}

impl Screen<'_> {
    /// Draws the screen.
    pub fn draw(&self, frame: &mut Frame<'_>) {
        let area = frame.area();
        let (width, height) = SMALLEST;
        if area.width < width || area.height < height {
            let words = format!(
                "This needs {width} x {height} characters, the terminal has {} x {}. q quits.",
                area.width, area.height
            );
            frame.render_widget(Paragraph::new(words).wrap(Wrap { trim: true }), area);
            return;
        }
        let rows = [
            Constraint::Length(1),
            Constraint::Length(7),
            Constraint::Length(map_view::HEIGHT + 2),
            Constraint::Min(0),
            Constraint::Length(1),
        ];
        let [head, readings, map, chart, foot] = Layout::vertical(rows).areas(area);
        let [car, mixture] = Layout::horizontal([Constraint::Length(38), Constraint::Min(0)]).areas(readings);
        let [map, faults] =
            Layout::horizontal([Constraint::Length(map_view::WIDTH + 2), Constraint::Min(0)]).areas(map);
        frame.render_widget(Paragraph::new(self.head(usize::from(head.width))), head);
        frame.render_widget(boxed("Car", self.car()), car);
        frame.render_widget(boxed("Mixture", self.mixture()), mixture);
        self.map(frame, map);
        self.codes_and_faults(frame, faults, "Faults (w: all)");
        if chart.height >= lambda_chart::HEIGHT {
            lambda_chart::draw(frame, chart, self.bench, self.colours);
        }
        match self.bench.notice() {
            None => frame.render_widget(Paragraph::new(FOOT), foot),
            Some(words) => notice(frame, area, words),
        }
        match self.over {
            Overlay::None => (),
            Overlay::Help => help(frame, area),
            Overlay::CodesAndFaults => {
                let place = area.centered(Constraint::Length(78), Constraint::Length(area.height - 2));
                frame.render_widget(Clear, place);
                self.codes_and_faults(frame, place, "Codes and faults: esc back");
            }
            Overlay::Faults(selected) => self.faults(frame, area, selected),
        }
    }

    /// Time, simulation speed, and the title as far as it fits.
    fn head(&self, width: usize) -> String {
        let pace = match (self.pace.is_paused(), self.pace.factor()) {
            (true, _) => "paused".to_owned(),
            (false, factor) if self.pace.measured() < 0.8 * f64::from(factor) => {
                format!("{factor} x real time, {:.0} x reached", self.pace.measured())
            }
            (false, factor) => format!("{factor} x real time"),
        };
        let before = format!("{}   {pace}   ", outcome::clock(self.bench));
        let (title, room) = (self.bench.title(), width.saturating_sub(before.len()));
        if title.chars().count() <= room {
            return before + title;
        }
        let start: String = title.chars().take(room.saturating_sub(3)).collect();
        format!("{before}{start}...")
    }

    fn car(&self) -> Vec<String> {
        let (view, inputs) = (self.bench.view(), self.bench.inputs());
        let speed = self.units.road_speed(view.vehicle_m_per_s);
        let coolant = self.units.temperature(view.coolant_k);
        let gearbox = match inputs.range {
            GearRange::Park => "park".to_owned(),
            GearRange::Neutral => "neutral".to_owned(),
            GearRange::Drive => format!("gear {}", view.gear),
        };
        let percent = |share: f64| format!("{:.0} %", 100.0 * share);
        let rpm = view.speed_rad_per_s * 30.0 / std::f64::consts::PI;
        let row = |name: &str, value: &str, other_name: &str, other: String| {
            format!("{name:<8}  {value:<8}  {other_name:<6}  {other}")
        };
        vec![
            row("speed", &speed, "engine", format!("{rpm:.0} rpm")),
            row("throttle", &percent(inputs.throttle), "MAP", format!("{:.0} kPa", view.map_pa / 1e3)),
            row("brake", &percent(inputs.brake), "road", format!("{:+.0} %", 100.0 * inputs.grade + 0.0)),
            row("coolant", &coolant, "supply", format!("{:.1} V", view.supply_v)),
            row("gearbox", &gearbox, "A/C", if inputs.ac { "on" } else { "off" }.to_owned()),
        ]
    }

    fn mixture(&self) -> Vec<String> {
        let insight = &self.bench.closed_loop().controller().state().insight();
        let trim = |ln: f32| format!("{:+.1} %", 100.0 * (f64::from(ln).exp() - 1.0) + 0.0);
        let measured = self.bench.measured_lambda().map_or_else(|| "not ready".to_owned(), lambda);
        let open_time = format!("{:.2} ms", insight.open_time_s * 1e3);
        let row = |name: &str, value: &str, other_name: &str, other: &str| {
            format!("{name:<10} {value:<8} {other_name:<9} {other}")
        };
        vec![
            format!("engine     {}", self.engine_state(insight)),
            row("wanted", &lambda(f64::from(insight.expected_lambda)), "measured", &measured),
            row("true", &lambda(self.bench.view().exhaust_lambda), "open time", &open_time),
            row("short-term", &trim(insight.trim_ln), "long-term", &trim(insight.learned_ln)),
            format!("lesson     {}", lesson(insight)),
        ]
    }

    fn engine_state(&self, insight: &Insight) -> &'static str {
        match insight.phase {
            _ if !self.bench.ignition() => "ignition off",
            _ if self.bench.is_cranking() => "cranking",
            Phase::Stopped => "stopped",
            Phase::Priming => "fuel pump primes",
            Phase::Cranking => "cranking",
            Phase::RunningUp => "running up",
            Phase::Running => "running",
            Phase::FuelCut => "deceleration, fuel cut",
            Phase::OverSpeed => "overspeed, fuel cut",
            Phase::LeanGuard => "too lean under load, fuel cut",
        }
    }

    fn map(&self, frame: &mut Frame<'_>, area: Rect) {
        let title = "Learned, % of fuel: kPa by rpm/100  > here  bold: known";
        let lines = map_view::lines(self.bench.closed_loop().controller(), self.colours);
        let block = Block::bordered().title(title).title_bottom(outcome::learned(self.bench));
        frame.render_widget(Paragraph::new(lines).block(block), area);
    }

    fn codes_and_faults(&self, frame: &mut Frame<'_>, area: Rect, title: &str) {
        let [width, height] = [area.width, area.height].map(|all| usize::from(all.saturating_sub(2)));
        frame.render_widget(boxed(title, codes_and_faults::rows(self.bench, width, height)), area);
    }

    fn faults(&self, frame: &mut Frame<'_>, area: Rect, chosen: usize) {
        let row = |kind: &'static FaultKind| {
            let set = self.bench.faults().map(|(fault, _)| fault).find(|fault| fault.kind == kind);
            let mark = if set.is_some() { '*' } else { ' ' };
            format!("{mark} {}", set.unwrap_or(&Fault::usual(kind)).title())
        };
        let rows: Vec<String> = Bench::fault_kinds().into_iter().map(row).collect();
        let list = List::new(rows)
            .highlight_symbol("> ")
            .block(Block::bordered().title("Faults: enter sets or clears one, esc back"));
        let place =
            area.centered(Constraint::Length(80), Constraint::Length(area.height.saturating_sub(4).min(28)));
        frame.render_widget(Clear, place);
        frame.render_stateful_widget(list, place, &mut ListState::default().with_selected(Some(chosen)));
    }
}

/// An error message over the last rows of the screen.
fn notice(frame: &mut Frame<'_>, area: Rect, words: &str) {
    let rows = wrapped(words, usize::from(area.width));
    let height = (rows.len() as u16).min(area.height);
    let place = Rect { y: area.bottom() - height, height, ..area };
    frame.render_widget(Clear, place);
    frame.render_widget(Paragraph::new(rows.join("\n")), place);
}

fn help(frame: &mut Frame<'_>, area: Rect) {
    let lines: Vec<Line<'_>> =
        HELP.iter().map(|(names, meaning)| Line::raw(format!("{names:<12} {meaning}"))).collect();
    let place = area.centered(Constraint::Length(56), Constraint::Length(HELP.len() as u16 + 2));
    frame.render_widget(Clear, place);
    frame.render_widget(Paragraph::new(lines).block(Block::bordered().title("Keys")), place);
}

fn boxed(title: &str, lines: Vec<String>) -> Paragraph<'_> {
    Paragraph::new(lines.into_iter().map(Line::raw).collect::<Vec<_>>()).block(Block::bordered().title(title))
}

fn lambda(value: f64) -> String {
    if value < 2.0 { format!("{value:.3}") } else { "air".to_owned() }
}

fn lesson(insight: &Insight) -> String {
    insight.refusal.map_or_else(
        || "accepted".to_owned(),
        |refusal| format!("rejected: {}", refusal.name().replace('_', " ")),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::BenchAction;
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;
    use ratatui::style::Color;
    use trimwright_control::Refusal;
    use trimwright_harness::scenario::Scenario;

    fn terminal_with(
        bench: &Bench,
        over: Overlay,
        size: (u16, u16),
        colours: Colours,
    ) -> Terminal<TestBackend> {
        let mut terminal = Terminal::new(TestBackend::new(size.0, size.1)).expect("a test terminal");
        let screen = Screen { bench, pace: &Pace::new(1), over, units: UnitSystem::Us, colours };
        terminal.draw(|frame| screen.draw(frame)).expect("drawn");
        terminal
    }

    fn bench() -> Bench {
        let mut bench = Bench::new(&Scenario::load("delivery-van").expect("shipped")).expect("valid");
        bench.apply(BenchAction::ToggleFault(0));
        for _ in 0..1000 {
            bench.step();
        }
        bench
    }

    #[test]
    fn everything_fits_the_smallest_size() {
        let bench = bench();
        let text = terminal_with(&bench, Overlay::None, SMALLEST, Colours::None).backend().to_string();
        for words in [
            "Delivery van",
            "0 mph",
            "degF",
            "park",
            "lesson",
            "rejected: sensor not ready",
            "measured  not ready",
            "kPa",
            "0 cells visited, 0 known to 1 %",
            "* air leak into",
            "manifold, 40",
            FOOT,
        ] {
            assert!(text.contains(words), "{words:?} in\n{text}");
        }
        let mut off = Bench::new(&Scenario::load("delivery-van").expect("shipped")).expect("valid");
        off.apply(BenchAction::ToggleIgnition);
        let text = terminal_with(&off, Overlay::None, SMALLEST, Colours::None).backend().to_string();
        assert!(text.contains("engine     ignition off"), "{text}");
        let small = terminal_with(&bench, Overlay::None, (60, 15), Colours::None).backend().to_string();
        assert!(small.contains("80 x 24"), "{small}");
    }

    #[test]
    fn a_long_title_is_cut_and_a_long_notice_is_wrapped() {
        let mut van = Scenario::load("tired-van").expect("shipped");
        van.truth.injectors.delay_s = [9.8e-3; 5];
        let mut bench = Bench::new(&van).expect("valid");
        let late =
            Bench::fault_kinds().iter().position(|kind| kind.name == "late_injectors").expect("a kind");
        bench.apply(BenchAction::ToggleFault(late));
        let screen = Screen {
            bench: &bench,
            pace: &Pace::new(50),
            over: Overlay::None,
            units: UnitSystem::Us,
            colours: Colours::None,
        };
        let head = screen.head(40);
        assert!(head.starts_with("0:00   50 x real time   Delive") && head.ends_with("..."), "{head}");
        assert_eq!((head.len(), screen.head(200).ends_with("thin wires")), (40, true));
        let text = terminal_with(&bench, Overlay::None, SMALLEST, Colours::None).backend().to_string();
        let foot = text.lines().rev().take(2).collect::<Vec<_>>().join(" ");
        assert!(foot.contains("these faults cannot be") && foot.contains("allowed is"), "{text}");
    }

    #[test]
    fn every_refusal_and_every_fault_fits_the_smallest_size() {
        let room = usize::from(SMALLEST.0) - 38 - 2;
        let mut insight = Insight::default();
        for refusal in Refusal::ALL {
            insight.refusal = Some(refusal);
            let lesson = lesson(&insight);
            assert!("lesson     ".len() + lesson.len() <= room, "{lesson}");
        }
        for kind in Bench::fault_kinds() {
            let title = Fault::usual(kind).title();
            assert!("> * ".len() + title.len() <= usize::from(SMALLEST.0) - 2, "{title}");
        }
        assert!(FOOT.len() <= usize::from(SMALLEST.0));
    }

    #[test]
    fn help_faults_and_codes_are_overlays() {
        let bench = bench();
        let help = terminal_with(&bench, Overlay::Help, SMALLEST, Colours::TrueColour).backend().to_string();
        assert!(HELP.iter().all(|(_, meaning)| help.contains(meaning)), "{help}");
        let faults =
            terminal_with(&bench, Overlay::Faults(0), SMALLEST, Colours::TrueColour).backend().to_string();
        assert!(faults.contains("> * air leak into the intake manifold, 40 mm2"), "{faults}");
        let wrong = terminal_with(&bench, Overlay::CodesAndFaults, SMALLEST, Colours::TrueColour)
            .backend()
            .to_string();
        let no_code = wrong.contains("  none");
        assert!(no_code && wrong.contains("* air leak into the intake manifold, 40 mm2"), "{wrong}");
    }

    #[test]
    fn no_colour_is_used_when_none_is_wanted() {
        let bench = bench();
        for (colours, any) in [(Colours::None, false), (Colours::Indexed, true)] {
            let terminal = terminal_with(&bench, Overlay::None, (80, 32), colours);
            let cells = &terminal.backend().buffer().content;
            let coloured = cells.iter().any(|cell| cell.fg != Color::Reset || cell.bg != Color::Reset);
            assert_eq!(coloured, any, "{colours:?}");
            let text = terminal.backend().to_string();
            assert!(
                text.contains("\u{2022} \u{2022} wanted  \u{2812}\u{2812}\u{2812} measured, gap: not ready")
            );
        }
    }
}
