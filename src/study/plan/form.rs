//! The plan as a form: from what was typed to a [`Plan`] ([`parse`]), and back for showing it again
//! ([`filled`], [`blank`]).
//!
//! Repeated rows (dimensions, stages, conditions) are fields of the same name, aligned by position; a
//! row without its first field is left out. A mistake in a row names the field with the row's number
//! from 1: `stage_days-2`.

mod conditions;
mod consistent;
mod decision;
mod drying;
mod fill;
mod piece;
mod rows;
mod stages;

pub use fill::{blank, filled};
pub use rows::{ROW_FIELDS, row_field};

use super::check::Count;
use super::{Plan, Response, RetestRule, RetestSets, SameBatch};
use crate::study::fault::{Fault, Faults};
use crate::study::reading::MoistureState;
use crate::study::typed::{Typed, clean};
use crate::study::units::whole;

/// Most pieces of a baseline set, and most spares.
const MOST_ASIDE: u32 = 5_000;

/// The fields in the order of the page, so that the cursor goes to the first one that is wrong.
const ORDER: &[&str] = &[
    "question",
    "material",
    "maker",
    "colour",
    "density",
    "lots",
    "builds",
    "piece_name",
    "shape",
    "loading_direction",
    "fixture",
    "end_of_test",
    "end_figure",
    "test_kind",
    "sizes_at",
    "modulus_by",
    "span",
    "grips",
    "gauge",
    "length_step",
    "mass_readings",
    "mass_nominal",
    "mass_readability",
    "mass_margin",
    "dimension_name",
    "dimension_places",
    "dimension_nominal",
    "reference_state",
    "state_protocol",
    "drying",
    "drying_share",
    "drying_days",
    "drying_apart",
    "drying_divisor",
    "drying_percent",
    "drying_before",
    "stage_days",
    "stage_window",
    "condition_name",
    "condition_environment",
    "condition_place",
    "condition_holders",
    "condition_replicates",
    "condition_control",
    "few_holders_reason",
    "baseline",
    "spares",
    "primary",
    "primary_stage",
    "margin",
    "margin_reason",
    "confidence",
    "spreads",
    "compares_storage_with_baseline",
    "compares_exposed_with_baseline",
    "outlier_rule",
    "covariate",
    "asks_weibull",
    "retention",
    "expected_cv",
    "retests",
    "retest_batch",
    "exceptions_rule",
];

/// Default margins in % of the storage control, by response (common practice, no source).
#[must_use]
pub fn default_margin(response: &Response) -> f64 {
    if response.needs_breaking() { 10.0 } else { 0.5 }
}

/// Reads a plan. `known` is the plan that holds, whose conditions and holders keep their keys.
///
/// # Errors
/// Every mistake at once, in the order of the form.
pub fn parse(typed: &Typed, known: Option<&Plan>) -> Result<Plan, Faults> {
    let mut faults = Faults::none();
    let plan = read(typed, known, &mut faults);
    if let Some(plan) = &plan {
        consistent::check(plan, &mut faults);
    }
    faults.0.sort_by_key(|fault| page_position(&fault.field));
    faults.and_some(plan)
}

/// How many pieces the form adds up to as far as it can be read, whatever else is wrong with it.
#[must_use]
pub fn count(typed: &Typed) -> Count {
    let unheard = &mut Faults::none();
    let stages = stages::read(typed, unheard);
    let conditions = conditions::read(typed, stages.len(), None, unheard);
    let aside = |field| whole(field, "", typed.text(field), 0, MOST_ASIDE).unwrap_or(0);
    Count {
        exposed: conditions.iter().flat_map(|c| &c.replicates).sum(),
        baseline: aside("baseline"),
        spares: aside("spares"),
    }
}

fn page_position(field: &str) -> (usize, usize) {
    let (name, row) = field.split_once('-').unwrap_or((field, "0"));
    let position = ORDER.iter().position(|known| *known == name);
    (position.unwrap_or(ORDER.len()), row.parse().unwrap_or(0))
}

