//! What the pages ask or refuse before something is recorded, for entries that come by themselves. An entry that is
//! on record already was asked about then.

use crate::study::break_test::TestSession;
use crate::study::entry::{Actor, Chain, Entry, Envelope};
use crate::study::equipment::Equipment;
use crate::study::ids::ConsignmentId;
use crate::study::receipt::ParcelReceipt;
use crate::study::record::StudyRecord;
use crate::study::typed::{LINE_LIMIT, clean};
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::fault::WebFault;
use crate::web::lab::program_asks::{self, Objection};
use crate::web::steward::parcel_show;
use chrono::{DateTime, Utc};
use std::sync::Arc;

/// What speaks against recording it as it is.
pub(super) async fn objection(
    app: &App,
    envelope: &Envelope,
) -> Result<Option<Objection>, WebFault> {
    let Some(consignment) = envelope.entry.consignment() else {
        return Ok(None);
    };
    if app.store.has_entry(envelope.id).await? {
        return Ok(None);
    }
    let wrong = unclean(&envelope.entry);
    if let Some(sentence) = wrong.or_else(|| unlike_a_form(&envelope.entry, app.clock.now())) {
        return Ok(Some(Objection::Refused(sentence)));
    }
    match envelope.actor {
        Actor::Link(link) => {
            let target = app.store.link_target(link).await?;
            // A link for another consignment is refused by the journal.
            let Some(target) = target.filter(|own| own.consignment == consignment) else {
                return Ok(None);
            };
            program_asks::objection(app, &LabAccess { link, target }, &envelope.entry).await
        }
        _ => of_steward(app, envelope, consignment).await,
    }
}

/// What is wrong with the words of an entry that a form would have cleaned, and both sides read.
pub(super) fn unclean(entry: &Entry) -> Option<String> {
    let lines: Vec<(&str, &str)> = match entry {
        Entry::SessionSet(session) => vec![
            ("The machine", &session.machine),
            ("The fixture", &session.fixture),
            ("The method", &session.used.method),
            ("The conditioning", &session.used.conditioning),
        ],
        Entry::EquipmentKept(kept) => vec![
            ("The name", &kept.equipment.name),
            ("The serial number", &kept.equipment.serial),
            ("The class", &kept.equipment.class),
        ],
        Entry::ReceiptNoted(receipt) => vec![("The number on the seal", &receipt.seal_number)],
        Entry::ParcelSealed { number, .. } => vec![("The number on the seal", number)],
        _ => Vec::new(),
    };
    let mut faults = lines
        .into_iter()
        .filter_map(|(called, text)| clean("", called, text, LINE_LIMIT).err());
    faults.next().map(|fault| fault.sentence)
}

/// What a form would not take of an entry that came without one: its figures put into the form and read again.
pub(super) fn unlike_a_form(entry: &Entry, now: DateTime<Utc>) -> Option<String> {
    let today = now.date_naive();
    let faults = match entry {
        Entry::SessionSet(session) => {
            TestSession::parse(&session.to_fields(), session.consignment, today).err()
        }
        Entry::EquipmentKept(kept) => Equipment::parse(&kept.equipment.to_fields(), today).err(),
        Entry::ReceiptNoted(receipt) => {
            let fields = receipt.to_fields("UTC");
            ParcelReceipt::parse(&fields, receipt.consignment, ("UTC", now)).err()
        }
        _ => None,
    };
    faults?.0.into_iter().next().map(|fault| fault.sentence)
}

/// What the tester reads must not tell what stands behind a code; a lab's record is its own.
async fn of_steward(
    app: &App,
    envelope: &Envelope,
    consignment: ConsignmentId,
) -> Result<Option<Objection>, WebFault> {
    let told = match &envelope.entry {
        Entry::EquipmentKept(_) => {
            let sentence = "A lab's record is written by its tester.";
            return Ok(Some(Objection::Refused(sentence.to_owned())));
        }
        Entry::ParcelSealed { number, .. } => number,
        Entry::ReceiptNoted(receipt) => &receipt.seal_number,
        Entry::DifferenceSettled { .. } | Entry::Arrived { .. } => "",
        _ => return Ok(None),
    };
    // What is no study of the sender's, or no consignment of it, is refused by the journal.
    let Some(record) = own_study(app, envelope).await? else {
        return Ok(None);
    };
    let Some(one) = record.consignment(consignment) else {
        return Ok(None);
    };
    let words = [told, envelope.note.as_deref().unwrap_or_default()];
    let mut named = words
        .into_iter()
        .filter_map(|words| parcel_show::named(&record, one, words));
    Ok(named.next().map(Objection::Refused))
}

async fn own_study(app: &App, envelope: &Envelope) -> Result<Option<Arc<StudyRecord>>, WebFault> {
    let (Actor::Account(account), Chain::Study(study)) = (envelope.actor, envelope.chain) else {
        return Ok(None);
    };
    for line in app.store.studies_of(account).await? {
        let door = app.store.study_door(&line.slug, None).await?;
        if door.is_some_and(|door| door.id == study) {
            return Ok(app.store.study_record(&line.slug).await?);
        }
    }
    Ok(None)
}
