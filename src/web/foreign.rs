//! The readers of foreign bytes that stand behind pages, without a server: the door of the fuzzer and of the test
//! that replays its corpus (`tests/fuzz`). Nothing of the program itself comes through here.

use std::future::Future;
use std::pin::pin;
use std::task::{Context, Poll, Waker};

use axum::body::Bytes;
use chrono::NaiveDate;
use uuid::Uuid;

use super::lab::curve_read::{self, Asked};
use super::lab::{curve_plot, grid_read};
use super::steward::study_bring_read;
use super::sync::entry_save;
use super::{logger, upload};
use crate::analysis::property::Sizes;
use crate::mechanics::uncertainty::Length;
use crate::study::break_test::block::{self, Block};
use crate::study::break_test::form::TypedTest;
use crate::study::break_test::{FailureMode, Looks, Outcome};
use crate::study::code::BlindCode;
use crate::study::entry::Actor;
use crate::study::environment::guess::guess;
use crate::study::ids::AccountId;
use crate::study::plan::{ModulusBy, Shape, SizesAt, TestKind, TestMethod};
use crate::study::typed::Typed;
use crate::study::units::Unit;

/// Fields as a form sends them.
fn fields(line: &str) -> Typed {
    curve_read::said(line)
}

/// A piece of 4 mm by 10 mm.
fn asked(kind: TestKind) -> Asked {
    let length = |mm| {
        Some(Length {
            mm,
            limit_mm: 0.01,
            repeat_mm: 0.0,
        })
    };
    let sizes = Sizes {
        width: length(10.0),
        thickness: length(4.0),
        diameter: None,
    };
    let codes = (0..3).filter_map(|n| BlindCode::from_bytes([n, 3, 9, 14, 20, n + 1]));
    Asked {
        pieces: codes.map(|code| (code, sizes)).collect(),
        end_drop: None,
        shape: Shape::Rectangular,
        method: Some(TestMethod {
            kind,
            sizes_at: SizesAt::BeforeExposure,
            modulus_by: ModulusBy::Regression,
            span_mm: Some(64.0),
            grips_mm: Some(115.0),
            gauge_mm: Some(50.0),
            step_mm: Some(1.0),
        }),
    }
}

/// A machine's file as the tester's page reads it, with what a form says about it; each curve is evaluated and
/// drawn. Gives the number of curves.
///
/// # Errors
/// In words, when it cannot be read.
pub fn curve_file(bytes: &[u8], said: &str) -> Result<usize, String> {
    let mut curves = 0;
    for kind in [TestKind::Tension, TestKind::Bending] {
        let looked = curve_read::look(bytes, "a.csv", &fields(said), &asked(kind))?;
        curves = looked.curves.len();
        for read in looked
            .curves
            .iter()
            .filter_map(|seen| seen.read.as_ref().ok())
        {
            curve_plot::drawn(read).map_err(|_| "The curve cannot be drawn.".to_owned())?;
        }
    }
    Ok(curves)
}

/// A logger's file as it is guessed, put into a form, and read by that form.
///
/// # Errors
/// In words, when it cannot be read.
pub fn logger_file(bytes: &[u8]) -> Result<usize, String> {
    let guessed = guess(bytes, "Europe/Berlin").map_err(|why| why.to_string())?;
    let mut form = Typed::default();
    logger::fill(&mut form, &guessed.layout);
    let (columns, look) = logger::look(bytes, &form, "Europe/Berlin");
    look.map_err(|faults| format!("{faults:?}"))?;
    Ok(columns.len())
}

/// A spreadsheet that a study is brought over from, with what the form says beside it. Gives the number of its
/// columns and of what is wrong with it.
///
/// # Errors
/// In words, when it is neither text nor a workbook.
pub fn brought_over(bytes: &[u8], said: &str) -> Result<(usize, usize), String> {
    let text = study_bring_read::text_of(bytes)?;
    let today = NaiveDate::from_ymd_opt(2026, 1, 31).unwrap_or_default();
    let looked = study_bring_read::looked(&text, &fields(said), "a".to_owned(), today);
    Ok((looked.names.len(), looked.problems.told.len()))
}

/// A block pasted into the grid, or sent as a file; each row is read as it would be stored. Gives the number of
/// rows.
///
/// # Errors
/// In words, when it is none.
pub fn pasted(bytes: &[u8]) -> Result<usize, String> {
    let text = grid_read::text_of(bytes)?;
    let pieces = asked(TestKind::Tension).pieces;
    let codes: Vec<&BlindCode> = pieces.iter().map(|(code, _)| code).collect();
    let block = block::cells(&text).and_then(|rows| Block::of(rows, &codes, true));
    let block = block.map_err(|why| why.to_string())?;
    for row in 0..block.rows.len() {
        let (number, _, _) = block::load(block.cell(row, "load"));
        let mut typed = Typed::default();
        typed.set("load", number);
        for field in ["cohesive", "adhesive", "glue", "failed_at"] {
            typed.set(field, block::share(block.cell(row, field)));
        }
        for (field, key) in [
            (
                "outcome",
                block::outcome(block.cell(row, "outcome")).map(Outcome::key),
            ),
            (
                "mode",
                block::mode(block.cell(row, "mode")).map(FailureMode::key),
            ),
            (
                "looks",
                block::looks(block.cell(row, "looks")).map(Looks::key),
            ),
        ] {
            typed.set(field, key.unwrap_or_default());
        }
        for is_impact in [false, true] {
            let read = TypedTest::parse(&typed, Unit::KilogramForce, is_impact);
            read.map_or_else(|faults| drop(format!("{faults:?}")), drop);
        }
    }
    Ok(block.rows.len())
}

/// A form with files. Gives the number of its fields and of its files.
///
/// # Errors
/// When it is damaged.
pub fn form_with_files(bytes: &[u8], boundary: &str) -> Result<(usize, usize), String> {
    let form = upload::read(Bytes::copy_from_slice(bytes), boundary.to_owned());
    // All of it is there, so that it never waits.
    match pin!(form).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(Ok(form)) => Ok((form.typed.iter().count(), form.files.len())),
        Poll::Ready(Err(_)) => Err("The form is damaged.".to_owned()),
        Poll::Pending => Err("The form waits for more.".to_owned()),
    }
}

/// An entry as a device or a program sends it.
///
/// # Errors
/// In words.
pub fn entry(bytes: &[u8]) -> Result<String, String> {
    let value = serde_json::from_slice(bytes).map_err(|why| why.to_string())?;
    let sender = Actor::Account(AccountId(Uuid::nil()));
    let envelope = entry_save::sent_by(sender, value).map_err(|(_, why)| why)?;
    let (kind, _) = envelope.entry.to_parts().map_err(|why| why.to_string())?;
    Ok(kind)
}
