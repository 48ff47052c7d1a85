//! Study records kept in memory, each as long as it is the newest: a page costs no second reading
//! while the study's journal stands still.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::Store;
use crate::study::ids::StudyId;
use crate::study::record::StudyRecord;

/// At most this many studies are kept; one more empties the shelf.
const MOST: usize = 64;

/// The shelf.
#[derive(Default)]
pub(super) struct Kept(Mutex<HashMap<StudyId, Arc<StudyRecord>>>);

impl Store {
    /// The record of a study, when it is kept and its journal still ends in `head`.
    pub(super) fn kept_record(&self, study: StudyId, head: &str) -> Option<Arc<StudyRecord>> {
        let kept = self.kept().0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.get(&study)
            .filter(|record| record.head == head)
            .map(Arc::clone)
    }

    /// Keeps a record.
    pub(super) fn keep_record(&self, record: Arc<StudyRecord>) {
        let mut kept = self.kept().0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= MOST && !kept.contains_key(&record.id) {
            kept.clear();
        }
        kept.insert(record.id, record);
    }
}
