//! Values with their intervals over time: what several stages found, and what others published, on one scale.

use crate::report::chart::Chart;
use crate::report::chart::marks::{Anchor, Dot, LineKind, Path, Point, Rect, Style};
use crate::report::chart::scale::{Scale, round};
use crate::report::chart::ticks::{Tick, ticks};

/// Width of the view box; narrow, so that words stay readable on a phone.
pub const WIDTH: f64 = 380.0;
/// Where the field begins and ends; the same as in [`super::course`], so that both stand below each other.
const LEFT: f64 = 52.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 24.0;
const FLOOR: f64 = 214.0;
/// Height of a line of the key.
const KEY: f64 = 17.0;
/// Distance between sets at the same time, so that none covers another.
const ASIDE: f64 = 3.6;

/// What is drawn.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Scatter {
    /// Unique within a page.
    pub id: String,
    /// For screen readers.
    pub title: String,
    /// For screen readers.
    pub description: String,
    /// Name of the level axis.
    pub across: String,
    /// Name of the upright axis, with its unit.
    pub upwards: String,
    /// First and last value of the level axis.
    pub x_ends: (f64, f64),
    /// Places along the level axis; round numbers when there are none.
    pub x_ticks: Vec<Tick>,
    /// From where to where, in what is drawn upwards, the margin reaches.
    pub band: Option<(f64, f64)>,
    /// A dashed level line.
    pub level: Option<f64>,
    /// The sets, in the order of the key.
    pub sets: Vec<Set>,
}

/// A set of values.
#[derive(Debug, Clone, PartialEq)]
pub struct Set {
    /// Its name in the key.
    pub name: String,
    /// Colour and shape.
    pub style: Style,
    /// The values.
    pub spots: Vec<Spot>,
    /// A line fitted to them.
    pub line: Vec<(f64, f64)>,
    /// Whether the values are joined.
    pub is_joined: bool,
}

/// A value at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// When.
    pub x: f64,
    /// The value.
    pub y: f64,
    /// Its interval.
    pub ends: Option<(f64, f64)>,
    /// What it is, in words.
    pub name: String,
    /// A few letters beside it; empty for none.
    pub tag: String,
}

impl Scatter {
    /// The geometry; `None` when there is no value.
    #[must_use]
    pub fn chart(&self) -> Option<Chart> {
        let (low, high) = self.ends()?;
        let spare = (high - low).max(f64::MIN_POSITIVE) * 0.06;
        let below = if low >= 0.0 {
            (low - spare).max(0.0)
        } else {
            low - spare
        };
        let across = Scale::new(self.x_ends, (LEFT, WIDTH - RIGHT));
        let up = Scale::new((below, high + spare), (FLOOR, TOP));
        let key: usize = self.sets.iter().filter(|set| !set.spots.is_empty()).count();
        let height = FLOOR + 46.0 + KEY * key as f64;
        let words = (self.title.as_str(), self.description.as_str());
        let mut chart = Chart::blank(&self.id, words, (WIDTH, height));
        self.frame(&mut chart, &across, &up);
        let told: Vec<&Set> = self
            .sets
            .iter()
            .filter(|set| !set.spots.is_empty())
            .collect();
        for (at, set) in told.into_iter().enumerate() {
            let aside = (ASIDE * at as f64).min(11.0);
            set.draw(&mut chart, (&across, &up), aside);
            let y = FLOOR + 50.0 + KEY * at as f64;
            let sign = Dot {
                x: LEFT + 8.0,
                y: y - 4.0,
                name: String::new(),
            };
            chart.dot(set.style, sign);
            chart.said(
                (LEFT + 20.0, y),
                &super::shortened(&set.name, 48),
                Anchor::Start,
            );
        }
        Some(chart)
    }

    /// The lowest and the highest value drawn.
    fn ends(&self) -> Option<(f64, f64)> {
        let spots = self.sets.iter().flat_map(|set| &set.spots);
        let own = spots.flat_map(|spot| {
            let ends = spot.ends.map(|(a, b)| [a, b]);
            std::iter::once(spot.y).chain(ends.into_iter().flatten())
        });
        let lines = self.sets.iter().flat_map(|set| &set.line).map(|(_, y)| *y);
        let all = own.chain(lines).filter(|v| v.is_finite());
        let start = (f64::INFINITY, f64::NEG_INFINITY);
        let (low, high) = all.fold(start, |(low, high), y| (low.min(y), high.max(y)));
        let level = self.level.filter(|_| low.is_finite());
        let (low, high) = level.map_or((low, high), |l| (low.min(l), high.max(l)));
        (low.is_finite() && high.is_finite()).then_some((low, high))
    }

