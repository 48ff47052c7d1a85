//! A steward's correction of a break test after unblinding: with a reason, and marked for good as
//! made knowing the group. Before unblinding there is no such page.

use super::consignment_show::marks;
use crate::study::break_test::failure::FailureShares;
use crate::study::break_test::form::TypedTest;
use crate::study::break_test::{FailureMode, Outcome};
use crate::study::code::BlindCode;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::{ConsignmentId, EntryId};
use crate::study::record::{ConsignmentRecord, StudyRecord, TestRecord};
use crate::study::typed::Typed;
use crate::study::units::{Unit, in_digits};
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act::{self, Acting, Declined};
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/break_test_correct.html")]
struct CorrectPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    address: String,
    code: String,
    blind: String,
    unit: &'static str,
    on_record: Vec<OnRecord>,
    outcomes: Vec<(&'static str, &'static str)>,
    modes: Vec<(&'static str, &'static str)>,
    is_impact: bool,
    is_pull_off: bool,
    form: Form,
}

/// A test as it stands or stood.
struct OnRecord {
    words: String,
    marks: Vec<&'static str>,
    note: String,
}

/// What the path names: an unblinded consignment and a tested piece in it.
struct Named<'r> {
    one: &'r ConsignmentRecord,
    blind: BlindCode,
    test: &'r TestRecord,
    /// Its plan has it struck: an energy stands where others have a load.
    is_impact: bool,
}

impl<'r> Named<'r> {
    fn find(record: &'r StudyRecord, id: ConsignmentId, blind: &str) -> Result<Self, WebFault> {
        let one = record.consignment(id).filter(|one| !one.is_blind());
        let one = one.ok_or(WebFault::NotFound)?;
        let blind: BlindCode = blind.parse().map_err(|_| WebFault::NotFound)?;
        let test = one.test_of(&blind).ok_or(WebFault::NotFound)?;
        let is_impact = record
            .plan()
            .is_some_and(|found| found.plan.form.is_impact());
        Ok(Self {
            one,
            blind,
            test,
            is_impact,
        })
    }

    fn unit(&self) -> Unit {
        let typed = self.test.test.typed.as_ref().map(|typed| typed.unit);
        let session = self.one.session.as_ref().map(|session| session.load_unit);
        typed.or(session).unwrap_or(Unit::Newton)
    }
}

/// Shows what stands, in a form.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path((_, id, blind)): Path<(String, ConsignmentId, String)>,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let named = Named::find(&record, id, &blind)?;
    let test = &named.test.test;
    let mut typed = Typed::from([("outcome", test.outcome.key()), ("mode", test.mode.key())]);
    let load = test.typed.as_ref().map(|typed| typed.text.clone());
    typed.set("load", load.unwrap_or_default());
    let energy = test.energy_j.map(|joule| in_digits(joule, 9));
    typed.set("energy", energy.unwrap_or_default());
    FailureShares::fill(test.failure.as_ref(), &mut typed);
    typed.set("supersedes", named.test.entry.to_string());
    typed.set(act::ENTRY, act::fresh(&app));
    let page = page(chrome, &record, &named, Form::filled(typed));
    Ok(Page::of(page).into_response())
}

fn page(chrome: Chrome, record: &Arc<StudyRecord>, named: &Named<'_>, form: Form) -> CorrectPage {
    let of_piece = |piece: &&crate::study::record::PieceRecord| piece.blind == named.blind;
    let code = named.one.pieces.iter().find(of_piece);
    let tests = named.one.tests.iter();
    let tests = tests.filter(|test| test.test.blind == named.blind);
    CorrectPage {
        chrome: chrome.titled(format!("Correct {}", named.blind)),
        address: format!("/desk/{}/consignments/{}", record.slug, named.one.id),
        code: code
            .map(|piece| piece.specimen.to_string())
            .unwrap_or_default(),
        blind: named.blind.to_string(),
        unit: named.unit().symbol(),
        on_record: tests.map(on_record).collect(),
        outcomes: Outcome::ALL
            .iter()
            .map(|one| (one.key(), one.label()))
            .collect(),
        modes: FailureMode::ALL
            .iter()
            .map(|mode| (mode.key(), mode.label()))
            .collect(),
        is_impact: named.is_impact,
        is_pull_off: record
            .plan()
            .is_some_and(|found| found.plan.form.is_pull_off()),
        form,
        record: Arc::clone(record),
    }
}

fn on_record(test: &TestRecord) -> OnRecord {
    let typed = test.test.typed.as_ref();
    let load = typed.map(|typed| format!("{} {}, ", typed.text, typed.unit.symbol()));
    let energy = test
        .test
        .energy_j
        .map(|joule| format!("{} J, ", in_digits(joule, 6)));
    let load = energy.or(load);
    let (outcome, mode) = (test.test.outcome.label(), test.test.mode.label());
    let failure = test.test.failure.as_ref();
    let failure = failure.map_or_else(String::new, |f| format!(": {}", f.in_words()));
    OnRecord {
        words: format!("{}{outcome}, {mode}{failure}", load.unwrap_or_default()),
        marks: marks(test),
        note: test.note.clone().unwrap_or_default(),
    }
}

/// Stores the correction.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    Path((_, id, blind)): Path<(String, ConsignmentId, String)>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let named = Named::find(&record, id, &blind)?;
    let stored = match fields.read(|typed| parse(typed, &named)) {
        Ok((entry, reason)) => {
            let acting = Acting::steward(&steward, &study);
            act::submit(&app, &acting, &fields, entry, Some(reason)).await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match stored {
        Ok(_) => {
            let to = format!("/desk/{}/consignments/{id}", study.slug);
            let said = "Corrected. The correction says that it was made knowing the group.";
            Ok(Moved::to(to).saying(said).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            Ok(Page::refused(page(chrome, &record, &named, form)).into_response())
        }
    }
}

fn parse(typed: &Typed, named: &Named<'_>) -> Result<(Entry, String), Faults> {
    let read = TypedTest::parse(typed, named.unit(), named.is_impact);
    let mut faults = read.as_ref().err().cloned().unwrap_or_default();
    if !typed.has("reason") && faults.for_field("reason").is_none() {
        faults.push(
            "reason",
            "Say why it is corrected; the public page will show it.",
        );
    }
    let (Ok(read), Ok(supersedes)) = (read, typed.text("supersedes").parse::<EntryId>()) else {
        if faults.is_empty() {
            faults.push(
                "",
                "It is not clear what is corrected; open this page again.",
            );
        }
        return Err(faults);
    };
    let mut test = read.test(named.one.id, named.blind.clone());
    test.is_out_of_order = named.test.test.is_out_of_order;
    test.is_confirmed_doubt = named.test.test.is_confirmed_doubt;
    let entry = Entry::BreakTestCorrected { supersedes, test };
    faults.or((entry, read.reason.unwrap_or_default()))
}
