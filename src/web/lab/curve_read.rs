//! A machine's file as a tester looks at it: how it was read, what was put right, which piece each of
//! its curves belongs to, what was read off, and what is odd.

use super::blind::Blind;
use crate::analysis::property::Sizes;
use crate::analysis::property::read::{Reading, read_off};
use crate::mechanics::curve::{Curve, CurveError, Direction, Frame};
use crate::mechanics::evaluate::{Landmarks, Rule, landmarks};
use crate::mechanics::machine_file::assemble::Drawn;
use crate::mechanics::machine_file::dialect::Delimiter;
use crate::mechanics::machine_file::number::Decimal;
use crate::mechanics::machine_file::role::Role;
use crate::mechanics::machine_file::{Hints, MachineFile, read, unit};
use crate::sheet;
use crate::study::code::BlindCode;
use crate::study::curve::codes_in;
use crate::study::plan::{Shape, TestMethod};
use crate::study::typed::Typed;
use crate::unpack;
use std::borrow::Cow;

/// A file, read.
pub(in crate::web) struct Looked {
    /// What was understood of it.
    pub(super) file: MachineFile,
    /// Its layout, as it was guessed: what was put right is remembered under it.
    pub(super) layout: String,
    /// Its curves.
    pub(in crate::web) curves: Vec<Seen>,
}

/// One of its curves.
pub(in crate::web) struct Seen {
    /// What the file calls it.
    pub(super) label: Option<String>,
    /// The piece that it belongs to, by what was said, else by a code found.
    pub(super) piece: Option<BlindCode>,
    /// Whether somebody said which piece it is, or that it is none.
    pub(super) is_said: bool,
    /// The curve and what was read off it, or why it cannot be.
    pub(in crate::web) read: Result<Read, CurveError>,
    /// The line that was said to be the end.
    pub(super) end_line: Option<u32>,
}

/// A curve with what was read off it.
pub(in crate::web) struct Read {
    /// The curve.
    pub(in crate::web) curve: Curve,
    /// Where its values were read.
    pub(in crate::web) marks: Landmarks,
    /// What properties are worked out from.
    pub(in crate::web) reading: Reading,
}

/// What a file is looked at for.
#[derive(Clone)]
pub(in crate::web) struct Asked {
    /// The pieces that are there, with their sizes.
    pub(in crate::web) pieces: Vec<(BlindCode, Sizes)>,
    /// The fall of the load that ends a test by the plan.
    pub(in crate::web) end_drop: Option<f64>,
    /// The plan's shape.
    pub(in crate::web) shape: Shape,
    /// The plan's method.
    pub(in crate::web) method: Option<TestMethod>,
}

impl Asked {
    /// For a consignment.
    pub(super) fn of(blind: &Blind) -> Self {
        let pieces = blind.present();
        Self {
            pieces: pieces.map(|one| (one.blind.clone(), one.sizes)).collect(),
            end_drop: blind.end_drop,
            shape: blind.shape,
            method: blind.method,
        }
    }
}

/// What in a form is about reading the file, and so holds for other files of the layout as well.
const ABOUT_READING: [&str; 5] = ["delimiter", "decimal", "direction", "role-", "unit-"];

/// The fields that say how a file is read, and of which piece each curve is, as they are kept.
pub(super) fn kept(typed: &Typed, only_reading: bool) -> String {
    let is_reading = |name: &str| ABOUT_READING.iter().any(|about| name.starts_with(about));
    let is_piece = |name: &str| {
        ["piece-", "end-", "reason-"]
            .iter()
            .any(|one| name.starts_with(one))
    };
    let wanted = typed.iter().filter(|(name, value)| {
        !value.is_empty() && (is_reading(name) || !only_reading && is_piece(name))
    });
    let mut line = form_urlencoded::Serializer::new(String::new());
    for (name, value) in wanted {
        line.append_pair(name, value);
    }
    line.finish()
}

/// The fields that [`kept`] wrote.
pub(in crate::web) fn said(line: &str) -> Typed {
    Typed::new(
        form_urlencoded::parse(line.as_bytes())
            .into_owned()
            .collect(),
    )
}

