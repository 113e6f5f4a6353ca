//! The picture: car, mixture, map, codes and faults, the last minute, and what lies over them.

use crate::bench::Bench;
use crate::keys::HELP;
pub use crate::over::Over;
use crate::pace::Pace;
use crate::ramp::Colours;
use crate::rows::wrapped;
use crate::{learned, minute, outcome, wrong};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::text::Line;
use ratatui::widgets::{Block, Clear, List, ListState, Paragraph, Wrap};
use trimwright_control::{Insight, Phase};
use trimwright_harness::faults::{Fault, FaultKind};
use trimwright_harness::units::UnitSystem;
use trimwright_plant::GearRange;

/// Smallest terminal that shows everything.
///
/// ```
/// use ratatui::{Terminal, backend::TestBackend};
/// # use trimwright_harness::scenario::Scenario;
/// # use trimwright_live::screen::{Over, Screen};
/// # use trimwright_live::{Bench, Colours, Pace};
/// use trimwright_harness::units::UnitSystem;
/// use trimwright_live::screen::SMALLEST;
/// # let bench = Bench::new(&Scenario::load("delivery-van")?)?;
/// # let (pace, units, colours) = (Pace::new(1), UnitSystem::Si, Colours::None);
/// # let screen = Screen { bench: &bench, pace: &pace, over: Over::Nothing, units, colours };
/// // `screen` shows a bench.
/// let mut terminal = Terminal::new(TestBackend::new(SMALLEST.0 - 1, SMALLEST.1))?;
/// terminal.draw(|frame| screen.draw(frame))?;
/// assert!(terminal.backend().to_string().contains("the terminal has 79 x 24"), "a column too few");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub const SMALLEST: (u16, u16) = (80, 24);
/// What stands below the picture.
const FOOT: &str = "? keys  q quit  arrows: pedals  d gearbox  f faults  + - time  space: hold still";
/// Everything that a picture is made from.
///
/// ```
/// use ratatui::{Terminal, backend::TestBackend};
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::screen::{Over, SMALLEST, Screen};
/// use trimwright_live::{Act, Bench, Colours, Pace};
/// use trimwright_harness::units::UnitSystem;
/// let mut bench = Bench::new(&Scenario::load("town-coupe")?)?;
/// bench.act(Act::Throttle(4));
/// let (pace, units, colours) = (Pace::new(10), UnitSystem::Si, Colours::None);
/// let screen = Screen { bench: &bench, pace: &pace, over: Over::Nothing, units, colours };
/// let mut terminal = Terminal::new(TestBackend::new(SMALLEST.0, SMALLEST.1))?;
/// terminal.draw(|frame| screen.draw(frame))?;
/// let picture = terminal.backend().to_string();
/// assert!(picture.contains("10 x life") && picture.contains("throttle  8 %"), "{picture}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Screen<'a> {
    /// The car.
    pub bench: &'a Bench,
    /// The time.
    pub pace: &'a Pace,
    /// What lies over it.
    pub over: Over,
    /// Units of speed and temperature.
    pub units: UnitSystem,
    /// What colours the terminal takes.
    pub colours: Colours,
}

