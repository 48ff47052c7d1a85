//! The drying of one piece: how it stands and what is wanting, the curve, the weighings, the dry mass.

use super::piece_words::{self, plan_of};
use super::specimen_show::SpecimenPath;
use super::{drying_data, drying_words};
use crate::report::chart::course::CourseChart;
use crate::report::chart::marks::LineKind;
use crate::report::drying::curve;
use crate::study::code::Code;
use crate::study::entry::Entry;
use crate::study::measured::Measured;
use crate::study::reading::{Occasion, Quantity, Reading};
use crate::study::record::{SpecimenRecord, Standing, StudyRecord};
use crate::study::when;
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

/// Pages of pieces that dry which a device keeps: a rack of them and some more. The round itself is kept whole.
const MOST_KEPT: usize = 60;

#[derive(Template)]
#[template(path = "steward/drying_show.html")]
struct DryingPiecePage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    code: Code,
    place: String,
    occasion: Occasion,
    state: String,
    wanting: Vec<String>,
    rule: String,
    /// Why the rule is overridden.
    overridden: Option<String>,
    /// Where salt or soil are in play: the mass as taken out, and when it was rinsed.
    rinsing: Option<Rinsing>,
    chart: Option<CourseChart>,
    lines: Vec<WeighingLine>,
    /// The last weighing, when it may be taken as the dry mass.
    take: Option<String>,
    /// The dry mass on record.
    taken: Option<String>,
    can_override: bool,
    /// Whether it dries now, so that it can be weighed.
    dries_now: bool,
    /// What the page's script goes on with, as JSON.
    data: String,
    form: Form,
}

/// The two masses of a piece that salt or soil may cling to.
struct Rinsing {
    as_taken_out: Option<String>,
    cleaned_on: Option<String>,
    round: String,
}

/// A weighing, ready to print.
struct WeighingLine {
    when: String,
    mass: String,
    balance: String,
    is_void: bool,
    is_confirmed_doubt: bool,
    void: Option<String>,
}

fn lines(record: &StudyRecord, code: &Code, occasion: Occasion) -> Vec<WeighingLine> {
    let own =
        record.drying.weighings.iter().filter(|found| {
            found.weighing.specimen == *code && found.weighing.occasion == occasion
        });
    own.map(|found| {
        let weighing = &found.weighing;
        let mut balances = record.instruments.iter();
        let balance = balances.find(|i| i.id == weighing.instrument);
        let is_void = found.standing != Standing::Current;
        WeighingLine {
            when: when::in_words(weighing.at, &record.time_zone),
            mass: format!("{} {}", weighing.typed.text, weighing.typed.unit.symbol()),
            balance: balance.map_or_else(String::new, |balance| balance.name.clone()),
            is_void,
            is_confirmed_doubt: weighing.is_confirmed_doubt,
            void: (!is_void).then(|| found.entry.to_string()),
        }
    })
    .collect()
}

/// The occasion to show: that on which it dries now, or the last one on which it dried.
fn occasion_of(record: &StudyRecord, piece: &SpecimenRecord) -> Option<Occasion> {
    drying_words::planned(record)?;
    let dried = |occasion: &Occasion| record.drying_of(&piece.code, *occasion).next().is_some();
    let now = drying_words::occasion(record, piece);
    now.or_else(|| Occasion::ALL.into_iter().rev().find(dried))
}

/// The first dry mass on record, as typed.
fn taken(record: &StudyRecord, code: &Code, occasion: Occasion) -> Option<String> {
    let (plan, drying) = drying_words::planned(record)?;
    let kind = (
        Quantity::Mass,
        occasion,
        drying.final_state(plan.reference_state),
    );
    let measured = Measured::of(record);
    let reading = &measured.readings(code, &kind).first()?.reading;
    Some(format!(
        "{} {}",
        reading.typed.text,
        reading.typed.unit.symbol()
    ))
}

