//! What is typed in a round, as a reading: the code, the number, and whether it looks right.

use super::piece_words::plan_of;
use crate::study::code::Code;
use crate::study::fault::{Fault, Faults};
use crate::study::measured::Measured;
use crate::study::plan::Plan;
use crate::study::plausibility;
use crate::study::reading::{Occasion, Reading};
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::round::{self, Settings};
use crate::study::typed::Typed;
use crate::study::units::{AsTyped, positive};

/// Reads one page of the round. A doubtful value is asked about once, in the field `confirmed`.
///
/// # Errors
/// Every mistake at once; the doubt only when nothing else is wrong.
pub(super) fn reading(
    typed: &Typed,
    record: &StudyRecord,
    settings: &Settings,
) -> Result<Reading, Faults> {
    let mut faults = Faults::none();
    let Some(plan) = plan_of(record) else {
        return Err(Faults::one("", "Write the plan first."));
    };
    let measured = Measured::of(record);
    let piece = faults.keep(piece(typed, record, settings));
    let free = piece.and_then(|piece| {
        let free = free_repeat(&measured, piece, settings, plan);
        faults.keep(free)
    });
    let value = faults.keep(positive("value", "The value", typed.text("value")));
    let (Some(piece), Some(repeat), Some(value)) = (piece, free, value) else {
        return Err(faults);
    };
    let mut reading = Reading {
        specimen: piece.code.clone(),
        quantity: settings.quantity.clone(),
        occasion: settings.occasion,
        repeat,
        state: settings.state,
        value: settings.unit.to_si(value),
        typed: AsTyped {
            text: typed.text("value").to_owned(),
            unit: settings.unit,
        },
        instrument: settings.instrument.id,
        is_confirmed_doubt: false,
    };
    let of = (&piece.code, &settings.kind());
    let expected = measured.expected(of, reading.value, plan, &settings.instrument);
    let doubts = plausibility::doubts(reading.value, &expected);
    if !doubts.is_empty() {
        reading.is_confirmed_doubt = typed.has("confirmed");
    }
    if !doubts.is_empty() && !reading.is_confirmed_doubt {
        let sentences: Vec<String> = doubts.iter().map(ToString::to_string).collect();
        faults.push("confirmed", sentences.join(" "));
    }
    faults.or(reading)
}

/// The piece that the code names, when it belongs into this round.
fn piece<'r>(
    typed: &Typed,
    record: &'r StudyRecord,
    settings: &Settings,
) -> Result<&'r SpecimenRecord, Fault> {
    let text = typed.text("code");
    let wrong = |sentence: String| Fault::new("code", sentence);
    if text.is_empty() {
        return Err(wrong("The code is missing.".to_owned()));
    }
    let code: Code = text.parse().map_err(|fault| wrong(format!("{fault}")))?;
    let piece = record
        .specimen(&code)
        .ok_or_else(|| wrong(format!("{code} is no code of this study.")))?;
    if round::is_in(record, settings.occasion, piece) {
        return Ok(piece);
    }
    Err(wrong(match settings.occasion {
        Occasion::Before => {
            format!("{code} is not on the bench; a reading before exposure comes too late.")
        }
        Occasion::After => {
            format!("{code} is not taken in; a reading after exposure comes after that.")
        }
    }))
}

fn free_repeat(
    measured: &Measured<'_>,
    piece: &SpecimenRecord,
    settings: &Settings,
    plan: &Plan,
) -> Result<u8, Fault> {
    let free = measured.free_repeat(&piece.code, &settings.kind(), plan);
    free.ok_or_else(|| {
        let count = match plan.readings_of(&settings.quantity) {
            1 => "The reading".to_owned(),
            n => format!("All {n} readings"),
        };
        let sentence = format!(
            "{count} of {} for {} {} on record. To mend one, correct it on the piece's page.",
            settings.quantity.label(),
            piece.code,
            if count == "The reading" { "is" } else { "are" },
        );
        Fault::new("code", sentence)
    })
}
