//! The figure of something that changes with time: lines with gaps where nothing is on record, points,
//! upright strokes from the lowest to the highest value of a day, marks along the time axis.

use crate::report::chart::marks::{Anchor, Label, Line, LineKind, Point, Rect};
use crate::report::chart::scale::{Scale, round};
use crate::report::chart::ticks::{Tick, ticks};

/// Width of the view box; narrow, so that words stay readable on a phone.
const WIDTH: f64 = 380.0;
/// Height of the view box.
const HEIGHT: f64 = 210.0;
/// Free space at the left, for the numbers of the axis.
const LEFT: f64 = 52.0;
/// Free space at the right.
const RIGHT: f64 = 12.0;
/// Free space at the top, for the name of the upright axis.
const TOP: f64 = 24.0;
/// Free space at the bottom, for numbers and name of the level axis.
const BOTTOM: f64 = 40.0;

/// What is drawn, in its own units.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Course {
    /// Unique within a page.
    pub id: String,
    /// For screen readers, in a few words.
    pub title: String,
    /// For screen readers, everything that the eye sees.
    pub description: String,
    /// Name of the level axis, with its unit.
    pub x_name: String,
    /// Name of the upright axis, with its unit.
    pub y_name: String,
    /// First and last value of the level axis.
    pub x_ends: (f64, f64),
    /// Places along the level axis with their words.
    pub x_ticks: Vec<Tick>,
    /// Lines, each without a gap.
    pub runs: Vec<Vec<(f64, f64)>>,
    /// Points.
    pub points: Vec<(f64, f64)>,
    /// Upright strokes: where, from, to.
    pub strokes: Vec<(f64, f64, f64)>,
    /// Stretches of the level axis without a value.
    pub gaps: Vec<(f64, f64)>,
    /// A dashed level line.
    pub level: Option<f64>,
    /// Dashed upright lines.
    pub uprights: Vec<f64>,
}

/// The figure, ready to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct CourseChart {
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
    /// Stretches without a value.
    pub gaps: Vec<Rect>,
    /// Axes, ticks, the level.
    pub lines: Vec<Line>,
    /// Lines.
    pub runs: Vec<Vec<Point>>,
    /// Points.
    pub points: Vec<Point>,
    /// Strokes: the upper end, and how far down it reaches.
    pub strokes: Vec<(Point, f64)>,
    /// Words.
    pub labels: Vec<Label>,
}

impl Course {
    /// Everything at its place; `None` when there is no value.
    #[must_use]
    pub fn chart(&self) -> Option<CourseChart> {
        let (low, high) = self.values()?;
        let across = Scale::new(self.x_ends, (LEFT, WIDTH - RIGHT));
        let spare = (high - low) * 0.06;
        let up = Scale::new((low - spare, high + spare), (HEIGHT - BOTTOM, TOP));
        let place = |(x, y): &(f64, f64)| Point {
            x: across.place(*x),
            y: up.place(*y),
        };
        let stroke = |(x, from, to): &(f64, f64, f64)| {
            let (top, bottom) = (up.place(from.max(*to)), up.place(from.min(*to)));
            let at = Point {
                x: across.place(*x),
                y: top,
            };
            (at, round(bottom - top).max(0.5))
        };
        let gap = |(from, to): &(f64, f64)| Rect {
            x: across.place(*from),
            y: TOP,
            width: round(across.place(*to) - across.place(*from)).max(0.5),
            height: HEIGHT - BOTTOM - TOP,
        };
        Some(CourseChart {
            id: self.id.clone(),
            width: WIDTH,
            height: HEIGHT,
            title: self.title.clone(),
            description: self.description.clone(),
            gaps: self.gaps.iter().map(gap).collect(),
            lines: self.lines(&across, &up),
            runs: self
                .runs
                .iter()
                .map(|run| run.iter().map(place).collect())
                .collect(),
            points: self.points.iter().map(place).collect(),
            strokes: self.strokes.iter().map(stroke).collect(),
            labels: self.labels(&across, &up),
        })
    }

    /// The lowest and the highest value drawn.
    fn values(&self) -> Option<(f64, f64)> {
        let runs = self.runs.iter().flatten().map(|(_, y)| *y);
        let points = self.points.iter().map(|(_, y)| *y);
        let strokes = self.strokes.iter().flat_map(|(_, a, b)| [*a, *b]);
        let all = runs.chain(points).chain(strokes).chain(self.level);
        let start = (f64::INFINITY, f64::NEG_INFINITY);
        let (low, high) = all.fold(start, |(low, high), y| (low.min(y), high.max(y)));
        (low.is_finite() && high.is_finite()).then_some((low, high))
    }

    fn lines(&self, across: &Scale, up: &Scale) -> Vec<Line> {
        let line = |x1: f64, y1: f64, x2: f64, y2: f64, kind: LineKind| Line {
            x1,
            y1,
            x2,
            y2,
            kind,
        };
        let (floor, right) = (HEIGHT - BOTTOM, WIDTH - RIGHT);
        let mut lines: Vec<Line> = ticks(up.ends(), 5)
            .iter()
            .map(|tick| up.place(tick.value))
            .map(|y| line(LEFT, y, right, y, LineKind::Rule))
            .collect();
        lines.push(line(LEFT, floor, right, floor, LineKind::Axis));
        lines.extend(self.x_ticks.iter().map(|tick| {
            let x = across.place(tick.value);
            line(x, floor, x, floor + 4.0, LineKind::Axis)
        }));
        lines.extend(self.uprights.iter().map(|x| {
            let x = across.place(*x);
            line(x, TOP, x, floor, LineKind::NoChange)
        }));
        lines.extend(self.level.map(|level| {
            let y = up.place(level);
            line(LEFT, y, right, y, LineKind::NoChange)
        }));
        lines
    }

    fn labels(&self, across: &Scale, up: &Scale) -> Vec<Label> {
        let label = |x: f64, y: f64, text: &str, anchor: Anchor| Label {
            x,
            y,
            text: text.to_owned(),
            anchor,
            is_quiet: true,
        };
        let mut labels: Vec<Label> = ticks(up.ends(), 5)
            .iter()
            .map(|tick| {
                let y = up.place(tick.value) + 4.0;
                label(LEFT - 6.0, y, &tick.text, Anchor::End)
            })
            .collect();
        labels.extend(self.x_ticks.iter().map(|tick| {
            let x = across.place(tick.value);
            label(x, HEIGHT - BOTTOM + 16.0, &tick.text, Anchor::Middle)
        }));
        labels.push(label(4.0, 13.0, &self.y_name, Anchor::Start));
        if self.x_name.is_empty() {
            return labels;
        }
        labels.push(label(
            WIDTH - RIGHT,
            HEIGHT - 7.0,
            &self.x_name,
            Anchor::End,
        ));
        labels
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_lie_between_the_axes_and_nothing_gives_no_figure() {
        let mut course = Course {
            x_ends: (0.0, 3.0),
            ..Course::default()
        };
        assert_eq!(course.chart(), None);
        course.runs = vec![vec![(0.0, 8.5), (3.0, 8.4)]];
        course.gaps = vec![(1.0, 2.0)];
        let chart = course.chart().unwrap();
        let [from, to] = chart.runs[0][..] else {
            panic!("two points");
        };
        assert_eq!((from.x, to.x), (LEFT, WIDTH - RIGHT));
        assert!(from.y < to.y && from.y > TOP && to.y < HEIGHT - BOTTOM);
        assert!(chart.gaps[0].x > from.x && chart.gaps[0].width > 0.0);
    }
}
