//! Bringing a study over, the second step: what was understood of the file, put right where it is wrong, every
//! problem by its row, the study as it would be; then all of it into the journal, or nothing.

use super::study_bring_read::{Looked, look, parse, said_of, text_of};
use super::study_bring_sets::{SetLine, sets, unknown};
use super::study_bring_write::bring_over;
use crate::clock::hex;
use crate::store::StudyFile;
use crate::study::ids::AccountId;
use crate::study::opening::{suggested_slug, time_zones};
use crate::study::typed::Typed;
use crate::tidy::Tidy;
use crate::tidy::bring;
use crate::tidy::matching;
use crate::tidy::problem::{Place, Problems};
use crate::web::App;
use crate::web::act;
use crate::web::extract::{Path, Steward};
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use chrono::NaiveDate;
use uuid::Uuid;

/// Problems shown at most; whoever has more begins with these.
const MOST_SHOWN: usize = 100;

#[derive(Template)]
#[template(path = "steward/study_bring_look.html")]
struct LookPage {
    chrome: Chrome,
    id: String,
    name: String,
    sha256: String,
    columns: Vec<ColumnLine>,
    offered: Vec<(String, String)>,
    problems: Vec<String>,
    more_problems: usize,
    sets: Vec<SetLine>,
    unknown: Vec<&'static str>,
    /// What is entered where the file says nothing.
    defaults: Vec<String>,
    counts: Option<(usize, usize)>,
    zones: Vec<&'static str>,
    form: Form,
}

/// A column of the file.
struct ColumnLine {
    number: usize,
    name: String,
    chosen: String,
    example: String,
}

/// Shows it as it is guessed.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    Path(id): Path<Uuid>,
) -> Result<Response, WebFault> {
    let (file, text) = load(&app, &steward, id).await?;
    let mut typed = Typed::default();
    let stem = stem(&file.name);
    typed.set("title", stem.clone());
    typed.set("slug", suggested_slug(&stem));
    typed.set("time_zone", "UTC");
    typed.set(act::ENTRY, act::fresh(&app));
    let today = app.clock.now().date_naive();
    let looked = look(text, typed.clone(), stem, today).await?;
    let form = (Form::filled(typed), today);
    Ok(Page::of(page(chrome, &file, looked, form)).into_response())
}

async fn load(app: &App, steward: &Steward, id: Uuid) -> Result<(StudyFile, Vec<u8>), WebFault> {
    let file = app.store.study_file(id, AccountId(steward.id)).await?;
    let file = file.ok_or(WebFault::NotFound)?;
    let blob = app.store.find_blob(&file.sha256).await?;
    let bytes = blob
        .ok_or_else(|| WebFault::ours("a study's file is not there"))?
        .bytes;
    let read = tokio::task::spawn_blocking(move || text_of(&bytes)).await;
    let text = read.map_err(WebFault::ours)?.map_err(WebFault::Refused)?;
    Ok((file, text))
}

fn stem(name: &str) -> String {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    stem.replace('_', " ")
}

/// Looks again, or brings the study over, as the button says.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    Path(id): Path<Uuid>,
    fields: Fields,
) -> Result<Response, WebFault> {
    let (file, text) = load(&app, &steward, id).await?;
    let today = app.clock.now().date_naive();
    let stem = stem(&file.name);
    let read = fields.read(parse);
    let looked = look(text, fields.0.clone(), stem, today).await?;
    let wants = fields.0.text("act") == "bring";
    let form = match (read, &looked.tidy) {
        (Ok(opening), Some(tidy)) if wants && looked.problems.is_empty() => {
            let there = format!("/desk/{}", opening.slug);
            // Everything is drawn here: drawing again would make another study of a second sending.
            if act::is_done(&app, &fields).await? {
                return Ok(Moved::to(there).into_response());
            }
            let twice = again(&app, &steward, &file, &fields).await?;
            match twice {
                Some(form) => form,
                None => match bring_over(&app, &steward, &fields, &opening, &file, tidy).await? {
                    Ok(count) => {
                        let said = format!("“{}” is here, in {count} entries.", opening.title);
                        return Ok(Moved::to(there).saying(said).into_response());
                    }
                    Err(form) => form,
                },
            }
        }
        (Err(form), _) => form,
        (Ok(_), _) if wants => {
            fields.again_with("", "Nothing was brought over: see what is wrong below.")
        }
        (Ok(_), _) => Form::filled(fields.0.clone()),
    };
    let form = act::afresh(&app, &form);
    let is_wrong = !form.is_faultless();
    let page = page(chrome, &file, looked, (form, today));
    Ok(if is_wrong {
        Page::refused(page)
    } else {
        Page::of(page)
    }
    .into_response())
}

