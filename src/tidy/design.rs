//! Rows and wishes → the plan by which they are analysed. With an edition's whole plan that one holds,
//! and the rows must fit it; otherwise the plan is what the rows show.

use crate::study::plan::form::default_margin;
use crate::study::plan::{Covariate, Plan, Response, Shape};
use crate::study::reading::{Occasion, Quantity};
use crate::tidy::cell::quoted;
use crate::tidy::header::Columns;
use crate::tidy::problem::Problems;
use crate::tidy::row::Row;
use crate::tidy::shown::{has_stage, shown};
use crate::tidy::wishes::{self, Request, Wishes};

/// The plan, as far as one can be made; what is wrong is told.
pub fn plan(
    rows: &[Row],
    columns: &Columns,
    request: &Request,
    problems: &mut Problems,
) -> Option<Plan> {
    let mut plan = match &request.plan {
        Some(whole) => {
            fits(rows, whole, problems);
            whole.clone()
        }
        None => shown(rows, columns, &request.wishes, problems)?,
    };
    decide(
        &mut plan,
        columns,
        &request.wishes,
        request.plan.is_some(),
        problems,
    );
    can_be_asked(&plan, columns, problems);
    Some(plan)
}

/// Rows that a whole plan does not know.
fn fits(rows: &[Row], plan: &Plan, problems: &mut Problems) {
    let names: Vec<String> = plan.conditions.iter().map(|c| quoted(&c.name)).collect();
    let stages: Vec<String> = plan.stages.iter().map(|s| s.days.to_string()).collect();
    for row in rows.iter().filter(|row| has_stage(row)) {
        let name = row.condition.as_deref().unwrap_or_default();
        let Some(condition) = plan.conditions.iter().find(|c| c.name == name) else {
            let told = format!(
                "The plan has no condition {}; expected one of {}.",
                quoted(name),
                names.join(", ")
            );
            problems.line(row.line, told);
            continue;
        };
        if row
            .stage_days
            .is_some_and(|days| plan.stage(days).is_none())
        {
            let told = format!(
                "The plan has no stage of these days; expected one of {}.",
                stages.join(", ")
            );
            problems.line(row.line, told);
        }
        let is_known = |name: &String| condition.holders.iter().any(|h| h.name == *name);
        if let Some(name) = row.holder.as_ref().filter(|name| !is_known(name)) {
            let holders: Vec<String> = condition.holders.iter().map(|h| quoted(&h.name)).collect();
            let told = format!(
                "The plan has no holder {} in {}; expected one of {}.",
                quoted(name),
                quoted(&condition.name),
                holders.join(", ")
            );
            problems.line(row.line, told);
        }
    }
}

/// What the caller wants otherwise.
fn decide(
    plan: &mut Plan,
    columns: &Columns,
    wishes: &Wishes,
    is_whole: bool,
    problems: &mut Problems,
) {
    pieces(plan, wishes);
    if let Some(text) = &wishes.primary {
        match wishes::response(text) {
            Some(response) => plan.primary = response,
            None => problems.plan(
                "primary",
                format!(
                    "{} is no response; expected max_load, strength, mass_change or <dimension>_change.",
                    quoted(text)
                ),
            ),
        }
    }
    if plan.primary == Response::Strength
        && plan.form.shape == Shape::LoadOnly
        && wishes.shape.is_none()
    {
        plan.form.shape = shape(columns);
    }
    if let Some(text) = &wishes.covariate {
        match wishes::covariate(text) {
            Some(covariate) => plan.covariate = covariate,
            None => problems.plan("covariate", "Expected mass, a dimension, or none."),
        }
    }
    numbers(plan, wishes, is_whole, problems);
    choices(plan, wishes);
}

/// The figures of the decision, each within its bounds.
fn numbers(plan: &mut Plan, wishes: &Wishes, is_whole: bool, problems: &mut Problems) {
    let default = (!is_whole).then(|| default_margin(&plan.primary));
    if let Some(margin) = wishes.margin_percent.or(default) {
        plan.margin_percent = within("margin_percent", margin, 0.001, 90.0, problems);
    }
    if let Some(confidence) = wishes.confidence_percent {
        plan.confidence_percent = within("confidence_percent", confidence, 50.0, 99.9, problems);
    }
    if let Some(cv) = wishes.expected_cv_percent {
        plan.expected_cv_percent = within("expected_cv_percent", cv, 0.01, 100.0, problems);
    }
    if let Some(retention) = wishes.retention_percent {
        let retention = within("retention_percent", retention, 1.0, 99.0, problems);
        plan.retention_percent = Some(retention);
    }
    for (key, step) in [
        ("balance_readability_g", wishes.balance_readability_g),
        ("calliper_readability_mm", wishes.calliper_readability_mm),
    ] {
        if let Some(step) = step {
            within(key, step, 1e-9, 1e3, problems);
        }
    }
}

