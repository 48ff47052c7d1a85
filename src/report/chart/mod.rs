//! Figures as plain geometry: numbers go in, places come out. A template draws them.
//!
//! [`scale`] turns values into places, [`ticks`] chooses round numbers, [`marks`] are the shapes and
//! colours, [`strip`] is the figure of every specimen, [`pairs`] of each piece before and after, [`flow`] of
//! how many came how far, [`scatter`] of means with intervals over time, [`course`] of what changes with time,
//! [`curve`] of values over a number.

pub mod course;
pub mod curve;
pub mod flow;
pub mod marks;
pub mod pairs;
pub mod scale;
pub mod scatter;
pub mod strip;
pub mod ticks;

use marks::{Bar, Label, Line, Path, Rect, Series};

/// A figure ready to be drawn, in units of its own view box.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// Unique within a page.
    pub id: String,
    /// Width of the view box.
    pub width: f64,
    /// Height of the view box.
    pub height: f64,
    /// For screen readers, in a few words.
    pub title: String,
    /// For screen readers, everything that the eye sees.
    pub description: String,
    /// Areas behind everything.
    pub bands: Vec<Rect>,
    /// Thin lines: axes, ticks, means.
    pub lines: Vec<Line>,
    /// Lines through points, one series a group.
    pub curves: Vec<Path>,
    /// Intervals.
    pub bars: Vec<Bar>,
    /// Points, one series a group and kind.
    pub series: Vec<Series>,
    /// Words.
    pub labels: Vec<Label>,
}

impl Chart {
    /// The lines by what they are for, so that one path draws all of a kind.
    #[must_use]
    pub fn strokes(&self) -> Vec<(marks::LineKind, Vec<Line>)> {
        let mut kinds: Vec<(marks::LineKind, Vec<Line>)> = Vec::new();
        for line in &self.lines {
            match kinds.iter_mut().find(|(kind, _)| *kind == line.kind) {
                Some((_, known)) => known.push(*line),
                None => kinds.push((line.kind, vec![*line])),
            }
        }
        kinds
    }

    /// The words that are not quiet.
    pub fn loud_labels(&self) -> impl Iterator<Item = &Label> {
        self.labels.iter().filter(|label| !label.is_quiet)
    }

    /// The quiet words.
    pub fn quiet_labels(&self) -> impl Iterator<Item = &Label> {
        self.labels.iter().filter(|label| label.is_quiet)
    }

    /// A sheet with nothing on it.
    #[must_use]
    pub fn blank(
        id: &str,
        (title, description): (&str, &str),
        (width, height): (f64, f64),
    ) -> Self {
        Self {
            id: id.to_owned(),
            width,
            height,
            title: title.to_owned(),
            description: description.to_owned(),
            bands: Vec::new(),
            lines: Vec::new(),
            curves: Vec::new(),
            bars: Vec::new(),
            series: Vec::new(),
            labels: Vec::new(),
        }
    }

    /// A straight line.
    pub(crate) fn line(&mut self, from: (f64, f64), to: (f64, f64), kind: marks::LineKind) {
        self.lines.push(Line {
            x1: from.0,
            y1: from.1,
            x2: to.0,
            y2: to.1,
            kind,
        });
    }

    /// Quiet words.
    pub(crate) fn quiet(&mut self, at: (f64, f64), text: &str, anchor: marks::Anchor) {
        self.labels.push(Label {
            x: at.0,
            y: at.1,
            text: text.to_owned(),
            anchor,
            is_quiet: true,
        });
    }

    /// Words.
    pub(crate) fn said(&mut self, at: (f64, f64), text: &str, anchor: marks::Anchor) {
        self.labels.push(Label {
            x: at.0,
            y: at.1,
            text: text.to_owned(),
            anchor,
            is_quiet: false,
        });
    }

    /// A point of a series; points of one look go together.
    pub(crate) fn dot(&mut self, style: marks::Style, dot: marks::Dot) {
        let is_same = |s: &&mut Series| s.shape == style.shape && s.number == style.number;
        match self.series.iter_mut().find(is_same) {
            Some(known) => known.points.push(dot),
            None => self.series.push(Series {
                number: style.number,
                colour: style.colour,
                shape: style.shape,
                points: vec![dot],
            }),
        }
    }
}

/// As many characters of a text as fit, the last one cut to an ellipsis.
#[must_use]
pub fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let cut: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", cut.trim_end())
}
