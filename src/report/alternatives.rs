//! The comparison that decides, with pieces counted or chosen otherwise: three countings, and without
//! what is doubtful.

use crate::analysis::comparison::Effect;
use crate::analysis::names;
use crate::analysis::primary::{Primary, Variant};
use crate::analysis::verdict::Verdict;
use crate::analysis::words::effect::{Shown, ways};
use crate::report::runs::{Run, tied};
use crate::study::plan::Response;

/// One way of counting or choosing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alternative {
    /// What is done otherwise, or for which condition.
    pub what: String,
    /// What comes of it.
    pub results: Vec<Vec<Run>>,
}

/// The three ways of counting, for the conditions that need them.
#[must_use]
pub fn countings(primary: &Primary) -> Vec<Alternative> {
    let members = primary.family.members.iter().zip(&primary.judged);
    let told = members.filter(|(_, judged)| judged.countings.len() > 1);
    told.map(|(member, judged)| Alternative {
        what: names::capital(&member.name),
        results: judged
            .countings
            .iter()
            .map(|c| line(c.counting.label(), primary, c.effect, c.verdict))
            .collect(),
    })
    .collect()
}

/// Without incidents, changes made knowing the group, flagged values, late withdrawals.
#[must_use]
pub fn variants(primary: &Primary) -> Vec<Alternative> {
    let one = |variant: &Variant| {
        let members = variant.family.members.iter().zip(&variant.verdicts);
        let count = match variant.pieces {
            0 => String::new(),
            n => format!(" ({})", names::counted(n, "piece")),
        };
        Alternative {
            what: format!("{}{count}", names::capital(variant.kind.label())),
            results: members
                .map(|(member, verdict)| line(&member.name, primary, member.effect, *verdict))
                .collect(),
        }
    };
    primary.variants.iter().map(one).collect()
}

fn line(
    what: &str,
    primary: &Primary,
    effect: Option<Effect>,
    verdict: Option<Verdict>,
) -> Vec<Run> {
    let margin = primary.margin_percent;
    let effect = effect.map(|e| change(&primary.family.response, e, margin));
    let verdict = verdict.map(|v| v.label(margin));
    tied(format!(
        "{what}: {}; {}",
        effect.unwrap_or_else(|| "no interval".to_owned()),
        verdict.unwrap_or_else(|| "no verdict".to_owned())
    ))
}

fn change(response: &Response, effect: Effect, margin: f64) -> String {
    let shown = Shown::new(effect, Some(margin));
    let ways = ways(response);
    format!(
        "{} % {} ({})",
        shown.size(),
        shown.way(ways),
        shown.interval(ways)
    )
}
