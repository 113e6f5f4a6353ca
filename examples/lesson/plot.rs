//! Lines and dots over one pair of axes, as SVG.

use plotters::element::DashedPathElement;
use plotters::prelude::*;
use std::error::Error;
use std::ops::Range;
use std::path::PathBuf;

/// Colours that are distinct for every kind of colour vision: Okabe and Ito, "Color universal design" (2008).
const COLOURS: [RGBColor; 5] = [
    RGBColor(0, 114, 178),
    RGBColor(213, 94, 0),
    RGBColor(0, 158, 115),
    RGBColor(204, 121, 167),
    RGBColor(0, 0, 0),
];
const PIXELS: (u32, u32) = (900, 560);
/// Margin beside the outermost points, share of their span.
const MARGIN: f64 = 0.05;

/// Style of a series; distinct in black and white too.
#[derive(Clone, Copy, PartialEq)]
enum Mark {
    Line,
    Dashes,
    Dots,
}

/// One name in the legend.
struct Series {
    name: String,
    mark: Mark,
    points: Vec<(f64, f64)>,
}

/// A plot to be filled and saved.
pub(crate) struct Plot {
    title: String,
    /// What the axes show, with units.
    axes: (String, String),
    series: Vec<Series>,
}

impl Plot {
    /// An empty plot; the axes' names end with their units.
    pub(crate) fn new(title: &str, x: &str, y: &str) -> Self {
        Self { title: title.to_owned(), axes: (x.to_owned(), y.to_owned()), series: Vec::new() }
    }

    /// Adds a line.
    pub(crate) fn line(self, name: &str, points: impl IntoIterator<Item = (f64, f64)>) -> Self {
        self.with(name, Mark::Line, points)
    }

    /// Adds a dashed line.
    pub(crate) fn dashes(self, name: &str, points: impl IntoIterator<Item = (f64, f64)>) -> Self {
        self.with(name, Mark::Dashes, points)
    }

    /// Adds dots.
    pub(crate) fn dots(self, name: &str, points: impl IntoIterator<Item = (f64, f64)>) -> Self {
        self.with(name, Mark::Dots, points)
    }

    fn with(mut self, name: &str, mark: Mark, points: impl IntoIterator<Item = (f64, f64)>) -> Self {
        let seen = |(x, y): &(f64, f64)| x.is_finite() && y.is_finite();
        let points = points.into_iter().filter(seen).collect();
        self.series.push(Series { name: name.to_owned(), mark, points });
        self
    }

    /// Least and greatest of one coordinate over all series, with a margin.
    fn span(&self, coordinate: impl Fn(&(f64, f64)) -> f64) -> Range<f64> {
        let all = || self.series.iter().flat_map(|series| &series.points).map(&coordinate);
        let (low, high) = (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
        let margin = MARGIN * (high - low).max(1e-9);
        low - margin..high + margin
    }

    /// The corner in which the legend hides the fewest points.
    fn emptiest_corner(&self) -> SeriesLabelPosition {
        let (x, y) = (self.span(|point| point.0), self.span(|point| point.1));
        let within = |value: f64, span: &Range<f64>| (value - span.start) / (span.end - span.start);
        let points = || self.series.iter().flat_map(|series| &series.points);
        let hidden = |right: bool, top: bool| {
            let near = |share: f64, far: bool| if far { share > 0.55 } else { share < 0.45 };
            let covered =
                |(at_x, at_y): &&(f64, f64)| near(within(*at_x, &x), right) && near(within(*at_y, &y), top);
            points().filter(covered).count()
        };
        let corners = [
            (hidden(true, true), SeriesLabelPosition::UpperRight),
            (hidden(true, false), SeriesLabelPosition::LowerRight),
            (hidden(false, true), SeriesLabelPosition::UpperLeft),
            (hidden(false, false), SeriesLabelPosition::LowerLeft),
        ];
        corners
            .into_iter()
            .min_by_key(|corner| corner.0)
            .map_or(SeriesLabelPosition::UpperRight, |corner| corner.1)
    }

    /// Saves it as `out/lessons/NAME.svg` and gives the path.
    pub(crate) fn save(&self, name: &str) -> Result<PathBuf, Box<dyn Error>> {
        let directory = PathBuf::from("out/lessons");
        std::fs::create_dir_all(&directory)?;
        let path = directory.join(format!("{name}.svg"));
        let area = SVGBackend::new(&path, PIXELS).into_drawing_area();
        area.fill(&WHITE)?;
        let mut chart = ChartBuilder::on(&area)
            .caption(&self.title, ("sans-serif", 22))
            .margin(12)
            .x_label_area_size(48)
            .y_label_area_size(64)
            .build_cartesian_2d(self.span(|point| point.0), self.span(|point| point.1))?;
        let (x, y) = &self.axes;
        chart
            .configure_mesh()
            .x_desc(x)
            .y_desc(y)
            .light_line_style(WHITE)
            .label_style(("sans-serif", 14))
            .draw()?;
        for (series, colour) in self.series.iter().zip(COLOURS.into_iter().cycle()) {
            let points = series.points.iter().copied();
            let drawn = match series.mark {
                Mark::Line => chart.draw_series(LineSeries::new(points, colour.stroke_width(2)))?,
                Mark::Dashes => {
                    chart.draw_series(DashedLineSeries::new(points, 8, 5, colour.stroke_width(2)))?
                }
                Mark::Dots => chart.draw_series(points.map(|at| Circle::new(at, 3, colour.filled())))?,
            };
            let mark = series.mark;
            drawn.label(&series.name).legend(move |(x, y)| match mark {
                Mark::Dots => Circle::new((x + 9, y), 3, colour.filled()).into_dyn(),
                Mark::Line => PathElement::new([(x, y), (x + 18, y)], colour.stroke_width(2)).into_dyn(),
                Mark::Dashes => {
                    DashedPathElement::new([(x, y), (x + 18, y)], 5, 3, colour.stroke_width(2)).into_dyn()
                }
            });
        }
        chart
            .configure_series_labels()
            .position(self.emptiest_corner())
            .background_style(WHITE.mix(0.85))
            .border_style(BLACK.mix(0.3))
            .label_font(("sans-serif", 14))
            .draw()?;
        area.present()?;
        drop(chart);
        drop(area);
        Ok(path)
    }
}
