//! The part of the form about how the answer is decided.

use super::{or_default, within};
use crate::study::fault::{Fault, Faults};
use crate::study::plan::form::default_margin;
use crate::study::plan::{Covariate, OutlierRule, Response, Spreads, Stage};
use crate::study::typed::Typed;
use crate::study::units::{number, positive, whole};

/// How the answer is decided.
pub(super) struct Decision {
    pub(super) primary: Response,
    pub(super) stage_days: u32,
    pub(super) margin_percent: f64,
    pub(super) margin_reason: String,
    pub(super) confidence_percent: f64,
    pub(super) spreads: Spreads,
    pub(super) outlier_rule: OutlierRule,
    pub(super) covariate: Covariate,
    pub(super) retention_percent: Option<f64>,
    pub(super) expected_cv_percent: f64,
}

pub(super) fn read(typed: &Typed, stages: &[Stage], faults: &mut Faults) -> Option<Decision> {
    let response = Response::parse(typed.text("primary"));
    let response = response.ok_or_else(|| Fault::new("primary", "Choose the primary response."));
    let primary = faults.keep(response);
    let stage_days = faults.keep(primary_stage(typed, stages));
    let margin_percent = faults.keep(margin(typed, primary.as_ref()));
    let margin_reason = faults.keep(typed.line("margin_reason", "The reason for the margin"));
    let confidence = or_default(typed.text("confidence"), "95");
    let confidence = number("confidence", "The confidence", confidence);
    let confidence = confidence.and_then(|percent| within("confidence", percent, 50.0, 99.9));
    let confidence_percent = faults.keep(confidence);
    let spreads = or_default(typed.text("spreads"), "separate");
    let spreads = faults.keep(Spreads::typed("spreads", "The spreads", spreads));
    let rule = or_default(typed.text("outlier_rule"), "none");
    let outlier_rule = faults.keep(OutlierRule::typed("outlier_rule", "The outlier rule", rule));
    let covariate = Covariate::try_from(or_default(typed.text("covariate"), "none").to_owned());
    let covariate = covariate.map_err(|_| Fault::new("covariate", "Choose a covariate or none."));
    let covariate = faults.keep(covariate);
    let retention_percent = faults.keep(retention(typed));
    let cv = or_default(typed.text("expected_cv"), "5");
    let cv = positive("expected_cv", "The expected scatter", cv);
    let expected_cv_percent = faults.keep(cv.and_then(|cv| within("expected_cv", cv, 0.01, 100.0)));
    Some(Decision {
        primary: primary?,
        stage_days: stage_days?,
        margin_percent: margin_percent?,
        margin_reason: margin_reason?,
        confidence_percent: confidence_percent?,
        spreads: spreads?,
        outlier_rule: outlier_rule?,
        covariate: covariate?,
        retention_percent: retention_percent?,
        expected_cv_percent: expected_cv_percent?,
    })
}

/// The last stage, unless another one is named.
fn primary_stage(typed: &Typed, stages: &[Stage]) -> Result<u32, Fault> {
    let last = stages
        .last()
        .map_or(String::new(), |stage| stage.days.to_string());
    let text = or_default(typed.text("primary_stage"), &last);
    if text.is_empty() {
        // No stage was named at all, which is said beside the stages.
        return Ok(0);
    }
    whole("primary_stage", "The primary stage", text, 1, 36_525)
}

/// None, unless one is typed; all or nothing is no retention whose time could be asked for.
fn retention(typed: &Typed) -> Result<Option<f64>, Fault> {
    let text = typed.text("retention");
    if text.is_empty() {
        return Ok(None);
    }
    let percent = positive("retention", "The retention", text)?;
    within("retention", percent, 1.0, 99.0).map(Some)
}

/// The default of the response, unless another one is typed.
fn margin(typed: &Typed, primary: Option<&Response>) -> Result<f64, Fault> {
    let default = primary.map_or(10.0, default_margin).to_string();
    let margin = positive(
        "margin",
        "The margin",
        or_default(typed.text("margin"), &default),
    )?;
    within("margin", margin, 0.001, 90.0)
}
