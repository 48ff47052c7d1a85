//! The desk: what is due today and in the next weeks over all one's studies, then the studies.

use crate::study::cautions::{self, Step};
use crate::study::due::{self, Due, Nearness, What, words};
use crate::study::ids::AccountId;
use crate::study::plan::Environment;
use crate::study::record::StudyRecord;
use crate::web::App;
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use chrono::NaiveDate;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "steward/study_list.html")]
struct DeskPage {
    chrome: Chrome,
    groups: Vec<DueGroup>,
    /// How many things are due later than the page lists.
    later: usize,
    cautions: Vec<&'static str>,
    studies: Vec<Line>,
}

/// Things of one nearness.
struct DueGroup {
    heading: &'static str,
    is_late: bool,
    lines: Vec<DueLine>,
}

/// Something due, ready to print.
struct DueLine {
    href: String,
    title: String,
    when: String,
    study: String,
    detail: String,
}

/// A study, ready to print.
struct Line {
    slug: String,
    title: String,
    state: &'static str,
    door: &'static str,
}

/// The list.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
) -> Result<impl IntoResponse, WebFault> {
    let account = AccountId(steward.id);
    let studies = app.store.studies_of(account).await?;
    let all = everything_due(&app, account).await?;
    let lines = studies.into_iter().map(|study| Line {
        state: match (study.editions, study.is_sealed) {
            (0, false) => "plan not sealed yet",
            (0, true) => "sealed, nothing published yet",
            _ => "published",
        },
        door: if study.is_public { "public" } else { "private" },
        slug: study.slug,
        title: study.title,
    });
    Ok(Page::of(DeskPage {
        chrome: chrome.titled("What is due"),
        groups: groups(&all),
        later: all.iter().filter(|one| one.is(Nearness::Later)).count(),
        cautions: on_water(&all),
        studies: lines.collect(),
    }))
}

/// Something due, with its study and the day that it is there.
pub(super) struct DueIn {
    pub(super) study: Arc<StudyRecord>,
    pub(super) due: Due,
    today: NaiveDate,
}

impl DueIn {
    fn is(&self, nearness: Nearness) -> bool {
        self.due.nearness(self.today) == nearness
    }
}

/// What is due over all studies of a steward, the nearest end first.
///
/// # Errors
/// When the database cannot be read.
pub(super) async fn everything_due(app: &App, account: AccountId) -> Result<Vec<DueIn>, WebFault> {
    let now = app.clock.now();
    let mut all = Vec::new();
    for line in app.store.studies_of(account).await? {
        let Some(study) = app.store.study_record(&line.slug).await? else {
            continue;
        };
        let today = due::today(&study, now);
        all.extend(due::of(&study, now).into_iter().map(|due| DueIn {
            study: Arc::clone(&study),
            due,
            today,
        }));
    }
    all.sort_by_key(|one| (one.due.closes, one.due.opens));
    Ok(all)
}

/// The groups of the page. A parcel that is on its way is looked at long before it has to be asked
/// after, so it has its own.
fn groups(all: &[DueIn]) -> Vec<DueGroup> {
    let is_away = |one: &&DueIn| one.due.what == What::Parcel && one.due.opens > one.today;
    let group = |heading, nearness| {
        let near = all.iter().filter(|one| one.is(nearness) && !is_away(one));
        DueGroup {
            heading,
            is_late: nearness == Nearness::Overdue,
            lines: near.map(line).collect(),
        }
    };
    let away = DueGroup {
        heading: "Parcels on their way",
        is_late: false,
        lines: all.iter().filter(is_away).map(line).collect(),
    };
    let mut groups = vec![
        group("Overdue", Nearness::Overdue),
        group("Now", Nearness::Now),
        group("In the next seven days", Nearness::ThisWeek),
        group("In the next four weeks", Nearness::Soon),
        away,
    ];
    groups.retain(|group| !group.lines.is_empty());
    groups
}

fn line(one: &DueIn) -> DueLine {
    DueLine {
        href: format!("/desk/{}/{}", one.study.slug, one.due.page),
        title: one.due.title.clone(),
        when: words::when(&one.due, one.today),
        study: one.study.title.clone(),
        detail: one.due.detail.clone(),
    }
}

/// The cautions of standing or open water, when some of it has to be seen to soon.
fn on_water(all: &[DueIn]) -> Vec<&'static str> {
    let is_soon = |one: &&DueIn| !one.is(Nearness::Later) && !one.is(Nearness::Soon);
    let places = all
        .iter()
        .filter(is_soon)
        .flat_map(|one| one.due.places.iter().copied());
    let is_wet =
        |place: &Environment| matches!(place, Environment::FreshWater | Environment::SaltWater);
    cautions::of(Step::Tend, places.filter(is_wet))
}
