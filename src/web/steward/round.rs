//! The measuring round on a phone: a code, one number, next. What stays the same is in the address.

use super::piece_words::plan_of;
use super::{round_choose, round_data, round_parse};
use crate::study::code::Code;
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::measured::{Kind, Measured};
use crate::study::plausibility::{Written, signed};
use crate::study::reading::{Occasion, Reading};
use crate::study::record::{ReadingRecord, Standing, StudyRecord};
use crate::study::round::{self, Progress, Settings};
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
#[template(path = "steward/round.html")]
struct RoundPage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    settings: Settings,
    form: Form,
    progress: Progress,
    /// The piece that the code field names, when it is one.
    piece: Option<PieceLine>,
    /// The siblings' spread in words.
    siblings: Option<String>,
    /// What the script needs, as JSON.
    data: String,
    /// The pieces that still lack a reading.
    missing: Vec<String>,
    /// What known thing the instrument is checked with.
    check_name: &'static str,
    /// The entry and the fields of the next check.
    check_entry: String,
    weight: Form,
    again: String,
    skip: Option<String>,
    /// The piece saved last, and where its reading is corrected.
    last: Option<(String, String)>,
}

/// The piece at hand.
struct PieceLine {
    code: String,
    origin: String,
    /// `reading 2 of 3`, where the plan calls for several.
    repeat: Option<String>,
}

/// The round, or the choice of one when the address holds none that fits.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    query: Query,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let typed = query.0;
    let settings = match Settings::parse(&typed, &record) {
        Ok(settings) if !typed.has("change") => settings,
        parsed => {
            // Only what was chosen already can be wrong.
            let begun = typed.has("instrument") && !typed.has("change");
            let faults = parsed.err().filter(|_| begun).unwrap_or_default();
            let form = Fields(typed).again(faults);
            return Ok(Page::of(round_choose::page(chrome, record, form)).into_response());
        }
    };
    let mut form = Typed::default();
    form.set("entry", act::fresh(&app));
    let measured = Measured::of(&record);
    let named: Option<Code> = typed.text("at").parse().ok();
    let after: Option<Code> = typed.text("after").parse().ok();
    let due = || round::next(&record, &measured, &settings.kind(), after.as_ref());
    let at = named.or_else(|| due().map(|piece| piece.code.clone()));
    form.set("code", at.map(String::from).unwrap_or_default());
    let page = page(&app, chrome, &record, settings, Form::filled(form));
    Ok(Page::of(page?).into_response())
}

fn page(
    app: &App,
    chrome: Chrome,
    record: &Arc<StudyRecord>,
    settings: Settings,
    form: Form,
) -> Result<RoundPage, WebFault> {
    let measured = Measured::of(record);
    let kind = settings.kind();
    let code: Option<Code> = form.value("code").parse().ok();
    let piece = code
        .as_ref()
        .and_then(|code| piece_line(record, &measured, &settings, code));
    let siblings = measured.siblings(code.as_ref(), &kind);
    let written = Written::new(settings.unit, settings.instrument.readability);
    let spread = siblings.map(|spread| {
        format!(
            "{} so far: median {}, from {} to {}",
            spread.n,
            written.words(spread.median),
            written.number(spread.smallest),
            written.words(spread.largest),
        )
    });
    let again = address(&record.slug, &settings, &[]);
    let data = round_data::of(record, &measured, &settings);
    Ok(RoundPage {
        chrome: chrome.titled(format!("Round: {}", settings.label())),
        progress: round::progress(record, &measured, &kind),
        data: serde_json::to_string(&data).map_err(WebFault::ours)?,
        missing: missing(record, &measured, &kind),
        check_name: round_data::check_name(settings.instrument.dimension),
        check_entry: act::fresh(app),
        weight: Form::filled(last_weight(record, &settings)),
        skip: piece
            .as_ref()
            .map(|piece| address(&record.slug, &settings, &[("after", &piece.code)])),
        siblings: spread,
        last: last(record, &settings),
        record: Arc::clone(record),
        piece,
        settings,
        form,
        again,
    })
}

/// The known value that this instrument was checked with last.
fn last_weight(record: &StudyRecord, settings: &Settings) -> Typed {
    let mut typed = Typed::default();
    let mut checks = record.checks.iter().rev();
    let last = checks.find(|found| {
        found.check.instrument == settings.instrument.id
            && found.check.nominal_typed.unit == settings.unit
    });
    if let Some(last) = last {
        typed.set("nominal", last.check.nominal_typed.text.clone());
    }
    typed
}

/// The codes that still lack a reading, in the order of the round.
fn missing(record: &StudyRecord, measured: &Measured<'_>, kind: &Kind) -> Vec<String> {
    let Some(plan) = plan_of(record) else {
        return Vec::new();
    };
    let pool = round::pool(record, kind.1).into_iter();
    pool.filter(|piece| measured.free_repeat(&piece.code, kind, plan).is_some())
        .map(|piece| piece.code.to_string())
        .collect()
}

/// The reading of this round that was saved last.
fn last(record: &StudyRecord, settings: &Settings) -> Option<(String, String)> {
    let found = last_of(record, settings)?;
    let href = format!("/desk/{}/readings/{}/correct", record.slug, found.entry);
    Some((found.reading.specimen.to_string(), href))
}

