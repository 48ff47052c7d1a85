//! What is marked in a curve's picture: the points at which values were read, and everything odd at its place.

use super::Drawing;
use crate::mechanics::curve::Axis;
use crate::mechanics::evaluate::end::{Ending, Fall};
use crate::mechanics::evaluate::finding::Finding;
use crate::study::units::in_digits;

/// A mark with its number and its words.
pub(super) struct Pin {
    /// What it is of: its class in the picture.
    pub(super) kind: &'static str,
    /// The rank of its point, or of the next one.
    pub(super) rank: usize,
    /// Its place, in the units of the axes.
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) words: String,
    /// It is of something odd, not of a value.
    pub(super) is_odd: bool,
    /// Further points of the same kind, ringed without a number.
    pub(super) others: Vec<usize>,
}

/// All marks along the curve.
pub(super) fn pins(drawing: &Drawing<'_>) -> Vec<Pin> {
    let mut all = beginning(drawing);
    all.extend(on_the_way(drawing));
    all.extend(values(drawing));
    all.extend(after(drawing));
    all.sort_by(|a, b| a.rank.cmp(&b.rank).then(a.x.total_cmp(&b.x)));
    all
}

/// What the picture says besides.
pub(super) fn notes(drawing: &Drawing<'_>) -> Vec<String> {
    let read = drawing.read;
    let mut notes = Vec::new();
    if read.curve.is_turned {
        let sentence = "the file has its loads below zero, as compression is drawn; they are drawn upwards here";
        notes.push(sentence.to_owned());
    }
    if drawing.axis == Axis::Time || drawing.axis == Axis::Rank {
        notes.push("no travel in the file, so neither extension nor energy".to_owned());
    }
    for finding in &read.marks.findings {
        match finding {
            Finding::Sparse(points) => {
                notes.push(format!(
                    "each dot is a reading; only {points} up to the maximum"
                ));
            }
            Finding::Noisy(percent) => {
                notes.push(format!(
                    "noise of {} % of the maximum",
                    in_digits(*percent, 2)
                ));
            }
            Finding::Coarse(percent) => {
                let percent = in_digits(*percent, 2);
                notes.push(format!(
                    "the display's steps are {percent} % of the maximum"
                ));
            }
            _ => {}
        }
    }
    notes
}

/// The lines of the file are named as the table beside the picture names them.
fn line(drawing: &Drawing<'_>, rank: usize) -> u32 {
    drawing.read.curve.lines.get(rank).copied().unwrap_or(0)
}

fn at(drawing: &Drawing<'_>, kind: &'static str, rank: usize, words: String) -> Pin {
    Pin {
        kind,
        rank,
        x: drawing.x(rank),
        y: drawing.load(rank),
        words,
        is_odd: true,
        others: Vec::new(),
    }
}

/// A load under tension before the start, and the zero of the extension.
fn beginning(drawing: &Drawing<'_>) -> Vec<Pin> {
    let mut found = Vec::new();
    for finding in &drawing.read.marks.findings {
        let words = match finding {
            Finding::StartsLoaded(n) => {
                format!(
                    "starts at {} N: a preload, or a zero not set",
                    in_digits(*n, 3)
                )
            }
            Finding::StartsBelowZero(n) => format!(
                "starts at {} N, below zero: was the fixture's weight on it?",
                in_digits(*n, 3)
            ),
            _ => continue,
        };
        found.push(at(drawing, "start", 0, words));
    }
    found.extend(zero(drawing));
    found
}

/// Where extensions are counted from, when that is not the first point.
fn zero(drawing: &Drawing<'_>) -> Option<Pin> {
    drawing.slope?;
    let marks = &drawing.read.marks;
    let reach = drawing.x(marks.maximum.at).abs();
    let slack = marks.findings.iter().find_map(|finding| match finding {
        Finding::Slack(mm) => Some(*mm),
        _ => None,
    });
    let words = match slack {
        Some(mm) => format!(
            "slack of {} mm; extensions are counted from here",
            in_digits(mm, 3)
        ),
        None if drawing.x(0).abs() > 0.01 * reach => "extensions are counted from here".to_owned(),
        None => return None,
    };
    let rank = drawing.xs.iter().position(|x| *x >= 0.0).unwrap_or(0);
    Some(Pin {
        kind: "zero",
        rank,
        x: 0.0,
        y: 0.0,
        words,
        is_odd: slack.is_some(),
        others: Vec::new(),
    })
}

