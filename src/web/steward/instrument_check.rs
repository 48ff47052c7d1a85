//! The check weight or gauge before and after a round. The form stands in the round's page; without a
//! script it comes here, and goes back to where it was sent from.

use super::round_data::check_name;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::plausibility::{Written, signed};
use crate::study::reading::{Instrument, InstrumentCheck};
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;
use crate::study::units::{AsTyped, Unit, positive};
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/instrument_check.html")]
struct CheckPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    form: Form,
}

/// Writes the check down and goes back to the round.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let done = match fields.read(|typed| parse(typed, &record)) {
        Ok((check, words)) => {
            let entry = Entry::InstrumentChecked { check };
            let acting = Acting::steward(&steward, &study);
            let sent = act::submit(&app, &acting, &fields, entry, None).await;
            sent.map(|_| words)
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(words) => {
            // Only to a round of this study: the field is a visitor's word.
            let round = format!("/desk/{}/round", study.slug);
            let back = fields.0.text("back");
            let is_round = back.starts_with(&round) && back.chars().all(|c| c.is_ascii_graphic());
            let to = if is_round { back } else { &round };
            Ok(Moved::to(to).saying(words).into_response())
        }
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            let chrome = chrome.titled(format!("Check an instrument · {}", record.title));
            Ok(Page::refused(CheckPage {
                chrome,
                record,
                form,
            })
            .into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

fn parse(typed: &Typed, record: &StudyRecord) -> Result<(InstrumentCheck, String), Faults> {
    let mut faults = Faults::none();
    let known = record
        .instruments
        .iter()
        .find(|instrument| instrument.id.to_string() == typed.text("instrument"));
    if known.is_none() {
        faults.push("instrument", "Choose an instrument of this study.");
    }
    let unit = known
        .and_then(|known| faults.keep(Unit::parse("unit", typed.text("unit"), known.dimension)));
    let mut number = |field: &str, called: &str| {
        let value = faults.keep(positive(field, called, typed.text(field)))?;
        let text = typed.text(field).to_owned();
        Some((value, text))
    };
    let nominal = number("nominal", "The known value");
    let value = number("check_value", "What it shows");
    let check = || {
        let (known, unit) = (known?, unit?);
        let ((nominal, nominal_text), (value, text)) = (nominal?, value?);
        let typed = |text| AsTyped { text, unit };
        let check = InstrumentCheck {
            instrument: known.id,
            nominal: unit.to_si(nominal),
            nominal_typed: typed(nominal_text),
            value: unit.to_si(value),
            typed: typed(text),
        };
        let words = words(&check, known);
        Some((check, words))
    };
    let check = check();
    faults.and_some(check)
}

/// How far off it was, and whether that is beyond the action limit.
pub(super) fn words(check: &InstrumentCheck, instrument: &Instrument) -> String {
    let unit = check.typed.unit;
    let written = Written::new(unit, instrument.readability);
    let off = signed(check.off() / unit.to_si(1.0), written.decimals());
    let limit = written.words(instrument.readability);
    let verdict = if check.is_beyond(instrument.readability) {
        "Beyond it: clean, zero and read again; go on only when it fits."
    } else {
        "It fits."
    };
    format!(
        "{}: check {} {} {} off; the action limit is 3 × {limit}. {verdict}",
        instrument.name,
        check_name(instrument.dimension),
        off,
        unit.symbol()
    )
}
