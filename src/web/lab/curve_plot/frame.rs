//! Where a curve lies in its picture: the two axes with their ticks, the line, and what is drawn along it.

use super::Drawing;
use super::badge::{Badge, spread};
use super::pins::Pin;
use crate::report::chart::ticks::{Tick, ticks};
use std::fmt::Write;

/// Where a panel begins and ends across.
pub(super) const LEFT: f64 = 46.0;
pub(super) const RIGHT: f64 = 350.0;
/// So many strips across; each shows its lowest and its highest point.
const STRIPS: usize = 300;
/// A curve of fewer points shows each as a dot.
const FEW: usize = 40;

/// What a panel spans, in values and in units of the picture.
pub(super) struct Frame {
    left: f64,
    right: f64,
    low: f64,
    high: f64,
    pub(super) top: f64,
    pub(super) bottom: f64,
    /// The rank of the last point in it.
    last: usize,
}

/// A panel, ready to be drawn.
pub(super) struct Panel {
    pub(super) load: &'static str,
    pub(super) load_y: String,
    pub(super) across: &'static str,
    pub(super) across_y: String,
    pub(super) axes: String,
    pub(super) ticks_across: Vec<TickAt>,
    pub(super) ticks_up: Vec<TickAt>,
    pub(super) tick_y: String,
    /// The area up to the end: the energy.
    pub(super) area: String,
    /// The points of the line.
    pub(super) line: String,
    /// The straight part drawn on to zero load: x and y of its two ends.
    pub(super) toe: Option<[String; 4]>,
    /// The stretch that the modulus is taken from.
    pub(super) slope: String,
    /// Single readings, where they are few.
    pub(super) dots: Vec<(String, String)>,
    /// Further points of a numbered one's kind.
    pub(super) rings: Vec<(String, String)>,
    pub(super) badges: Vec<Badge>,
}

/// A tick and its words.
pub(super) struct TickAt {
    pub(super) at: String,
    pub(super) text: String,
    /// Where the words stand; beside the line for an upright axis.
    pub(super) text_at: String,
}

impl Frame {
    /// The whole record.
    pub(super) fn whole(drawing: &Drawing<'_>, (top, bottom): (f64, f64)) -> Self {
        let last = drawing.xs.len().saturating_sub(1);
        let mut across = span(&drawing.xs);
        if drawing.slope.is_some() {
            across.0 = across.0.min(0.0);
        }
        Self::of(across, span(drawing.loads()), (top, bottom), last)
    }

    /// From the start to somewhat beyond the end of the modulus's stretch.
    pub(super) fn beginning(drawing: &Drawing<'_>, to: usize, (top, bottom): (f64, f64)) -> Self {
        let left = drawing.x(0).min(0.0);
        let right = drawing.x(to) + 0.4 * (drawing.x(to) - left);
        let last = drawing.xs.iter().skip(to).position(|x| *x > right);
        let last = last.map_or(drawing.xs.len().saturating_sub(1), |n| to + n);
        let part = drawing.loads().get(..=last).unwrap_or_default();
        let mut loads = span(part);
        // The line may go on beyond the panel's right edge; it is cut where it leaves.
        loads.1 = loads.1.max(drawing.load(to));
        Self::of(
            (left, drawing.x(last).max(right)),
            loads,
            (top, bottom),
            last,
        )
    }

    fn of(
        (left, right): (f64, f64),
        (low, high): (f64, f64),
        (top, bottom): (f64, f64),
        last: usize,
    ) -> Self {
        Self {
            left,
            right: if right > left { right } else { left + 1.0 },
            low: low.min(0.0),
            high: if high > 0.0 { high } else { 1.0 },
            top,
            bottom,
            last,
        }
    }

    pub(super) fn x(&self, value: f64) -> f64 {
        LEFT + (RIGHT - LEFT) * (value - self.left) / (self.right - self.left)
    }

    pub(super) fn y(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.bottom - (self.bottom - self.top) * share
    }

    /// Everything that is drawn in it.
    pub(super) fn panel(&self, drawing: &Drawing<'_>, pins: &[Pin], load: &'static str) -> Panel {
        let upto = |rank: usize| (drawing.xs.get(..=rank), drawing.loads().get(..=rank));
        let (xs, ys) = match upto(self.last) {
            (Some(xs), Some(ys)) => (xs, ys),
            _ => (drawing.xs.as_slice(), drawing.loads()),
        };
        let end = drawing.read.marks.end.at.min(self.last);
        let slope = drawing.read.reading.slope_at;
        let slope = slope.filter(|(_, to)| *to <= self.last);
        let slope = slope.map(|(from, to)| self.line(part(xs, from, to), part(ys, from, to)));
        let is_few = xs.len() <= FEW;
        let dots = xs.iter().zip(ys).filter(|_| is_few);
        Panel {
            load,
            load_y: one(self.top - 18.0),
            across: drawing.across(),
            across_y: one(self.bottom + 28.0),
            axes: format!(
                "M{LEFT} {}V{}H{}",
                one(self.top - 6.0),
                one(self.bottom),
                one(RIGHT + 2.0)
            ),
            ticks_across: self.ticks_across(),
            ticks_up: self.ticks_up(),
            tick_y: one(self.bottom),
            area: self.area(part(xs, 0, end), part(ys, 0, end)),
            line: self.line(xs, ys),
            toe: self.toe(drawing),
            slope: slope.unwrap_or_default(),
            dots: dots.map(|(x, y)| self.place(*x, *y)).collect(),
            rings: self.rings(drawing, pins),
            badges: spread(self, pins),
        }
    }

