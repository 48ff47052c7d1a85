//! The form filled: with a plan, or with the defaults for a new one.

use crate::study::plan::{DryingKind, DryingPlan, DryingRule, Plan, SameBatch, TestMethod};
use crate::study::typed::Typed;

/// The form filled with a plan.
#[must_use]
pub fn filled(plan: &Plan) -> Typed {
    let mut form = Typed::default();
    pieces(plan, &mut form);
    rows(plan, &mut form);
    form.set("baseline", plan.baseline.to_string());
    form.set("spares", plan.spares.to_string());
    form.set("reference_state", plan.reference_state.key());
    form.set("state_protocol", &plan.state_protocol);
    drying(plan.drying.as_ref(), &mut form);
    form.set("few_holders_reason", &plan.few_holders_reason);
    decision(plan, &mut form);
    let retests = plan.retests.map_or("none", |rule| rule.sets.key());
    form.set("retests", retests);
    let batch = plan.retests.map_or(SameBatch::Build, |rule| rule.batch);
    form.set("retest_batch", batch.key());
    form.set("exceptions_rule", &plan.exceptions_rule);
    form
}

/// The rule that holds; the fields of the other rules keep their usual figures.
fn drying(plan: Option<&DryingPlan>, form: &mut Typed) {
    usual_drying(form);
    let Some(plan) = plan else { return };
    form.set("drying", plan.rule.kind().key());
    form.set("drying_before", if plan.is_before_too { "yes" } else { "" });
    match plan.rule {
        DryingRule::ConstantMass {
            share_percent,
            days,
            apart_hours,
            divisor,
        } => {
            form.set("drying_share", share_percent.to_string());
            form.set("drying_days", days.to_string());
            form.set("drying_apart", apart_hours.to_string());
            form.set("drying_divisor", divisor.to_string());
        }
        DryingRule::RoomDry { days } => form.set("drying_days", days.to_string()),
        DryingRule::ThreeWeighings {
            apart_hours,
            percent,
        } => {
            form.set("drying_apart", apart_hours.to_string());
            form.set("drying_percent", percent.to_string());
        }
    }
}

fn usual_drying(form: &mut Typed) {
    form.set("drying", DryingKind::None.key());
    form.set("drying_before", "yes");
    for field in super::drying::FIGURES {
        form.set(field, "");
    }
}

fn pieces(plan: &Plan, form: &mut Typed) {
    form.set("question", &plan.question);
    form.set("material", &plan.material.name);
    form.set("maker", &plan.material.maker);
    form.set("colour", &plan.material.colour);
    form.set("density", figure(plan.material.density_g_cm3));
    form.set("lots", plan.lots.join("\n"));
    form.set("builds", plan.builds.join("\n"));
    form.set("shape", plan.form.shape.key());
    form.set("piece_name", &plan.form.piece_name);
    form.set("end_of_test", plan.form.end_of_test.key());
    form.set("end_figure", figure(plan.form.end_figure));
    form.set("loading_direction", &plan.form.loading_direction);
    form.set("fixture", &plan.form.fixture);
    method(plan.form.method, form);
    form.set("mass_readings", plan.mass.readings.to_string());
    form.set("mass_nominal", figure(plan.mass.nominal_g));
    form.set("mass_readability", figure(plan.mass.readability_g));
    form.set("mass_margin", plan.mass.margin_percent.to_string());
}

fn method(method: Option<TestMethod>, form: &mut Typed) {
    let Some(method) = method else {
        form.set("test_kind", "");
        return;
    };
    form.set("test_kind", method.kind.key());
    form.set("sizes_at", method.sizes_at.key());
    form.set("modulus_by", method.modulus_by.key());
    form.set("span", figure(method.span_mm));
    form.set("grips", figure(method.grips_mm));
    form.set("gauge", figure(method.gauge_mm));
    form.set("length_step", figure(method.step_mm));
}

