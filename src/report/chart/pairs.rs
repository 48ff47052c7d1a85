//! Each piece from before to after: one panel a set, one line a piece, from its own value before (no change)
//! to its change. All panels have one scale.

use crate::report::chart::marks::{Anchor, Dot, LineKind, Path, Point, Rect, Style};
use crate::report::chart::scale::{Scale, round};
use crate::report::chart::ticks::ticks;
use crate::report::chart::{Chart, shortened};

/// Width of the view box; narrow, so that words stay readable on a phone.
const WIDTH: f64 = 380.0;
/// Room for the digits on the left.
const LEFT: f64 = 44.0;
/// Most panels beside each other.
const ACROSS: usize = 4;
/// Height of a panel's field.
const FIELD: f64 = 130.0;
/// Room above a row of panels, and below it for their names.
const ABOVE: f64 = 22.0;
const BELOW: f64 = 50.0;

/// What is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Pairs {
    /// Unique within a page.
    pub id: String,
    /// For screen readers.
    pub title: String,
    /// For screen readers.
    pub description: String,
    /// Name and unit of the upright axis.
    pub axis: String,
    /// The sets, from the left.
    pub panels: Vec<Panel>,
}

/// A set.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// Its name.
    pub name: String,
    /// What else is to be said, below the name.
    pub under: String,
    /// Colour and shape.
    pub style: Style,
    /// Each piece: its change, and its name with its values.
    pub lines: Vec<(f64, String)>,
    /// The mean change.
    pub mean: Option<f64>,
}

impl Pairs {
    /// The geometry; `None` when there is no line.
    #[must_use]
    pub fn chart(&self) -> Option<Chart> {
        let values = || self.panels.iter().flat_map(|p| &p.lines).map(|(v, _)| *v);
        let finite = || values().filter(|v| v.is_finite());
        let low = finite().reduce(f64::min)?.min(0.0);
        let high = finite().reduce(f64::max)?.max(0.0);
        let air = (high - low).max(f64::MIN_POSITIVE) * 0.08;
        let ends = (low - air, high + air);
        let rows = self.panels.len().div_ceil(ACROSS);
        let row = ABOVE + FIELD + BELOW;
        let words = (self.title.as_str(), self.description.as_str());
        let mut chart = Chart::blank(&self.id, words, (WIDTH, row * rows as f64));
        for (at, panels) in self.panels.chunks(ACROSS).enumerate() {
            let top = row * at as f64 + ABOVE;
            let up = Scale::new(ends, (top + FIELD, top));
            if at == 0 {
                chart.quiet((4.0, 12.0), &self.axis, Anchor::Start);
            }
            self.axis(&mut chart, &up, top);
            let width = (WIDTH - LEFT - 6.0) / panels.len().max(2) as f64;
            for (place, panel) in panels.iter().enumerate() {
                panel.draw(&mut chart, &up, (LEFT + width * place as f64, width), top);
            }
        }
        Some(chart)
    }

    fn axis(&self, chart: &mut Chart, up: &Scale, top: f64) {
        for tick in ticks(up.ends(), 5) {
            let y = up.place(tick.value);
            if (top..=top + FIELD).contains(&y) {
                chart.line((LEFT, y), (WIDTH - 6.0, y), LineKind::Rule);
                chart.quiet((LEFT - 6.0, round(y + 4.0)), &tick.text, Anchor::End);
            }
        }
        let none = up.place(0.0);
        chart.line((LEFT, none), (WIDTH - 6.0, none), LineKind::NoChange);
    }
}

impl Panel {
    fn draw(&self, chart: &mut Chart, up: &Scale, (left, width): (f64, f64), top: f64) {
        let (from, to) = (round(left + width * 0.2), round(left + width * 0.72));
        for (change, name) in &self.lines {
            let (start, end) = (up.place(0.0), up.place(*change));
            chart.curves.push(Path {
                number: self.style.number,
                colour: self.style.colour,
                points: vec![Point { x: from, y: start }, Point { x: to, y: end }],
                name: name.clone(),
                is_thin: true,
            });
            let dot = Dot {
                x: to,
                y: end,
                name: name.clone(),
            };
            chart.dot(self.style, dot);
        }
        if let Some(mean) = self.mean {
            let y = up.place(mean);
            chart.line((to + 8.0, y), (to + 20.0, y), LineKind::Mean);
        }
        let floor = top + FIELD;
        chart.line((left, floor), (left + width - 4.0, floor), LineKind::Axis);
        chart.quiet((from, floor + 14.0), "before", Anchor::Middle);
        chart.quiet((to, floor + 14.0), "after", Anchor::Middle);
        let letters = (width / 6.3) as usize;
        let name = shortened(&self.name, letters);
        chart.said((left + 2.0, floor + 29.0), &name, Anchor::Start);
        let under = shortened(&self.under, letters);
        chart.quiet((left + 2.0, floor + 42.0), &under, Anchor::Start);
        chart.bands.push(Rect {
            x: from,
            y: top,
            width: 0.6,
            height: FIELD,
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::marks;

    #[test]
    fn every_line_begins_at_no_change_and_ends_at_its_own() {
        let panel = |lines: Vec<(f64, String)>| Panel {
            name: "barrel".into(),
            under: "180 days".into(),
            style: marks::exposed(0),
            mean: Some(0.4),
            lines,
        };
        let mut pairs = Pairs {
            id: "p".into(),
            title: String::new(),
            description: String::new(),
            axis: "%".into(),
            panels: vec![panel(vec![
                (0.5, "KT-1: 8.41 g".into()),
                (-0.2, "KT-2".into()),
            ])],
        };
        let chart = pairs.chart().unwrap();
        let [first, second] = &chart.curves[..] else {
            panic!("two lines");
        };
        assert_eq!(first.points[0].y, second.points[0].y);
        assert!(first.points[1].y < first.points[0].y && second.points[1].y > first.points[0].y);
        assert_eq!(chart.series[0].points[0].name, "KT-1: 8.41 g");
        pairs.panels = vec![panel(Vec::new())];
        assert_eq!(pairs.chart(), None);
    }
}
