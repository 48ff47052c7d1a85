//! Figures as plain geometry: numbers go in, places come out. A template draws them.
//!
//! [`scale`] turns values into places, [`ticks`] chooses round numbers, [`marks`] are the shapes and
//! colours, [`strip`] is the figure of every specimen, [`course`] of what changes with time, [`curve`]
//! of values over a number.

pub mod course;
pub mod curve;
pub mod marks;
pub mod scale;
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