/// The hints in such fields.
pub(super) fn hints(typed: &Typed) -> Hints {
    let column = |at: usize| {
        let role = Role::from_key(typed.text(&format!("role-{at}")))?;
        Some((role, unit::by_symbol(typed.text(&format!("unit-{at}")))))
    };
    Hints {
        delimiter: Delimiter::from_key(typed.text("delimiter")),
        decimal: Decimal::from_key(typed.text("decimal")),
        columns: (0..crate::mechanics::machine_file::MOST_COLUMNS)
            .map(column)
            .collect(),
    }
}

/// The layout of a file as it is guessed without any help.
///
/// # Errors
/// When it cannot be read at all, in words.
pub(super) fn layout(bytes: &[u8]) -> Result<String, String> {
    let text = text(bytes)?;
    let file = read(&text, &Hints::default()).map_err(|why| why.to_string())?;
    Ok(file.layout())
}

/// The file as text: a spreadsheet's cells, anything else as it is.
fn text(bytes: &[u8]) -> Result<Cow<'_, [u8]>, String> {
    if !unpack::is_archive(bytes) {
        return Ok(Cow::Borrowed(bytes));
    }
    let text = sheet::all_as_text(bytes).map_err(|why| why.to_string())?;
    Ok(Cow::Owned(text.into_bytes()))
}

/// Reads a file.
///
/// # Errors
/// When it cannot be read at all, in words.
pub(in crate::web) fn look(
    bytes: &[u8],
    name: &str,
    typed: &Typed,
    of: &Asked,
) -> Result<Looked, String> {
    let bytes = &text(bytes)?;
    let layout = layout(bytes)?;
    let file = read(bytes, &hints(typed)).map_err(|why| why.to_string())?;
    let direction = Direction::from_key(typed.text("direction")).unwrap_or_default();
    let drawn = file.curves();
    let is_alone = drawn.len() == 1;
    let codes: Vec<&BlindCode> = of.pieces.iter().map(|(code, _)| code).collect();
    let seen = |(place, drawn): (usize, Drawn)| {
        let piece = format!("piece-{place}");
        let said = typed.text(&piece);
        let found = matched(&drawn, is_alone.then_some(name), &codes);
        let end_line = typed.text(&format!("end-{place}")).parse().ok();
        let piece = if said.is_empty() {
            found.cloned()
        } else {
            said.parse().ok()
        };
        Seen {
            label: drawn.label.clone(),
            is_said: !said.is_empty(),
            read: evaluated(drawn, direction, end_line, piece.as_ref(), of),
            piece,
            end_line,
        }
    };
    let curves = drawn.into_iter().enumerate().map(seen).collect();
    Ok(Looked {
        file,
        layout,
        curves,
    })
}

/// The one piece that a curve's label names, else the file, else the lines above its table.
fn matched<'c>(
    drawn: &Drawn,
    name: Option<&str>,
    codes: &[&'c BlindCode],
) -> Option<&'c BlindCode> {
    let head = drawn.head.join("\n");
    let texts = [drawn.label.as_deref(), name, Some(head.as_str())];
    let named = texts
        .into_iter()
        .flatten()
        .map(|text| codes_in(text, codes));
    let first = named.into_iter().find(|found| !found.is_empty())?;
    match first.as_slice() {
        [only] => Some(*only),
        _ => None,
    }
}

fn evaluated(
    drawn: Drawn,
    direction: Direction,
    end_line: Option<u32>,
    piece: Option<&BlindCode>,
    of: &Asked,
) -> Result<Read, CurveError> {
    let known = of.pieces.iter().find(|(code, _)| Some(code) == piece);
    let sizes = known.map(|(_, sizes)| *sizes).unwrap_or_default();
    let frame = Frame {
        direction,
        gauge_mm: of.method.and_then(|method| method.gauge_mm),
        area_mm2: sizes.area_mm2(of.shape),
    };
    let curve = Curve::new(drawn, frame)?;
    let end_at = end_line.and_then(|line| curve.lines.iter().rposition(|own| *own <= line));
    let usual = Rule::default();
    let rule = Rule {
        end_at,
        drop: of.end_drop.unwrap_or(usual.drop),
        ..usual
    };
    let marks = landmarks(&curve, &rule);
    let reading = read_off(&curve, &marks, of.method.as_ref(), &sizes);
    Ok(Read {
        curve,
        marks,
        reading,
    })
}
