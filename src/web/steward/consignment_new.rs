//! Packing a consignment: which pieces go to which lab, under which labels. Order and blind codes
//! are drawn here, by the server's own generator, and nowhere else.

use super::consignment_list::{Choice, choices};
use super::consignment_show::place;
use crate::study::break_test::instructions::instructions;
use crate::study::cautions::{self, Step};
use crate::study::code::{BlindCode, Code};
use crate::study::consignment::form::{Packable, Packing};
use crate::study::consignment::retest::{self, Repeatable};
use crate::study::consignment::{Consigned, Contents, Label, ToPack, blind};
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::ConsignmentId;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Recovery;
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
use std::collections::BTreeSet;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/consignment_new.html")]
struct NewPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    cautions: Vec<&'static str>,
    choices: Vec<Choice>,
    contents: Option<Contents>,
    pieces: Vec<Line>,
    /// Invalid tests that the plan lets be repeated on a spare.
    repeatable: Vec<Repeatable>,
    still_out: usize,
    shown: Vec<(&'static str, String)>,
    labels: Vec<(&'static str, &'static str)>,
    own_labels: Vec<(&'static str, &'static str)>,
    form: Form,
}

/// A piece that can be packed.
struct Line {
    code: String,
    place: String,
    state: &'static str,
    is_storage_control: bool,
}

/// Shows what can be packed, or the form for what was chosen.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Query(query): Query,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let contents = Contents::parse(query.text("contents"));
    let mut typed = Typed::default();
    typed.set(act::ENTRY, act::fresh(&app));
    if let Some(contents) = contents {
        for piece in Packable::new(&record, contents).pieces() {
            typed.add("piece", piece.code.as_str());
        }
    }
    Ok(Page::of(page(
        chrome,
        record,
        contents,
        Form::filled(typed),
    )))
}

fn page(
    chrome: Chrome,
    record: Arc<StudyRecord>,
    contents: Option<Contents>,
    form: Form,
) -> NewPage {
    let packable = contents.map(|contents| Packable::new(&record, contents));
    let pieces = packable.map(Packable::pieces).unwrap_or_default();
    let shown = record.plan().map(|version| &version.plan.form);
    let labels = Label::ALL.map(|label| (label.key(), label.label()));
    NewPage {
        chrome: chrome.titled("Pack a consignment"),
        cautions: cautions::of(Step::Ship, []),
        choices: choices(&record),
        contents,
        pieces: pieces
            .iter()
            .map(|piece| line(&record, packable, piece))
            .collect(),
        repeatable: contents
            .map_or_else(Vec::new, |contents| retest::repeatable(&record, contents)),
        still_out: packable.map_or(0, Packable::still_out),
        shown: shown.map(instructions).unwrap_or_default(),
        labels: labels.to_vec(),
        own_labels: std::iter::once(("", "as above")).chain(labels).collect(),
        form,
        record,
    }
}

fn line(record: &StudyRecord, packable: Option<Packable<'_>>, piece: &SpecimenRecord) -> Line {
    Line {
        code: piece.code.to_string(),
        place: place(record, &piece.code),
        state: piece.recovery.map_or("", Recovery::label),
        is_storage_control: packable.is_some_and(|all| all.is_storage_control(piece)),
    }
}

/// Packs: draws order and codes, and writes the consignment down.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    study: StudyAccess,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    // The consignment takes its entry's id, so that a second sending finds it.
    let id = ConsignmentId(act::entry_id(&app, &fields.0).0);
    let to = format!("/desk/{}/consignments/{id}", study.slug);
    if record.consignment(id).is_some() {
        return Ok(Moved::to(to).into_response());
    }
    let contents = Contents::parse(fields.0.text("contents"));
    let seed = app.clock.random();
    let packed = match fields.read(|typed| parse(typed, &record, contents, &seed)) {
        Ok(packing) => {
            let entry = Entry::Consigned(drawn(&app, &record, id, packing));
            act::submit(
                &app,
                &Acting::steward(&steward, &study),
                &fields,
                entry,
                None,
            )
            .await
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match packed {
        Ok(_) => {
            let said =
                "Packed. Order and blind codes are drawn; print the key and the packing list.";
            Ok(Moved::to(to).saying(said).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => {
            let form = act::afresh(&app, &form);
            Ok(Page::refused(page(chrome, record, contents, form)).into_response())
        }
    }
}

/// What is packed, for which lab, and every piece.
type Chosen = (Contents, String, Vec<ToPack>);

/// The pieces of the set or stage itself.
fn own(packing: &Packing) -> Vec<ToPack> {
    let own = |(specimen, label): &(Code, Label)| ToPack {
        specimen: specimen.clone(),
        label: *label,
        retest_of: None,
    };
    packing.pieces.iter().map(own).collect()
}

/// Reads the form and asks once about what is doubtful in it.
fn parse(
    typed: &Typed,
    record: &StudyRecord,
    contents: Option<Contents>,
    seed: &[u8; 32],
) -> Result<Chosen, Faults> {
    let Some(contents) = contents else {
        return Err(Faults::one("", "Choose what is to be packed first."));
    };
    let packing = Packing::parse(typed)?;
    let packable = Packable::new(record, contents);
    let there: BTreeSet<&Code> = packable.pieces().iter().map(|piece| &piece.code).collect();
    let mut faults = Faults::none();
    for (code, _) in &packing.pieces {
        if !there.contains(code) {
            faults.push("piece", format!("{code} cannot be packed with these."));
        }
    }
    let chosen: Vec<Code> = packing
        .pieces
        .iter()
        .map(|(code, _)| code.clone())
        .collect();
    let mut doubts = packable.doubts(&chosen);
    let wanted = &packing.retests;
    doubts.extend(retest::doubt(record, contents, wanted, chosen.len()));
    let mut pieces = own(&packing);
    if let Some(label) = packing.label {
        let spares = retest::draw(record, contents, (wanted, label), seed);
        pieces.extend(faults.keep(spares).unwrap_or_default());
    }
    if !doubts.is_empty() && !typed.has("confirmed") {
        faults.push(
            "confirmed",
            format!("{} Tick this to pack all the same.", doubts.join(" ")),
        );
    }
    faults.or((contents, packing.lab, pieces))
}

fn drawn(
    app: &App,
    record: &StudyRecord,
    consignment: ConsignmentId,
    (contents, lab, pieces): Chosen,
) -> Consigned {
    let earlier = record.consignments.iter().flat_map(|one| &one.pieces);
    let taken: BTreeSet<BlindCode> = earlier.map(|piece| piece.blind.clone()).collect();
    let random = || app.clock.random();
    Consigned {
        consignment,
        lab,
        contents,
        pieces: blind(pieces, &taken, &app.clock.random(), random),
    }
}
