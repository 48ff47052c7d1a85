//! The box: what should be in it, ticked off piece by piece.

use super::blind::{Blind, Piece};
use crate::study::consignment::Arrival;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act::{self, Declined};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "lab/box_check.html")]
struct BoxPage {
    chrome: Chrome,
    blind: Blind,
    states: Vec<(&'static str, &'static str)>,
    form: Form,
}

/// What arrived, as typed for one piece.
struct Ticked<'p> {
    piece: &'p Piece,
    arrival: Arrival,
    note: Option<String>,
}

/// Shows the list.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let mut typed = Typed::default();
    typed.set(act::ENTRY, act::fresh(&app));
    for piece in &blind.pieces {
        let state = piece.arrival.map_or("", Arrival::key);
        typed.set(&format!("state-{}", piece.blind), state);
        typed.set(
            &format!("remark-{}", piece.blind),
            piece.arrival_note.clone().unwrap_or_default(),
        );
    }
    Ok(Page::of(page(chrome, blind, Form::filled(typed))).into_response())
}

fn page(chrome: Chrome, blind: Blind, form: Form) -> BoxPage {
    let states = Arrival::ALL
        .iter()
        .map(|state| (state.key(), state.label()));
    BoxPage {
        chrome: chrome.titled("The box"),
        blind,
        states: std::iter::once(("", "not looked at yet"))
            .chain(states)
            .collect(),
        form,
    }
}

/// Writes down what is new in it.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let done = tick(&app, &lab, &blind, &fields).await;
    let onward = Moved::to(blind.address()).saying("The box is ticked off as it stands.");
    act::answered(&app, done, onward, |form| page(chrome, blind, form))
}

async fn tick(app: &App, lab: &LabAccess, blind: &Blind, fields: &Fields) -> Result<(), Declined> {
    let ticked = fields.read(|typed| parse(typed, &blind.pieces))?;
    let entries: Vec<_> = ticked.iter().map(|one| entry(blind, one)).collect();
    if !entries.is_empty() {
        act::submit_all(app, &blind.acting(lab), fields, entries).await?;
    }
    Ok(())
}

fn entry(blind: &Blind, ticked: &Ticked<'_>) -> (Entry, Option<String>) {
    let arrived = Entry::Arrived {
        consignment: blind.id,
        blind: ticked.piece.blind.clone(),
        arrival: ticked.arrival,
    };
    (arrived, ticked.note.clone())
}

/// What differs from what is on record. The button `all_whole` fills whatever is not looked at.
fn parse<'p>(typed: &Typed, pieces: &'p [Piece]) -> Result<Vec<Ticked<'p>>, Faults> {
    let mut faults = Faults::none();
    let mut ticked = Vec::new();
    for piece in pieces {
        let (state, remark) = (
            format!("state-{}", piece.blind),
            format!("remark-{}", piece.blind),
        );
        let note = faults
            .keep(typed.paragraph(&remark, "The remark"))
            .unwrap_or_default();
        let text = match typed.text(&state) {
            "" if typed.is("act", "all_whole") && note.is_empty() => Arrival::Good.key(),
            "" if note.is_empty() => continue,
            "" => Arrival::Remark.key(),
            text => text,
        };
        let Some(arrival) = faults.keep(Arrival::typed(&state, "The state", text)) else {
            continue;
        };
        if arrival == Arrival::Remark && note.is_empty() {
            faults.push(&remark, "Say what is to be remarked.");
        }
        if arrival == Arrival::Missing && piece.test().is_some() {
            faults.push(&state, "This piece has a test, so it was in the box.");
        }
        let is_new = piece.arrival != Some(arrival)
            || piece.arrival_note.as_deref().unwrap_or_default() != note;
        if is_new {
            let note = Some(note).filter(|note| !note.is_empty());
            ticked.push(Ticked {
                piece,
                arrival,
                note,
            });
        }
    }
    faults.or(ticked)
}
