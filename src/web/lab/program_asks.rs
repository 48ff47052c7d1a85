//! What a tester's page asks or refuses before something is recorded, for entries that come by themselves: from a
//! program, or through the door of a queue.

use std::collections::BTreeSet;

use super::blind::Blind;
use super::equipment_edit::MOST_ITEMS;
use super::test_save::{Beside, question_of};
use crate::study::break_test::BreakTest;
use crate::study::entry::Entry;
use crate::study::equipment::EquipmentKept;
use crate::study::units::Unit;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::fault::WebFault;

/// What speaks against recording an entry as it is.
pub(in crate::web) enum Objection {
    /// It looks like a slip; with the mark that it was confirmed it is taken.
    Doubt(String),
    /// It is not taken.
    Refused(String),
}

impl Objection {
    /// A question of a page, with how a program answers it.
    pub(in crate::web) fn doubt(asked: String) -> Self {
        Self::Doubt(format!(
            "{asked} If it is right, send it with is_confirmed_doubt."
        ))
    }
}

/// What a tester's page would say to an entry that is not on record yet.
pub(in crate::web) async fn objection(
    app: &App,
    lab: &LabAccess,
    entry: &Entry,
) -> Result<Option<Objection>, WebFault> {
    match entry {
        Entry::BreakTested(test) => doubt(app, lab, test, false).await,
        Entry::BreakTestCorrected { test, .. } => doubt(app, lab, test, true).await,
        Entry::EquipmentKept(kept) => item(app, lab, kept).await,
        _ => Ok(None),
    }
}

/// What no form would take, and a load that looks like a slip among its siblings, or beside the curve of its own piece.
async fn doubt(
    app: &App,
    lab: &LabAccess,
    test: &BreakTest,
    is_correction: bool,
) -> Result<Option<Objection>, WebFault> {
    let blind = Blind::load(app, lab).await?;
    if let Some(fault) = test.unlike_a_form(blind.is_impact()) {
        return Ok(Some(Objection::Refused(fault.sentence)));
    }
    let Some(newtons) = test.max_load_n.filter(|_| !test.is_confirmed_doubt) else {
        return Ok(None);
    };
    let Ok(piece) = blind.piece(test.blind.as_str()) else {
        return Ok(None);
    };
    // A second test, or a correction of nothing, is the journal's to refuse.
    if piece.test().is_some() != is_correction {
        return Ok(None);
    }
    let beside = Beside {
        unit: test.typed.as_ref().map_or(Unit::Newton, |typed| typed.unit),
        others: &blind.other_loads(&piece.blind),
        done: &BTreeSet::new(),
    };
    let question = question_of(newtons, &blind, piece, &beside);
    Ok(question.map(Objection::doubt))
}

/// A file is never taken by its hash alone: who names one need not have it.
async fn item(
    app: &App,
    lab: &LabAccess,
    kept: &EquipmentKept,
) -> Result<Option<Objection>, WebFault> {
    let own = &kept.equipment;
    if own.paper.is_some() || own.picture.is_some() {
        let sentence = "Certificate and picture come with their files: on the lab's page, or to POST /api/v1/entries/file.";
        return Ok(Some(Objection::Refused(sentence.to_owned())));
    }
    let blind = Blind::load(app, lab).await?;
    let is_full = blind.equipment.len() >= MOST_ITEMS;
    let sentence = "This lab's record is full; it holds 500 items.";
    Ok(is_full.then(|| Objection::Refused(sentence.to_owned())))
}
