//! The figure of every specimen: one row a group, one point a piece, the mean, and for compared
//! groups the interval that decides, on the same axis as the margin around those compared with.

use crate::report::chart::Chart;
use crate::report::chart::marks::{Anchor, Bar, Dot, Label, Line, LineKind, Rect, Shape, Style};
use crate::report::chart::scale::{Scale, round};
use crate::report::chart::ticks::{Tick, ticks};

/// Width of the view box; narrow, so that words stay readable on a phone.
const WIDTH: f64 = 380.0;
/// Free space left and right.
const SIDE: f64 = 10.0;
/// Height of a row.
const ROW: f64 = 62.0;
/// Room at the left for pieces without a value, when there are any.
const APART: f64 = 46.0;
/// Distance between them.
const APART_STEP: f64 = 9.5;
/// How many stand in one line, and how many are drawn at all.
const APART_LINE: usize = 4;
const APART_MOST: usize = 12;
/// Distance between points that would touch.
const STEP: f64 = 7.0;
/// Most points on top of each other on either side of the row's middle.
const PILE: usize = 2;

/// What is drawn, in the response's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// Unique within a page.
    pub id: String,
    /// For screen readers.
    pub title: String,
    /// For screen readers.
    pub description: String,
    /// Name and unit of the axis.
    pub axis: String,
    /// The groups, from the top.
    pub rows: Vec<Row>,
    /// Those compared with: the mean, and the margin around it.
    pub reference: Option<Reference>,
}

/// No change and the margin around it.
#[derive(Debug, Clone, PartialEq)]
pub struct Reference {
    /// Mean of those compared with.
    pub mean: f64,
    /// The margin's lower edge.
    pub lower: f64,
    /// The margin's upper edge.
    pub upper: f64,
    /// Name of the upper axis in % of the mean; `None` when the values are percentages already.
    pub percent_axis: Option<String>,
    /// First row that it spans.
    pub first_row: usize,
}

/// A group.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its name.
    pub name: String,
    /// What else is to be said: number, lost, invalid.
    pub remark: String,
    /// Colour and shape.
    pub style: Style,
    /// The values.
    pub values: Vec<Mark>,
    /// Pieces without a value, in words: what they are called and what came of them.
    pub apart: Vec<Apart>,
    /// Their mean.
    pub mean: Option<f64>,
    /// The interval that speaks: lower, estimate, upper.
    pub interval: Option<(f64, f64, f64)>,
}

/// A piece without a value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Apart {
    /// The piece and what came of it, in words.
    pub name: String,
    /// A cross for a test that does not count, an open disc for anything else.
    pub shape: Shape,
}

/// A value and its look.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// The piece and its value, in words.
    pub name: String,
    /// The value.
    pub value: f64,
    /// Another shape than the group's.
    pub special: Option<Shape>,
    /// Flagged by the plan's rule.
    pub is_flagged: bool,
}

impl Strip {
    /// The geometry; `None` when there is no value to draw.
    #[must_use]
    pub fn chart(&self) -> Option<Chart> {
        let ends = self.ends()?;
        let has_apart = self.rows.iter().any(|row| !row.apart.is_empty());
        let left = if has_apart { SIDE + APART } else { SIDE };
        let scale = Scale::new(ends, (left, WIDTH - SIDE));
        let has_top = self
            .reference
            .as_ref()
            .is_some_and(|r| r.percent_axis.is_some());
        let top = if has_top { 40.0 } else { 8.0 };
        let bottom = top + ROW * self.rows.len() as f64;
        let words = (self.title.as_str(), self.description.as_str());
        let mut chart = Chart::blank(&self.id, words, (WIDTH, bottom + 40.0));
        self.draw_reference(&mut chart, &scale, top, bottom);
        draw_axis(&mut chart, &scale, bottom, &self.axis);
        for (at, row) in self.rows.iter().enumerate() {
            row.draw(&mut chart, &scale, top + ROW * at as f64);
        }
        if has_apart {
            // On the line of the axis title: beside the first figure of the scale there is no room.
            chart.quiet((SIDE, bottom + 32.0), "no value", Anchor::Start);
        }
        Some(chart)
    }