    fn frame(&self, chart: &mut Chart, across: &Scale, up: &Scale) {
        let right = WIDTH - RIGHT;
        if let Some((from, to)) = self.band {
            let inside = |y: f64| up.place(y).clamp(TOP, FLOOR);
            chart.bands.push(Rect {
                x: LEFT,
                y: inside(to),
                width: right - LEFT,
                height: round(inside(from) - inside(to)),
            });
        }
        for Tick { value, text } in ticks(up.ends(), 5) {
            let y = up.place(value);
            chart.line((LEFT, y), (right, y), LineKind::Rule);
            chart.quiet((LEFT - 6.0, round(y + 4.0)), &text, Anchor::End);
        }
        chart.line((LEFT, FLOOR), (right, FLOOR), LineKind::Axis);
        let own = if self.x_ticks.is_empty() {
            ticks(self.x_ends, 6)
        } else {
            self.x_ticks.clone()
        };
        for Tick { value, text } in own {
            let x = across.place(value);
            chart.line((x, FLOOR), (x, FLOOR + 4.0), LineKind::Axis);
            chart.quiet((x, FLOOR + 16.0), &text, Anchor::Middle);
        }
        if let Some(level) = self.level {
            let y = up.place(level);
            chart.line((LEFT, y), (right, y), LineKind::NoChange);
        }
        chart.quiet((4.0, 13.0), &self.upwards, Anchor::Start);
        chart.quiet((right, FLOOR + 31.0), &self.across, Anchor::End);
    }
}

impl Set {
    fn draw(&self, chart: &mut Chart, (across, up): (&Scale, &Scale), aside: f64) {
        let path = |points: Vec<Point>, is_thin| Path {
            number: self.style.number,
            colour: self.style.colour,
            points,
            name: String::new(),
            is_thin,
        };
        let place = |x: f64, y: f64| Point {
            x: round(across.place(x) + aside),
            y: up.place(y),
        };
        for spot in &self.spots {
            if let Some((lower, upper)) = spot.ends {
                let ends = vec![place(spot.x, lower), place(spot.x, upper)];
                chart.curves.push(path(ends, false));
            }
            let at = place(spot.x, spot.y);
            let dot = Dot {
                x: at.x,
                y: at.y,
                name: spot.name.clone(),
            };
            chart.dot(self.style, dot);
            if !spot.tag.is_empty() {
                chart.quiet((at.x + 5.0, round(at.y - 5.0)), &spot.tag, Anchor::Start);
            }
        }
        let joined = self.spots.iter().map(|spot| (spot.x, spot.y));
        let joined: Vec<(f64, f64)> = joined.filter(|_| self.is_joined).collect();
        for line in [joined.as_slice(), self.line.as_slice()] {
            if line.len() > 1 {
                let points = line.iter().map(|(x, y)| place(*x, *y)).collect();
                chart.curves.push(path(points, true));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::marks;

    #[test]
    fn sets_at_one_time_stand_beside_each_other_with_their_intervals() {
        let spot = |y: f64| Spot {
            x: 90.0,
            y,
            ends: Some((y - 5.0, y + 5.0)),
            name: format!("{y} %"),
            tag: String::new(),
        };
        let set = |place, y| Set {
            name: format!("set {place}"),
            style: marks::exposed(place),
            spots: vec![spot(y)],
            line: Vec::new(),
            is_joined: true,
        };
        let mut scatter = Scatter {
            x_ends: (0.0, 365.0),
            level: Some(100.0),
            sets: vec![set(0, 80.0), set(1, 95.0)],
            ..Scatter::default()
        };
        let chart = scatter.chart().unwrap();
        let at = |n: usize| &chart.series[n].points[0];
        assert!(at(0).x < at(1).x && at(0).y > at(1).y);
        assert_eq!(at(0).name, "80 %");
        assert_eq!(
            chart.curves.len(),
            2,
            "an interval each, no line of one value"
        );
        scatter.sets.clear();
        assert_eq!(scatter.chart(), None);
    }
}
