//! Labels for specimens: the stock that they are printed on, in millimetres, and what is printed.
//! Where each mark of ink goes is in `report::label`; marks cut into the piece itself are in
//! [`super::marks`].

use super::choice::choice;
use super::fault::{Fault, Faults};
use super::typed::Typed;
use super::units;

/// A sheet of labels. Every length in millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stock {
    /// Width of the paper.
    pub paper_width: f64,
    /// Height of the paper.
    pub paper_height: f64,
    /// Labels side by side.
    pub columns: u32,
    /// Labels below each other.
    pub rows: u32,
    /// Width of one label.
    pub width: f64,
    /// Height of one label.
    pub height: f64,
    /// From the paper's left edge to the first label.
    pub left: f64,
    /// From the paper's upper edge to the first label.
    pub top: f64,
    /// Between two labels side by side.
    pub column_gap: f64,
    /// Between two labels below each other.
    pub row_gap: f64,
}

/// A stock that is offered by name.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offered {
    /// As sent.
    pub key: &'static str,
    /// In words.
    pub words: &'static str,
    /// Its sizes.
    pub stock: Stock,
}

const A4: (f64, f64) = (210.0, 297.0);
const LETTER: (f64, f64) = (215.9, 279.4);

/// Columns and rows, size of a label, margins, gaps; on a paper.
const fn sheet(
    paper: (f64, f64),
    (columns, rows): (u32, u32),
    (width, height): (f64, f64),
    (left, top): (f64, f64),
    (column_gap, row_gap): (f64, f64),
) -> Stock {
    Stock {
        paper_width: paper.0,
        paper_height: paper.1,
        columns,
        rows,
        width,
        height,
        left,
        top,
        column_gap,
        row_gap,
    }
}

/// A roll of single labels: each is a page of its own.
const fn roll(width: f64, height: f64) -> Stock {
    sheet(
        (width, height),
        (1, 1),
        (width, height),
        (0.0, 0.0),
        (0.0, 0.0),
    )
}

/// Sizes that are widely sold. Common practice, no source: a sheet at hand may differ by a
/// millimetre, which is why the page asks for a trial print.
pub const OFFERED: [Offered; 11] = [
    Offered {
        key: "a4-21",
        words: "A4, 3 × 7 labels of 63.5 × 38.1 mm",
        stock: sheet(A4, (3, 7), (63.5, 38.1), (7.2, 15.1), (2.5, 0.0)),
    },
    Offered {
        key: "a4-24",
        words: "A4, 3 × 8 labels of 70 × 37 mm",
        stock: sheet(A4, (3, 8), (70.0, 37.0), (0.0, 0.5), (0.0, 0.0)),
    },
    Offered {
        key: "a4-40",
        words: "A4, 4 × 10 labels of 48.5 × 25.4 mm",
        stock: sheet(A4, (4, 10), (48.5, 25.4), (8.0, 21.5), (0.0, 0.0)),
    },
    Offered {
        key: "a4-48",
        words: "A4, 4 × 12 labels of 45.7 × 21.2 mm",
        stock: sheet(A4, (4, 12), (45.7, 21.2), (9.8, 21.3), (2.5, 0.0)),
    },
    Offered {
        key: "a4-65",
        words: "A4, 5 × 13 labels of 38.1 × 21.2 mm",
        stock: sheet(A4, (5, 13), (38.1, 21.2), (4.75, 10.7), (2.5, 0.0)),
    },
    Offered {
        key: "a4-189",
        words: "A4, 7 × 27 labels of 25.4 × 10 mm (the code alone)",
        stock: sheet(A4, (7, 27), (25.4, 10.0), (8.6, 13.5), (2.5, 0.0)),
    },
    Offered {
        key: "letter-30",
        words: "Letter, 3 × 10 labels of 66.6 × 25.4 mm (2⅝ × 1 in)",
        stock: sheet(LETTER, (3, 10), (66.6, 25.4), (4.8, 12.7), (3.2, 0.0)),
    },
    Offered {
        key: "letter-80",
        words: "Letter, 4 × 20 labels of 44.5 × 12.7 mm (1¾ × ½ in)",
        stock: sheet(LETTER, (4, 20), (44.5, 12.7), (7.5, 12.7), (7.6, 0.0)),
    },
    Offered {
        key: "roll-62",
        words: "Roll, labels of 62 × 29 mm",
        stock: roll(62.0, 29.0),
    },
    Offered {
        key: "roll-57",
        words: "Roll, labels of 57 × 32 mm",
        stock: roll(57.0, 32.0),
    },
    Offered {
        key: "roll-40",
        words: "Roll, labels of 40 × 20 mm",
        stock: roll(40.0, 20.0),
    },
];

