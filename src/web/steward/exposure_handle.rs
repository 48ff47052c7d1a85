//! Logging what was done to pieces, or found about them; several in one entry.

use super::pick::{self, Section};
use super::piece_words::{self, plan_of};
use super::{exposure_out, exposure_when};
use crate::study::cautions::{self, Step};
use crate::study::custody::{Handled, Handling};
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Query, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/exposure_handle.html")]
struct HandlePage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    /// What is logged; `None` while it is being chosen.
    what: Option<Handling>,
    sections: Vec<Section>,
    holders: Vec<(String, String)>,
    cautions: Vec<&'static str>,
    form: Form,
}

/// Whether this can be done to a piece where it is now. The journal's rules say the same.
fn is_possible(what: Handling, piece: &SpecimenRecord) -> bool {
    use Whereabouts::{Bench, Consigned, In, Out};
    let places: &[Whereabouts] = match what {
        Handling::Inspected | Handling::ToppedUp | Handling::Moved => &[Out],
        Handling::Cleaned | Handling::Dried => &[In, Bench],
        Handling::Damaged => &[Out, In, Bench],
        Handling::Lost | Handling::Destroyed => &[Out, In, Bench, Consigned],
    };
    places.contains(&piece.whereabouts)
}

fn page(chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> HandlePage {
    let what = Handling::parse(form.typed().text("what"));
    let is_meant = |piece: &SpecimenRecord| what.is_some_and(|what| is_possible(what, piece));
    let places = exposure_out::places(&record, is_meant);
    let cautions = match what {
        None => Vec::new(),
        Some(Handling::Cleaned) => cautions::of(Step::Clean, places),
        Some(Handling::Dried) => cautions::of(Step::Dry, places),
        Some(_) => cautions::of(Step::Tend, places),
    };
    HandlePage {
        chrome: chrome.titled(format!("Log what was done · {}", record.title)),
        what,
        sections: pick::sections(&record, is_meant),
        holders: holders(&record),
        cautions,
        record,
        form,
    }
}

/// Every holder of the plan, with its condition's name.
pub(super) fn holders(record: &StudyRecord) -> Vec<(String, String)> {
    let conditions = plan_of(record).map(|plan| plan.conditions.as_slice());
    let of = |condition: &crate::study::plan::Condition| {
        let named = condition.holders.iter();
        let named = named.map(|holder| {
            let name = format!("{}: {}", condition.name, holder.name);
            (holder.key.clone(), name)
        });
        named.collect::<Vec<_>>()
    };
    conditions.unwrap_or_default().iter().flat_map(of).collect()
}

/// First what was done, then to which pieces.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    query: Query,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let mut typed = exposure_when::fresh(&app, &record);
    typed.set("what", query.0.text("what"));
    Ok(Page::of(page(chrome, record, Form::filled(typed))))
}

/// Writes it down.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    fields: Fields,
) -> Result<Response, WebFault> {
    let exposure = format!("/desk/{}/exposure", study.slug);
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(exposure).into_response());
    }
    let record = study.record(&app).await?;
    let done = match fields.read(|typed| parse(typed, &app, &record)) {
        Ok((handled, note)) => {
            let said = format!(
                "{} {}.",
                piece_words::pieces(handled.specimens.len()),
                handled.what.label()
            );
            let acting = Acting::steward(&steward, &study);
            let entry = Entry::Handled(handled);
            let sent = act::submit(&app, &acting, &fields, entry, Some(note)).await;
            sent.map(|_| said)
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(said) => Ok(Moved::to(exposure).saying(said).into_response()),
        Err(Declined::Form(form)) => Ok(Page::refused(page(chrome, record, form)).into_response()),
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

fn parse(typed: &Typed, app: &App, record: &StudyRecord) -> Result<(Handled, String), Faults> {
    let mut faults = Faults::none();
    let what = Handling::typed("what", "What was done", typed.text("what"));
    let what = faults.keep(what);
    let specimens = what.and_then(|what| {
        let sections = pick::sections(record, |piece| is_possible(what, piece));
        faults.keep(pick::chosen(typed, &sections))
    });
    let into_holder = Some(typed.text("into_holder"))
        .filter(|_| what == Some(Handling::Moved))
        .map(str::to_owned);
    if let Some(into) = &into_holder
        && plan_of(record).is_none_or(|plan| plan.holder(into).is_none())
    {
        faults.push("into_holder", "Choose the holder that they went into.");
    }
    let note = faults.keep(typed.paragraph("note", "The remark"));
    if what.is_some_and(Handling::needs_reason) && note.as_deref() == Some("") {
        faults.push("note", "Say what happened.");
    }
    let at = exposure_when::moment(typed, record, &mut faults);
    if let Some(at) = at {
        exposure_when::ask(typed, exposure_when::ahead(app, at), &mut faults);
    }
    let handled = || {
        Some(Handled {
            what: what?,
            specimens: specimens?,
            at: at?,
            into_holder,
            is_confirmed_doubt: typed.has("confirmed"),
        })
    };
    let handled = handled().zip(note);
    faults.and_some(handled)
}
