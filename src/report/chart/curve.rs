//! Values over a number, as lines with a mark at each value: what a design can see, by its size.

use crate::report::chart::Chart;
use crate::report::chart::marks::{Anchor, Dot, Label, Line, LineKind, Path, Point, Series, Style};
use crate::report::chart::scale::Scale;
use crate::report::chart::ticks::{Tick, ticks};

/// Width of the view box; narrow, so that words stay readable on a phone.
const WIDTH: f64 = 380.0;
/// Height of the view box.
const HEIGHT: f64 = 250.0;
/// Room for the digits on the left.
const LEFT: f64 = 36.0;
/// Room for the lines' names on the right.
const RIGHT: f64 = 56.0;
/// Where the field begins and ends, downwards.
const FIELD: (f64, f64) = (26.0, 206.0);

/// One line.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Its name, written at its end.
    pub name: String,
    /// Colour and shape.
    pub style: Style,
    /// Number and value, from the left.
    pub points: Vec<(f64, f64)>,
}

impl Curve {
    /// In words, for those who do not see it.
    #[must_use]
    pub fn told(&self) -> String {
        let points: Vec<String> = self
            .points
            .iter()
            .map(|(x, y)| format!("{y:.1} at {x}"))
            .collect();
        format!("{}: {}.", self.name, points.join(", "))
    }
}

/// What is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Plot {
    /// Unique within a page.
    pub id: String,
    /// For screen readers.
    pub title: String,
    /// For screen readers.
    pub description: String,
    /// Name of the axis across.
    pub across: String,
    /// Name of the axis upwards.
    pub upwards: String,
    /// Its upper end; `None` takes what the values need.
    pub highest: Option<f64>,
    /// A value to compare with, drawn dashed.
    pub level: Option<f64>,
    /// A number to find at once, drawn upright.
    pub own: Option<f64>,
    /// The lines.
    pub curves: Vec<Curve>,
}

impl Plot {
    /// The geometry; `None` when there is no point to draw.
    #[must_use]
    pub fn chart(&self) -> Option<Chart> {
        let points = || self.curves.iter().flat_map(|curve| &curve.points);
        let of = |pick: fn(&(f64, f64)) -> f64, join: fn(f64, f64) -> f64| {
            points().map(pick).filter(|v| v.is_finite()).reduce(join)
        };
        let low = of(|p| p.0, f64::min)?;
        let high = of(|p| p.0, f64::max)?;
        let top = self.highest.or_else(|| of(|p| p.1, f64::max))?;
        let top = self.level.map_or(top, |level| top.max(level));
        let across = Scale::new((low, high), (LEFT, WIDTH - RIGHT));
        let upwards = Scale::new((0.0, top), (FIELD.1, FIELD.0));
        let words = (self.title.as_str(), self.description.as_str());
        let mut chart = Chart::blank(&self.id, words, (WIDTH, HEIGHT));
        self.axes(&mut chart, &across, &upwards);
        for curve in &self.curves {
            draw(&mut chart, curve, &across, &upwards);
        }
        Some(chart)
    }

    fn axes(&self, chart: &mut Chart, across: &Scale, upwards: &Scale) {
        let right = WIDTH - RIGHT;
        let mut line = |from: (f64, f64), to: (f64, f64), kind| {
            chart.lines.push(Line {
                x1: from.0,
                y1: from.1,
                x2: to.0,
                y2: to.1,
                kind,
            });
        };
        let mut labels = Vec::new();
        let mut label = |x: f64, y: f64, text: String, anchor: Anchor| {
            labels.push(Label {
                x,
                y,
                text,
                anchor,
                is_quiet: true,
            });
        };
        for Tick { value, text } in ticks(upwards.ends(), 5) {
            let y = upwards.place(value);
            line((LEFT, y), (right, y), LineKind::Rule);
            label(LEFT - 6.0, y + 4.0, text, Anchor::End);
        }
        line((LEFT, FIELD.1), (right, FIELD.1), LineKind::Axis);
        for Tick { value, text } in ticks(across.ends(), 6) {
            let x = across.place(value);
            line((x, FIELD.1), (x, FIELD.1 + 4.0), LineKind::Axis);
            label(x, FIELD.1 + 17.0, text, Anchor::Middle);
        }
        if let Some(level) = self.level {
            let y = upwards.place(level);
            line((LEFT, y), (right, y), LineKind::NoChange);
        }
        let (low, high) = across.ends();
        if let Some(own) = self.own.filter(|own| (low..=high).contains(own)) {
            let x = across.place(own);
            line((x, FIELD.0), (x, FIELD.1), LineKind::NoChange);
        }
        label(LEFT, 12.0, self.upwards.clone(), Anchor::Start);
        label(right, HEIGHT - 8.0, self.across.clone(), Anchor::End);
        chart.labels.append(&mut labels);
    }
}

fn draw(chart: &mut Chart, curve: &Curve, across: &Scale, upwards: &Scale) {
    let points: Vec<Point> = curve
        .points
        .iter()
        .map(|(x, y)| Point {
            x: across.place(*x),
            y: upwards.place(*y),
        })
        .collect();
    if let Some(last) = points.last() {
        chart.labels.push(Label {
            x: last.x + 8.0,
            y: last.y + 4.0,
            text: curve.name.clone(),
            anchor: Anchor::Start,
            is_quiet: false,
        });
    }
    chart.curves.push(Path {
        number: curve.style.number,
        colour: curve.style.colour,
        points: points.clone(),
        name: String::new(),
        is_thin: false,
    });
    let dots = points.iter().zip(&curve.points);
    let dots = dots.map(|(at, (x, y))| Dot {
        x: at.x,
        y: at.y,
        name: format!("{}: {y:.1} at {x}", curve.name),
    });
    chart.series.push(Series {
        number: curve.style.number,
        colour: curve.style.colour,
        shape: curve.style.shape,
        points: dots.collect(),
    });
}
