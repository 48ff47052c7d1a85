//! The mixed model, holder as a random effect, beside the holder means that decide (practice.md §3.4).

use serde::{Deserialize, Serialize};

use crate::analysis::beside::Compared;
use crate::analysis::compare::Side;
use crate::stats::mixed::{HolderModel, with_holders};
use crate::stats::refusal::Refusal;

/// The mixed model of the primary comparison.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HolderModelFinding {
    /// Where the spread lies; `None` when the model could not be fitted.
    pub parts: Option<SpreadParts>,
    /// One for each condition.
    pub members: Vec<HolderModelMember>,
}

/// Where the spread of the pieces lies.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SpreadParts {
    /// Standard deviation between holders, in the response's unit; 0 when the data show none.
    pub between_sd: f64,
    /// Standard deviation of pieces within a holder.
    pub within_sd: f64,
    /// Share of the variance that lies between holders.
    pub between_share: f64,
    /// Holders less conditions: no interval uses more degrees of freedom.
    pub most_df: f64,
}

/// One condition by the mixed model, simultaneous with the others.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HolderModelMember {
    /// Name of the condition.
    pub name: String,
    /// Estimate and interval of the change, in % (loads) or percentage points (changes).
    pub change_percent: Option<[f64; 3]>,
    /// Degrees of freedom of its interval.
    pub df: Option<f64>,
    /// Why there is no interval.
    pub none: Option<String>,
}

/// Fits it where some group has several holders and every piece has one.
pub(super) fn holder_model(compared: &Compared<'_>) -> Option<HolderModelFinding> {
    let is_known = |side: &Side| {
        let held: usize = side.arm.by_holder().values().map(Vec::len).sum();
        held == side.arm.pieces() && held > 0
    };
    let has_several = compared.all().any(|side| side.arm.by_holder().len() >= 2);
    if compared.sides.is_empty() || !has_several || !compared.all().all(is_known) {
        return None;
    }
    let groups: Vec<Vec<Vec<f64>>> = compared
        .all()
        .map(|side| side.arm.by_holder().into_values().collect())
        .collect();
    let model = match with_holders(&groups) {
        Ok(model) => model,
        Err(refusal) => return Some(refused(compared, refusal)),
    };
    let between = model.fit.between.first().copied().unwrap_or(0.0);
    let members = if compared.is_change() {
        differences(compared, &model)
    } else {
        ratios(compared, &model)
    };
    Some(HolderModelFinding {
        parts: Some(SpreadParts {
            between_sd: between.sqrt(),
            within_sd: model.fit.residual.sqrt(),
            between_share: model.fit.intraclass_correlation(),
            most_df: model.most_df,
        }),
        members,
    })
}

fn refused(compared: &Compared<'_>, refusal: Refusal) -> HolderModelFinding {
    HolderModelFinding {
        parts: None,
        members: compared
            .sides
            .iter()
            .map(|side| without(&side.name, refusal))
            .collect(),
    }
}

fn without(name: &str, refusal: Refusal) -> HolderModelMember {
    HolderModelMember {
        name: name.to_owned(),
        change_percent: None,
        df: None,
        none: Some(refusal.to_string()),
    }
}

fn ratios(compared: &Compared<'_>, model: &HolderModel) -> Vec<HolderModelMember> {
    let percent = |ratio: f64| (ratio - 1.0) * 100.0;
    let all = model.ratios(compared.confidence());
    let one = |(at, side): (usize, &Side)| {
        let found = match &all {
            Ok(list) => list.get(at).copied().unwrap_or(Err(Refusal::NoComparison)),
            Err(refusal) => Err(*refusal),
        };
        let bounded = found.and_then(|ratio| {
            let ends = ratio.set.bounded().ok_or(Refusal::Unbounded)?;
            Ok((ratio.df, [ratio.ratio, ends.lower, ends.upper].map(percent)))
        });
        match bounded {
            Ok((df, change)) => HolderModelMember {
                name: side.name.clone(),
                change_percent: Some(change),
                df: Some(df),
                none: None,
            },
            Err(refusal) => without(&side.name, refusal),
        }
    };
    compared.sides.iter().enumerate().map(one).collect()
}

/// Differences hold together by Bonferroni.
fn differences(compared: &Compared<'_>, model: &HolderModel) -> Vec<HolderModelMember> {
    let each = 1.0 - (1.0 - compared.confidence()) / compared.sides.len() as f64;
    let one = |(at, side): (usize, &Side)| match model.difference(at + 1, each) {
        Ok(found) => HolderModelMember {
            name: side.name.clone(),
            change_percent: Some([found.estimate, found.interval.lower, found.interval.upper]),
            df: Some(found.df),
            none: None,
        },
        Err(refusal) => without(&side.name, refusal),
    };
    compared.sides.iter().enumerate().map(one).collect()
}
