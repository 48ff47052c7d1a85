//! Every comparison that does not decide: an interval each, not adjusted, and never a verdict word
//! (practice.md §3.2).

use crate::analysis::arm::Counting;
use crate::analysis::family::{
    Against, Family, Question, exposed, is_planned, one_by_one, reference, responses,
};
use crate::analysis::gather::Dataset;
use crate::analysis::piece::by_group;
use crate::study::plan::{Condition, Response};

/// All secondary comparisons of the stages that are open, each in a family of its own, in the order
/// response, stage, reference, condition. Comparisons that gave no interval are kept: the page says
/// why.
#[must_use]
pub fn secondary(set: &Dataset<'_>, has_primary: bool) -> Vec<Family> {
    let groups = by_group(&set.pieces);
    let mut found = Vec::new();
    for response in responses(set.plan, &set.pieces) {
        for stage_days in &set.open_stages {
            for (against, conditions) in asked(set, &response, *stage_days, has_primary) {
                let question = Question {
                    plan: set.plan,
                    response: &response,
                    stage_days: *stage_days,
                    against,
                    counting: Counting::LostExcluded,
                    covariate: None,
                };
                found.extend(one_by_one(question, &conditions, &groups));
            }
        }
    }
    found
}

fn asked<'p>(
    set: &Dataset<'p>,
    response: &Response,
    stage_days: u32,
    has_primary: bool,
) -> Vec<(Against, Vec<&'p Condition>)> {
    let plan = set.plan;
    let here = |c: &&Condition| is_planned(plan, c, stage_days);
    let main = reference(plan, &set.pieces, response);
    let is_primary =
        has_primary && *response == plan.primary && stage_days == plan.primary_stage_days;
    let mut asked = Vec::new();
    if let Some(main) = main.filter(|_| !is_primary) {
        asked.push((main, exposed(plan).filter(here).collect()));
    }
    let has_baseline = set.is_baseline_open && response.needs_breaking();
    if has_baseline && main != Some(Against::Baseline) {
        let mut against_baseline = Vec::new();
        if plan.compares_storage_with_baseline {
            against_baseline.extend(plan.storage_control().filter(here));
        }
        if plan.compares_exposed_with_baseline {
            against_baseline.extend(exposed(plan).filter(here));
        }
        asked.push((Against::Baseline, against_baseline));
    }
    asked.retain(|(_, conditions)| !conditions.is_empty());
    asked
}