fn read(typed: &Typed, known: Option<&Plan>, faults: &mut Faults) -> Option<Plan> {
    let question = faults.keep(asked(typed));
    let material = piece::material(typed, faults);
    let lots = names(typed, "lots", "A lot", faults);
    let builds = names(typed, "builds", "A build", faults);
    let form = piece::specimen_form(typed, faults);
    let mass = piece::mass(typed, faults);
    let dimensions = piece::dimensions(typed, faults);
    let state = typed.text("reference_state");
    let state = MoistureState::typed("reference_state", "The moisture state", state);
    let reference_state = faults.keep(state);
    let state_protocol = faults.keep(typed.paragraph("state_protocol", "The protocol"));
    let drying = drying::read(typed, faults);
    let stages = stages::read(typed, faults);
    let conditions = conditions::read(typed, stages.len(), known, faults);
    let few_holders_reason = faults.keep(typed.paragraph("few_holders_reason", "The reason"));
    let baseline = aside(typed, "baseline", "The baseline set", faults);
    let spares = aside(typed, "spares", "The number of spares", faults);
    let decision = decision::read(typed, &stages, faults);
    let retests = faults.keep(retests(typed));
    let exceptions_rule = faults.keep(typed.paragraph("exceptions_rule", "The rule"));
    let decision = decision?;
    Some(Plan {
        question: question?,
        material: material?,
        lots,
        builds,
        form: form?,
        dimensions,
        mass: mass?,
        conditions,
        stages,
        baseline: baseline?,
        spares: spares?,
        reference_state: reference_state?,
        state_protocol: state_protocol?,
        drying: drying?,
        primary: decision.primary,
        primary_stage_days: decision.stage_days,
        compares_storage_with_baseline: typed.has("compares_storage_with_baseline"),
        compares_exposed_with_baseline: typed.has("compares_exposed_with_baseline"),
        margin_percent: decision.margin_percent,
        margin_reason: decision.margin_reason,
        confidence_percent: decision.confidence_percent,
        spreads: decision.spreads,
        outlier_rule: decision.outlier_rule,
        covariate: decision.covariate,
        asks_weibull: typed.has("asks_weibull"),
        retention_percent: decision.retention_percent,
        expected_cv_percent: decision.expected_cv_percent,
        few_holders_reason: few_holders_reason?,
        retests: retests?,
        exceptions_rule: exceptions_rule?,
    })
}

fn asked(typed: &Typed) -> Result<String, Fault> {
    match typed.paragraph("question", "The question")? {
        empty if empty.is_empty() => Err(Fault::new("question", "The question is missing.")),
        question => Ok(question),
    }
}

/// `Ok(None)` where no test is repeated.
fn retests(typed: &Typed) -> Result<Option<RetestRule>, Fault> {
    let sets = or_default(typed.text("retests"), "none");
    if sets == "none" {
        return Ok(None);
    }
    let sets = RetestSets::typed("retests", "What is repeated", sets)?;
    let batch = or_default(typed.text("retest_batch"), SameBatch::Build.key());
    let batch = SameBatch::typed("retest_batch", "The batch", batch)?;
    Ok(Some(RetestRule { sets, batch }))
}

fn aside(typed: &Typed, field: &str, called: &str, faults: &mut Faults) -> Option<u32> {
    faults.keep(whole(field, called, typed.text(field), 0, MOST_ASIDE))
}

/// A list of names, one a line or parted by semicolons; at least one, none twice.
fn names(typed: &Typed, field: &str, called: &str, faults: &mut Faults) -> Vec<String> {
    let Some(text) = faults.keep(typed.paragraph(field, called)) else {
        return Vec::new();
    };
    let mut names: Vec<String> = Vec::new();
    let parts = text.split(['\n', ';']).map(str::trim);
    for name in parts.filter(|name| !name.is_empty()) {
        let Some(name) = faults.keep(clean(field, called, name, 80)) else {
            continue;
        };
        if names.iter().any(|known| known.eq_ignore_ascii_case(&name)) {
            faults.push(
                field,
                format!("{called} named “{name}” stands there twice."),
            );
        } else {
            names.push(name);
        }
    }
    match names.len() {
        0 => faults.push(field, format!("{called} is missing: name at least one.")),
        1..=500 => {}
        _ => faults.push(field, format!("{called}: at most 500 names.")),
    }
    names
}

fn within(field: &str, value: f64, from: f64, to: f64) -> Result<f64, Fault> {
    if (from..=to).contains(&value) {
        Ok(value)
    } else {
        Err(Fault::new(
            field,
            format!("This must lie between {from} and {to}."),
        ))
    }
}

fn within_if_given(
    field: &str,
    value: Option<f64>,
    from: f64,
    to: f64,
) -> Result<Option<f64>, Fault> {
    value
        .map(|value| within(field, value, from, to))
        .transpose()
}

fn or_default<'a>(text: &'a str, default: &'a str) -> &'a str {
    if text.is_empty() { default } else { text }
}

#[cfg(test)]
mod tests;