fn rows(plan: &Plan, form: &mut Typed) {
    for dimension in &plan.dimensions {
        form.add("dimension_name", &dimension.name);
        form.add("dimension_places", dimension.places.to_string());
        form.add("dimension_nominal", figure(dimension.nominal_mm));
    }
    for stage in &plan.stages {
        form.add("stage_days", stage.days.to_string());
        form.add("stage_window", stage.window_days.to_string());
    }
    form.set("condition_control", "none");
    for (row, condition) in plan.conditions.iter().enumerate() {
        let holders: Vec<&str> = condition.holders.iter().map(|h| h.name.as_str()).collect();
        form.add("condition_key", &condition.key);
        form.add("condition_name", &condition.name);
        form.add("condition_environment", condition.environment.key());
        form.add("condition_place", &condition.place);
        form.add("condition_holders", holders.join("; "));
        form.add("condition_replicates", replicates(&condition.replicates));
        let renewal = condition.renew_days.map(|days| days.to_string());
        form.add("condition_renew", renewal.unwrap_or_default());
        if condition.is_storage_control {
            form.set("condition_control", (row + 1).to_string());
        }
    }
}

/// One number when every stage has the same, else one for each.
fn replicates(numbers: &[u32]) -> String {
    match numbers {
        [first, rest @ ..] if rest.iter().all(|n| n == first) => first.to_string(),
        several => several
            .iter()
            .map(u32::to_string)
            .collect::<Vec<_>>()
            .join(", "),
    }
}

fn decision(plan: &Plan, form: &mut Typed) {
    form.set("primary", plan.primary.key());
    form.set("primary_stage", plan.primary_stage_days.to_string());
    let ticked = |yes: bool| if yes { "yes" } else { "" };
    let with_storage = ticked(plan.compares_storage_with_baseline);
    form.set("compares_storage_with_baseline", with_storage);
    let with_exposed = ticked(plan.compares_exposed_with_baseline);
    form.set("compares_exposed_with_baseline", with_exposed);
    form.set("margin", plan.margin_percent.to_string());
    form.set("margin_reason", &plan.margin_reason);
    form.set("confidence", plan.confidence_percent.to_string());
    form.set("spreads", plan.spreads.key());
    form.set("outlier_rule", plan.outlier_rule.key());
    form.set("covariate", String::from(plan.covariate.clone()));
    form.set("asks_weibull", ticked(plan.asks_weibull));
    form.set("retention", figure(plan.retention_percent));
    form.set("expected_cv", plan.expected_cv_percent.to_string());
}

fn figure(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

/// A new plan's form: the usual small design, one stage of a year, six pieces a group, the baseline
/// set as large (common practice, no source).
#[must_use]
pub fn blank() -> Typed {
    let mut form = Typed::from([
        ("shape", "load_only"),
        ("end_of_test", "break"),
        ("mass_readings", "2"),
        ("mass_margin", "0.5"),
        ("reference_state", "conditioned"),
        ("stage_days", "365"),
        ("stage_window", "7"),
        ("condition_key", ""),
        ("condition_name", "indoors"),
        ("condition_environment", "indoor"),
        ("condition_place", ""),
        ("condition_holders", "3"),
        ("condition_replicates", "6"),
        ("condition_renew", ""),
        ("condition_control", "1"),
        ("baseline", "6"),
        ("spares", "4"),
        ("primary", "max_load"),
        ("margin", "10"),
        ("confidence", "95"),
        ("spreads", "separate"),
        ("outlier_rule", "grubbs_1"),
        ("covariate", "none"),
        ("expected_cv", "5"),
        ("retests", "baseline"),
        ("retest_batch", "build"),
    ]);
    usual_drying(&mut form);
    // A mass is read, and a piece that comes back wet must not be weighed wet: room-dry asks for nothing
    // but a room, and keeps the state in which this plan compares pieces.
    form.set("drying", DryingKind::RoomDry.key());
    form.set("drying_before", "");
    form.set("compares_storage_with_baseline", "yes");
    form.set("compares_exposed_with_baseline", "yes");
    form
}
