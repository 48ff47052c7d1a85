//! Acting: one entry from a page's form into the journal, and back to the page when it is not taken.
//!
//! A form carries the id of its entry in the hidden field `entry`, drawn when the page was made, so
//! that a double tap or a second sending writes nothing twice.

use super::App;
use super::access::{LabAccess, StudyAccess};
use super::extract::Steward;
use super::fault::WebFault;
use super::form::{Fields, Form};
use super::page::{Moved, Page};
use crate::store::NotTaken;
use crate::study::entry::{Actor, Chain, Entry, Envelope, Receipt};
use crate::study::fault::Faults;
use crate::study::ids::{AccountId, EntryId, StudyId};
use crate::study::typed::Typed;
use askama::Template;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

/// The hidden field with the entry's id.
pub const ENTRY: &str = "entry";

/// Who acts, in which study.
#[derive(Debug, Clone)]
pub struct Acting {
    /// Who.
    pub actor: Actor,
    /// In which study.
    pub study: StudyId,
}

impl Acting {
    /// A steward in a study of theirs.
    #[must_use]
    pub fn steward(steward: &Steward, study: &StudyAccess) -> Self {
        Self {
            actor: Actor::Account(AccountId(steward.id)),
            study: study.id,
        }
    }

    /// A tester through a lab link.
    #[must_use]
    pub fn tester(lab: &LabAccess, study: StudyId) -> Self {
        Self {
            actor: Actor::Link(lab.link),
            study,
        }
    }
}

/// Why nothing was written: the form to show again, or a fault of the server.
#[derive(Debug)]
pub enum Declined {
    /// Show the page again with this form.
    Form(Form),
    /// Nothing to show again.
    Fault(WebFault),
}

impl From<WebFault> for Declined {
    fn from(fault: WebFault) -> Self {
        Self::Fault(fault)
    }
}

impl From<Form> for Declined {
    fn from(form: Form) -> Self {
        Self::Form(form)
    }
}

/// A fresh id for the hidden field of a page that is about to be shown.
#[must_use]
pub fn fresh(app: &App) -> String {
    app.clock.new_id().to_string()
}

/// A refused form with a fresh id for its entry: what was refused is not stored, and what is stored
/// already under the old id must not stand in the way of the next attempt.
#[must_use]
pub fn afresh(app: &App, form: &Form) -> Form {
    let mut typed = form.typed().clone();
    typed.set(ENTRY, fresh(app));
    Fields(typed).again(form.faults().clone())
}

/// The entry's id that the form carries, or a fresh one when it carries none that is readable.
#[must_use]
pub fn entry_id(app: &App, typed: &Typed) -> EntryId {
    let sent = Uuid::parse_str(typed.text(ENTRY)).ok();
    EntryId(
        sent.filter(is_uuid_v7)
            .unwrap_or_else(|| app.clock.new_id()),
    )
}

/// Whether an id is a UUIDv7, as every entry's must be.
#[must_use]
pub fn is_uuid_v7(id: &Uuid) -> bool {
    id.get_version_num() == 7
}

/// Writes the entry of a form down.
///
/// # Errors
/// The form with the journal's reason when it refuses, a fault when it is busy or broken.
pub async fn submit(
    app: &App,
    acting: &Acting,
    fields: &Fields,
    entry: Entry,
    note: Option<String>,
) -> Result<Receipt, Declined> {
    let envelope = envelope(app, acting, entry_id(app, &fields.0), entry, note);
    app.journal
        .submit(envelope)
        .await
        .map_err(|why| declined(fields, why))
}

/// Writes down what a form was read as, when it could be read.
///
/// # Errors
/// The form as it was read, and as [`submit`].
pub async fn sent(
    app: &App,
    acting: &Acting,
    fields: &Fields,
    read: Result<(Entry, Option<String>), Form>,
) -> Result<(), Declined> {
    let (entry, note) = read?;
    submit(app, acting, fields, entry, note).await?;
    Ok(())
}

/// Goes on where a form was taken; shows its page again, with what is wrong, where it was not.
///
/// # Errors
/// A fault of the server.
pub fn answered<P: Template>(
    app: &App,
    done: Result<(), Declined>,
    onward: Moved,
    again: impl FnOnce(Form) -> P,
) -> Result<Response, WebFault> {
    match done {
        Ok(()) => Ok(onward.into_response()),
        Err(Declined::Fault(fault)) => Err(fault),
        Err(Declined::Form(form)) => Ok(Page::refused(again(afresh(app, &form))).into_response()),
    }
}

/// Writes several entries of a form down, all or none. The first takes the form's id.
///
/// # Errors
/// As [`submit`].
pub async fn submit_all(
    app: &App,
    acting: &Acting,
    fields: &Fields,
    entries: Vec<(Entry, Option<String>)>,
) -> Result<Vec<Receipt>, Declined> {
    let first = entry_id(app, &fields.0);
    let listed = entries.into_iter().enumerate();
    let listed =
        listed.map(|(n, (entry, note))| envelope(app, acting, numbered(first, n), entry, note));
    let sent = app.journal.submit_all(listed.collect()).await;
    sent.map_err(|why| declined(fields, why))
}

/// The id of the entry at a place in a form's list. The same form sent again must give the same ids, so that
/// nothing is written twice.
#[must_use]
pub fn numbered(first: EntryId, place: usize) -> EntryId {
    let place = u128::try_from(place).unwrap_or(u128::MAX);
    EntryId(Uuid::from_u128(first.0.as_u128() ^ place))
}

/// Whether the entry of this form is on record already. For entries that hold what the server draws
/// (codes, seeds): drawing again would give other content under the same id.
///
/// # Errors
/// When the database cannot be read.
pub async fn is_done(app: &App, fields: &Fields) -> Result<bool, WebFault> {
    Ok(app.store.has_entry(entry_id(app, &fields.0)).await?)
}

/// An entry with its header, as a form without script sends it.
#[must_use]
pub fn envelope(
    app: &App,
    acting: &Acting,
    id: EntryId,
    entry: Entry,
    note: Option<String>,
) -> Envelope {
    Envelope {
        id,
        chain: Chain::Study(acting.study),
        actor: acting.actor,
        device: "form".to_owned(),
        device_seq: 0,
        taken_at: app.clock.now(),
        time_zone: "UTC".to_owned(),
        note: note.filter(|note| !note.trim().is_empty()),
        entry,
    }
}

fn declined(fields: &Fields, why: NotTaken) -> Declined {
    match why {
        NotTaken::Busy | NotTaken::Unknown => Declined::Fault(WebFault::Busy),
        NotTaken::Refused(refusal) => {
            let mut faults = Faults::none();
            if refusal.is_doubt() {
                faults.push("confirmed", refusal.to_string());
            } else {
                faults.push("", refusal.to_string());
            }
            Declined::Form(fields.again(faults))
        }
        other => Declined::Form(fields.again_with("", other.to_string())),
    }
}
