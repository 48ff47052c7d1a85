//! Before a round: what is measured, and on what. Chosen once; the round's address keeps it.

use super::piece_words::plan_of;
use crate::study::measured::Measured;
use crate::study::reading::{MoistureState, Occasion, Quantity};
use crate::study::record::StudyRecord;
use crate::study::round::{self, Progress};
use crate::study::typed::Typed;
use crate::study::units::Unit;
use crate::web::form::Form;
use crate::web::page::Chrome;
use askama::Template;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/round_choose.html")]
pub(super) struct ChoosePage {
    chrome: Chrome,
    record: Arc<StudyRecord>,
    has_plan: bool,
    occasions: Vec<OccasionLines>,
    /// The settings to choose, once quantity and occasion are.
    settings: Option<SettingsForm>,
    form: Form,
}

/// The rounds of one occasion.
struct OccasionLines {
    label: &'static str,
    lines: Vec<RoundLine>,
}

/// A round that can be begun.
struct RoundLine {
    label: String,
    href: String,
    progress: Progress,
}

/// The rest of the settings.
struct SettingsForm {
    label: String,
    form: Form,
    instruments: Vec<(String, String)>,
    units: Vec<(&'static str, &'static str)>,
    states: Vec<(&'static str, &'static str)>,
    reference: &'static str,
}

/// The page; `form` holds what is chosen already and what is wrong with it.
pub(super) fn page(chrome: Chrome, record: Arc<StudyRecord>, form: Form) -> ChoosePage {
    let settings = settings(&record, form.clone());
    ChoosePage {
        chrome: chrome.titled(format!("Measuring round · {}", record.title)),
        has_plan: record.plan().is_some(),
        occasions: if settings.is_some() {
            Vec::new()
        } else {
            occasions(&record)
        },
        settings,
        form,
        record,
    }
}

fn occasions(record: &StudyRecord) -> Vec<OccasionLines> {
    let Some(plan) = plan_of(record) else {
        return Vec::new();
    };
    let measured = Measured::of(record);
    let line = |quantity: Quantity, occasion: Occasion| {
        let kind = (quantity, occasion, plan.reference_state);
        let progress = round::progress(record, &measured, &kind);
        let quantity: String = kind.0.clone().into();
        let query = form_urlencoded::Serializer::new(String::new())
            .append_pair("quantity", &quantity)
            .append_pair("occasion", occasion.key())
            .finish();
        RoundLine {
            label: kind.0.label().to_owned(),
            href: format!("/desk/{}/round?{query}", record.slug),
            progress,
        }
    };
    let of = |occasion: Occasion| OccasionLines {
        label: occasion.label(),
        lines: plan
            .quantities()
            .into_iter()
            .map(|quantity| line(quantity, occasion))
            .filter(|line| line.progress.of > 0)
            .collect(),
    };
    Occasion::ALL.map(of).into()
}

/// The form for instrument, unit and state, when quantity and occasion are chosen and fit the plan.
fn settings(record: &StudyRecord, form: Form) -> Option<SettingsForm> {
    let plan = plan_of(record)?;
    let quantity = round::quantity(form.typed(), Some(plan)).ok()?;
    let occasion = Occasion::parse(form.typed().text("occasion"))?;
    let dimension = quantity.dimension();
    let fitting = record
        .instruments
        .iter()
        .filter(|i| i.dimension == dimension);
    let form = if form.has("instrument") || form.has("unit") {
        form
    } else {
        Form::filled(defaults(record, &quantity, occasion))
    };
    let states = MoistureState::ALL.map(|state| (state.key(), state.label()));
    Some(SettingsForm {
        label: format!("{}, {}", quantity.label(), occasion.label()),
        instruments: fitting
            .map(|i| (i.id.to_string(), i.name.clone()))
            .collect(),
        units: Unit::of(dimension)
            .map(|unit| (unit.key(), unit.symbol()))
            .collect(),
        states: states.into(),
        reference: plan.reference_state.label(),
        form,
    })
}

/// The rounds that can be begun now, as addresses with the settings that they most likely get: what a
/// device keeps for the time without a network.
pub(in crate::web) fn to_keep(record: &StudyRecord) -> Vec<String> {
    let Some(plan) = plan_of(record) else {
        return Vec::new();
    };
    let mut addresses = Vec::new();
    for quantity in plan.quantities() {
        for occasion in Occasion::ALL {
            if round::pool(record, occasion).is_empty() {
                continue;
            }
            let mut typed = defaults(record, &quantity, occasion);
            let dimension = quantity.dimension();
            let mut fitting = record.instruments.iter();
            let first = fitting.find(|instrument| instrument.dimension == dimension);
            if let Some(first) = first.filter(|_| !typed.has("instrument")) {
                typed.set("instrument", first.id.to_string());
            }
            let choice = [
                ("quantity", quantity.clone().into()),
                ("occasion", occasion.key().to_owned()),
            ];
            let query = form_urlencoded::Serializer::new(String::new())
                .extend_pairs(choice)
                .finish();
            addresses.push(format!("/desk/{}/round?{query}", record.slug));
            if let Ok(settings) = round::Settings::parse(&typed, record) {
                addresses.push(super::round::address(&record.slug, &settings, &[]));
            }
        }
    }
    addresses
}

/// What a round of this quantity was last taken with.
fn defaults(record: &StudyRecord, quantity: &Quantity, occasion: Occasion) -> Typed {
    let mut typed = Typed::default();
    typed.set("quantity", quantity.clone());
    typed.set("occasion", occasion.key());
    let last = record
        .readings
        .iter()
        .rev()
        .find(|r| r.reading.quantity == *quantity);
    if let Some(last) = last {
        typed.set("instrument", last.reading.instrument.to_string());
    }
    let unit = last.map_or(quantity.si_unit(), |last| last.reading.typed.unit);
    typed.set("unit", unit.key());
    if let Some(plan) = plan_of(record) {
        typed.set("state", plan.reference_state.key());
    }
    typed
}
