//! A lab that worked for another study of the same steward: its record is brought over as entries that
//! name their origin, so that each study's journal holds all that its results rest on. Its tester finds the
//! items and the last set-up here, and nothing else of the other study.

use crate::study::entry::Entry;
use crate::study::equipment::{Change, EquipmentKept, Origin, SetUpBrought};
use crate::study::fault::Faults;
use crate::study::ids::{ConsignmentId, EntryId};
use crate::study::record::{ConsignmentRecord, EquipmentRecord, StudyRecord};
use crate::study::typed::Typed;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::act;
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use std::collections::BTreeMap;
use std::sync::Arc;

/// A lab of another study, known by its first consignment there.
pub(super) struct Elsewhere {
    record: Arc<StudyRecord>,
    lab: ConsignmentId,
}

impl Elsewhere {
    /// As the form sends it.
    pub(super) fn key(&self) -> String {
        format!("{} {}", self.record.slug, self.lab)
    }

    /// As the form offers it.
    pub(super) fn label(&self) -> String {
        let name = self.record.consignment(self.lab);
        let name = name.map_or("", |one| one.lab.as_str());
        let items = match self.items().count() {
            1 => "one item".to_owned(),
            n => format!("{n} items"),
        };
        format!("{name}, in “{}” ({items})", self.record.title)
    }

    /// Its items as they are now.
    fn items(&self) -> impl Iterator<Item = &EquipmentRecord> {
        let one = self.record.consignment(self.lab);
        let items = one
            .into_iter()
            .flat_map(|one| self.record.equipment_of(one));
        items.filter(|item| item.is_current())
    }

    /// The set-up that was made last in any of its consignments.
    fn last_set_up(&self) -> Option<&ConsignmentRecord> {
        let own = self.record.consignments.iter();
        let mut own = own.filter(|one| one.lab_id() == self.lab && one.session.is_some());
        own.next_back()
    }
}

/// The labs of the steward's other studies that have something on record.
///
/// # Errors
/// When the database cannot be read.
pub(super) async fn elsewhere(
    app: &App,
    steward: &Steward,
    study: &StudyAccess,
) -> Result<Vec<Elsewhere>, WebFault> {
    let account = crate::study::ids::AccountId(steward.id);
    let mut found = Vec::new();
    for line in app.store.studies_of(account).await? {
        if line.slug == study.slug {
            continue;
        }
        let Some(record) = app.store.study_record(&line.slug).await? else {
            continue;
        };
        for one in &record.consignments {
            let lab = Elsewhere {
                record: Arc::clone(&record),
                lab: one.id,
            };
            if one.lab_id() == one.id
                && (lab.items().next().is_some() || lab.last_set_up().is_some())
            {
                found.push(lab);
            }
        }
    }
    Ok(found)
}

/// The entries that bring a lab's record over. What came before and is the same is left alone; what
/// changed over there since is written down anew.
pub(super) fn entries(
    app: &App,
    typed: &Typed,
    (record, one): (&StudyRecord, &ConsignmentRecord),
    offered: &[Elsewhere],
) -> Result<Vec<(Entry, Option<String>)>, Faults> {
    let wanted = typed.text("from");
    let lab = offered.iter().find(|lab| lab.key() == wanted);
    let lab = lab.ok_or_else(|| Faults::one("from", "Choose one of the labs."))?;
    let here: Vec<&EquipmentRecord> = record.equipment_of(one).collect();
    let first = act::entry_id(app, typed);
    let mut entries: Vec<(Entry, Option<String>)> = Vec::new();
    // The items by what they are called over there and here.
    let mut known: BTreeMap<EntryId, EntryId> = BTreeMap::new();
    for item in lab.items() {
        let is_it = |own: &&&EquipmentRecord| {
            let origin = own.origin.as_ref();
            origin.is_some_and(|origin| origin.study == lab.record.id && origin.item == item.item)
        };
        let mut own = here.iter().filter(is_it);
        let version = own.clone().rfind(|own| own.is_current());
        let is_same = own.any(|own| own.origin.as_ref().is_some_and(|o| o.entry == item.entry));
        if let Some(version) = version {
            known.insert(item.item, version.item);
        }
        if is_same {
            continue;
        }
        if version.is_none() {
            known.insert(item.item, act::numbered(first, entries.len()));
        }
        let kept = EquipmentKept {
            consignment: one.id,
            replaces: version.map(|version| version.entry),
            change: version.map(|_| Change::Since),
            equipment: item.equipment.clone(),
            origin: Some(Origin {
                study: lab.record.id,
                item: item.item,
                entry: item.entry,
            }),
        };
        entries.push((Entry::EquipmentKept(Box::new(kept)), None));
    }
    entries.extend(set_up(lab, one, &known).map(|entry| (entry, None)));
    if entries.is_empty() {
        let sentence = "All of that lab's record stands here already.";
        return Err(Faults::one("from", sentence));
    }
    Ok(entries)
}

/// Its last set-up with the items as they are called here.
fn set_up(
    lab: &Elsewhere,
    one: &ConsignmentRecord,
    known: &BTreeMap<EntryId, EntryId>,
) -> Option<Entry> {
    let from = lab.last_set_up()?;
    let mut session = from.session.clone()?;
    session.consignment = one.id;
    let used = &mut session.used;
    for item in [
        &mut used.machine,
        &mut used.cell,
        &mut used.extensometer,
        &mut used.fixture,
    ] {
        *item = item.and_then(|item| known.get(&item).copied());
    }
    let brought = SetUpBrought {
        consignment: one.id,
        study: lab.record.id,
        session,
    };
    let is_there = one.brought.as_ref() == Some(&brought.session);
    (!is_there).then(|| Entry::SetUpBrought(Box::new(brought)))
}
