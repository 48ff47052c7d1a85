//! What stands under the plan's form: what it is warned about, what it can see by its own rule, and the
//! curve over the number of pieces.

use crate::analysis::design::design;
use crate::analysis::rule::NoRule;
use crate::report::chart::Chart;
use crate::report::design::{DesignPart, rule, two_groups};
use crate::report::sizing::{self, Shown};
use crate::report::tables::Table;
use crate::study::plan::Plan;
use crate::study::plan::check::{self, Warning};
use crate::web::App;
use crate::web::fault::WebFault;
use crate::web::sights::Sight;

/// What the plan is warned about, and what it can see.
pub(super) struct Outlook {
    pub(super) warnings: Vec<Warning>,
    /// By the rule that decides, or, where that gives no figures, for two groups.
    pub(super) seen: Option<DesignPart>,
    /// Why the rule gives none.
    pub(super) no_rule: String,
    /// Over the number of pieces, all sets alike.
    pub(super) curves: Vec<Chart>,
    /// The same as a table.
    pub(super) sizes: Option<Table>,
}

/// Computes it, or takes it from the shelf.
pub(super) async fn outlook(app: &App, plan: &Plan) -> Result<Outlook, WebFault> {
    let sight = app.sights.of(plan).await?;
    Ok(Outlook::of(plan, sight.as_deref()))
}

impl Outlook {
    fn of(plan: &Plan, sight: Option<&Sight>) -> Self {
        let around = sight.and_then(|sight| sight.around.as_ref());
        let curve = |shown| around.and_then(|(found, own)| sizing::curve(found, shown, Some(*own)));
        let in_two_groups = || design(plan).map(|d| two_groups(&d));
        let (seen, no_rule) = match sight.map(|sight| &sight.rule) {
            Some(Ok(found)) => (Some(rule(found)), String::new()),
            Some(Err(no)) => (in_two_groups(), why(no)),
            None => (in_two_groups(), LATER.to_owned()),
        };
        Self {
            warnings: check::warnings(plan),
            seen,
            no_rule,
            curves: [Shown::SmallestLoss, Shown::ChanceOfUnchanged]
                .into_iter()
                .filter_map(curve)
                .collect(),
            sizes: around.map(|(found, _)| sizing::table(found)),
        }
    }
}

/// What stands there while the server is computing.
const LATER: &str = "What the rule that decides can see is still being computed: open this page, or check \
    the plan, again in a moment. Until then, two groups by themselves:";

fn why(no: &NoRule) -> String {
    match no {
        NoRule::NotAsked => {
            "The rule that decides gives figures for loads and strengths that are compared \
            with a storage control; this plan asks for something else."
                .to_owned()
        }
        NoRule::MixedHolders => {
            "Some sets have several holders and some have one, so there is no common \
            figure by the rule that decides."
                .to_owned()
        }
        NoRule::Refused(refusal) => format!("The rule that decides gives no figures: {refusal}."),
    }
}
