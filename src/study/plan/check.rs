//! What a plan adds up to, and what it is warned about (`warnings`); nothing here refuses.

use super::{Condition, Plan};

/// How many pieces a plan needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Count {
    /// Pieces in all conditions at all stages.
    pub exposed: u32,
    /// Pieces broken at the start.
    pub baseline: u32,
    /// Pieces kept back.
    pub spares: u32,
}

impl Count {
    /// All pieces.
    #[must_use]
    pub fn total(self) -> u32 {
        self.exposed + self.baseline + self.spares
    }
}

/// Counts the pieces that the plan needs.
#[must_use]
pub fn count(plan: &Plan) -> Count {
    let exposed = plan
        .conditions
        .iter()
        .flat_map(|condition| &condition.replicates)
        .sum();
    Count {
        exposed,
        baseline: plan.baseline,
        spares: plan.spares,
    }
}

/// A warning: what is weak about the plan and what it costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Warning {
    /// The form field it is about.
    pub field: String,
    /// One or two sentences.
    pub sentence: String,
}

/// Everything the plan is warned about, in the order of the form.
#[must_use]
pub fn warnings(plan: &Plan) -> Vec<Warning> {
    let mut found = Vec::new();
    let mut warn = |field: &str, sentence: String| {
        found.push(Warning {
            field: field.to_owned(),
            sentence,
        });
    };
    if plan.baseline == 0 {
        warn(
            "baseline",
            "There is no baseline set: nothing will be known about the pieces when new, \
            and ageing indoors cannot be seen."
                .to_owned(),
        );
    }
    if plan.storage_control().is_none() {
        warn(
            "condition_control",
            "There is no storage control: ageing indoors and exposure cannot be \
            told apart."
                .to_owned(),
        );
    }
    for condition in plan.conditions.iter().filter(|c| c.holders.len() < 3) {
        warn("condition_holders", few_holders(condition));
    }
    for condition in &plan.conditions {
        if let Some(few) = condition
            .replicates
            .iter()
            .copied()
            .filter(|n| *n < 5)
            .min()
        {
            warn(
                "condition_replicates",
                format!(
                    "{}: {few} {} at a stage are few. Five are the usual \
                least for strength, eight to ten for printed or brittle parts.",
                    condition.name,
                    if few == 1 { "piece" } else { "pieces" }
                ),
            );
        }
    }
    if plan.spares * 10 < count(plan).exposed {
        warn(
            "spares",
            "Fewer than one spare for ten pieces: a piece lost or a test that fails cannot \
            be replaced."
                .to_owned(),
        );
    }
    if let Some(sentence) = coarse_balance(plan) {
        warn("mass_readability", sentence);
    }
    if plan.mass.readings == 0 {
        warn(
            "mass_readings",
            "Pieces are not weighed: a change of mass cannot be known afterwards.".to_owned(),
        );
    }
    found
}

fn few_holders(condition: &Condition) -> String {
    match condition.holders.len() {
        0 | 1 => format!(
            "{}: all its pieces share one holder, so differences between conditions cannot be \
             separated from differences between holders. Three or more holders are the usual least.",
            condition.name
        ),
        n => format!(
            "{}: with {n} holders the interval rests on {n} values and will be wide. Three or more \
             holders are the usual least.",
            condition.name
        ),
    }
}

/// The readability that the mass margin needs, in g: a twentieth of the smallest change that matters
/// (common practice, no source).
#[must_use]
pub fn needed_readability_g(plan: &Plan) -> Option<f64> {
    plan.mass
        .nominal_g
        .map(|mass| mass * plan.mass.margin_percent / 100.0 / 20.0)
}

fn coarse_balance(plan: &Plan) -> Option<String> {
    let needed = needed_readability_g(plan).filter(|_| plan.mass.readings > 0)?;
    let has = plan.mass.readability_g?;
    (has > needed * (1.0 + 1e-9)).then(|| {
        format!(
            "The balance shows steps of {has} g; to see a change of {} % of {} g it should show {needed} g \
             or finer (a twentieth of the change).",
            plan.mass.margin_percent,
            plan.mass.nominal_g.unwrap_or_default(),
        )
    })
}
