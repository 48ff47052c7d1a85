//! The comparison that decides, adjusted for a reading from before exposure where the plan asks for
//! it (practice.md §3.8): one slope common to all groups, said so; the unadjusted result stands beside.

use serde::{Deserialize, Serialize};

use crate::analysis::arm::Arm;
use crate::analysis::compare::{Results, Settings};
use crate::analysis::comparison::{Method, Unit};
use crate::stats::adjusted_ratio::{self, AdjustedFamily};
use crate::stats::covariate::{self, Group};
use crate::stats::refusal::Refusal;
use crate::stats::sample::Spread;
use crate::study::plan::{Covariate, Plan, Response, Spreads};
use crate::study::reading::Quantity;

/// What a comparison was adjusted for, or why it was not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Adjustment {
    /// What was read before exposure.
    pub quantity: Quantity,
    /// The common slope; `None` when the comparison could not be adjusted.
    pub slope: Option<Slope>,
    /// Values left out because the reading is missing.
    pub left_out: usize,
    /// Why the comparison is not adjusted.
    pub none: Option<String>,
}

/// A slope common to all groups.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Slope {
    /// In units of the response for each g or mm.
    pub estimate: f64,
    /// Lower end of its interval, at the plan's confidence and by itself.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
    /// Mean of the reading over all groups, in g or mm: the groups are compared there.
    pub at: f64,
    /// p of "the slope is common to all groups" (common spread); `None` without degrees of freedom.
    pub p_common: Option<f64>,
}

/// What the plan asks to adjust its primary comparison for: never a quantity for its own change.
#[must_use]
pub fn asked(plan: &Plan) -> Option<&Quantity> {
    let Covariate::Before(quantity) = &plan.covariate else {
        return None;
    };
    let is_own = match (&plan.primary, quantity) {
        (Response::MassChange, Quantity::Mass) => true,
        (Response::LengthChange(name), Quantity::Length(other)) => name == other,
        _ => false,
    };
    (!is_own).then_some(quantity)
}

/// The adjusted comparison of these arms with the reference, or why there is none.
pub(super) fn adjust(
    reference: &Arm,
    arms: &[&Arm],
    method: Method,
    quantity: &Quantity,
    settings: Settings<'_>,
) -> Result<(Adjustment, Results), Adjustment> {
    let all = || std::iter::once(reference).chain(arms.iter().copied());
    let left_out = all().map(Arm::without_covariate).sum();
    let not = |why: String| Adjustment {
        quantity: quantity.clone(),
        slope: None,
        left_out: 0,
        none: Some(why),
    };
    if method.unit == Unit::Mixed {
        return Err(not(
            "some conditions rest on holders and some on pieces".to_owned()
        ));
    }
    let units: Vec<(Vec<f64>, Vec<f64>)> = all().map(Arm::units_with_covariate).collect();
    let groups: Vec<Group<'_>> = units.iter().map(|(y, x)| Group { y, x }).collect();
    let spread = match method.spreads {
        Spreads::Pooled => Spread::Pooled,
        Spreads::Separate => Spread::Separate,
    };
    let fitted = adjusted_ratio::fit(&groups, spread, settings.confidence)
        .map_err(|refusal| not(reason(refusal, quantity)))?;
    let adjustment = Adjustment {
        quantity: quantity.clone(),
        slope: Some(slope(&fitted, &groups, settings.confidence)),
        left_out,
        none: None,
    };
    let ratios = (!settings.is_change).then(|| fitted.ratios());
    Ok((adjustment, Ok((ratios, fitted.differences()))))
}

fn slope(fitted: &AdjustedFamily, groups: &[Group<'_>], confidence: f64) -> Slope {
    let looked = covariate::adjusted(groups, confidence).ok();
    Slope {
        estimate: fitted.slope,
        lower: fitted.slope_interval.lower,
        upper: fitted.slope_interval.upper,
        at: fitted.covariate_mean,
        p_common: looked.and_then(|found| found.common_slope).map(|(_, p)| p),
    }
}

fn reason(refusal: Refusal, quantity: &Quantity) -> String {
    let what = quantity.label();
    match refusal {
        Refusal::TooFew { .. } => {
            format!("too few pieces have {what} written down before exposure")
        }
        Refusal::Collinear => format!("{what} before exposure does not differ between pieces"),
        other => other.to_string(),
    }
}