/// The key for sizes of one's own.
pub const OWN: &str = "own";

/// How far labels may reach over the paper before the sheet is impossible, in mm: what rounding of
/// the sizes on a package makes.
const SLACK: f64 = 0.5;

choice! {
    /// What is printed on a label.
    pub enum Content {
        /// QR code and code.
        QrAndCode = "qr", "QR code and readable code";
        /// The code alone.
        CodeAlone = "code", "the readable code alone";
    }
}

/// A print run as it was asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// The sheet.
    pub stock: Stock,
    /// What is on a label.
    pub content: Content,
    /// Labels of each piece.
    pub copies: u32,
    /// The first place used, from 1, row by row: for a sheet that was begun.
    pub first: u32,
    /// How far everything is moved to the right, in mm, for a printer that does not hit the middle.
    pub shift_right: f64,
    /// How far everything is moved down, in mm.
    pub shift_down: f64,
    /// Whether the edges of the labels are drawn: for a trial on plain paper.
    pub is_trial: bool,
}

impl Stock {
    /// Labels on one sheet.
    #[must_use]
    pub fn places(&self) -> u32 {
        self.columns.saturating_mul(self.rows)
    }

    /// The upper left corner of a place, from 0, row by row; `None` when the sheet ends before.
    #[must_use]
    pub fn corner(&self, place: u32) -> Option<(f64, f64)> {
        if place >= self.places() {
            return None;
        }
        let (column, row) = (place % self.columns, place / self.columns);
        Some((
            self.left + f64::from(column) * (self.width + self.column_gap),
            self.top + f64::from(row) * (self.height + self.row_gap),
        ))
    }

    /// Reads the stock that was chosen, or sizes of one's own.
    ///
    /// # Errors
    /// All mistakes, by field.
    pub fn parse(typed: &Typed) -> Result<Self, Faults> {
        let key = typed.text("stock");
        if key != OWN {
            let known = OFFERED.iter().find(|offered| offered.key == key);
            let unknown =
                || Faults::one("stock", "Choose one of the sheets, or sizes of your own.");
            return known.map(|offered| offered.stock).ok_or_else(unknown);
        }
        let mut faults = Faults::none();
        let mut size = |field, called, from, to| {
            let read = length(field, called, typed.text(field), from, to);
            faults.keep(read).unwrap_or_default()
        };
        let (paper_width, paper_height) = (
            size("paper_width", "The paper's width", 15.0, 1500.0),
            size("paper_height", "The paper's height", 10.0, 1500.0),
        );
        let (width, height) = (
            size("width", "The label's width", 8.0, 1500.0),
            size("height", "The label's height", 5.0, 1500.0),
        );
        let (left, top) = (
            size("left", "The left margin", 0.0, 500.0),
            size("top", "The upper margin", 0.0, 500.0),
        );
        let (column_gap, row_gap) = (
            size("column_gap", "The gap between columns", 0.0, 500.0),
            size("row_gap", "The gap between rows", 0.0, 500.0),
        );
        let mut count = |field, called| {
            let read = units::whole(field, called, typed.text(field), 1, 60);
            faults.keep(read).unwrap_or(1)
        };
        let (columns, rows) = (
            count("columns", "The number of columns"),
            count("rows", "The number of rows"),
        );
        let paper = (paper_width, paper_height);
        let grid = (columns, rows);
        let stock = sheet(
            paper,
            grid,
            (width, height),
            (left, top),
            (column_gap, row_gap),
        );
        if faults.is_empty() {
            faults.extend(stock.overhang());
        }
        if faults.is_empty() {
            Ok(stock)
        } else {
            Err(faults)
        }
    }

    /// What reaches over the paper.
    fn overhang(&self) -> Faults {
        let mut faults = Faults::none();
        let across = self.left + span(self.columns, self.width, self.column_gap);
        let down = self.top + span(self.rows, self.height, self.row_gap);
        for (field, direction, needs, has) in [
            ("columns", "wide", across, self.paper_width),
            ("rows", "high", down, self.paper_height),
        ] {
            if needs > has + SLACK {
                faults.push(
                    field,
                    format!(
                        "With the margin these labels need {needs:.1} mm; the paper is {has:.1} mm {direction}."
                    ),
                );
            }
        }
        faults
    }
}