fn page(
    chrome: Chrome,
    app: &App,
    record: Arc<StudyRecord>,
    code: &Code,
    form: Form,
) -> Result<DryingPiecePage, WebFault> {
    let piece = record.specimen(code).ok_or(WebFault::NotFound)?;
    let (plan, _) = drying_words::planned(&record).ok_or(WebFault::NotFound)?;
    let occasion = occasion_of(&record, piece).ok_or(WebFault::NotFound)?;
    let state = record.drying_state(code, occasion, app.clock.now());
    let state = state.ok_or(WebFault::NotFound)?;
    let dries_now = drying_words::occasion(&record, piece) == Some(occasion);
    let overridden = record.drying_override(code, occasion);
    let overridden = overridden.map(|found| found.reason.clone());
    let may_take = dries_now && (state.is_constant() || overridden.is_some());
    let taken = taken(&record, code, occasion);
    let last = record.drying_of(code, occasion).last();
    let last = last.map(|found| &found.weighing.typed);
    let take = last.filter(|_| may_take && taken.is_none());
    let is_rinsed = occasion == Occasion::After && drying_words::is_rinsed(plan, piece);
    Ok(DryingPiecePage {
        chrome: chrome.titled(format!("Drying of {code} · {}", record.title)),
        place: piece_words::place(plan_of(&record), piece.place.as_ref()),
        occasion,
        wanting: drying_words::wanting(&state, &record.time_zone),
        rule: crate::study::plan::words::drying(plan),
        rinsing: is_rinsed.then(|| Rinsing {
            as_taken_out: drying_words::as_taken_out(&record, piece),
            cleaned_on: drying_words::cleaned_on(&record, piece),
            round: drying_words::wet_round(&record),
        }),
        chart: curve(code.as_str(), &record.weighings_of(code, occasion)),
        lines: lines(&record, code, occasion),
        take: take.map(|typed| format!("{} {}", typed.text, typed.unit.symbol())),
        dries_now,
        can_override: dries_now && !state.is_constant() && overridden.is_none(),
        state: drying_words::state(&state, &record.time_zone),
        data: serde_json::json!(drying_data::of(&record)).to_string(),
        code: code.clone(),
        overridden,
        taken,
        record,
        form,
    })
}

/// The page.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    Path(path): Path<SpecimenPath>,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let code = path.find(&record)?.code.clone();
    let fresh = act::fresh(&app);
    let form = Form::filled([("entry", fresh.as_str())]);
    if record
        .specimen(&code)
        .and_then(|piece| occasion_of(&record, piece))
        .is_none()
    {
        // A piece that neither dries nor has dried: the list says which do.
        let on = format!("/desk/{}/drying", study.slug);
        return Ok(Moved::to(on).into_response());
    }
    Ok(Page::of(page(chrome, &app, record, &code, form)?).into_response())
}

/// The pages that a device keeps, each with what it depends on: those of the pieces that dry and have no dry
/// mass yet.
pub(in crate::web) fn to_keep(record: &StudyRecord) -> Vec<(String, String)> {
    let of = |(occasion, piece): (Occasion, &SpecimenRecord)| {
        let code = &piece.code;
        let weighings = record.drying.weighings.iter();
        let own = weighings.filter(|found| found.weighing.specimen == *code);
        let events = record.events.iter().filter(|found| found.specimen == *code);
        let on = format!(
            "{} {} {} {} {}",
            record.plans.len(),
            own.count(),
            record.drying_of(code, occasion).count(),
            events.count(),
            record.drying_override(code, occasion).is_some(),
        );
        (format!("/desk/{}/drying/{code}", record.slug), on)
    };
    let pieces = drying_words::drying(record).into_iter();
    let open = pieces.filter(|(occasion, piece)| taken(record, &piece.code, *occasion).is_none());
    open.take(MOST_KEPT).map(of).collect()
}

/// The last weighing as a reading of the dry mass.
fn reading(record: &StudyRecord, piece: &SpecimenRecord) -> Option<Reading> {
    let (plan, drying) = drying_words::planned(record)?;
    let occasion = drying_words::occasion(record, piece)?;
    let last = &record.drying_of(&piece.code, occasion).last()?.weighing;
    Some(Reading {
        specimen: piece.code.clone(),
        quantity: Quantity::Mass,
        occasion,
        repeat: 1,
        state: drying.final_state(plan.reference_state),
        value: last.mass_g,
        typed: last.typed.clone(),
        instrument: last.instrument,
        is_confirmed_doubt: last.is_confirmed_doubt,
    })
}

/// Takes the last weighing as the dry mass.
pub(in crate::web) async fn take(
    State(app): State<App>,
    chrome: Chrome,
    (steward, study): (Steward, StudyAccess),
    Path(path): Path<SpecimenPath>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let piece = path.find(&record)?;
    let code = piece.code.clone();
    let on = format!("/desk/{}/drying/{code}", study.slug);
    if act::is_done(&app, &fields).await? {
        return Ok(Moved::to(on).into_response());
    }
    if occasion_of(&record, piece).is_none() {
        return Ok(Moved::to(format!("/desk/{}/drying", study.slug)).into_response());
    }
    let Some(reading) = reading(&record, piece) else {
        let form = fields.again_with("", "There is no weighing to take.");
        let again = page(
            chrome,
            &app,
            Arc::clone(&record),
            &code,
            act::afresh(&app, &form),
        )?;
        return Ok(Page::refused(again).into_response());
    };
    let said = format!(
        "The dry mass of {code} is on record: {} {}.",
        reading.typed.text,
        reading.typed.unit.symbol()
    );
    let acting = Acting::steward(&steward, &study);
    let entry = Entry::ReadingTaken { reading };
    match act::submit(&app, &acting, &fields, entry, None).await {
        Ok(_) => Ok(Moved::to(on).saying(said).into_response()),
        Err(Declined::Form(form)) => {
            let again = page(chrome, &app, record, &code, act::afresh(&app, &form))?;
            Ok(Page::refused(again).into_response())
        }
        Err(Declined::Fault(fault)) => Err(fault),
    }
}
