//! Labels as geometry: where each QR code and each code goes on a sheet, in millimetres. The templates
//! draw it as SVG with its size in millimetres, so that it prints to scale.

use std::fmt;

use qrcodegen::{QrCode, QrCodeEcc};

use crate::study::label::{Content, Run};

/// Light squares that a QR code needs around itself (ISO/IEC 18004).
const QUIET: i32 = 4;
/// The smallest square of a QR code, in mm: four dots of a printer with 300 dots an inch. Common
/// practice, no source.
const SMALLEST_SQUARE: f64 = 0.33;
/// Free on every side of a label, in mm, for printers that do not hit it exactly.
const EDGE: f64 = 1.2;
/// Advance of one letter of a monospaced face, as part of its size, with a little room.
const ADVANCE: f64 = 0.64;
/// The smallest letters, in mm, that are read at arm's length. Common practice, no source.
const SMALLEST_LETTERS: f64 = 2.0;
/// The largest letters, in mm.
const LARGEST_LETTERS: f64 = 14.0;
/// The most labels of one run, so that a page stays a page.
pub const MOST: usize = 2000;

/// A QR code as squares.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Qr {
    /// Squares on a side, the light margin included.
    pub side: i32,
    /// The dark squares as the outline of an SVG path, one unit a square.
    pub path: String,
}

/// Why there are no labels.
#[derive(Debug, Clone, PartialEq)]
pub enum NoLabels {
    /// The address does not fit any QR code.
    TooLong,
    /// The QR code's squares would be this small, in mm.
    TooFine(f64),
    /// The letters would be this small, in mm.
    TooSmall(f64),
    /// More labels than one page holds.
    TooMany(usize),
}

impl fmt::Display for NoLabels {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooLong => f.write_str("This server's address is too long for a QR code."),
            Self::TooFine(mm) => write!(
                f,
                "On labels of this size the squares of the QR code would be {mm:.2} mm, and a camera needs \
                 {SMALLEST_SQUARE} mm: take larger labels, or print the code alone."
            ),
            Self::TooSmall(mm) => write!(
                f,
                "On labels of this size the letters would be {mm:.1} mm high, too small to read: take larger labels."
            ),
            Self::TooMany(count) => write!(
                f,
                "Those are {count} labels; print at most {MOST} at a time, by build or by code."
            ),
        }
    }
}

impl std::error::Error for NoLabels {}

impl Qr {
    /// The QR code of a text: byte mode, error correction of level M or better at the same size.
    ///
    /// # Errors
    /// [`NoLabels::TooLong`].
    pub fn of(text: &str) -> Result<Self, NoLabels> {
        let code = QrCode::encode_text(text, QrCodeEcc::Medium).map_err(|_| NoLabels::TooLong)?;
        let mut path = String::new();
        for y in 0..code.size() {
            let mut x = 0;
            while x < code.size() {
                let dark = (x..code.size())
                    .take_while(|x| code.get_module(*x, y))
                    .count();
                let length = i32::try_from(dark).unwrap_or_default();
                if length > 0 {
                    let (left, top) = (x + QUIET, y + QUIET);
                    path.push_str(&format!("M{left} {top}h{length}v1h-{length}z"));
                }
                x += length + 1;
            }
        }
        let side = code.size() + 2 * QUIET;
        Ok(Self { side, path })
    }
}

/// A label with its place on the sheet, all in mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// The piece's code.
    pub code: String,
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// The QR code, when there is one.
    pub qr: Option<PlacedQr>,
    /// Middle of the code, from the left.
    pub text_x: f64,
    /// The code's baseline, from above.
    pub text_y: f64,
    /// Size of its letters.
    pub text_size: f64,
}

/// A QR code on a sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedQr {
    /// Left edge of its light margin, in mm.
    pub x: f64,
    /// Upper edge of its light margin, in mm.
    pub y: f64,
    /// Side of one square, in mm.
    pub square: f64,
    /// Its dark squares.
    pub path: String,
}

/// One sheet of paper.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// Its number, from 1.
    pub number: usize,
    /// Its labels.
    pub labels: Vec<Label>,
}