/// Length of a row of labels with its gaps.
fn span(count: u32, size: f64, gap: f64) -> f64 {
    f64::from(count) * size + f64::from(count.saturating_sub(1)) * gap
}

/// A length in millimetres between two limits.
fn length(field: &str, called: &str, text: &str, from: f64, to: f64) -> Result<f64, Fault> {
    let value = units::number(field, called, text)?;
    if (from..=to).contains(&value) {
        Ok(value)
    } else {
        let sentence = format!("{called} must be from {from} to {to} mm.");
        Err(Fault::new(field, sentence))
    }
}

impl Run {
    /// Reads a print run.
    ///
    /// # Errors
    /// All mistakes, by field.
    pub fn parse(typed: &Typed) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        let stock = match Stock::parse(typed) {
            Ok(stock) => Some(stock),
            Err(found) => {
                faults.extend(found);
                None
            }
        };
        let content = Content::typed("content", "What is printed", typed.text("content"));
        let content = faults.keep(content);
        let copies = units::whole(
            "copies",
            "Labels of each piece",
            typed.text("copies"),
            1,
            20,
        );
        let copies = faults.keep(copies);
        let places = stock.map_or(1, |stock| stock.places());
        let first = units::whole("first", "The first place", typed.text("first"), 1, places);
        let first = faults.keep(first);
        let mut shift = |field, called| {
            let text = typed.text(field);
            let text = if text.is_empty() { "0" } else { text };
            faults.keep(length(field, called, text, -20.0, 20.0))
        };
        let right = shift("shift_right", "The shift to the right");
        let down = shift("shift_down", "The shift down");
        match (stock, content, copies, first, right, down) {
            (Some(stock), Some(content), Some(copies), Some(first), Some(right), Some(down))
                if faults.is_empty() =>
            {
                Ok(Self {
                    stock,
                    content,
                    copies,
                    first,
                    shift_right: right,
                    shift_down: down,
                    is_trial: typed.has("trial"),
                })
            }
            _ => Err(faults),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_offered_stock_fits_its_paper_and_says_its_own_sizes() {
        for offered in OFFERED {
            let stock = offered.stock;
            assert!(stock.overhang().is_empty(), "{}", offered.key);
            let last = stock.corner(stock.places() - 1).expect("a last place");
            let right = stock.paper_width - last.0 - stock.width;
            let bottom = stock.paper_height - last.1 - stock.height;
            // Sheets are symmetric, so that they may be fed either way.
            assert!((right - stock.left).abs() < 0.5, "{} {right}", offered.key);
            assert!((bottom - stock.top).abs() < 0.6, "{} {bottom}", offered.key);
            assert!(
                offered
                    .words
                    .contains(&format!("{} × {}", stock.width, stock.height))
            );
            assert_eq!(stock.corner(stock.places()), None);
        }
    }

    fn own(more: &[(&str, &str)]) -> Result<Stock, Faults> {
        let mut typed = Typed::default();
        for (name, value) in [
            ("stock", "own"),
            ("paper_width", "100"),
            ("paper_height", "150"),
            ("columns", "2"),
            ("rows", "5"),
            ("width", "45"),
            ("height", "25,4"),
            ("left", "4"),
            ("top", "8"),
            ("column_gap", "2"),
            ("row_gap", "0"),
        ]
        .iter()
        .chain(more)
        {
            typed.set(name, *value);
        }
        Stock::parse(&typed)
    }

    #[test]
    fn sizes_of_ones_own_are_read_and_must_fit_the_paper() {
        let stock = own(&[]).expect("it fits");
        assert_eq!(stock.corner(3), Some((51.0, 33.4)));
        let faults = own(&[("columns", "3"), ("rows", "9")]).expect_err("too many");
        let sentence = faults.for_field("columns").expect("said");
        assert!(sentence.contains("143.0 mm") && sentence.contains("100.0 mm wide"));
        assert!(faults.for_field("rows").is_some());
        let faults = own(&[("width", "wide"), ("top", "-1"), ("rows", "0")]).expect_err("bad");
        for field in ["width", "top", "rows"] {
            assert!(faults.for_field(field).is_some(), "{field}");
        }
        assert!(Stock::parse(&Typed::from([("stock", "a4-0")])).is_err());
    }
}
