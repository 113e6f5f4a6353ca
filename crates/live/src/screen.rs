//! The picture: car, mixture, map, codes and faults, the last minute, and what lies over them.

use crate::bench::{Bench, Point};
use crate::keys::HELP;
use crate::learned;
use crate::pace::Pace;
use crate::ramp::Colours;
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Color, Style};
use ratatui::symbols::Marker;
use ratatui::text::Line;
use ratatui::widgets::{Axis, Block, Chart, Clear, Dataset, GraphType, List, ListState, Paragraph, Wrap};
use trimwright_control::{Insight, Phase};
use trimwright_plant::Range;

/// Smallest terminal that shows everything.
///
/// ```
/// use ratatui::{Terminal, backend::TestBackend};
/// # use trimwright_harness::scenario::Scenario;
/// # use trimwright_live::screen::{Over, Screen};
/// # use trimwright_live::{Bench, Colours, Pace, Units};
/// use trimwright_live::screen::SMALLEST;
/// # let bench = Bench::new(&Scenario::load("delivery-van")?)?;
/// # let (pace, units, colours) = (Pace::new(1), Units::Si, Colours::None);
/// # let screen = Screen { bench: &bench, pace: &pace, over: Over::Nothing, units, colours };
/// // `screen` shows a bench.
/// let mut terminal = Terminal::new(TestBackend::new(SMALLEST.0 - 1, SMALLEST.1))?;
/// terminal.draw(|frame| screen.draw(frame))?;
/// assert!(terminal.backend().to_string().contains("the terminal has 81 x 25"), "a column too few");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub const SMALLEST: (u16, u16) = (82, 25);
/// Rows that the last minute needs to be worth showing.
const CHART: u16 = 8;
/// Metres per second in a mile an hour: exact, NIST SP 811, appendix B.
const MPH: f64 = 0.447_04;

/// Units of speed and temperature.
///
/// ```
/// use ratatui::{Terminal, backend::TestBackend};
/// # use trimwright_harness::scenario::Scenario;
/// # use trimwright_live::screen::{Over, SMALLEST, Screen};
/// # use trimwright_live::{Bench, Colours, Pace};
/// use trimwright_live::Units;
/// # let bench = Bench::new(&Scenario::load("delivery-van")?)?;
/// # let (pace, over, colours) = (Pace::new(1), Over::Nothing, Colours::None);
/// let mut terminal = Terminal::new(TestBackend::new(SMALLEST.0, SMALLEST.1))?;
/// for (units, words) in [(Units::Si, "0 km/h"), (Units::Us, "0 mph")] {
///     let screen = Screen { bench: &bench, pace: &pace, over, units, colours };
///     terminal.draw(|frame| screen.draw(frame))?;
///     assert!(terminal.backend().to_string().contains(words));
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Units {
    /// Kilometres, degrees Celsius.
    #[default]
    Si,
    /// Miles, degrees Fahrenheit.
    Us,
}

/// What lies over the picture.
///
/// ```
/// use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
/// use trimwright_live::Act;
/// use trimwright_live::keys::{Asked, asked};
/// use trimwright_live::screen::Over;
/// let up = KeyEvent::new(KeyCode::Up, KeyModifiers::NONE);
/// assert_eq!(asked(&up, Over::Nothing), Some(Asked::Act(Act::Throttle(1))));
/// assert_eq!(asked(&up, Over::Faults(5)), Some(Asked::Show(Over::Faults(4))), "it chooses a fault");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// Nothing.
    Nothing,
    /// The keys.
    Help,
    /// The faults that can come and go; this one is chosen.
    Faults(usize),
}

