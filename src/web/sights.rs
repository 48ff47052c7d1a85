//! What a plan can see, computed once for each plan that anybody looks at, off the threads that answer
//! requests, and one at a time: it takes seconds, and nobody may make the server busy with it.

use super::fault::WebFault;
use crate::analysis::rule::{NoRule, RuleDesign, by_the_rule};
use crate::analysis::sizing::{Sizing, around};
use crate::study::plan::{Plan, sha256_hex};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::{OnceCell, Semaphore};

/// At most this many plans are kept; one more empties the shelf.
const MOST: usize = 64;

/// What a plan can see.
#[derive(Debug)]
pub struct Sight {
    /// With its own sizes, or why the rule gives no figures.
    pub rule: Result<RuleDesign, NoRule>,
    /// With sizes around its own, and its own number of pieces in a set.
    pub around: Option<(Sizing, usize)>,
}

type Cell = Arc<OnceCell<Arc<Sight>>>;

/// The sights kept, each under the hash of the plan's bytes.
#[derive(Clone)]
pub struct SightShelf {
    kept: Arc<Mutex<HashMap<String, Cell>>>,
    one: Arc<Semaphore>,
}

impl Default for SightShelf {
    fn default() -> Self {
        Self {
            kept: Arc::default(),
            one: Arc::new(Semaphore::new(1)),
        }
    }
}

impl SightShelf {
    /// What a plan can see.
    ///
    /// # Errors
    /// When the computation itself failed.
    pub async fn of(&self, plan: &Plan) -> Result<Arc<Sight>, WebFault> {
        let key = sha256_hex(&plan.to_bytes().map_err(WebFault::ours)?);
        let cell = self.cell(key);
        let asked = plan.clone();
        let compute = || async {
            let _turn = self.one.acquire().await.map_err(WebFault::ours)?;
            let computed = tokio::task::spawn_blocking(move || {
                Arc::new(Sight {
                    rule: by_the_rule(&asked),
                    around: around(&asked).ok(),
                })
            });
            computed.await.map_err(WebFault::ours)
        };
        cell.get_or_try_init(compute).await.map(Arc::clone)
    }

    fn cell(&self, key: String) -> Cell {
        let mut shelf = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if shelf.len() >= MOST && !shelf.contains_key(&key) {
            shelf.clear();
        }
        Arc::clone(shelf.entry(key).or_default())
    }
}
