//! Putting out. What has no baseline readings and no waiver stays on the bench.

use super::exposure_show::{self, HeldLine};
use super::exposure_when;
use super::pick::{self, Section};
use super::piece_words::{self, plan_of};
use crate::study::allocation::Place;
use crate::study::cautions::{self, Step};
use crate::study::custody::PutOut;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::outing;
use crate::study::plan::Environment;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::typed::Typed;
use crate::study::when;
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
#[template(path = "steward/exposure_out.html")]
struct OutPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    hindrance: Option<&'static str>,
    sections: Vec<Section>,
    held: Vec<HeldLine>,
    cautions: Vec<&'static str>,
    /// The state of moisture in which a reading counts as one before exposure.
    reference: &'static str,
    /// Where that is a doubt: the moment before which nothing can have gone out, and its day in words.
    begun: Option<(String, String)>,
    form: Form,
}

/// The places in which these pieces stay, for the cautions.
pub(super) fn places(
    record: &StudyRecord,
    is_meant: impl Fn(&SpecimenRecord) -> bool,
) -> Vec<Environment> {
    let plan = plan_of(record);
    let meant = record.specimens.iter().filter(|piece| is_meant(piece));
    let places = meant.filter_map(|piece| match &piece.place {
        Some(Place::Exposed { condition, .. }) => Some(plan?.condition(condition)?.environment),
        _ => None,
    });
    places.collect()
}

fn ready(record: &StudyRecord, held: &[HeldLine]) -> Vec<Section> {
    pick::sections(record, |piece| {
        exposure_show::waits(piece) && !held.iter().any(|line| line.code == piece.code)
    })
}

fn page(chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> OutPage {
    let held = exposure_show::held(&record);
    OutPage {
        chrome: chrome.titled(format!("Put out · {}", record.title)),
        hindrance: exposure_show::hindrance(&record),
        sections: ready(&record, &held),
        cautions: cautions::of(Step::PutOut, places(&record, exposure_show::waits)),
        held,
        reference: plan_of(&record).map_or("", |plan| plan.reference_state.key()),
        begun: (!record.is_after_the_fact).then(|| {
            let at = outing::begun(&record);
            (at.to_rfc3339(), when::day_in_words(at, &record.time_zone))
        }),
        record,
        form,
    }
}

/// The form.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let form = Form::filled(exposure_when::fresh(&app, &record));
    Ok(Page::of(page(chrome, record, form)))
}

/// Writes the outing down.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    fields: Fields,
) -> Result<Response, WebFault> {
    let exposure = format!("/desk/{}/exposure", study.slug);
    // What can be chosen changes once the pieces are out; a second sending is answered as the first.
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(exposure).into_response());
    }
    let record = study.record(&app).await?;
    let done = match fields.read(|typed| parse(typed, &app, &record)) {
        Ok(out) => {
            let count = out.specimens.len();
            let acting = Acting::steward(&steward, &study);
            let note = Some(fields.0.text("note").to_owned());
            let sent = act::submit(&app, &acting, &fields, Entry::PutOut(out), note).await;
            sent.map(|_| count)
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(count) => Ok(Moved::to(exposure)
            .saying(format!("{} out.", piece_words::pieces(count)))
            .into_response()),
        Err(Declined::Form(form)) => Ok(Page::refused(page(chrome, record, form)).into_response()),
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

fn parse(typed: &Typed, app: &App, record: &StudyRecord) -> Result<PutOut, Faults> {
    let mut faults = Faults::none();
    let held = exposure_show::held(record);
    let singly = typed.all("piece");
    for line in held
        .iter()
        .filter(|line| singly.contains(&line.code.as_str()))
    {
        let sentence = format!(
            "{} cannot go out yet: {} before exposure is not on record.",
            line.code, line.missing
        );
        faults.push("piece", sentence);
    }
    let specimens = if faults.is_empty() {
        faults.keep(pick::chosen(typed, &ready(record, &held)))
    } else {
        None
    };
    faults.keep(typed.paragraph("note", "The remark"));
    let at = exposure_when::moment(typed, record, &mut faults);
    if let Some(at) = at {
        let doubts = [
            exposure_when::ahead(app, at),
            outing::before_the_study(at, record),
        ];
        exposure_when::ask(typed, doubts.into_iter().flatten(), &mut faults);
    }
    let out = || {
        Some(PutOut {
            specimens: specimens?,
            at: at?,
            is_confirmed_doubt: typed.has("confirmed"),
        })
    };
    let out = out();
    faults.and_some(out)
}