    /// Everything that must be seen, with a little air.
    fn ends(&self) -> Option<(f64, f64)> {
        let own = self.rows.iter().flat_map(|row| {
            let ends = row.interval.map(|(lower, _, upper)| [lower, upper]);
            let values = row.values.iter().map(|mark| mark.value);
            values.chain(ends.into_iter().flatten()).chain(row.mean)
        });
        let band = self.reference.as_ref().map(|r| [r.lower, r.upper]);
        let all: Vec<f64> = own
            .chain(band.into_iter().flatten())
            .filter(|v| v.is_finite())
            .collect();
        let low = all.iter().copied().reduce(f64::min)?;
        let high = all.iter().copied().reduce(f64::max)?;
        let air = (high - low) * 0.04;
        // A load of zero is an end of the world: no air below it.
        let below = if low >= 0.0 {
            (low - air).max(0.0)
        } else {
            low - air
        };
        Some((below, high + air))
    }

    fn draw_reference(&self, chart: &mut Chart, scale: &Scale, top: f64, bottom: f64) {
        let Some(reference) = &self.reference else {
            return;
        };
        let from = top + ROW * reference.first_row as f64;
        let (left, right) = (scale.place(reference.lower), scale.place(reference.upper));
        if right > left {
            chart.bands.push(Rect {
                x: left,
                y: from,
                width: round(right - left),
                height: bottom - from,
            });
        }
        let middle = scale.place(reference.mean);
        // Interrupted where a row has its words.
        for at in reference.first_row..self.rows.len() {
            let row = top + ROW * at as f64;
            let kind = LineKind::NoChange;
            chart
                .lines
                .push(vertical(middle, row + 20.0, row + ROW, kind));
        }
        if let Some(name) = &reference.percent_axis {
            draw_percent(chart, scale, reference.mean, top, name);
        }
    }
}

/// The axis on top, in % of the mean of those compared with.
fn draw_percent(chart: &mut Chart, scale: &Scale, mean: f64, top: f64, name: &str) {
    let (low, high) = scale.ends();
    if mean <= 0.0 {
        return;
    }
    let percent = ticks((low / mean * 100.0, high / mean * 100.0), 5);
    for Tick { value, text } in percent {
        let x = scale.place(value / 100.0 * mean);
        chart
            .lines
            .push(vertical(x, top - 4.0, top, LineKind::Axis));
        chart
            .labels
            .push(label(x, top - 8.0, format!("{text} %"), Anchor::Middle));
    }
    chart
        .labels
        .push(label(SIDE, 11.0, name.to_owned(), Anchor::Start));
    chart.lines.push(horizontal(top, LineKind::Axis));
}

fn draw_axis(chart: &mut Chart, scale: &Scale, bottom: f64, name: &str) {
    chart.lines.push(horizontal(bottom, LineKind::Axis));
    for Tick { value, text } in ticks(scale.ends(), 6) {
        let x = scale.place(value);
        chart
            .lines
            .push(vertical(x, bottom, bottom + 4.0, LineKind::Axis));
        chart
            .labels
            .push(label(x, bottom + 16.0, text, Anchor::Middle));
    }
    chart.labels.push(label(
        WIDTH - SIDE,
        bottom + 33.0,
        name.to_owned(),
        Anchor::End,
    ));
}

impl Row {
    fn draw(&self, chart: &mut Chart, scale: &Scale, top: f64) {
        let middle = top + 34.0;
        chart.labels.push(Label {
            x: SIDE,
            y: top + 13.0,
            text: self.name.clone(),
            anchor: Anchor::Start,
            is_quiet: false,
        });
        chart.labels.push(label(
            WIDTH - SIDE,
            top + 13.0,
            self.remark.clone(),
            Anchor::End,
        ));
        chart.lines.push(horizontal(top + ROW, LineKind::Rule));
        self.draw_points(chart, scale, middle);
        self.draw_apart(chart, middle);
        if let Some(mean) = self.mean {
            let x = scale.place(mean);
            chart
                .lines
                .push(vertical(x, middle - 12.0, middle + 12.0, LineKind::Mean));
        }
        if let Some((lower, estimate, upper)) = self.interval {
            chart.bars.push(Bar {
                x1: scale.place(lower),
                x2: scale.place(upper),
                at: scale.place(estimate),
                y: middle + 19.0,
                number: self.style.number,
                colour: self.style.colour,
            });
        }
    }

