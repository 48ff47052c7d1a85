//! Photographs of pieces and of what holds them: what one shows, and how large. The pictures themselves are files by their
//! SHA-256; how they are cleaned is in `crate::picture`.

use serde::{Deserialize, Serialize};

use super::choice::choice;
use super::code::Code;
use super::fault::{Fault, Faults};
use super::typed::Typed;
use super::units;

choice! {
    /// When in a piece's life it was photographed.
    pub enum View {
        /// As new.
        Before = "before", "before exposure";
        /// Where it hangs, lies or floats.
        InPlace = "in_place", "in its place";
        /// As it came back.
        AsFound = "as_found", "as found, before cleaning";
        /// As it lay in the parcel at the lab.
        Arrived = "arrived", "on arrival at the lab";
        /// Cleaned.
        After = "after", "after exposure, cleaned";
        /// What the break left.
        Broken = "broken", "after the break test";
        /// The batch, the bench, the site: nothing by which one piece is known from another.
        Whole = "whole", "the study as a whole";
    }
}

/// The widest that a picture's frame is, in mm (a pole of a field, not a landscape).
const WIDEST_MM: f64 = 20_000.0;

/// What a photograph is taken of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Motif {
    /// One piece.
    Piece(Code),
    /// A holder (key of the plan) with whatever is in it.
    Holder(String),
    /// The study as a whole: the batch, the bench, the site.
    Whole,
}

/// What somebody says about a photograph.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Described {
    /// The pieces it shows.
    #[serde(default)]
    pub specimens: Vec<Code>,
    /// The holder (key of the plan), for a picture of a whole jar, rack or plot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub holder: Option<String>,
    /// When.
    pub view: View,
    /// Width of what the whole picture shows, at the piece, in mm; `None` when nobody measured it.
    #[serde(default)]
    pub frame_mm: Option<f64>,
}

/// A photograph as the journal holds it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Photograph {
    /// What it shows.
    pub described: Described,
    /// The pictures made of it.
    pub files: Files,
}

/// The pictures made of a photograph: JPEG without metadata.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Files {
    /// Width of the large one, in pixels.
    pub width: u32,
    /// Height of the large one, in pixels.
    pub height: u32,
    /// SHA-256 of the large one, in hexadecimal digits.
    pub large: String,
    /// SHA-256 of the small one.
    pub small: String,
    /// SHA-256 of the bytes as they were sent, which are not kept.
    pub sent: String,
}

impl Files {
    /// Whether it could have been made here: sizes of a picture, hashes of files.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        let is_hash = |text: &str| {
            let is_digit = |c: char| c.is_ascii_digit() || ('a'..='f').contains(&c);
            text.len() == 64 && text.chars().all(is_digit)
        };
        let hashes = [&self.large, &self.small, &self.sent];
        self.width > 0 && self.height > 0 && hashes.into_iter().all(|text| is_hash(text))
    }
}

/// Whether a frame can be that wide.
#[must_use]
pub fn is_frame(mm: f64) -> bool {
    mm.is_finite() && mm > 0.0 && mm <= WIDEST_MM
}

/// Reads the width of a frame.
///
/// # Errors
/// A fault that names the field.
pub fn frame(typed: &Typed) -> Result<Option<f64>, Fault> {
    let called = "The width of the picture";
    let read = units::optional("frame", called, typed.text("frame"))?;
    match read {
        Some(mm) if !is_frame(mm) => Err(Fault::new(
            "frame",
            format!("{called} must be at most {WIDEST_MM} mm."),
        )),
        read => Ok(read),
    }
}

impl Described {
    /// Whether it is of the study as a whole, attached to no piece and no holder.
    #[must_use]
    pub fn is_of_whole(&self) -> bool {
        self.specimens.is_empty() && self.holder.is_none()
    }

    /// Whether what it shows and what it is attached to go together.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.is_of_whole() == (self.view == View::Whole)
    }

    /// Reads what a form says about a photograph.
    ///
    /// # Errors
    /// All mistakes, by field.
    pub fn parse(typed: &Typed, motif: &Motif) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        let view = faults.keep(View::typed("view", "What it shows", typed.text("view")));
        let frame_mm = faults.keep(frame(typed));
        match (view, frame_mm) {
            (Some(view), Some(frame_mm)) => Ok(Self::of(motif, view, frame_mm)),
            _ => Err(faults),
        }
    }

    /// A photograph of this.
    #[must_use]
    pub fn of(motif: &Motif, view: View, frame_mm: Option<f64>) -> Self {
        let (specimens, holder) = match motif {
            Motif::Piece(code) => (vec![code.clone()], None),
            Motif::Holder(key) => (Vec::new(), Some(key.clone())),
            Motif::Whole => (Vec::new(), None),
        };
        Self {
            specimens,
            holder,
            view,
            frame_mm,
        }
    }
}
