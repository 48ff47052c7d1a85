//! What the caller says beside the data: a small plan in TOML, an edition's whole plan in JSON, and
//! options that go before either.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::study::plan::{
    Covariate, EndOfTest, Environment, OutlierRule, Plan, Response, Shape, Spreads,
};
use crate::study::reading::{MoistureState, Quantity};

/// A small plan. Every key may be left out; what then holds stands beside it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wishes {
    /// Title of the report; the file's name.
    pub title: Option<String>,
    /// The question; none.
    pub question: Option<String>,
    /// What a piece is called, in the singular; `piece`.
    pub piece: Option<String>,
    /// Material; not said.
    pub material: Option<String>,
    /// Shape of the test region, for strengths: `load_only`, `rectangular`, `round`, `dumbbell`;
    /// `load_only`, or what the primary response needs.
    pub shape: Option<Shape>,
    /// What ends a test: `break`, `drop`, `opening`, `rig_limit`; `break`.
    pub end_of_test: Option<EndOfTest>,
    /// The response that decides: `max_load`, `strength`, `mass_change`, `<dimension>_change`; the
    /// first of these that the file has.
    pub primary: Option<String>,
    /// The stage that decides, in days; the last.
    pub primary_stage_days: Option<u32>,
    /// The days of all rows, where the file has no column for them.
    pub stage_days: Option<u32>,
    /// Stages whose results are all in, in days; those of which the file has rows.
    pub stages_in: Option<Vec<u32>>,
    /// Name of the condition that is the storage control; the role column tells.
    pub storage_control: Option<String>,
    /// The largest change that does not matter, in %; 10 for loads, 0.5 for masses and dimensions.
    pub margin_percent: Option<f64>,
    /// Why the margin is another one.
    pub margin_reason: Option<String>,
    /// Confidence of the simultaneous intervals, in %; 95.
    pub confidence_percent: Option<f64>,
    /// `separate` or `pooled`; separate.
    pub spreads: Option<Spreads>,
    /// `none`, `grubbs_5` or `grubbs_1`; none.
    pub outlier_rule: Option<OutlierRule>,
    /// A reading from before exposure that adjusts the comparison: `mass` or a dimension; none.
    pub covariate: Option<String>,
    /// Weibull shape and characteristic load of each set; no.
    pub asks_weibull: Option<bool>,
    /// The retention whose time is asked for, in % of the start, with three stages or more; what the
    /// margin leaves.
    pub retention_percent: Option<f64>,
    /// The moisture state in which pieces are compared; the one that most readings after exposure
    /// have, or `conditioned` where the file names none.
    pub reference_state: Option<MoistureState>,
    /// Scatter expected between like pieces, in %, for what the design can see; 5.
    pub expected_cv_percent: Option<f64>,
    /// Compare the storage control with the baseline set as well; where there is one.
    pub compares_storage_with_baseline: Option<bool>,
    /// Compare the exposed pieces with the baseline set as well; where there is one.
    pub compares_exposed_with_baseline: Option<bool>,
    /// The smallest step of the balance, in g; what it resolves is not known.
    pub balance_readability_g: Option<f64>,
    /// The smallest step of the calliper, in mm; what it resolves is not known.
    pub calliper_readability_mm: Option<f64>,
    /// The conditions in the order of the page; the storage control, then by name.
    pub conditions: Option<Vec<String>>,
    /// What kind of place a condition is: `outdoor`, `fresh_water` …; `indoor` for the storage control,
    /// `other` for the rest.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub environments: BTreeMap<String, Environment>,
}

/// What the caller says beside the data.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Request {
    /// An edition's whole plan.
    pub plan: Option<Plan>,
    /// The small plan; it goes before the whole one.
    pub wishes: Wishes,
    /// Name of the file, without its folder and ending.
    pub stem: String,
}

impl Wishes {
    /// Reads a plan file.
    ///
    /// # Errors
    /// Line, column and what was expected, as one text.
    pub fn from_toml(text: &str) -> Result<Self, String> {
        toml::from_str(text).map_err(|fault| fault.to_string())
    }