/// Everything that a picture is made from.
///
/// ```
/// use ratatui::{Terminal, backend::TestBackend};
/// use trimwright_harness::scenario::Scenario;
/// use trimwright_live::screen::{Over, SMALLEST, Screen};
/// use trimwright_live::{Act, Bench, Colours, Pace, Units};
/// let mut bench = Bench::new(&Scenario::load("town-coupe")?)?;
/// bench.act(Act::Throttle(4));
/// let (pace, units, colours) = (Pace::new(10), Units::Si, Colours::None);
/// let screen = Screen { bench: &bench, pace: &pace, over: Over::Nothing, units, colours };
/// let mut terminal = Terminal::new(TestBackend::new(SMALLEST.0, SMALLEST.1))?;
/// terminal.draw(|frame| screen.draw(frame))?;
/// let picture = terminal.backend().to_string();
/// assert!(picture.contains("10 x life") && picture.contains("throttle   8 %"), "{picture}");
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
    pub units: Units,
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
    /// use trimwright_live::{Bench, Colours, Pace, Units};
    ///
    /// let bench = Bench::new(&Scenario::load("town-coupe")?)?;
    /// let (pace, units, colours) = (Pace::new(1), Units::Si, Colours::None);
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
            Constraint::Length(8),
            Constraint::Length(learned::HEIGHT + 2),
            Constraint::Min(0),
            Constraint::Length(1),
        ];
        let [head, readings, map, minute, foot] = Layout::vertical(rows).areas(area);
        let [car, mixture] = Layout::horizontal([Constraint::Length(40), Constraint::Min(0)]).areas(readings);
        let [map, wrong] =
            Layout::horizontal([Constraint::Length(learned::WIDTH + 2), Constraint::Min(0)]).areas(map);
        frame.render_widget(Paragraph::new(self.head()), head);
        frame.render_widget(boxed("Car", self.car()), car);
        frame.render_widget(boxed("Mixture", self.mixture()), mixture);
        self.map(frame, map);
        frame.render_widget(boxed("Wrong", self.wrong()).wrap(Wrap { trim: true }), wrong);
        if minute.height >= CHART {
            self.minute(frame, minute);
        }
        let notice = self
            .bench
            .notice()
            .unwrap_or("? keys  q quit  arrows: throttle, brake  d gearbox  f faults  + - time  space still");
        frame.render_widget(Paragraph::new(notice), foot);
        match self.over {
            Over::Nothing => (),
            Over::Help => help(frame, area),
            Over::Faults(chosen) => self.faults(frame, area, chosen),
        }
    }

    fn head(&self) -> String {
        let time_s = self.bench.closed_loop().time_s() as u64;
        let (minutes, seconds) = (time_s / 60, time_s % 60);
        let pace = match (self.pace.is_paused(), self.pace.times()) {
            (true, _) => "held still".to_owned(),
            (false, times) if self.pace.measured() < 0.8 * f64::from(times) => {
                format!("{times} x life asked, {:.0} x reached", self.pace.measured())
            }
            (false, times) => format!("{times} x life"),
        };
        format!("{}   {minutes}:{seconds:02}   {pace}", self.bench.title())
    }

    fn car(&self) -> Vec<String> {
        let (view, hands) = (self.bench.view(), self.bench.hands());
        let degrees_c = view.coolant_k - 273.15;
        let (speed, coolant) = match self.units {
            Units::Si => (format!("{:.0} km/h", view.vehicle_m_per_s * 3.6), format!("{degrees_c:.0} degC")),
            Units::Us => (
                format!("{:.0} mph", view.vehicle_m_per_s / MPH),
                format!("{:.0} degF", degrees_c * 1.8 + 32.0),
            ),
        };
        let range = match hands.range {
            Range::Park => "park".to_owned(),
            Range::Drive => format!("drive, gear {}", view.gear),
        };
        let percent = |share: f64| format!("{:.0} %", 100.0 * share);
        vec![
            pair(
                "speed",
                &speed,
                "engine",
                &format!("{:.0} rpm", view.speed_rad_per_s * 30.0 / std::f64::consts::PI),
            ),
            pair("throttle", &percent(hands.throttle), "MAP", &format!("{:.0} kPa", view.map_pa / 1e3)),
            pair("brake", &percent(hands.brake), "road", &format!("{:+.0} %", 100.0 * hands.grade + 0.0)),
            pair("coolant", &coolant, "supply", &format!("{:.1} V", view.supply_v)),
            format!("gearbox    {range}"),
            format!("ignition   {}      A/C       {}", on(self.bench.ignition()), on(hands.ac)),
        ]
    }

    fn mixture(&self) -> Vec<String> {
        let controller = self.bench.closed_loop().controller();
        let insight = &controller.state().insight;
        let trim = |ln: f32| format!("{:+.1} %", 100.0 * (f64::from(ln).exp() - 1.0) + 0.0);
        let burned = self.bench.view().exhaust_lambda;
        let (say, sure) = learned::filled(controller);
        let read = match controller.state().belief.doubts.lambda {
            true => "not ready".to_owned(),
            false => lambda(f64::from(insight.measured_lambda)),
        };
        vec![
            format!("engine     {}", self.doing(insight)),
            pair("wanted", &lambda(f64::from(insight.expected_lambda)), "read", &read),
            pair("true", &lambda(burned), "open time", &format!("{:.2} ms", insight.open_time_s * 1e3)),
            pair("short-term", &trim(insight.trim_ln), "long-term", &trim(insight.learned_ln)),
            format!("lesson     {}", lesson(insight)),
            format!("map        {} lessons, {say} cells, {sure} sure", controller.state().counts.lessons),
        ]
    }

    fn doing(&self, insight: &Insight) -> &'static str {
        match insight.phase {
            _ if self.bench.is_cranking() => "cranking",
            Phase::Stopped => "stands",
            Phase::Priming => "fuel pump primes",
            Phase::Cranking => "cranking",
            Phase::RunningUp => "running up",
            Phase::Running => "running",
            Phase::FuelCut => "coasting, fuel cut",
            Phase::OverSpeed => "too fast, fuel cut",
        }
    }

    fn map(&self, frame: &mut Frame<'_>, area: Rect) {
        let title = "Learned, % of fuel: kPa by rpm/100  > here  bold: sure";
        let lines = learned::lines(self.bench.closed_loop().controller(), self.colours);
        frame.render_widget(Paragraph::new(lines).block(Block::bordered().title(title)), area);
    }

    /// Trouble codes first, then the faults behind them.
    fn wrong(&self) -> Vec<String> {
        let dtcs = &self.bench.closed_loop().controller().state().dtcs;
        let stored: Vec<&str> =
            dtcs.stored().filter(|dtc| !dtcs.is_set(*dtc)).map(|dtc| dtc.code()).collect();
        let mut lines = vec!["Codes".to_owned()];
        lines.extend(dtcs.active().map(|dtc| format!("! {}", dtc.code())));
        lines.extend(stored.iter().map(|code| format!("  {code} before")));
        if lines.len() == 1 {
            lines.push("  none".to_owned());
        }
        lines.extend(["".to_owned(), "Faults".to_owned()]);
        let faults: Vec<String> = self
            .bench
            .faults()
            .map(|(fault, there)| format!("{} {}", if there { '*' } else { ' ' }, fault.kind.name))
            .collect();
        if faults.is_empty() {
            lines.push("  none".to_owned())
        } else {
            lines.extend(faults)
        }
        lines
    }

    fn minute(&self, frame: &mut Frame<'_>, area: Rect) {
        let last_s = self.bench.past().last().map_or(0.0, |point| point.time_s);
        let line = |pick: fn(&Point) -> f64| {
            self.bench
                .past()
                .map(|point| (point.time_s - last_s, pick(point).clamp(0.7, 1.3)))
                .collect::<Vec<_>>()
        };
        let (wanted, read) = (line(|point| point.wanted), line(|point| point.read));
        let coloured = |index| {
            if self.colours == Colours::None { Style::new() } else { Style::new().fg(Color::Indexed(index)) }
        };
        // Marks differ as well as colours.
        let set = |name, points, marker, style| {
            Dataset::default().name(name).data(points).marker(marker).graph_type(GraphType::Line).style(style)
        };
        let sets = vec![
            set("wanted .", &wanted, Marker::Dot, coloured(32)),
            set("read", &read, Marker::Braille, coloured(173)),
        ];
        let chart = Chart::new(sets)
            .block(Block::bordered().title("Lambda over the last minute"))
            .x_axis(Axis::default().bounds([-60.0, 0.0]).labels(["-60 s", "-30 s", "now"]))
            .y_axis(Axis::default().bounds([0.7, 1.3]).labels(["0.7", "1.0", "1.3"]));
        frame.render_widget(chart, area);
    }

    fn faults(&self, frame: &mut Frame<'_>, area: Rect, chosen: usize) {
        let there = |name: &str| self.bench.faults().any(|(fault, _)| fault.kind.name == name);
        let row = |kind: &&trimwright_harness::faults::FaultKind| {
            format!("{} {}", if there(kind.name) { '*' } else { ' ' }, kind.title)
        };
        let rows: Vec<String> = Bench::kinds().iter().map(row).collect();
        let list = List::new(rows)
            .highlight_symbol("> ")
            .block(Block::bordered().title("Faults: enter lets one come or go, esc back"));
        let place =
            area.centered(Constraint::Length(72), Constraint::Length(area.height.saturating_sub(4).min(28)));
        frame.render_widget(Clear, place);
        frame.render_stateful_widget(list, place, &mut ListState::default().with_selected(Some(chosen)));
    }
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