/// The choices of the decision.
fn choices(plan: &mut Plan, wishes: &Wishes) {
    plan.primary_stage_days = wishes.primary_stage_days.unwrap_or(plan.primary_stage_days);
    plan.asks_weibull = wishes.asks_weibull.unwrap_or(plan.asks_weibull);
    plan.spreads = wishes.spreads.unwrap_or(plan.spreads);
    plan.outlier_rule = wishes.outlier_rule.unwrap_or(plan.outlier_rule);
    plan.reference_state = wishes.reference_state.unwrap_or(plan.reference_state);
    let storage = wishes.compares_storage_with_baseline;
    plan.compares_storage_with_baseline = storage.unwrap_or(plan.compares_storage_with_baseline);
    let exposed = wishes.compares_exposed_with_baseline;
    plan.compares_exposed_with_baseline = exposed.unwrap_or(plan.compares_exposed_with_baseline);
}

fn pieces(plan: &mut Plan, wishes: &Wishes) {
    let set = |field: &mut String, wish: &Option<String>| {
        if let Some(text) = wish {
            field.clone_from(text);
        }
    };
    set(&mut plan.question, &wishes.question);
    set(&mut plan.form.piece_name, &wishes.piece);
    set(&mut plan.material.name, &wishes.material);
    set(&mut plan.margin_reason, &wishes.margin_reason);
    plan.form.shape = wishes.shape.unwrap_or(plan.form.shape);
    plan.form.end_of_test = wishes.end_of_test.unwrap_or(plan.form.end_of_test);
}

/// The shape whose section the file's dimensions give.
fn shape(columns: &Columns) -> Shape {
    let has = |name: &str| columns.reads(&Quantity::Length(name.to_owned()), Occasion::Before);
    if has("width") && has("thickness") {
        Shape::Rectangular
    } else if has("diameter") {
        Shape::Round
    } else {
        Shape::LoadOnly
    }
}

fn within(key: &str, value: f64, from: f64, to: f64, problems: &mut Problems) -> f64 {
    if !(from..=to).contains(&value) {
        problems.plan(
            key,
            format!("{value} is out of range; expected {from} to {to}."),
        );
    }
    value
}

/// Whether the file has what the plan asks.
fn can_be_asked(plan: &Plan, columns: &Columns, problems: &mut Problems) {
    let before = |q: &Quantity| columns.reads(q, Occasion::Before);
    let both = |q: &Quantity| before(q) && columns.reads(q, Occasion::After);
    let section = plan.form.shape.section_dimensions();
    let lacks = |name: &&&str| !before(&Quantity::Length((**name).to_owned()));
    if let Some(missing) = section.iter().find(lacks) {
        let told = format!("This shape needs a column {missing}_before_mm, and there is none.");
        problems.plan("shape", told);
    }
    let sentence = match &plan.primary {
        Response::Strength if plan.form.shape == Shape::LoadOnly => {
            "A strength needs a section; expected width_before_mm and thickness_before_mm, or \
             diameter_before_mm."
        }
        Response::Read(property) if !columns.has(*property) => {
            "The file does not have this property; expected a column such as modulus_mpa."
        }
        Response::MaxLoad | Response::Strength if !columns.has_load() => {
            "The file has no loads; expected a column such as max_load_n."
        }
        Response::MassChange if !both(&Quantity::Mass) => {
            "The file does not have both masses; expected mass_before_g and mass_after_g."
        }
        Response::LengthChange(name) if !both(&Quantity::Length(name.clone())) => {
            "The file does not have this dimension before and after exposure."
        }
        _ => "",
    };
    if !sentence.is_empty() {
        problems.plan("primary", sentence);
    }
    if plan.stage(plan.primary_stage_days).is_none() && !plan.stages.is_empty() {
        let days: Vec<String> = plan.stages.iter().map(|s| s.days.to_string()).collect();
        let told = format!(
            "There is no such stage; expected one of {}.",
            days.join(", ")
        );
        problems.plan("primary_stage_days", told);
    }
    let Covariate::Before(quantity) = &plan.covariate else {
        return;
    };
    let is_own = match (&plan.primary, quantity) {
        (Response::MassChange, Quantity::Mass) => true,
        (Response::LengthChange(name), Quantity::Length(own)) => name == own,
        _ => false,
    };
    if is_own {
        problems.plan("covariate", "A reading cannot adjust its own change.");
    } else if !before(quantity) {
        let told = "The file has no such reading before exposure.";
        problems.plan("covariate", told);
    }
}