impl Screen<'_> {
    /// Draws it.
    ///
    /// ```
    /// use ratatui::{Terminal, backend::TestBackend};
    /// use trimwright_harness::scenario::Scenario;
    /// use trimwright_live::screen::{Over, SMALLEST, Screen};
    /// use trimwright_live::{Bench, Colours, Pace};
    /// use trimwright_harness::units::UnitSystem;
    ///
    /// let bench = Bench::new(&Scenario::load("town-coupe")?)?;
    /// let (pace, units, colours) = (Pace::new(1), UnitSystem::Si, Colours::None);
    /// let screen = Screen { bench: &bench, pace: &pace, over: Over::Help, units, colours };
    /// let mut terminal = Terminal::new(TestBackend::new(SMALLEST.0, SMALLEST.1))?;
    /// terminal.draw(|frame| screen.draw(frame))?;
    /// assert!(terminal.backend().to_string().contains("gearbox: park or drive"));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
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
            Constraint::Length(learned::HEIGHT + 2),
            Constraint::Min(0),
            Constraint::Length(1),
        ];
        let [head, readings, map, minute, foot] = Layout::vertical(rows).areas(area);
        let [car, mixture] = Layout::horizontal([Constraint::Length(38), Constraint::Min(0)]).areas(readings);
        let [map, wrong] =
            Layout::horizontal([Constraint::Length(learned::WIDTH + 2), Constraint::Min(0)]).areas(map);
        frame.render_widget(Paragraph::new(self.head(usize::from(head.width))), head);
        frame.render_widget(boxed("Car", self.car()), car);
        frame.render_widget(boxed("Mixture", self.mixture()), mixture);
        self.map(frame, map);
        self.wrong(frame, wrong, "Wrong (w: all)");
        if minute.height >= minute::HEIGHT {
            minute::draw(frame, minute, self.bench, self.colours);
        }
        match self.bench.notice() {
            None => frame.render_widget(Paragraph::new(FOOT), foot),
            Some(words) => notice(frame, area, words),
        }
        match self.over {
            Over::Nothing => (),
            Over::Help => help(frame, area),
            Over::Wrong => {
                let place = area.centered(Constraint::Length(78), Constraint::Length(area.height - 2));
                frame.render_widget(Clear, place);
                self.wrong(frame, place, "Wrong: esc back");
            }
            Over::Faults(chosen) => self.faults(frame, area, chosen),
        }
    }

    /// Time, pace, and as much of the title as there is room for.
    fn head(&self, width: usize) -> String {
        let pace = match (self.pace.is_paused(), self.pace.times()) {
            (true, _) => "held still".to_owned(),
            (false, times) if self.pace.measured() < 0.8 * f64::from(times) => {
                format!("{times} x life, {:.0} x reached", self.pace.measured())
            }
            (false, times) => format!("{times} x life"),
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
        let read = self.bench.read().map_or_else(|| "not ready".to_owned(), lambda);
        let open_time = format!("{:.2} ms", insight.open_time_s * 1e3);
        let row = |name: &str, value: &str, other_name: &str, other: &str| {
            format!("{name:<10} {value:<8} {other_name:<9} {other}")
        };
        vec![
            format!("engine     {}", self.doing(insight)),
            row("wanted", &lambda(f64::from(insight.expected_lambda)), "read", &read),
            row("true", &lambda(self.bench.view().exhaust_lambda), "open time", &open_time),
            row("short-term", &trim(insight.trim_ln), "long-term", &trim(insight.learned_ln)),
            format!("lesson     {}", lesson(insight)),
        ]
    }

    fn doing(&self, insight: &Insight) -> &'static str {
        match insight.phase {
            _ if !self.bench.ignition() => "ignition off",
            _ if self.bench.is_cranking() => "cranking",
            Phase::Stopped => "stands",
            Phase::Priming => "fuel pump primes",
            Phase::Cranking => "cranking",
            Phase::RunningUp => "running up",
            Phase::Running => "running",
            Phase::FuelCut => "coasting, fuel cut",
            Phase::OverSpeed => "too fast, fuel cut",
            Phase::LeanGuard => "too lean under load, fuel cut",
        }
    }

    fn map(&self, frame: &mut Frame<'_>, area: Rect) {
        let title = "Learned, % of fuel: kPa by rpm/100  > here  bold: to 1 %";
        let lines = learned::lines(self.bench.closed_loop().controller(), self.colours);
        let block = Block::bordered().title(title).title_bottom(outcome::learned(self.bench));
        frame.render_widget(Paragraph::new(lines).block(block), area);
    }

    fn wrong(&self, frame: &mut Frame<'_>, area: Rect, title: &str) {
        let [width, height] = [area.width, area.height].map(|all| usize::from(all.saturating_sub(2)));
        frame.render_widget(boxed(title, wrong::rows(self.bench, width, height)), area);
    }

    fn faults(&self, frame: &mut Frame<'_>, area: Rect, chosen: usize) {
        let row = |kind: &'static FaultKind| {
            let there = self.bench.faults().map(|(fault, _)| fault).find(|fault| fault.kind == kind);
            let sign = if there.is_some() { '*' } else { ' ' };
            format!("{sign} {}", there.unwrap_or(&Fault::usual(kind)).title())
        };
        let rows: Vec<String> = Bench::kinds().into_iter().map(row).collect();
        let list = List::new(rows)
            .highlight_symbol("> ")
            .block(Block::bordered().title("Faults: enter lets one come or go, esc back"));
        let place =
            area.centered(Constraint::Length(80), Constraint::Length(area.height.saturating_sub(4).min(28)));
        frame.render_widget(Clear, place);
        frame.render_stateful_widget(list, place, &mut ListState::default().with_selected(Some(chosen)));
    }
}

