//! The plan in words: what a steward reads before sealing it, and a stranger afterwards.

use super::{Condition, Covariate, EndOfTest, Plan, RetestRule, TestMethod};
use crate::study::plan::check::count;

/// One line of the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fact {
    /// What it is about.
    pub label: &'static str,
    /// What the plan says.
    pub words: String,
}

/// The whole plan as lines, in the order of its form. The conditions come as lines of their own
/// ([`condition`]).
#[must_use]
pub fn facts(plan: &Plan) -> Vec<Fact> {
    let mut facts = pieces(plan);
    facts.extend(readings(plan));
    facts.extend(numbers(plan));
    facts.extend(decision(plan));
    facts.retain(|fact| !fact.words.is_empty());
    facts
}

fn fact(label: &'static str, words: impl Into<String>) -> Fact {
    let words = words.into();
    Fact { label, words }
}

fn pieces(plan: &Plan) -> Vec<Fact> {
    let material = &plan.material;
    let parts = [&material.name, &material.maker, &material.colour];
    let parts: Vec<&str> = parts.into_iter().map(String::as_str).collect();
    let parts: Vec<&str> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    let density = material.density_g_cm3;
    vec![
        fact("Question", &plan.question),
        fact("Material", parts.join(", ")),
        fact(
            "Density",
            density.map_or(String::new(), |d| format!("{d} g/cm³")),
        ),
        fact("Lots", plan.lots.join("; ")),
        fact("Builds", plan.builds.join("; ")),
        fact(
            "Piece",
            format!("{} ({})", plan.form.piece_name, plan.form.shape.label()),
        ),
        fact("Loading direction", &plan.form.loading_direction),
        fact("Fixture", &plan.form.fixture),
        fact("End of a test", end_of_test(plan)),
        fact(
            "Test",
            plan.form
                .method
                .map(TestMethod::in_words)
                .unwrap_or_default(),
        ),
    ]
}

fn end_of_test(plan: &Plan) -> String {
    let figure = plan.form.end_figure.unwrap_or_default();
    match plan.form.end_of_test {
        EndOfTest::Break => "the piece breaks".to_owned(),
        EndOfTest::Drop => format!("the load drops by {figure} % from its peak"),
        EndOfTest::Opening => format!("the piece opens by {figure} mm"),
        EndOfTest::RigLimit => format!("the limit of the rig, {figure} N"),
    }
}

fn readings(plan: &Plan) -> Vec<Fact> {
    let mass = match plan.mass.readings {
        0 => "not weighed".to_owned(),
        1 => "weighed once each time".to_owned(),
        n => format!("weighed {n} times each time"),
    };
    let step = plan.mass.readability_g;
    let step = step.map_or(String::new(), |step| {
        format!(", balance in steps of {step} g")
    });
    let margin = match plan.mass.readings {
        0 => String::new(),
        _ => format!(
            ", changes within {} % do not matter",
            plan.mass.margin_percent
        ),
    };
    let dimension = |d: &super::DimensionPlan| match (d.places, d.nominal_mm) {
        (1, None) => format!("{} at one place", d.name),
        (1, Some(mm)) => format!("{} at one place ({mm} mm)", d.name),
        (n, None) => format!("{} at {n} places", d.name),
        (n, Some(mm)) => format!("{} at {n} places ({mm} mm)", d.name),
    };
    let dimensions: Vec<String> = plan.dimensions.iter().map(dimension).collect();
    vec![
        fact("Mass", format!("{mass}{step}{margin}")),
        fact("Dimensions", dimensions.join("; ")),
        fact("Moisture state", plan.reference_state.label()),
        fact("Rinsing, conditioning, drying", &plan.state_protocol),
        fact("When a piece is dry", drying(plan)),
    ]
}

/// The drying rule, and which masses it is for; empty without one.
#[must_use]
pub fn drying(plan: &Plan) -> String {
    let Some(drying) = &plan.drying else {
        return String::new();
    };
    let when = if drying.is_before_too {
        "The same before exposure and after it."
    } else {
        "For masses after exposure."
    };
    format!("{} {when}", drying.rule.words(plan.mass.margin_percent))
}