    fn draw_points(&self, chart: &mut Chart, scale: &Scale, middle: f64) {
        let places: Vec<f64> = self
            .values
            .iter()
            .map(|mark| scale.place(mark.value))
            .collect();
        let heights = pile(&places);
        for ((mark, x), height) in self.values.iter().zip(&places).zip(heights) {
            let dot = |name: &str| Dot {
                x: *x,
                y: middle + height,
                name: name.to_owned(),
            };
            let shape = mark.special.unwrap_or(self.style.shape);
            chart.dot(self.style.shaped(shape), dot(&mark.name));
            if mark.is_flagged {
                chart.dot(self.style.shaped(Shape::Ring), dot(""));
            }
        }
    }

    /// Pieces without a value, apart from the scale; what does not fit stands in the row's words.
    fn draw_apart(&self, chart: &mut Chart, middle: f64) {
        for (at, piece) in self.apart.iter().take(APART_MOST).enumerate() {
            let (line, place) = (at / APART_LINE, at % APART_LINE);
            let dot = Dot {
                x: SIDE + 4.0 + APART_STEP * place as f64,
                y: middle + APART_STEP * (line as f64 - 0.5),
                name: piece.name.clone(),
            };
            chart.dot(self.style.shaped(piece.shape), dot);
        }
    }
}

/// How far each point is moved up or down so that neighbours do not cover each other: the nearest
/// free height, in the order of the places; when none is free, the middle.
fn pile(places: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..places.len()).collect();
    let at = |n: usize| places.get(n).copied().unwrap_or(0.0);
    order.sort_by(|a, b| at(*a).total_cmp(&at(*b)));
    let levels: Vec<f64> = std::iter::once(0.0)
        .chain((1..=PILE).flat_map(|n| [-STEP * n as f64, STEP * n as f64]))
        .collect();
    let mut last: Vec<f64> = vec![f64::NEG_INFINITY; levels.len()];
    let mut heights = vec![0.0; places.len()];
    for n in order {
        let x = at(n);
        let free = last.iter().position(|taken| x - taken >= STEP).unwrap_or(0);
        if let (Some(slot), Some(height)) = (last.get_mut(free), heights.get_mut(n)) {
            *slot = x;
            *height = levels.get(free).copied().unwrap_or(0.0);
        }
    }
    heights
}

fn label(x: f64, y: f64, text: String, anchor: Anchor) -> Label {
    Label {
        x,
        y,
        text,
        anchor,
        is_quiet: true,
    }
}

fn vertical(x: f64, y1: f64, y2: f64, kind: LineKind) -> Line {
    Line {
        x1: x,
        y1,
        x2: x,
        y2,
        kind,
    }
}

fn horizontal(y: f64, kind: LineKind) -> Line {
    Line {
        x1: SIDE,
        y1: y,
        x2: WIDTH - SIDE,
        y2: y,
        kind,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_that_would_touch_are_moved_apart() {
        let heights = pile(&[10.0, 11.0, 12.0, 40.0]);
        assert_eq!(heights, [0.0, -STEP, STEP, 0.0]);
    }

    #[test]
    fn a_crowd_keeps_to_its_row() {
        let heights = pile(&[10.0; 50]);
        assert!(heights.iter().all(|h| h.abs() <= STEP * PILE as f64));
    }

    #[test]
    fn nothing_to_draw_is_no_figure() {
        let empty = Strip {
            id: String::new(),
            title: String::new(),
            description: String::new(),
            axis: String::new(),
            rows: Vec::new(),
            reference: None,
        };
        assert_eq!(empty.chart(), None);
    }
}