/// Two readings beside each other.
fn pair(name: &str, value: &str, other_name: &str, other: &str) -> String {
    format!("{name:<10} {value:<8} {other_name:<9} {other}")
}

fn lambda(value: f64) -> String {
    if value < 2.0 { format!("{value:.3}") } else { "air".to_owned() }
}

fn on(is_on: bool) -> &'static str {
    if is_on { "on" } else { "off" }
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
    use trimwright_harness::scenario::Scenario;

    fn picture(bench: &Bench, over: Over, size: (u16, u16), colours: Colours) -> Terminal<TestBackend> {
        let mut terminal = Terminal::new(TestBackend::new(size.0, size.1)).expect("a test terminal");
        let screen = Screen { bench, pace: &Pace::new(1), over, units: Units::Us, colours };
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
            "kPa",
            "vacuum_leak",
            "? keys",
        ] {
            assert!(text.contains(words), "{words:?} in\n{text}");
        }
        let small = picture(&bench, Over::Nothing, (60, 20), Colours::None).backend().to_string();
        assert!(small.contains("82 x 25"), "{small}");
    }

    #[test]
    fn help_and_faults_lie_over_it() {
        let bench = bench();
        let help = picture(&bench, Over::Help, SMALLEST, Colours::All).backend().to_string();
        assert!(HELP.iter().all(|(_, meaning)| help.contains(meaning)), "{help}");
        let faults = picture(&bench, Over::Faults(0), SMALLEST, Colours::All).backend().to_string();
        assert!(faults.contains("> * air leak into the intake manifold"), "{faults}");
    }

    #[test]
    fn without_colours_there_are_none() {
        let bench = bench();
        for (colours, any) in [(Colours::None, false), (Colours::Indexed, true)] {
            let terminal = picture(&bench, Over::Nothing, (100, 45), colours);
            let cells = &terminal.backend().buffer().content;
            let coloured = cells.iter().any(|cell| cell.fg != Color::Reset || cell.bg != Color::Reset);
            assert_eq!(coloured, any, "{colours:?}");
            assert!(terminal.backend().to_string().contains("Lambda over the last minute"));
        }
    }
}
