//! Which comparisons the plan names, put to the pieces: one family for the verdict, all else
//! secondary.

use serde::{Deserialize, Serialize};

use crate::analysis::adjustment::Adjustment;
use crate::analysis::arm::{Arm, Counting, Exposure, Taken};
use crate::analysis::compare::{Settings, Side, compare};
use crate::analysis::comparison::{Member, Method, Why};
use crate::analysis::piece::{Fate, Group, Groups, Piece, by_group};
use crate::study::plan::{Condition, Plan, Response};
use crate::study::property::{COMPARED, Property};
use crate::study::reading::Quantity;

/// What exposed pieces are compared with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Against {
    /// The storage control of the same stage.
    StorageControl,
    /// The pieces broken at the start.
    Baseline,
    /// Pieces made later.
    LateReference,
}

/// A set of comparisons with one reference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Family {
    /// What is compared.
    pub response: Response,
    /// At which stage, in days.
    pub stage_days: u32,
    /// With what.
    pub against: Against,
    /// How.
    pub method: Method,
    /// Confidence in %: of all intervals together when simultaneous, of each when not.
    pub confidence_percent: f64,
    /// Whether the intervals hold together.
    pub is_simultaneous: bool,
    /// What the comparison was adjusted for, when that was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub adjustment: Option<Adjustment>,
    /// One for each condition.
    pub members: Vec<Member>,
}

/// What is asked of the pieces.
#[derive(Debug, Clone, Copy)]
pub struct Question<'p> {
    /// The plan.
    pub plan: &'p Plan,
    /// The response.
    pub response: &'p Response,
    /// The stage, in days.
    pub stage_days: u32,
    /// The reference.
    pub against: Against,
    /// How pieces without a plain value count.
    pub counting: Counting,
    /// What was read before exposure to adjust for.
    pub covariate: Option<&'p Quantity>,
}

/// Every response that the plan can give, the primary one first; of what is read off curves only what
/// some piece has.
#[must_use]
pub fn responses(plan: &Plan, pieces: &[Piece]) -> Vec<Response> {
    let has_section = plan.form.has_section();
    let is_read = |one: &Property| pieces.iter().any(|piece| piece.property(*one).is_some());
    let read = COMPARED.into_iter().filter(is_read).map(Response::Read);
    let lengths = plan
        .dimensions
        .iter()
        .map(|d| Response::LengthChange(d.name.clone()));
    let mut all = vec![plan.primary.clone(), Response::MaxLoad];
    all.extend(has_section.then_some(Response::Strength));
    all.extend((plan.mass.readings > 0).then_some(Response::MassChange));
    all.extend(read);
    all.extend(lengths);
    let mut seen = Vec::new();
    for response in all {
        if !seen.contains(&response) {
            seen.push(response);
        }
    }
    seen
}

/// With what exposed pieces are compared (practice.md §4): the storage control when the plan has one,
/// else the baseline, else a late reference; changes of mass and size only with a storage control.
#[must_use]
pub fn reference(plan: &Plan, pieces: &[Piece], response: &Response) -> Option<Against> {
    let has = |group: Group| pieces.iter().any(|p| p.group == group);
    if plan.storage_control().is_some() {
        Some(Against::StorageControl)
    } else if !response.needs_breaking() {
        None
    } else if plan.baseline > 0 || has(Group::Baseline) {
        Some(Against::Baseline)
    } else {
        has(Group::LateReference).then_some(Against::LateReference)
    }
}

/// The exposed conditions of a plan.
pub fn exposed(plan: &Plan) -> impl Iterator<Item = &Condition> {
    plan.conditions.iter().filter(|c| !c.is_storage_control)
}

/// The family in which every exposed condition is compared with one reference.
#[must_use]
pub fn family(question: Question<'_>, pieces: &[Piece]) -> Family {
    ask(question, &asked(question), &by_group(pieces), true)
}

/// Each of these conditions compared with the reference by itself, not adjusted.
#[must_use]
pub fn one_by_one(
    question: Question<'_>,
    conditions: &[&Condition],
    groups: &Groups<'_>,
) -> Vec<Family> {
    conditions
        .iter()
        .map(|condition| ask(question, &[condition], groups, false))
        .collect()
}

