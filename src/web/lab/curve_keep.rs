//! Keeping the curves of a file: which piece each belongs to, where its test ended, and what is asked
//! before it goes into the journal.

use super::blind::Blind;
use super::curve_file;
use super::curve_read::{self, Looked, Seen};
use crate::mechanics::evaluate::end::Ending;
use crate::mechanics::evaluate::finding::Finding;
use crate::store::CurveFile;
use crate::study::code::BlindCode;
use crate::study::curve::{KeptCurve, disagree};
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::typed::Typed;
use crate::study::units::in_digits;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act::{self, Declined};
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

type Entries = Vec<(Entry, Option<String>)>;

/// Reads the file again, keeps its curves, or takes it off the list, as the button says.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    Path((_, id)): Path<(String, Uuid)>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let list = format!("{}/curves", blind.address());
    if fields.0.text("act") == "drop" {
        let file = curve_file::find(&app, &blind, id).await?;
        app.store.drop_curve_file(file.id).await?;
        return Ok(Moved::to(list)
            .saying("The file is off the list.")
            .into_response());
    }
    let (file, looked) = curve_file::looked(&app, &blind, id, Some(&fields.0)).await?;
    let looked = match looked {
        Ok(looked) => looked,
        Err(why) => {
            let form = act::afresh(&app, &fields.again_with("", why));
            let before = curve_file::looked(&app, &blind, id, None).await?.1;
            let page = curve_file::page(chrome, blind, &file, before, form);
            return Ok(Page::refused(page).into_response());
        }
    };
    remember(&app, &lab, &file, &looked.layout, &fields.0).await?;
    if fields.0.text("act") == "read" {
        return Ok(Moved::to(format!("{list}/{id}")).into_response());
    }
    let kept = match fields.read(|typed| entries(typed, &blind, &file, &looked)) {
        Ok(entries) => act::submit_all(&app, &blind.acting(&lab), &fields, entries).await,
        Err(form) => Err(Declined::Form(form)),
    };
    match kept {
        Ok(receipts) => {
            let count = super::blind::counted(receipts.len(), "curve is kept", "curves are kept");
            let said = format!("{count}. Each load stands in its piece's row, to be stored there.");
            Ok(Moved::to(list).saying(said).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => Ok(shown_again(&app, chrome, blind, &file, looked, &form)),
    }
}

fn shown_again(
    app: &App,
    chrome: Chrome,
    blind: Blind,
    file: &CurveFile,
    looked: Looked,
    form: &Form,
) -> Response {
    let form = act::afresh(app, form);
    Page::refused(curve_file::page(chrome, blind, file, Ok(looked), form)).into_response()
}

/// How this file, and others like it, are read from now on.
async fn remember(
    app: &App,
    lab: &LabAccess,
    file: &CurveFile,
    layout: &str,
    typed: &Typed,
) -> Result<(), WebFault> {
    let own = curve_read::kept(typed, false);
    app.store.say_of_curve_file(file.id, &own).await?;
    let common = curve_read::kept(typed, true);
    app.store.remember_layout(lab.link, layout, &common).await?;
    Ok(())
}

/// The entries of a form, or everything that stands in their way.
fn entries(
    typed: &Typed,
    blind: &Blind,
    file: &CurveFile,
    looked: &Looked,
) -> Result<Entries, Faults> {
    let mut faults = Faults::none();
    let mut found: Entries = Vec::new();
    let mut taken: Vec<BlindCode> = Vec::new();
    for (place, seen) in looked.curves.iter().enumerate() {
        let name = |of: &str| format!("{of}-{place}");
        let said = typed.text(&name("piece"));
        if said == "none" {
            continue;
        }
        let Ok(piece) = blind.piece(said) else {
            faults.push(name("piece"), "Choose the piece, or say that it is none.");
            continue;
        };
        if taken.contains(&piece.blind) {
            faults.push(
                name("piece"),
                format!("{} has another curve above.", piece.blind),
            );
        }
        taken.push(piece.blind.clone());
        let reason = faults
            .keep(typed.paragraph(&name("reason"), "The reason"))
            .unwrap_or_default();
        faults.extend(end_faults(typed, place, seen, &reason));
        let Some(mut curve) = kept(blind, file, place, seen, typed, &piece.blind) else {
            faults.push(
                name("piece"),
                "This curve cannot be evaluated, so it is none of the pieces'.",
            );
            continue;
        };
        if let Some(question) = typed_question(piece.test().and_then(|t| t.test.max_load_n), &curve)
        {
            curve.is_confirmed_doubt = typed.has(&name("confirmed"));
            if !curve.is_confirmed_doubt {
                faults.push(name("confirmed"), question);
            }
        }
        found.push((Entry::CurveKept(Box::new(curve)), Some(reason)));
    }
    if found.is_empty() && faults.is_empty() {
        faults.push(
            "",
            "No curve was said to be of a piece, so nothing was kept.",
        );
    }
    faults.or(found)
}

/// What is wrong with the end that was said.
fn end_faults(typed: &Typed, place: usize, seen: &Seen, reason: &str) -> Faults {
    let mut faults = Faults::none();
    let field = format!("end-{place}");
    if typed.text(&field).is_empty() {
        return faults;
    }
    let lines = seen.read.as_ref().ok().map(|read| &read.curve.lines);
    let ends = lines.and_then(|lines| Some((*lines.first()?, *lines.last()?)));
    let (first, last) = ends.unwrap_or((1, 1));
    let is_inside = seen
        .end_line
        .is_some_and(|line| (first..=last).contains(&line));
    if !is_inside {
        faults.push(
            field,
            format!("The curve's lines run from {first} to {last}: say one of them."),
        );
    }
    if reason.is_empty() {
        faults.push(format!("reason-{place}"), "Say why the test ended there.");
    }
    faults
}

/// Asked when the load that was typed and the curve's are more than 1 % apart.
fn typed_question(typed_n: Option<f64>, curve: &KeptCurve) -> Option<String> {
    let typed_n = typed_n.filter(|typed_n| disagree(*typed_n, curve.max_load_n))?;
    Some(format!(
        "The curve's maximum is {} N, but {} N was typed for {}. Is the curve of another piece, or the \
         typed load wrong?",
        in_digits(curve.max_load_n, 5),
        in_digits(typed_n, 5),
        curve.blind,
    ))
}

/// A curve as the journal keeps it; `None` when it cannot be evaluated.
fn kept(
    blind: &Blind,
    file: &CurveFile,
    place: usize,
    seen: &Seen,
    typed: &Typed,
    piece: &BlindCode,
) -> Option<KeptCurve> {
    let read = seen.read.as_ref().ok()?;
    let marks = &read.marks;
    Some(KeptCurve {
        consignment: blind.id,
        blind: piece.clone(),
        file_sha256: crate::clock::hex(&file.sha256),
        file_name: file.name.clone(),
        place: u32::try_from(place).ok()?,
        said: curve_read::kept(typed, true),
        max_load_n: marks.maximum.load_n,
        extension_at_max_mm: marks.maximum.extension_mm,
        end_load_n: marks.end.load_n,
        extension_at_end_mm: marks.end.extension_mm,
        energy_to_max_j: marks.maximum.energy_j,
        energy_to_end_j: marks.end.energy_j,
        ended_at_line: seen.end_line,
        is_confirmed_doubt: false,
        end_reason: None,
        read: Some(read.reading.off.clone()),
    })
}

/// The curves of a file when nothing about them needs a person: every one is of a piece by its code,
/// none has a curve yet, none differs from its typed load, and nothing odd was found.
pub(super) fn without_question(
    blind: &Blind,
    file: &CurveFile,
    looked: &Looked,
    taken: &[BlindCode],
) -> Option<Vec<KeptCurve>> {
    let mut found: Vec<KeptCurve> = Vec::new();
    let typed = curve_read::said(&file.said);
    for (place, seen) in looked.curves.iter().enumerate() {
        let code = seen.piece.as_ref()?;
        let piece = blind.piece(code.as_str()).ok()?;
        let marks = &seen.read.as_ref().ok()?.marks;
        let is_plain = |finding: &Finding| {
            matches!(
                finding,
                Finding::Slack(_) | Finding::Turned | Finding::NoTravel | Finding::GaugeMissing
            )
        };
        let is_free = !taken.contains(code) && !found.iter().any(|curve| curve.blind == *code);
        let is_sure = marks.ending == Ending::Broke && marks.findings.iter().all(is_plain);
        if !is_free || !is_sure || seen.end_line.is_some() {
            return None;
        }
        let curve = kept(blind, file, place, seen, &typed, code)?;
        let typed_n = piece.test().and_then(|test| test.test.max_load_n);
        if typed_question(typed_n, &curve).is_some() {
            return None;
        }
        found.push(curve);
    }
    (!found.is_empty()).then_some(found)
}

/// Writes curves down, all or none; `false` when the journal refuses them.
pub(super) async fn submit(
    app: &App,
    blind: &Blind,
    lab: &LabAccess,
    curves: Vec<KeptCurve>,
) -> Result<bool, WebFault> {
    let mut fields = Typed::default();
    fields.set(act::ENTRY, act::fresh(app));
    let entries = curves
        .into_iter()
        .map(|curve| (Entry::CurveKept(Box::new(curve)), None));
    let sent = act::submit_all(app, &blind.acting(lab), &Fields(fields), entries.collect()).await;
    match sent {
        Ok(_) => Ok(true),
        Err(Declined::Form(_)) => Ok(false),
        Err(Declined::Fault(fault)) => Err(fault),
    }
}