/// Stray readings, falls of the load, travel that runs back, an extensometer that was taken off.
fn on_the_way(drawing: &Drawing<'_>) -> Vec<Pin> {
    let marks = &drawing.read.marks;
    let mut found = Vec::new();
    if let Some((first, others)) = marks.spikes.split_first() {
        let shown = drawing.read.curve.load_n.get(*first).copied();
        let words = match others.len() {
            0 => format!(
                "a stray reading of {} N, line {}, was left out",
                in_digits(shown.unwrap_or(0.0), 4),
                line(drawing, *first)
            ),
            more => format!("stray readings that were left out: {}, ringed", more + 1),
        };
        let mut pin = at(drawing, "stray", *first, words);
        pin.y = shown.unwrap_or(pin.y);
        pin.others = others.to_vec();
        found.push(pin);
    }
    found.extend(falls(drawing, &marks.falls));
    if let Some(rank) = marks.back_from {
        let words = format!(
            "the travel runs backwards from here, line {}",
            line(drawing, rank)
        );
        found.push(at(drawing, "back", rank, words));
    }
    if let Some(rank) = marks.strain_until.filter(|rank| *rank < marks.end.at) {
        let words = format!(
            "the extensometer was taken off or stopped here, line {}",
            line(drawing, rank)
        );
        found.push(at(drawing, "off", rank, words));
    }
    found
}

/// One or two that came back are slips, more are saw teeth with one number.
fn falls(drawing: &Drawing<'_>, all: &[Fall]) -> Vec<Pin> {
    let (slips, others): (Vec<&Fall>, Vec<&Fall>) = all.iter().partition(|fall| fall.recovers);
    let told = |fall: &Fall, what: &str| {
        let (percent, line) = (in_digits(fall.percent, 2), line(drawing, fall.at));
        format!("the load fell by {percent} % of the maximum and {what}, line {line}")
    };
    let mut found: Vec<Pin> = match slips.as_slice() {
        [first, .., _] if slips.len() > 2 => {
            let words = format!(
                "the load fell and came back {} times, ringed, as in a grip that slips",
                slips.len()
            );
            let mut pin = at(drawing, "teeth", first.at, words);
            pin.others = slips.iter().skip(1).map(|fall| fall.at).collect();
            vec![pin]
        }
        few => few
            .iter()
            .map(|fall| at(drawing, "slip", fall.at, told(fall, "came back: a slip")))
            .collect(),
    };
    let partial = others
        .iter()
        .map(|fall| at(drawing, "fall", fall.at, told(fall, "went on from there")));
    found.extend(partial);
    found
}

/// Yield, maximum and end.
fn values(drawing: &Drawing<'_>) -> Vec<Pin> {
    let marks = &drawing.read.marks;
    let value = |kind: &'static str, rank: usize, what: &str| {
        let load = in_digits(drawing.load(rank), 4);
        let words = format!("{what}: {load} N, line {}", line(drawing, rank));
        Pin {
            is_odd: false,
            ..at(drawing, kind, rank, words)
        }
    };
    let (end, is_odd) = match marks.ending {
        Ending::Broke => ("break", false),
        Ending::Opened => (
            "end, where the load stayed below its share of the maximum",
            false,
        ),
        Ending::AtHighest => (
            "the record ends at its highest load, cut short or broken there",
            true,
        ),
        Ending::Stopped => ("the record was cut short here, before the load fell", true),
        Ending::Said => ("end of the test, as the tester said", false),
    };
    let (top, last) = (marks.maximum.at, marks.end.at);
    let is_yield = marks.yielding.is_some_and(|mark| mark.at == top);
    let maximum = if is_yield {
        "yield and maximum"
    } else {
        "maximum"
    };
    let mut found = Vec::new();
    if let Some(mark) = marks.yielding.filter(|mark| mark.at != top) {
        found.push(value("yield", mark.at, "yield"));
    }
    if top == last {
        let words = format!("{maximum}; {end}");
        found.push(Pin {
            is_odd,
            ..value("maximum end", top, &words)
        });
    } else {
        found.push(value("maximum", top, maximum));
        found.push(Pin {
            is_odd,
            ..value("end", last, end)
        });
    }
    found
}

/// A load that stays after the break.
fn after(drawing: &Drawing<'_>) -> Option<Pin> {
    let marks = &drawing.read.marks;
    let rest = marks.findings.iter().find_map(|finding| match finding {
        Finding::ZeroMoved(n) => Some(*n),
        _ => None,
    })?;
    let last = drawing.loads().len().checked_sub(1)?;
    let words = format!(
        "after the break the load stays at {} N: a zero that moved?",
        in_digits(rest, 3)
    );
    Some(Pin {
        y: rest,
        ..at(drawing, "rest", last, words)
    })
}