/// The last reading of the study, when it is of this round and counts.
pub(super) fn last_of<'r>(
    record: &'r StudyRecord,
    settings: &Settings,
) -> Option<&'r ReadingRecord> {
    let found = record.readings.last()?;
    let reading = &found.reading;
    let kind = (reading.quantity.clone(), reading.occasion, reading.state);
    Some(found).filter(|_| kind == settings.kind() && found.standing == Standing::Current)
}

fn piece_line(
    record: &StudyRecord,
    measured: &Measured<'_>,
    settings: &Settings,
    code: &Code,
) -> Option<PieceLine> {
    let (piece, plan) = (record.specimen(code)?, plan_of(record)?);
    let wanted = plan.readings_of(&settings.quantity);
    let repeat = measured.free_repeat(code, &settings.kind(), plan);
    Some(PieceLine {
        code: code.to_string(),
        origin: round_data::origin(piece),
        repeat: repeat
            .filter(|_| wanted > 1)
            .map(|n| format!("reading {n} of {wanted}")),
    })
}

/// The round's address with its settings.
pub(super) fn address(slug: &str, settings: &Settings, more: &[(&str, &str)]) -> String {
    let query = form_urlencoded::Serializer::new(String::new())
        .extend_pairs(settings.pairs())
        .extend_pairs(more)
        .finish();
    format!("/desk/{slug}/round?{query}")
}

/// Writes a reading down and goes on to the next piece.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let settings = match fields.read(|typed| Settings::parse(typed, &record)) {
        Ok(settings) => settings,
        Err(form) => {
            return Ok(Page::refused(round_choose::page(chrome, record, form)).into_response());
        }
    };
    // The repeat's number is found here, so a second sending of the form is looked up instead.
    if let Some(answer) = sent_before(&app, &record, &settings, &fields) {
        return Ok(match answer {
            Ok(reading) => onward(&record, &settings, &reading),
            Err(form) => {
                Page::refused(page(&app, chrome, &record, settings, form)?).into_response()
            }
        });
    }
    let done = match fields.read(|typed| round_parse::reading(typed, &record, &settings)) {
        Ok(reading) => {
            let entry = Entry::ReadingTaken {
                reading: reading.clone(),
            };
            let acting = Acting::steward(&steward, &study);
            let sent = act::submit(&app, &acting, &fields, entry, None).await;
            sent.map(|_| reading)
        }
        Err(form) => Err(Declined::Form(form)),
    };
    match done {
        Ok(reading) => {
            let record = study.record(&app).await?;
            Ok(onward(&record, &settings, &reading))
        }
        Err(Declined::Form(form)) => {
            Ok(Page::refused(page(&app, chrome, &record, settings, form)?).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}

/// What to answer when this form's entry is on record already: as the first time, or, when another
/// value was typed into a page that had done its work, the page again with a fresh entry.
fn sent_before(
    app: &App,
    record: &StudyRecord,
    settings: &Settings,
    fields: &Fields,
) -> Option<Result<Reading, Form>> {
    let typed = &fields.0;
    let id = act::entry_id(app, typed);
    let reading = &record.readings.iter().find(|r| r.entry == id)?.reading;
    let is_same = typed.text("code").parse().as_ref() == Ok(&reading.specimen)
        && typed.text("value") == reading.typed.text
        && settings.unit == reading.typed.unit;
    if is_same {
        return Some(Ok(reading.clone()));
    }
    let mut again = typed.clone();
    again.set("entry", act::fresh(app));
    let sentence = format!(
        "From this page {} {} was recorded for {} before, and that stands. Save again if this is \
         another reading; to mend the old one, correct it on the piece's page.",
        reading.typed.text,
        reading.typed.unit.symbol(),
        reading.specimen
    );
    Some(Err(Fields(again).again(Faults::one("value", sentence))))
}

/// To the next piece, or again to this one while readings of it are still due.
fn onward(record: &StudyRecord, settings: &Settings, reading: &Reading) -> Response {
    let measured = Measured::of(record);
    let kind = settings.kind();
    let code = &reading.specimen;
    let plan = plan_of(record);
    let is_due = plan.is_some_and(|plan| measured.free_repeat(code, &kind, plan).is_some());
    let key = if is_due { "at" } else { "after" };
    let next = address(&record.slug, settings, &[(key, code.as_str())]);
    let value = format!("{} {}", reading.typed.text, reading.typed.unit.symbol());
    let said = format!(
        "{code}: {value} recorded.{}",
        change(&measured, settings, reading)
    );
    Moved::to(next).saying(said).into_response()
}

/// How the piece changed since before exposure: said only now that the new value is on record.
fn change(measured: &Measured<'_>, settings: &Settings, reading: &Reading) -> String {
    if reading.occasion == Occasion::Before {
        return String::new();
    }
    let kind = (reading.quantity.clone(), Occasion::Before, reading.state);
    let Some(before) = measured.mean(&reading.specimen, &kind) else {
        return String::new();
    };
    let written = Written::new(settings.unit, settings.instrument.readability);
    let percent = 100.0 * (reading.value - before) / before;
    format!(
        " Before: {} ({} %).",
        written.words(before),
        signed(percent, 2)
    )
}
