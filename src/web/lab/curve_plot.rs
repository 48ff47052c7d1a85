//! A curve's small plot: load over travel, with the maximum, the yield and the end marked.

use super::blind::Blind;
use super::curve_file;
use super::curve_read::Read;
use crate::mechanics::curve::Axis;
use crate::mechanics::evaluate::Mark;
use crate::mechanics::evaluate::toe::Straight;
use crate::study::units::in_digits;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use askama::Template;
use axum::extract::State;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use std::fmt::Write;

/// Where the curve lies within the picture, in its units.
const LEFT: f64 = 46.0;
const RIGHT: f64 = 350.0;
const TOP: f64 = 14.0;
const BOTTOM: f64 = 168.0;
/// So many strips across; each shows its lowest and its highest point.
const STRIPS: usize = 300;

#[derive(Template)]
#[template(path = "lab/curve_plot.svg")]
struct Plot {
    /// The points of the line, ready for the attribute.
    line: String,
    /// The area up to the end: the energy.
    area: String,
    /// The straight part drawn on to zero load: x and y of its two ends.
    toe: Option<[String; 4]>,
    /// The stretch that the modulus is taken from.
    slope: Option<String>,
    spots: Vec<Spot>,
    high: String,
    far: String,
    across: &'static str,
}

/// Where a value was read.
struct Spot {
    x: String,
    y: String,
    name: &'static str,
    anchor: &'static str,
    label_x: String,
    label_y: String,
}

/// Draws it.
pub(in crate::web) async fn show(
    State(app): State<App>,
    lab: LabAccess,
    Path((_, file, place)): Path<(String, uuid::Uuid, usize)>,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let (_, looked) = curve_file::looked(&app, &blind, file, None).await?;
    let seen = looked
        .map_err(|_| WebFault::NotFound)?
        .curves
        .into_iter()
        .nth(place);
    let Some(Ok(read)) = seen.map(|seen| seen.read) else {
        return Err(WebFault::NotFound);
    };
    drawn(&read)
}

/// The picture as an answer.
pub(in crate::web) fn drawn(read: &Read) -> Result<Response, WebFault> {
    let drawn = plot(read).render().map_err(WebFault::ours)?;
    Ok(([(CONTENT_TYPE, "image/svg+xml")], drawn).into_response())
}

/// The picture in words.
pub(in crate::web) fn alt(read: &Read) -> String {
    let slope = if read.reading.slope_at.is_some() {
        " The stretch of the modulus is drawn thick."
    } else {
        ""
    };
    format!(
        "Load over travel, rising to {} N; the maximum and the end are marked, the energy up to the end \
         is shaded.{slope}",
        in_digits(read.marks.maximum.load_n, 5)
    )
}

fn plot(read: &Read) -> Plot {
    let (curve, marks) = (&read.curve, &read.marks);
    let (axis, xs) = curve.axis();
    let frame = Extent::of(&xs, &curve.load_n);
    let is_one = marks.end.at == marks.maximum.at;
    let mut spots = Vec::new();
    if !is_one {
        spots.push(frame.spot(&xs, &marks.end, "end"));
    }
    if let Some(mark) = marks
        .yielding
        .as_ref()
        .filter(|mark| mark.at != marks.maximum.at)
    {
        spots.push(frame.spot(&xs, mark, "yield"));
    }
    // Only an extensometer that stopped well before the end is worth a word.
    let off = marks.strain_until.filter(|at| *at < marks.end.at);
    if let Some(at) = off {
        let load = curve.load_n.get(at).copied().unwrap_or(0.0);
        spots.push(frame.spot_at(&xs, at, load, "extensometer off"));
    }
    let highest = if is_one { "maximum and end" } else { "maximum" };
    spots.push(frame.spot(&xs, &marks.maximum, highest));
    let (far, across) = match axis {
        Axis::Travel => (in_digits(frame.right - frame.left, 3), "mm"),
        Axis::Strain => (in_digits(100.0 * (frame.right - frame.left), 3), "%"),
        Axis::Time => (in_digits(frame.right - frame.left, 3), "s"),
        Axis::Rank => (in_digits(frame.right - frame.left, 6), "points"),
    };
    Plot {
        line: frame.line(&xs, &curve.load_n),
        area: frame.area(&xs, &curve.load_n, marks.end.at),
        toe: marks
            .straight
            .filter(|_| axis == Axis::Travel)
            .map(|straight| frame.toe(&xs, &straight)),
        slope: read
            .reading
            .slope_at
            .and_then(|(from, to)| frame.stretch(&xs, &curve.load_n, from, to)),
        spots,
        high: in_digits(marks.maximum.load_n, 4),
        far,
        across,
    }
}

/// What the picture spans.
struct Extent {
    left: f64,
    right: f64,
    low: f64,
    high: f64,
}

impl Extent {
    fn of(xs: &[f64], ys: &[f64]) -> Self {
        let span = |values: &[f64]| {
            let start = (f64::INFINITY, f64::NEG_INFINITY);
            let fold = |(low, high): (f64, f64), v: &f64| (low.min(*v), high.max(*v));
            values.iter().fold(start, fold)
        };
        let ((left, right), (low, high)) = (span(xs), span(ys));
        Self {
            left,
            right: if right > left { right } else { left + 1.0 },
            low: low.min(0.0),
            high: if high > 0.0 { high } else { 1.0 },
        }
    }

    fn x(&self, value: f64) -> f64 {
        LEFT + (RIGHT - LEFT) * (value - self.left) / (self.right - self.left)
    }

    fn y(&self, value: f64) -> f64 {
        BOTTOM - (BOTTOM - TOP) * (value - self.low) / (self.high - self.low)
    }

    /// The points up to a rank, closed along zero load.
    fn area(&self, xs: &[f64], ys: &[f64], end: usize) -> String {
        let (Some(xs), Some(ys)) = (xs.get(..=end), ys.get(..=end)) else {
            return String::new();
        };
        let ends = xs.first().zip(xs.last());
        let Some((first, last)) = ends else {
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

    /// The straight part from its upper end down to zero load, where extensions are counted from.
    fn toe(&self, xs: &[f64], straight: &Straight) -> [String; 4] {
        let top = xs.get(straight.to).copied().unwrap_or(self.left);
        let load = straight.slope * (top - straight.origin);
        [
            self.x(straight.origin.max(self.left)),
            self.y(straight.slope * (straight.origin.max(self.left) - straight.origin)),
            self.x(top),
            self.y(load.min(self.high)),
        ]
        .map(|value| format!("{value:.1}"))
    }

    fn stretch(&self, xs: &[f64], ys: &[f64], from: usize, to: usize) -> Option<String> {
        let line = self.line(xs.get(from..=to)?, ys.get(from..=to)?);
        Some(line).filter(|line| !line.is_empty())
    }

    fn spot(&self, xs: &[f64], mark: &Mark, name: &'static str) -> Spot {
        self.spot_at(xs, mark.at, mark.load_n, name)
    }

    fn spot_at(&self, xs: &[f64], at: usize, load_n: f64, name: &'static str) -> Spot {
        let x = self.x(xs.get(at).copied().unwrap_or(self.left));
        let y = self.y(load_n);
        let is_right = x > 0.6 * RIGHT;
        Spot {
            x: format!("{x:.1}"),
            y: format!("{y:.1}"),
            name,
            anchor: if is_right { "end" } else { "start" },
            label_x: format!("{:.1}", if is_right { x - 7.0 } else { x + 7.0 }),
            label_y: format!("{:.1}", if name == "end" { y + 13.0 } else { y + 4.0 }),
        }
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
