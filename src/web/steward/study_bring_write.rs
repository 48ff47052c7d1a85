//! Bringing a study over: every entry in one job of the journal, all of them or none.

use super::study_bring_read::said_of;
use crate::clock::hex;
use crate::store::{NotTaken, StudyFile};
use crate::study::code::mark_from_bytes;
use crate::study::entry::{Actor, Chain, Entry, Envelope, StudyStarted};
use crate::study::guard::Refusal;
use crate::study::ids::{AccountId, EntryId, StudyId};
use crate::study::opening::Opening;
use crate::tidy::Tidy;
use crate::tidy::bring::{self, Step};
use crate::web::App;
use crate::web::act;
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use uuid::Uuid;

/// Marks are drawn until one is free.
const DRAWS: usize = 64;

/// Writes the whole study in one job of the journal; how many entries, or the form with the reason.
pub(super) async fn bring_over(
    app: &App,
    steward: &Steward,
    fields: &Fields,
    opening: &Opening,
    file: &StudyFile,
    tidy: &Tidy,
) -> Result<Result<usize, Form>, WebFault> {
    for _ in 0..DRAWS {
        let Some(mark) = mark_from_bytes(app.clock.random()) else {
            continue;
        };
        let said = said_of(&fields.0, mark.clone(), app.clock.now().date_naive());
        let steps = bring::steps(tidy, &said, || app.clock.new_id(), || app.clock.random());
        let steps = match steps {
            Ok(steps) => steps,
            Err(problems) => return Ok(Err(fields.again_with("", problems.to_string()))),
        };
        let entries = envelopes(app, (steward, fields), (opening, mark), file, steps);
        let count = entries.len();
        match app.journal.submit_all(entries).await {
            Ok(_) => return Ok(Ok(count)),
            Err(NotTaken::Refused(Refusal::AddressTaken)) => {
                if app.store.study_door(&opening.slug, None).await?.is_some() {
                    let taken = "Another study on this server has this address; choose another.";
                    return Ok(Err(fields.again_with("slug", taken)));
                }
            }
            Err(NotTaken::Busy | NotTaken::Unknown) => return Err(WebFault::Busy),
            Err(other) => return Ok(Err(fields.again_with("", other.to_string()))),
        }
    }
    let full = "No free mark for the codes was found; this server holds too many studies.";
    Ok(Err(fields.again_with("", full)))
}

/// Every entry with its header: from which file and which line of it, and when it happened.
fn envelopes(
    app: &App,
    (steward, fields): (&Steward, &Fields),
    (opening, mark): (&Opening, String),
    file: &StudyFile,
    steps: Vec<Step>,
) -> Vec<Envelope> {
    let (study, account) = (StudyId(app.clock.new_id()), AccountId(steward.id));
    let first = act::entry_id(app, &fields.0).0;
    let started = StudyStarted {
        slug: opening.slug.clone(),
        mark,
        title: opening.title.clone(),
        time_zone: opening.time_zone.clone(),
        steward: account,
        is_after_the_fact: true,
    };
    let now = app.clock.now();
    let own = |entry: Entry| Step {
        entry,
        note: None,
        at: now,
        line: 0,
    };
    let all = [
        own(Entry::StudyOpened { study }),
        own(Entry::StudyStarted(started)),
    ];
    let all = all.into_iter().chain(steps).zip(0_u128..);
    let envelope = |(step, n): (Step, u128)| Envelope {
        // The same form sent again must give the same first id, so that nothing is written twice.
        id: EntryId(Uuid::from_u128(first.as_u128() ^ n)),
        chain: if n == 0 {
            Chain::Server
        } else {
            Chain::Study(study)
        },
        actor: Actor::Account(account),
        device: format!("file {}", hex(&file.sha256)),
        device_seq: step.line,
        taken_at: step.at,
        time_zone: opening.time_zone.clone(),
        note: step.note,
        entry: step.entry,
    };
    all.map(envelope).collect()
}
