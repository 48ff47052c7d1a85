//! What a plan can see, computed once for each plan that anybody looks at. It takes a second or more, so
//! a page waits a moment for it and otherwise says that it is on its way; the plans wait in line for
//! one thread, so that nobody makes the server busy with them.

use super::fault::WebFault;
use crate::analysis::rule::{NoRule, RuleDesign, by_the_rule};
use crate::analysis::sizing::{Sizing, around};
use crate::study::plan::{Plan, sha256_hex};
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

/// The sights kept, each under the hash of the plan's bytes.
#[derive(Clone, Default)]
pub(crate) struct SightShelf {
    kept: Arc<Mutex<HashMap<String, Ready>>>,
    one: Arc<Mutex<()>>,
}

impl SightShelf {
    /// What a plan can see; `None` while it is still being computed.
    ///
    /// # Errors
    /// When the plan cannot be written, or no thread can be had.
    pub(crate) async fn of(&self, plan: &Plan) -> Result<Option<Arc<Sight>>, WebFault> {
        let key = sha256_hex(&plan.to_bytes().map_err(WebFault::ours)?);
        let mut ready = self.ready(key, plan).map_err(WebFault::ours)?;
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
