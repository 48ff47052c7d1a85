//! The findings of a study, computed once for all who ask while its journal stands still, and off the
//! threads that answer requests.

use super::fault::WebFault;
use crate::analysis::findings::Findings;
use crate::analysis::{NoPlan, analyse_in_full};
use crate::study::ids::StudyId;
use crate::study::record::StudyRecord;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::OnceCell;

/// At most this many studies are kept; one more empties the shelf.
const MOST: usize = 64;

type Cell = Arc<OnceCell<Result<Arc<Findings>, NoPlan>>>;

/// The findings kept, each under the head of the journal that it rests on. The plan and everything
/// else that it depends on is in that journal; another version of the program starts empty.
#[derive(Clone, Default)]
pub struct FindingsShelf(Arc<Mutex<HashMap<StudyId, (String, Cell)>>>);

impl FindingsShelf {
    /// The findings of a record; `None` for a study without a plan.
    ///
    /// # Errors
    /// When the computation itself failed.
    pub async fn of(&self, record: &Arc<StudyRecord>) -> Result<Option<Arc<Findings>>, WebFault> {
        let cell = self.cell(record.id, &record.head);
        let asked = Arc::clone(record);
        let compute = || async {
            let computed = tokio::task::spawn_blocking(move || analyse_in_full(&asked)).await;
            computed.map(|found| found.map(Arc::new))
        };
        let found = cell
            .get_or_try_init(compute)
            .await
            .map_err(WebFault::ours)?;
        Ok(found.as_ref().ok().map(Arc::clone))
    }

    fn cell(&self, study: StudyId, head: &str) -> Cell {
        let mut shelf = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if shelf.len() >= MOST && !shelf.contains_key(&study) {
            shelf.clear();
        }
        let kept = shelf.entry(study).or_default();
        if kept.0 != head {
            *kept = (head.to_owned(), Cell::default());
        }
        Arc::clone(&kept.1)
    }
}