/// A file that made a study of this person's already is asked about once: by a slip it would be a second one.
async fn again(
    app: &App,
    steward: &Steward,
    file: &StudyFile,
    fields: &Fields,
) -> Result<Option<Form>, WebFault> {
    if fields.0.has("confirmed") {
        return Ok(None);
    }
    let account = AccountId(steward.id);
    let there = app.store.studies_from_file(account, &file.sha256).await?;
    let named = there
        .iter()
        .map(|one| format!("“{}” (/desk/{})", one.title, one.slug));
    let named = named.collect::<Vec<_>>().join(", ");
    let sentence = format!(
        "The same file, byte for byte, was brought over before, as {named}. Tick this if it is to become \
         another study all the same."
    );
    let is_there = !there.is_empty();
    Ok(is_there.then(|| fields.again_with("confirmed", sentence)))
}

fn defaults(tidy: Option<&Tidy>, typed: &Typed, today: NaiveDate) -> Vec<String> {
    let said = said_of(typed, "AA".to_owned(), today);
    let is_empty = |field: &str| typed.text(field).is_empty();
    tidy.map(|tidy| bring::defaults(tidy, &said, is_empty))
        .unwrap_or_default()
}

fn page(
    chrome: Chrome,
    file: &StudyFile,
    looked: Looked,
    (form, today): (Form, NaiveDate),
) -> LookPage {
    let columns = looked.names.iter().zip(&looked.chosen).enumerate();
    let columns = columns.map(|(at, (name, chosen))| ColumnLine {
        number: at + 1,
        name: name.clone(),
        chosen: chosen.clone(),
        example: looked.first.get(at).cloned().unwrap_or_default(),
    });
    let columns: Vec<ColumnLine> = columns.collect();
    let told = by_sentence(&looked.problems);
    let sets = looked.tidy.as_ref().map(sets).unwrap_or_default();
    LookPage {
        chrome: chrome.titled("Bring a study over"),
        id: file.id.to_string(),
        name: file.name.clone(),
        sha256: hex(&file.sha256),
        columns,
        offered: matching::offered(),
        more_problems: told.len().saturating_sub(MOST_SHOWN) + looked.problems.untold,
        problems: told.into_iter().take(MOST_SHOWN).collect(),
        unknown: looked.tidy.as_ref().map(unknown).unwrap_or_default(),
        defaults: defaults(looked.tidy.as_ref(), form.typed(), today),
        counts: looked
            .tidy
            .as_ref()
            .map(|tidy| (tidy.rows.len(), tidy.plan.conditions.len())),
        sets,
        zones: time_zones().collect(),
        form,
    }
}

/// The problems, those that are the same for several lines in one sentence that names them all.
fn by_sentence(problems: &Problems) -> Vec<String> {
    let mut told: Vec<String> = Vec::new();
    let mut seen: Vec<&str> = Vec::new();
    for problem in &problems.told {
        let sentence = problem.sentence.as_str();
        let Place::Line { .. } = problem.place else {
            told.push(on_page(&problem.to_string()));
            continue;
        };
        if seen.contains(&sentence) {
            continue;
        }
        seen.push(sentence);
        let same = problems
            .told
            .iter()
            .filter(|other| other.sentence == sentence);
        let lines: Vec<u64> = same
            .filter_map(|other| match other.place {
                Place::Line { line } => Some(line),
                _ => None,
            })
            .collect();
        told.push(match lines.as_slice() {
            [only] => format!("line {only}: {sentence}"),
            several => format!("lines {}: {sentence}", runs(several)),
        });
    }
    told
}

/// What the command line calls an option is a field here.
fn on_page(sentence: &str) -> String {
    sentence
        .replace(
            "the option --storage-control",
            "the field “The storage control” below",
        )
        .replace(
            "the option --stage-days",
            "the field “Days of the stage” below",
        )
}

/// `2 to 9, 12`: rising numbers with their runs folded.
fn runs(numbers: &[u64]) -> String {
    let mut folded: Vec<(u64, u64)> = Vec::new();
    for number in numbers {
        match folded.last_mut() {
            Some((_, last)) if *last + 1 == *number => *last = *number,
            _ => folded.push((*number, *number)),
        }
    }
    let words = folded.into_iter().map(|(first, last)| match last - first {
        0 => first.to_string(),
        _ => format!("{first} to {last}"),
    });
    words.collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_wrong_with_many_lines_is_said_once() {
        let mut problems = Problems::default();
        for line in [2, 3, 4, 9] {
            problems.line(line, "The same.");
        }
        problems.line(5, "Another.");
        problems.file("Say it, or the option --stage-days.");
        let told = by_sentence(&problems.sorted());
        assert_eq!(
            told,
            [
                "Say it, or the field “Days of the stage” below.",
                "lines 2 to 4, 9: The same.",
                "line 5: Another.",
            ]
        );
    }
}