    /// Whether a point lies in it.
    pub(super) fn holds(&self, pin: &Pin) -> bool {
        pin.rank <= self.last && pin.x <= self.right
    }

    /// A point; one outside, as a stray reading may be, stands at the edge.
    fn place(&self, x: f64, y: f64) -> (String, String) {
        let (x, y) = self.spot(x, y);
        (one(x), one(y))
    }

    pub(super) fn spot(&self, x: f64, y: f64) -> (f64, f64) {
        let y = self.y(y).clamp(self.top, self.bottom);
        (self.x(x).clamp(LEFT, RIGHT), y)
    }

    fn rings(&self, drawing: &Drawing<'_>, pins: &[Pin]) -> Vec<(String, String)> {
        let raw = &drawing.read.curve.load_n;
        let of = |pin: &Pin| {
            let others = pin.others.iter().filter(|rank| **rank <= self.last);
            let place = |rank: &usize| {
                let load = raw.get(*rank).copied().unwrap_or(0.0);
                self.place(drawing.x(*rank), load)
            };
            others.map(place).collect::<Vec<_>>()
        };
        pins.iter().flat_map(of).collect()
    }

    fn ticks_across(&self) -> Vec<TickAt> {
        let all = ticks((self.left, self.right), 6).into_iter();
        all.map(|tick| TickAt {
            at: one(self.x(tick.value)),
            text: tick.text,
            text_at: one(self.bottom + 14.0),
        })
        .collect()
    }

    fn ticks_up(&self) -> Vec<TickAt> {
        let all = ticks((self.low, self.high), 4).into_iter();
        let placed = |tick: Tick| {
            let y = self.y(tick.value);
            TickAt {
                at: one(y),
                text: tick.text,
                text_at: one(y + 4.0),
            }
        };
        all.map(placed).collect()
    }

    /// The points, closed along zero load.
    fn area(&self, xs: &[f64], ys: &[f64]) -> String {
        let Some((first, last)) = xs.first().zip(xs.last()) else {
            return String::new();
        };
        let floor = self.y(0.0);
        format!(
            "{:.1},{floor:.1} {}{:.1},{floor:.1}",
            self.x(*first),
            self.line(xs, ys),
            self.x(*last)
        )
    }

    /// The straight part from zero load to its upper end, or to where it leaves the panel.
    fn toe(&self, drawing: &Drawing<'_>) -> Option<[String; 4]> {
        let slope = drawing.slope?;
        let top = drawing.x(drawing.read.marks.straight?.to);
        let top = top.min(self.right).min(self.high / slope);
        let ends = [self.x(0.0), self.y(0.0), self.x(top), self.y(slope * top)];
        Some(ends.map(one))
    }

    /// Of each strip the first, lowest, highest and last point, so that no peak is lost and a long
    /// curve is no longer than a short one.
    fn line(&self, xs: &[f64], ys: &[f64]) -> String {
        let size = xs.len().div_ceil(STRIPS).max(1);
        let mut line = String::new();
        for (xs, ys) in xs.chunks(size).zip(ys.chunks(size)) {
            let by_load = |a: &usize, b: &usize| {
                let of = |at: &usize| ys.get(*at).copied().unwrap_or(0.0);
                of(a).total_cmp(&of(b))
            };
            let low = (0..ys.len()).min_by(by_load).unwrap_or(0);
            let high = (0..ys.len()).max_by(by_load).unwrap_or(0);
            let mut ranks = vec![0, low, high, ys.len().saturating_sub(1)];
            ranks.sort_unstable();
            ranks.dedup();
            for rank in ranks {
                if let (Some(x), Some(y)) = (xs.get(rank), ys.get(rank)) {
                    // Writing to a string does not fail.
                    let _ = write!(line, "{:.1},{:.1} ", self.x(*x), self.y(*y));
                }
            }
        }
        line
    }
}

fn one(value: f64) -> String {
    format!("{value:.1}")
}

fn part(values: &[f64], from: usize, to: usize) -> &[f64] {
    values.get(from..=to).unwrap_or_default()
}

fn span(values: &[f64]) -> (f64, f64) {
    let start = (f64::INFINITY, f64::NEG_INFINITY);
    let fold = |(low, high): (f64, f64), v: &f64| (low.min(*v), high.max(*v));
    values.iter().fold(start, fold)
}
