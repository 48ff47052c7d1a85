//! A curve's picture: load over travel, with every point at which a value was read, everything odd at its
//! place, and a key in words below. `pins` says what is marked, `frame` where it lies, `badge` keeps the
//! numbers apart.

mod badge;
mod frame;
mod pins;
#[cfg(test)]
mod tests;

use super::blind::Blind;
use super::curve_file;
use super::curve_read::Read;
use crate::mechanics::curve::Axis;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use askama::Template;
use axum::extract::State;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use frame::{Frame, Panel};
use pins::Pin;

/// Where the upper panel ends, the lower one begins and ends, in units of the picture.
const TOP: f64 = 30.0;
const BOTTOM: f64 = 190.0;
const SECOND_TOP: f64 = 250.0;
const SECOND_BOTTOM: f64 = 340.0;
/// Below a panel: its ticks and the name of its axis.
const BELOW: f64 = 36.0;
/// One line of the key.
const LINE: f64 = 15.0;
/// So many letters fit beside a key's sign.
const LETTERS: usize = 54;
/// A stretch that is narrower than this is drawn again, enlarged.
const NARROW: f64 = 24.0;

#[derive(Template)]
#[template(path = "lab/curve_plot.svg")]
struct Plot {
    height: String,
    words: String,
    panels: Vec<Panel>,
    keys: Vec<Key>,
}

/// One line or more of the key below the picture.
struct Key {
    sign: Sign,
    y: String,
    middle: String,
    lines: Vec<(String, String)>,
}

/// What stands before a line of the key.
enum Sign {
    /// The number of a pin, and whether it is of something odd.
    Pin(usize, bool),
    Area,
    Toe,
    Slope,
    Note,
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

/// The picture in words, and its height when it is 360 wide.
pub(in crate::web) fn alt(read: &Read) -> (String, String) {
    let plot = plot(read);
    (plot.words, plot.height)
}

/// A curve as it is laid out: abscissae from the corrected zero where there is one.
struct Drawing<'r> {
    read: &'r Read,
    axis: Axis,
    xs: Vec<f64>,
    /// The slope of the straight part, N per unit of the abscissae.
    slope: Option<f64>,
}

impl<'r> Drawing<'r> {
    fn of(read: &'r Read) -> Self {
        let (axis, mut xs) = read.curve.axis();
        let scale = if axis == Axis::Strain { 100.0 } else { 1.0 };
        let has_toe = matches!(axis, Axis::Travel | Axis::Strain);
        let straight = read.marks.straight.filter(|_| has_toe);
        let first = xs.first().copied().unwrap_or(0.0);
        let zero = straight.map_or(first, |straight| straight.origin);
        for x in &mut xs {
            *x = scale * (*x - zero);
        }
        Self {
            read,
            axis,
            xs,
            slope: straight.map(|straight| straight.slope / scale),
        }
    }

    fn loads(&self) -> &[f64] {
        &self.read.marks.clean_n
    }

    fn x(&self, rank: usize) -> f64 {
        self.xs.get(rank).copied().unwrap_or(0.0)
    }

    fn load(&self, rank: usize) -> f64 {
        self.loads().get(rank).copied().unwrap_or(0.0)
    }

    fn across(&self) -> &'static str {
        match (self.axis, self.slope) {
            (Axis::Travel, Some(_)) => "mm of travel from where the straight part meets no load",
            (Axis::Travel, None) => "mm of travel",
            (Axis::Strain, _) => "% of strain",
            (Axis::Time, _) => "seconds",
            (Axis::Rank, _) => "points of the file",
        }
    }
}

fn plot(read: &Read) -> Plot {
    let drawing = Drawing::of(read);
    let pins = pins::pins(&drawing);
    let whole = Frame::whole(&drawing, (TOP, BOTTOM));
    let load = match read.curve.is_turned {
        true => "load in N, all signs turned",
        false => "load in N",
    };
    let mut panels = vec![whole.panel(&drawing, &pins, load)];
    let mut below = BOTTOM + BELOW;
    if let Some(frame) = enlarged(&drawing, &whole) {
        panels.push(frame.panel(&drawing, &pins, "load in N, the beginning enlarged"));
        below = SECOND_BOTTOM + BELOW;
    }
    let signs = signs(&drawing, &pins);
    let words = words(&drawing, &signs);
    let mut keys = Vec::new();
    for (sign, told) in signs {
        let lines = wrapped(&told);
        let count = lines.len() as f64;
        let placed = (0..).map(|n| format!("{:.0}", below + LINE * f64::from(n) + 11.0));
        keys.push(Key {
            sign,
            y: format!("{below:.0}"),
            middle: format!("{:.1}", below + 7.5),
            lines: placed.zip(lines).collect(),
        });
        below += LINE * count + 3.0;
    }
    Plot {
        height: format!("{:.0}", below + 6.0),
        words,
        panels,
        keys,
    }
}

/// The beginning up to the stretch of the modulus, where that is too narrow to be seen in the whole.
fn enlarged(drawing: &Drawing<'_>, whole: &Frame) -> Option<Frame> {
    let (from, to) = drawing.read.reading.slope_at?;
    let width = whole.x(drawing.x(to)) - whole.x(drawing.x(from));
    (width < NARROW).then(|| Frame::beginning(drawing, to, (SECOND_TOP, SECOND_BOTTOM)))
}

/// Everything that the key tells, in its order.
fn signs(drawing: &Drawing<'_>, pins: &[Pin]) -> Vec<(Sign, String)> {
    let read = drawing.read;
    let mut all: Vec<(Sign, String)> = pins
        .iter()
        .enumerate()
        .map(|(n, pin)| (Sign::Pin(n + 1, pin.is_odd), pin.words.clone()))
        .collect();
    if let Some((from, to)) = read.reading.slope_at {
        let line = |rank: usize| read.curve.lines.get(rank).copied().unwrap_or(0);
        let words = format!(
            "modulus: between 0.05 % and 0.25 % of strain, lines {} to {}",
            line(from),
            line(to)
        );
        all.push((Sign::Slope, words));
    }
    if drawing.slope.is_some() {
        all.push((
            Sign::Toe,
            "the straight part, drawn on to no load".to_owned(),
        ));
    }
    if read.marks.end.energy_j.is_some() {
        all.push((Sign::Area, "the energy up to the end".to_owned()));
    }
    all.extend(
        pins::notes(drawing)
            .into_iter()
            .map(|note| (Sign::Note, note)),
    );
    all
}

/// The picture in words.
fn words(drawing: &Drawing<'_>, signs: &[(Sign, String)]) -> String {
    let told = signs.iter().map(|(sign, words)| match sign {
        Sign::Pin(number, _) => format!("{number} {words}"),
        Sign::Slope => format!("drawn thick, {words}"),
        Sign::Toe => format!("dashed, {words}"),
        Sign::Area => format!("shaded, {words}"),
        Sign::Note => words.clone(),
    });
    let told: Vec<String> = told.collect();
    format!("Load over {}. {}.", drawing.across(), told.join("; "))
}

/// In lines that fit beside a sign of the key.
fn wrapped(words: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < LETTERS => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