/// Whether the plan has pieces of a condition at a stage.
#[must_use]
pub fn is_planned(plan: &Plan, condition: &Condition, stage_days: u32) -> bool {
    let at = plan.stages.iter().position(|s| s.days == stage_days);
    let wanted = at.and_then(|at| condition.replicates.get(at));
    wanted.is_some_and(|n| *n > 0)
}

fn ask(
    question: Question<'_>,
    conditions: &[&Condition],
    groups: &Groups<'_>,
    is_simultaneous: bool,
) -> Family {
    let (reference, sides) = sides(question, conditions, groups);
    let settings = Settings {
        spreads: question.plan.spreads,
        confidence: question.plan.confidence_percent / 100.0,
        is_change: !question.response.needs_breaking(),
        covariate: question.covariate,
    };
    let compared = compare(&reference, &sides, settings);
    Family {
        response: question.response.clone(),
        stage_days: question.stage_days,
        against: question.against,
        method: compared.method,
        confidence_percent: question.plan.confidence_percent,
        is_simultaneous,
        adjustment: compared.adjustment,
        members: compared.members,
    }
}

/// Those compared with, and each condition.
fn sides(
    question: Question<'_>,
    conditions: &[&Condition],
    groups: &Groups<'_>,
) -> (Side, Vec<Side>) {
    let side = |group: Group| {
        let here = groups.get(&group).map_or(&[][..], Vec::as_slice);
        side(question, group, here)
    };
    let reference = side(reference_group(question));
    let one = |c: &&Condition| side(Group::cell(&c.key, question.stage_days));
    (reference, conditions.iter().map(one).collect())
}

/// The groups of a family as its comparison uses them: those compared with, and each condition.
#[must_use]
pub fn compared_sides(question: Question<'_>, pieces: &[Piece]) -> (Side, Vec<Side>) {
    sides(question, &asked(question), &by_group(pieces))
}

fn asked(question: Question<'_>) -> Vec<&Condition> {
    let wanted = |c: &&Condition| is_planned(question.plan, c, question.stage_days);
    exposed(question.plan).filter(wanted).collect()
}

fn reference_group(question: Question<'_>) -> Group {
    match question.against {
        Against::Baseline => Group::Baseline,
        Against::LateReference => Group::LateReference,
        Against::StorageControl => {
            let key = question
                .plan
                .storage_control()
                .map_or("", |c| c.key.as_str());
            Group::cell(key, question.stage_days)
        }
    }
}

fn side(question: Question<'_>, group: Group, pieces: &[&Piece]) -> Side {
    let is_exposed =
        matches!(group, Group::Cell { .. }) && !group.is_storage_control(question.plan);
    let exposure = if is_exposed {
        Exposure::Exposed
    } else {
        Exposure::Kept
    };
    let taken = Taken {
        response: question.response,
        counting: question.counting,
        exposure,
        covariate: question.covariate,
    };
    Side {
        name: group.name(question.plan),
        arm: Arm::of(pieces, taken),
        why: Some(why_empty(pieces, question.response)),
        group,
    }
}

/// Why a group would have no value of a response.
fn why_empty(pieces: &[&Piece], response: &Response) -> Why {
    let quantity = match response {
        Response::MassChange => Quantity::Mass,
        Response::LengthChange(name) => Quantity::Length(name.clone()),
        Response::MaxLoad | Response::Strength | Response::Read(_) => {
            return why_no_load(pieces);
        }
    };
    let pairs = || pieces.iter().filter_map(|p| p.pair(&quantity));
    if pairs().all(|pair| pair.before.is_none()) {
        Why::NothingBefore
    } else if pairs().all(|pair| pair.after.is_none()) {
        Why::NothingAfter
    } else {
        Why::OtherState
    }
}

fn why_no_load(pieces: &[&Piece]) -> Why {
    let lost = pieces.iter().filter(|p| p.fate == Fate::Lost).count();
    if lost > 0 && lost == pieces.len() {
        Why::NoneFound { lost }
    } else {
        Why::NoValue
    }
}