impl Sheet {
    /// What is on it, for those who do not see it: `KT34A to KT3XE`.
    #[must_use]
    pub fn contents(&self) -> String {
        let code = |label: Option<&Label>| label.map_or(String::new(), |label| label.code.clone());
        match self.labels.len() {
            0 | 1 => code(self.labels.first()),
            _ => format!(
                "{} to {}",
                code(self.labels.first()),
                code(self.labels.last())
            ),
        }
    }
}

/// Lays out a run: each code `copies` times, from the first place on.
///
/// # Errors
/// When a label is too small for what it should carry, or there are too many.
pub fn sheets(run: &Run, codes: &[String], base: &str) -> Result<Vec<Sheet>, NoLabels> {
    let copies = usize::try_from(run.copies).unwrap_or(1);
    let count = codes.len().saturating_mul(copies);
    if count > MOST {
        return Err(NoLabels::TooMany(count));
    }
    let each = codes
        .iter()
        .flat_map(|code| std::iter::repeat_n(code, copies));
    let places = run.stock.places().max(1);
    let mut sheets: Vec<Sheet> = Vec::new();
    for (code, n) in each.zip(run.first.saturating_sub(1)..) {
        let place = n % places;
        if sheets.is_empty() || place == 0 {
            let number = sheets.len() + 1;
            sheets.push(Sheet {
                number,
                labels: Vec::new(),
            });
        }
        let (Some((x, y)), Some(sheet)) = (run.stock.corner(place), sheets.last_mut()) else {
            break;
        };
        let at = (x + run.shift_right, y + run.shift_down);
        sheet
            .labels
            .push(label(run, code, &address(base, code), at)?);
    }
    Ok(sheets)
}

/// The short address of a specimen.
#[must_use]
pub fn address(base: &str, code: &str) -> String {
    format!("{base}/s/{code}")
}

/// One label: the QR code beside the code or above it, whichever makes it larger.
fn label(run: &Run, code: &str, address: &str, (x, y): (f64, f64)) -> Result<Label, NoLabels> {
    let (width, height) = (run.stock.width, run.stock.height);
    let letters = code.chars().count().max(1);
    let ems = f64::from(u32::try_from(letters).unwrap_or(1)) * ADVANCE;
    let (inner_width, inner_height) = (width - 2.0 * EDGE, height - 2.0 * EDGE);
    if run.content == Content::CodeAlone {
        let size = (inner_width / ems)
            .min(inner_height / 1.1)
            .min(LARGEST_LETTERS);
        let middle = (x + width / 2.0, y + height / 2.0);
        return written(code, (x, y), None, middle, size);
    }
    let qr = Qr::of(address)?;
    // The light margin of the code may reach to the label's own edge: both are light.
    let beside = height.min(width - EDGE - SMALLEST_LETTERS * ems);
    let above = width.min(height - EDGE - SMALLEST_LETTERS * 1.2);
    let (side, is_beside) = if beside >= above {
        (beside, true)
    } else {
        (above, false)
    };
    let square = side / f64::from(qr.side);
    if square < SMALLEST_SQUARE {
        return Err(NoLabels::TooFine(square.max(0.0)));
    }
    // Larger than a camera needs is room lost for the letters.
    let side = side.min(f64::from(qr.side) * 0.8);
    let square = side / f64::from(qr.side);
    let (qr_x, qr_y, middle, room) = if is_beside {
        let (left, room) = (x + side, width - side - EDGE);
        let middle = (left + room / 2.0, y + height / 2.0);
        (x, y + (height - side) / 2.0, middle, (room, inner_height))
    } else {
        let room = height - side - EDGE;
        let middle = (x + width / 2.0, y + side + room / 2.0);
        (x + (width - side) / 2.0, y, middle, (inner_width, room))
    };
    let size = (room.0 / ems).min(room.1 / 1.1).min(LARGEST_LETTERS);
    let placed = PlacedQr {
        x: short(qr_x),
        y: short(qr_y),
        square: (square * 1e5).round() / 1e5,
        path: qr.path,
    };
    written(code, (x, y), Some(placed), middle, size)
}