/// Something that could not be done, over the foot and as many rows above it as it takes.
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
        || "taken".to_owned(),
        |refusal| format!("refused: {}", refusal.name().replace('_', " ")),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Act;
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;
    use ratatui::style::Color;
    use trimwright_control::Refusal;
    use trimwright_harness::scenario::Scenario;

    fn picture(bench: &Bench, over: Over, size: (u16, u16), colours: Colours) -> Terminal<TestBackend> {
        let mut terminal = Terminal::new(TestBackend::new(size.0, size.1)).expect("a test terminal");
        let screen = Screen { bench, pace: &Pace::new(1), over, units: UnitSystem::Us, colours };
        terminal.draw(|frame| screen.draw(frame)).expect("drawn");
        terminal
    }

    fn bench() -> Bench {
        let mut bench = Bench::new(&Scenario::load("delivery-van").expect("shipped")).expect("sound");
        bench.act(Act::Fault(0));
        for _ in 0..1000 {
            bench.go_on();
        }
        bench
    }

    #[test]
    fn it_says_what_is_so_within_its_smallest_size() {
        let bench = bench();
        let text = picture(&bench, Over::Nothing, SMALLEST, Colours::None).backend().to_string();
        for words in [
            "Delivery van",
            "0 mph",
            "degF",
            "park",
            "lesson",
            "refused: sensor not ready",
            "read      not ready",
            "kPa",
            "0 cells visited, 0 known to 1 %",
            "* air leak into",
            "manifold, 40",
            FOOT,
        ] {
            assert!(text.contains(words), "{words:?} in\n{text}");
        }
        let mut off = Bench::new(&Scenario::load("delivery-van").expect("shipped")).expect("sound");
        off.act(Act::Ignition);
        let text = picture(&off, Over::Nothing, SMALLEST, Colours::None).backend().to_string();
        assert!(text.contains("engine     ignition off"), "{text}");
        let small = picture(&bench, Over::Nothing, (60, 15), Colours::None).backend().to_string();
        assert!(small.contains("80 x 24"), "{small}");
    }

    #[test]
    fn a_long_title_or_notice_hides_nothing() {
        let mut van = Scenario::load("tired-van").expect("shipped");
        van.truth.injectors.delay_s = [9.8e-3; 5];
        let mut bench = Bench::new(&van).expect("sound");
        let late = Bench::kinds().iter().position(|kind| kind.name == "late_injectors").expect("a kind");
        bench.act(Act::Fault(late));
        let screen = Screen {
            bench: &bench,
            pace: &Pace::new(50),
            over: Over::Nothing,
            units: UnitSystem::Us,
            colours: Colours::None,
        };
        let head = screen.head(40);
        assert!(head.starts_with("0:00   50 x life   Delivery van w") && head.ends_with("..."), "{head}");
        assert_eq!((head.len(), screen.head(200).ends_with("thin wires")), (40, true));
        let text = picture(&bench, Over::Nothing, SMALLEST, Colours::None).backend().to_string();
        let foot = text.lines().rev().take(2).collect::<Vec<_>>().join(" ");
        assert!(foot.contains("these faults do not go") && foot.contains("allowed is"), "{text}");
    }

    #[test]
    fn every_reason_and_every_fault_fits_the_smallest_size() {
        let room = usize::from(SMALLEST.0) - 38 - 2;
        let mut insight = Insight::default();
        for refusal in Refusal::ALL {
            insight.refusal = Some(refusal);
            let lesson = lesson(&insight);
            assert!("lesson     ".len() + lesson.len() <= room, "{lesson}");
        }
        for kind in Bench::kinds() {
            let title = Fault::usual(kind).title();
            assert!("> * ".len() + title.len() <= usize::from(SMALLEST.0) - 2, "{title}");
        }
        assert!(FOOT.len() <= usize::from(SMALLEST.0));
    }

    #[test]
    fn help_faults_and_what_is_wrong_lie_over_it() {
        let bench = bench();
        let help = picture(&bench, Over::Help, SMALLEST, Colours::All).backend().to_string();
        assert!(HELP.iter().all(|(_, meaning)| help.contains(meaning)), "{help}");
        let faults = picture(&bench, Over::Faults(0), SMALLEST, Colours::All).backend().to_string();
        assert!(faults.contains("> * air leak into the intake manifold, 40 mm2"), "{faults}");
        let wrong = picture(&bench, Over::Wrong, SMALLEST, Colours::All).backend().to_string();
        let told = wrong.contains("  none");
        assert!(told && wrong.contains("* air leak into the intake manifold, 40 mm2"), "{wrong}");
    }

    #[test]
    fn without_colours_there_are_none() {
        let bench = bench();
        for (colours, any) in [(Colours::None, false), (Colours::Indexed, true)] {
            let terminal = picture(&bench, Over::Nothing, (80, 32), colours);
            let cells = &terminal.backend().buffer().content;
            let coloured = cells.iter().any(|cell| cell.fg != Color::Reset || cell.bg != Color::Reset);
            assert_eq!(coloured, any, "{colours:?}");
            let text = terminal.backend().to_string();
            assert!(
                text.contains("\u{2022} \u{2022} wanted  \u{2812}\u{2812}\u{2812} read, a gap: not ready")
            );
        }
    }
}
