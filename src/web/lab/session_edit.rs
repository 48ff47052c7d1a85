//! The set-up: machine, fixture, speed, room, load unit and check load, set once for a consignment.

use super::blind::Blind;
use super::equipment_edit::{carried_over, name_of, offered};
use crate::study::break_test::TestSession;
use crate::study::entry::Entry;
use crate::study::equipment::EquipmentKind;
use crate::study::typed::Typed;
use crate::study::units::{Dimension, Unit};
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "lab/session_edit.html")]
struct SessionPage {
    chrome: Chrome,
    blind: Blind,
    units: Vec<(&'static str, &'static str)>,
    has_record: bool,
    is_carried_over: bool,
    machines: Vec<(String, String)>,
    cells: Vec<(String, String)>,
    extensometers: Vec<(String, String)>,
    fixtures: Vec<(String, String)>,
    form: Form,
}

/// Shows the form, filled as it was set last.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let filled = blind.session.as_ref().map(TestSession::to_fields);
    let mut typed = filled.unwrap_or_else(|| first(&app, &blind));
    typed.set(act::ENTRY, act::fresh(&app));
    Ok(Page::of(page(chrome, blind, Form::filled(typed))).into_response())
}

/// As the lab set it up the last time, or nearly nothing.
fn first(app: &App, blind: &Blind) -> Typed {
    let mut typed = carried_over(blind)
        .unwrap_or_else(|| Typed::from([("unit", Unit::Newton.key()), ("drift", "1")]));
    typed.set("tested_on", app.clock.now().date_naive().to_string());
    typed
}

fn page(chrome: Chrome, blind: Blind, form: Form) -> SessionPage {
    let forces = Unit::of(Dimension::Force);
    SessionPage {
        chrome: chrome.titled("The set-up"),
        has_record: blind.equipment.iter().any(|one| one.is_current()),
        is_carried_over: blind.session.is_none() && blind.previous.is_some(),
        machines: offered(&blind, EquipmentKind::Machine),
        cells: offered(&blind, EquipmentKind::LoadCell),
        extensometers: offered(&blind, EquipmentKind::Extensometer),
        fixtures: offered(&blind, EquipmentKind::Fixture),
        blind,
        units: forces.map(|unit| (unit.key(), unit.symbol())).collect(),
        form,
    }
}

/// Keeps the set-up and goes on to the next piece.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let today = app.clock.now().date_naive();
    let read = fields.read(|typed| {
        let mut session = TestSession::parse(typed, blind.id, today)?;
        session.machine = name_of(&blind, session.used.machine, session.machine);
        session.fixture = name_of(&blind, session.used.fixture, session.fixture);
        Ok((Entry::SessionSet(session), None))
    });
    let done = act::sent(&app, &blind.acting(&lab), &fields, read).await;
    let next = blind.next_after(0);
    let next = next.map_or_else(String::new, |piece| format!("?at={}", piece.blind));
    let onward = Moved::to(format!("{}{next}", blind.address())).saying("The set-up is kept.");
    act::answered(&app, done, onward, |form| page(chrome, blind, form))
}