/// The label with its code around this middle.
fn written(
    code: &str,
    (x, y): (f64, f64),
    qr: Option<PlacedQr>,
    middle: (f64, f64),
    size: f64,
) -> Result<Label, NoLabels> {
    if size < SMALLEST_LETTERS * 0.95 {
        return Err(NoLabels::TooSmall(size.max(0.0)));
    }
    Ok(Label {
        code: code.to_owned(),
        x: short(x),
        y: short(y),
        qr,
        text_x: short(middle.0),
        // Capitals stand about seven tenths of their size above the baseline.
        text_y: short(middle.1 + 0.35 * size),
        text_size: short(size),
    })
}

/// A thousandth of a millimetre is enough, and keeps the page small.
fn short(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::label::OFFERED;

    const BASE: &str = "https://studies.example.org";

    fn run(key: &str, content: Content) -> Run {
        let offered = OFFERED.iter().find(|o| o.key == key).expect("offered");
        Run {
            stock: offered.stock,
            content,
            copies: 1,
            first: 1,
            shift_right: 0.0,
            shift_down: 0.0,
            is_trial: false,
        }
    }

    fn codes(count: usize) -> Vec<String> {
        let codes = crate::study::code::Code::run("KT", 0).take(count);
        codes.map(|(_, code)| code.to_string()).collect()
    }

    #[test]
    fn everything_stays_on_its_label_on_every_stock() {
        for offered in OFFERED {
            let content = match offered.key {
                "a4-189" => Content::CodeAlone,
                _ => Content::QrAndCode,
            };
            let run = run(offered.key, content);
            let sheets = sheets(&run, &codes(30), BASE).expect(offered.key);
            let labels: Vec<&Label> = sheets.iter().flat_map(|sheet| &sheet.labels).collect();
            assert_eq!(labels.len(), 30);
            let (w, h) = (run.stock.width, run.stock.height);
            for label in labels {
                let half = 0.62 * label.text_size * 5.0 / 2.0;
                assert!(
                    label.text_x - half >= label.x - 0.01,
                    "{} {label:?}",
                    offered.key
                );
                assert!(
                    label.text_x + half <= label.x + w,
                    "{} {label:?}",
                    offered.key
                );
                assert!(label.text_y <= label.y + h && label.text_y > label.y);
                let Some(qr) = &label.qr else { continue };
                let side = qr.square * f64::from(Qr::of(&address(BASE, &label.code)).unwrap().side);
                assert!(qr.x >= label.x - 0.01 && qr.x + side <= label.x + w + 0.01);
                assert!(qr.y >= label.y - 0.01 && qr.y + side <= label.y + h + 0.01);
                // The letters do not run into the code.
                assert!(qr.x + side <= label.text_x - half + 0.01 || qr.y + side < label.text_y);
            }
        }
    }

    #[test]
    fn a_begun_sheet_copies_and_a_shift_are_kept() {
        let asked = Run {
            copies: 2,
            first: 21,
            shift_right: -1.5,
            shift_down: 0.5,
            ..run("a4-21", Content::QrAndCode)
        };
        let sheets = sheets(&asked, &codes(3), BASE).expect("labels");
        let counts: Vec<usize> = sheets.iter().map(|sheet| sheet.labels.len()).collect();
        assert_eq!(counts, [1, 5]);
        let first = &sheets[1].labels[0];
        assert_eq!((first.x, first.y), (7.2 - 1.5, 15.1 + 0.5));
        assert_eq!(sheets[0].labels[0].code, first.code, "the second copy");
    }

    #[test]
    fn what_does_not_fit_is_said() {
        let small = run("a4-189", Content::QrAndCode);
        let none = sheets(&small, &codes(1), BASE).expect_err("too fine");
        assert!(
            matches!(none, NoLabels::TooFine(mm) if mm < 0.33),
            "{none:?}"
        );
        let many = run("a4-21", Content::CodeAlone);
        let none = sheets(&many, &codes(MOST + 1), BASE);
        assert_eq!(none, Err(NoLabels::TooMany(MOST + 1)));
    }
}
