//! What a plan adds up to, and what it is warned about (`warnings`); nothing here refuses.

use super::form::row_field;
use super::{Condition, Environment, Plan};

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

impl Warning {
    fn new(field: impl Into<String>, sentence: impl Into<String>) -> Self {
        Self {
            field: field.into(),
            sentence: sentence.into(),
        }
    }
}

/// Everything the plan is warned about, in the order of the form.
#[must_use]
pub fn warnings(plan: &Plan) -> Vec<Warning> {
    let mut found = Vec::new();
    found.extend(weighing(plan));
    found.extend(drying(plan));
    for (position, condition) in plan.conditions.iter().enumerate() {
        found.extend(outdoors(plan, position, condition));
        found.extend(few_holders(position, condition));
        found.extend(few_pieces(position, condition));
    }
    found.extend(storage_control(plan));
    if plan.baseline == 0 {
        let sentence = "There is no baseline set: nothing will be known about the pieces when new, \
            and ageing indoors cannot be seen.";
        found.push(Warning::new("baseline", sentence));
    }
    if plan.spares * 10 < count(plan).exposed {
        let sentence = "Fewer than one spare for ten pieces: a piece lost or a test that fails \
            cannot be replaced.";
        found.push(Warning::new("spares", sentence));
    }
    found
}

fn weighing(plan: &Plan) -> Option<Warning> {
    if plan.mass.readings == 0 {
        let sentence = "Pieces are not weighed: a change of mass cannot be known afterwards.";
        return Some(Warning::new("mass_readings", sentence));
    }
    coarse_balance(plan).map(|sentence| Warning::new("mass_readability", sentence))
}

/// Pieces that come back wet and are weighed without a rule for when they are dry.
fn drying(plan: &Plan) -> Option<Warning> {
    use Environment::{Compost, FreshWater, SaltWater, Soil};
    let is_wet = |c: &&Condition| matches!(c.environment, FreshWater | SaltWater | Soil | Compost);
    if plan.mass.readings == 0 || plan.drying.is_some() {
        return None;
    }
    let wet = plan.conditions.iter().find(is_wet)?;
    let sentence = format!(
        "{}: pieces come back wet, and the plan has no rule for when they are dry. Water left inside is \
         taken for a gain of mass.",
        wet.name
    );
    Some(Warning::new("drying", sentence))
}

/// Results of one season are not those of another (common practice of outdoor exposure; the idea is
/// that of the significance text of ASTM G7, from a public abstract).
fn outdoors(plan: &Plan, position: usize, condition: &Condition) -> Option<Warning> {
    let last = plan.stages.last()?.days;
    if condition.environment != Environment::Outdoor || last >= 365 {
        return None;
    }
    let sentence = format!(
        "{}: outdoors for less than a year. Such results compare only with pieces that were out at \
         the same place and time.",
        condition.name
    );
    Some(Warning::new(
        row_field("condition_environment", position),
        sentence,
    ))
}

fn few_holders(position: usize, condition: &Condition) -> Option<Warning> {
    let sentence = match condition.holders.len() {
        0 | 1 => format!(
            "{}: all its pieces share one holder, so differences between conditions cannot be \
             separated from differences between holders. Three or more holders are the usual least.",
            condition.name
        ),
        2 => format!(
            "{}: with 2 holders the interval rests on 2 values and will be wide. Three or more \
             holders are the usual least.",
            condition.name
        ),
        _ => return None,
    };
    Some(Warning::new(
        row_field("condition_holders", position),
        sentence,
    ))
}

fn few_pieces(position: usize, condition: &Condition) -> Option<Warning> {
    let few = condition.replicates.iter().copied();
    let few = few.filter(|n| (1..5).contains(n)).min()?;
    let pieces = if few == 1 {
        "piece at a stage is"
    } else {
        "pieces at a stage are"
    };
    let sentence = format!(
        "{}: {few} {pieces} few. Five are the usual least for strength, eight to ten for printed or \
         brittle parts.",
        condition.name
    );
    Some(Warning::new(
        row_field("condition_replicates", position),
        sentence,
    ))
}

fn storage_control(plan: &Plan) -> Option<Warning> {
    let Some(control) = plan.storage_control() else {
        let sentence =
            "There is no storage control: ageing indoors and exposure cannot be told apart.";
        return Some(Warning::new("condition_control", sentence));
    };
    let has_pieces = |c: &Condition, at: usize| c.replicates.get(at).is_some_and(|n| *n > 0);
    let is_alone = |at: usize| {
        let mut exposed = plan.conditions.iter().filter(|c| !c.is_storage_control);
        !has_pieces(control, at) && exposed.any(|c| has_pieces(c, at))
    };
    let (_, stage) = plan
        .stages
        .iter()
        .enumerate()
        .find(|(at, _)| is_alone(*at))?;
    let sentence = format!(
        "The storage control has no pieces at {} days: what is taken in then can only be compared \
         with the baseline set.",
        stage.days
    );
    Some(Warning::new("condition_control", sentence))
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
            "The balance shows steps of {has} g; to see a change of {} % of {} g it should show {} g \
             or finer (a twentieth of the change).",
            plan.mass.margin_percent,
            plan.mass.nominal_g.unwrap_or_default(),
            three_figures(needed),
        )
    })
}

/// A positive figure to three significant digits, without trailing zeros.
fn three_figures(value: f64) -> String {
    let decimals = (2.0 - value.log10().floor()).clamp(0.0, 12.0) as usize;
    let text = format!("{value:.decimals$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}