    /// These wishes, and for what they leave open those of `base`.
    #[must_use]
    pub fn over(self, base: Self) -> Self {
        Self {
            title: self.title.or(base.title),
            question: self.question.or(base.question),
            piece: self.piece.or(base.piece),
            material: self.material.or(base.material),
            shape: self.shape.or(base.shape),
            end_of_test: self.end_of_test.or(base.end_of_test),
            primary: self.primary.or(base.primary),
            primary_stage_days: self.primary_stage_days.or(base.primary_stage_days),
            stage_days: self.stage_days.or(base.stage_days),
            stages_in: self.stages_in.or(base.stages_in),
            storage_control: self.storage_control.or(base.storage_control),
            margin_percent: self.margin_percent.or(base.margin_percent),
            margin_reason: self.margin_reason.or(base.margin_reason),
            confidence_percent: self.confidence_percent.or(base.confidence_percent),
            spreads: self.spreads.or(base.spreads),
            outlier_rule: self.outlier_rule.or(base.outlier_rule),
            covariate: self.covariate.or(base.covariate),
            asks_weibull: self.asks_weibull.or(base.asks_weibull),
            retention_percent: self.retention_percent.or(base.retention_percent),
            reference_state: self.reference_state.or(base.reference_state),
            expected_cv_percent: self.expected_cv_percent.or(base.expected_cv_percent),
            compares_storage_with_baseline: self
                .compares_storage_with_baseline
                .or(base.compares_storage_with_baseline),
            compares_exposed_with_baseline: self
                .compares_exposed_with_baseline
                .or(base.compares_exposed_with_baseline),
            balance_readability_g: self.balance_readability_g.or(base.balance_readability_g),
            calliper_readability_mm: self
                .calliper_readability_mm
                .or(base.calliper_readability_mm),
            conditions: self.conditions.or(base.conditions),
            environments: if self.environments.is_empty() {
                base.environments
            } else {
                self.environments
            },
        }
    }

    /// The smallest step with which a quantity was read.
    #[must_use]
    pub fn readability(&self, quantity: &Quantity) -> Option<f64> {
        match quantity {
            Quantity::Mass => self.balance_readability_g,
            Quantity::Length(_) => self.calliper_readability_mm,
        }
    }
}

/// A response as people write it: its key, or `<dimension>_change`.
#[must_use]
pub fn response(text: &str) -> Option<Response> {
    let text = text.trim();
    Response::parse(text).or_else(|| {
        let name = text
            .strip_suffix("_change")
            .filter(|name| !name.is_empty())?;
        Some(Response::LengthChange(name.replace('_', " ")))
    })
}

/// A covariate as people write it: its key, `mass`, `mass_before`, `width`, `width_before`, `none`.
#[must_use]
pub fn covariate(text: &str) -> Option<Covariate> {
    let text = text.trim();
    if let Ok(known) = Covariate::try_from(text.to_owned()) {
        return Some(known);
    }
    let name = text.strip_suffix("_before").unwrap_or(text);
    match name {
        "" => None,
        "mass" => Some(Covariate::Before(Quantity::Mass)),
        name => Some(Covariate::Before(Quantity::Length(name.replace('_', " ")))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plan_file_says_what_it_wants_and_a_slip_in_it_is_told() {
        let text = "primary = \"width_change\"\nmargin_percent = 0.5\n[environments]\nbarrel = \"fresh_water\"\n";
        let wishes = Wishes::from_toml(text).unwrap();
        assert_eq!(
            response(wishes.primary.as_deref().unwrap()),
            Some(Response::LengthChange("width".into()))
        );
        assert_eq!(wishes.environments["barrel"], Environment::FreshWater);
        let told = Wishes::from_toml("margn_percent = 10").unwrap_err();
        assert!(
            told.contains("line 1") && told.contains("margin_percent"),
            "{told}"
        );
        assert!(Wishes::from_toml("margin_percent = \"ten\"").is_err());
    }

    #[test]
    fn an_option_goes_before_the_file() {
        let option = Wishes {
            margin_percent: Some(5.0),
            ..Wishes::default()
        };
        let file = Wishes {
            margin_percent: Some(20.0),
            confidence_percent: Some(90.0),
            ..Wishes::default()
        };
        let both = option.over(file);
        assert_eq!(
            (both.margin_percent, both.confidence_percent),
            (Some(5.0), Some(90.0))
        );
    }
}
