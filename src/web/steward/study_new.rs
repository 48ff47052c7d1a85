//! Opening a study.

use crate::store::NotTaken;
use crate::study::code::mark_from_bytes;
use crate::study::entry::{Actor, Chain, Entry, Envelope, StudyStarted};
use crate::study::guard::Refusal;
use crate::study::ids::{AccountId, EntryId, StudyId};
use crate::study::opening::{Opening, time_zones};
use crate::web::App;
use crate::web::act::{self, Acting};
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

/// How often a mark is drawn before a server with hundreds of studies is called full.
const DRAWS: usize = 200;

#[derive(Template)]
#[template(path = "steward/study_new.html")]
struct NewStudyPage {
    chrome: Chrome,
    form: Form,
    zones: Vec<&'static str>,
}

fn page(chrome: Chrome, form: Form) -> NewStudyPage {
    NewStudyPage {
        chrome: chrome.titled("A new study"),
        form,
        zones: time_zones().collect(),
    }
}

/// The form.
pub(in crate::web) async fn show(State(app): State<App>, chrome: Chrome) -> impl IntoResponse {
    let form = Form::filled([(act::ENTRY, act::fresh(&app).as_str())]);
    Page::of(page(chrome, form))
}

/// Opens the study.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    fields: Fields,
) -> Result<Response, WebFault> {
    let opening = match fields.read(Opening::parse) {
        Ok(opening) => opening,
        Err(form) => return Ok(Page::refused(page(chrome, form)).into_response()),
    };
    let there = format!("/desk/{}", opening.slug);
    // Its id and mark are drawn here: drawing again would make another study of a second sending.
    if !act::is_done(&app, &fields).await?
        && let Err(form) = open(&app, &steward, &fields, &opening).await?
    {
        return Ok(Page::refused(page(chrome, form)).into_response());
    }
    let said = format!("“{}” is open. Write its plan next.", opening.title);
    Ok(Moved::to(there).saying(said).into_response())
}

async fn open(
    app: &App,
    steward: &Steward,
    fields: &Fields,
    opening: &Opening,
) -> Result<Result<(), Form>, WebFault> {
    let taken = "Another study on this server has this address; choose another.";
    for _ in 0..DRAWS {
        let Some(mark) = mark_from_bytes(app.clock.random()) else {
            continue;
        };
        let entries = entries(app, steward, fields, opening, mark);
        match app.journal.submit_all(entries).await {
            Ok(_) => return Ok(Ok(())),
            Err(NotTaken::Refused(Refusal::AddressTaken)) => {
                if app.store.study_door(&opening.slug, None).await?.is_some() {
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

/// The study in the server's chain, and the first entry of its own.
fn entries(
    app: &App,
    steward: &Steward,
    fields: &Fields,
    opening: &Opening,
    mark: String,
) -> Vec<Envelope> {
    let study = StudyId(app.clock.new_id());
    let account = AccountId(steward.id);
    let started = StudyStarted {
        slug: opening.slug.clone(),
        mark,
        title: opening.title.clone(),
        time_zone: opening.time_zone.clone(),
        steward: account,
        is_after_the_fact: opening.is_after_the_fact,
    };
    let acting = Acting {
        actor: Actor::Account(account),
        study,
    };
    let id = act::entry_id(app, &fields.0);
    let second = EntryId(Uuid::from_u128(id.0.as_u128() ^ 1));
    let opened = act::envelope(app, &acting, id, Entry::StudyOpened { study }, None);
    let opened = Envelope {
        chain: Chain::Server,
        ..opened
    };
    let begun = act::envelope(app, &acting, second, Entry::StudyStarted(started), None);
    vec![opened, begun]
}