fn numbers(plan: &Plan) -> Vec<Fact> {
    let stage = |s: &super::Stage| format!("{} days (± {})", s.days, s.window_days);
    let stages: Vec<String> = plan.stages.iter().map(stage).collect();
    let count = count(plan);
    let pieces = format!(
        "{}: {} in conditions, {} in the baseline set, {} spare",
        count.total(),
        count.exposed,
        count.baseline,
        count.spares
    );
    vec![
        fact("Stages", stages.join("; ")),
        fact("Pieces", pieces),
        fact("Fewer than three holders because", &plan.few_holders_reason),
    ]
}

fn decision(plan: &Plan) -> Vec<Fact> {
    let primary = format!(
        "{} after {} days",
        plan.primary.label(),
        plan.primary_stage_days
    );
    let margin = match (plan.storage_control(), plan.margin_reason.as_str()) {
        (Some(_), "") => format!("±{} % of the storage control", plan.margin_percent),
        (None, "") => format!("±{} % of the baseline set", plan.margin_percent),
        (_, reason) => format!("±{} %, because: {reason}", plan.margin_percent),
    };
    let covariate = match &plan.covariate {
        Covariate::None => "none".to_owned(),
        Covariate::Before(quantity) => format!("{} before exposure", quantity.label()),
    };
    vec![
        fact("Primary response", primary),
        fact("Comparisons", comparisons(plan)),
        fact("Margin", margin),
        fact(
            "Intervals",
            format!(
                "{} % simultaneous, {}",
                plan.confidence_percent,
                plan.spreads.label()
            ),
        ),
        fact("Flagged values", plan.outlier_rule.label()),
        fact("Covariate", covariate),
        fact("Asked besides", asked_besides(plan)),
        fact(
            "Expected scatter",
            format!("CV {} %", plan.expected_cv_percent),
        ),
        fact(
            "Tests repeated",
            plan.retests.map(RetestRule::in_words).unwrap_or_default(),
        ),
        fact("Invalid, missing, stopped early", &plan.exceptions_rule),
    ]
}

/// What the plan wants to know beside the comparison; empty when nothing is.
fn asked_besides(plan: &Plan) -> String {
    let weibull = "Weibull shape and characteristic load of each set".to_owned();
    let retention = |percent: f64| format!("when {percent} % of the start are left");
    let asked = plan.asks_weibull.then_some(weibull);
    let asked = asked
        .into_iter()
        .chain(plan.retention_percent.map(retention));
    asked.collect::<Vec<String>>().join("; ")
}

fn comparisons(plan: &Plan) -> String {
    let mut pairs = Vec::new();
    if plan.storage_control().is_some() {
        pairs.push("exposed with the storage control of the same stage");
    }
    if plan.compares_storage_with_baseline && plan.storage_control().is_some() {
        pairs.push("the storage control with the baseline set");
    }
    if plan.compares_exposed_with_baseline || (pairs.is_empty() && plan.baseline > 0) {
        pairs.push("exposed with the baseline set");
    }
    if pairs.is_empty() {
        pairs.push("none: there is neither a storage control nor a baseline set");
    }
    pairs.join("; ")
}

/// A condition's holders, in words.
#[must_use]
pub fn holders(condition: &Condition) -> String {
    let names: Vec<&str> = condition.holders.iter().map(|h| h.name.as_str()).collect();
    names.join("; ")
}

/// A condition's pieces at each stage, in words: `6 at 180 days, 6 at 365 days`.
#[must_use]
pub fn pieces_per_stage(plan: &Plan, condition: &Condition) -> String {
    let stages = plan.stages.iter().zip(&condition.replicates);
    let words = stages.map(|(stage, n)| format!("{n} at {} days", stage.days));
    words.collect::<Vec<_>>().join(", ")
}
