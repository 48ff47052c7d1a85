//! What a plan can see, computed once for each plan that anybody looks at. It takes a second or more, so
//! a page waits a moment for it and otherwise says that it is on its way; the plans wait in line for
//! one thread, so that nobody makes the server busy with them.

use super::fault::WebFault;
use crate::analysis::rule::{NoRule, RuleDesign, by_the_rule};
use crate::analysis::sizing::{Sizing, around};
use crate::study::plan::{Condition, Plan};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::watch;

/// At most this many plans are kept; one more empties the shelf.
const MOST: usize = 64;

/// How long a page waits.
const PATIENCE: Duration = Duration::from_secs(2);

/// What a plan can see.
#[derive(Debug)]
pub(crate) struct Sight {
    /// With its own sizes, or why the rule gives no figures.
    pub(crate) rule: Result<RuleDesign, NoRule>,
    /// With sizes around its own, and its own number of pieces in a set.
    pub(crate) around: Option<(Sizing, usize)>,
}

type Ready = watch::Receiver<Option<Arc<Sight>>>;

/// What a sight rests on: numbers and choices of the plan, none of its words.
fn basis(plan: &Plan) -> String {
    let of = |c: &Condition| (c.is_storage_control, c.holders.len(), c.replicates.clone());
    let conditions: Vec<_> = plan.conditions.iter().map(of).collect();
    let days: Vec<u32> = plan.stages.iter().map(|stage| stage.days).collect();
    let decision = (
        plan.expected_cv_percent,
        plan.margin_percent,
        plan.confidence_percent,
        plan.spreads,
        plan.primary.needs_breaking(),
    );
    format!(
        "{conditions:?} {days:?} {} {decision:?}",
        plan.primary_stage_days
    )
}

/// The sights kept, each under its [`basis`].
#[derive(Clone, Default)]
pub(crate) struct SightShelf {
    kept: Arc<Mutex<HashMap<String, Ready>>>,
    one: Arc<Mutex<()>>,
}

impl SightShelf {
    /// What a plan can see; `None` while it is still being computed.
    ///
    /// # Errors
    /// When no thread can be had.
    pub(crate) async fn of(&self, plan: &Plan) -> Result<Option<Arc<Sight>>, WebFault> {
        let mut ready = self.ready(basis(plan), plan).map_err(WebFault::ours)?;
        let found = tokio::time::timeout(PATIENCE, ready.wait_for(Option::is_some)).await;
        Ok(found
            .ok()
            .and_then(Result::ok)
            .and_then(|sight| sight.clone()))
    }

    fn ready(&self, key: String, plan: &Plan) -> std::io::Result<Ready> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(ready) = kept.get(&key) {
            return Ok(ready.clone());
        }
        if kept.len() >= MOST {
            kept.clear();
        }
        let (done, ready) = watch::channel(None);
        let (plan, one) = (plan.clone(), Arc::clone(&self.one));
        // A thread of its own and not the pool's: a server that is told to stop does not wait for it.
        std::thread::Builder::new()
            .name("sight".to_owned())
            .spawn(move || {
                let _turn = one.lock().unwrap_or_else(PoisonError::into_inner);
                let sight = Sight {
                    rule: by_the_rule(&plan),
                    around: around(&plan).ok(),
                };
                done.send_replace(Some(Arc::new(sight)));
            })?;
        kept.insert(key, ready.clone());
        Ok(ready)
    }
}
