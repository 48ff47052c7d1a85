//! Bringing a study over: the file read as the form says, tried out to the last entry without writing any.

use crate::mechanics::machine_file::text::decode;
use crate::study::fault::Faults;
use crate::study::opening::Opening;
use crate::study::typed::Typed;
use crate::study::{units, when};
use crate::tidy::bring::{self, Said};
use crate::tidy::problem::Problems;
use crate::tidy::wishes::{Request, Wishes};
use crate::tidy::{self, Tidy, cell, matching, sheet};
use crate::unpack;
use crate::web::fault::WebFault;
use chrono::NaiveDate;
use uuid::Uuid;

/// The text of a file, whatever it is stored in.
///
/// # Errors
/// In words, when it is none.
pub(in crate::web) fn text_of(bytes: &[u8]) -> Result<Vec<u8>, String> {
    if unpack::is_archive(bytes) {
        return sheet::to_csv(bytes);
    }
    match decode(bytes) {
        Ok((text, _)) => Ok(text.as_bytes().to_vec()),
        Err(why) => Err(why.to_string()),
    }
}

/// What was made of a file with what the form says.
pub(in crate::web) struct Looked {
    pub(in crate::web) names: Vec<String>,
    pub(super) chosen: Vec<String>,
    pub(super) first: Vec<String>,
    pub(super) tidy: Option<Tidy>,
    pub(in crate::web) problems: Problems,
}

/// Reads the file as the form says, off the threads that answer.
pub(super) async fn look(
    text: Vec<u8>,
    typed: Typed,
    stem: String,
    today: NaiveDate,
) -> Result<Looked, WebFault> {
    let read = move || looked(&text, &typed, stem, today);
    tokio::task::spawn_blocking(read)
        .await
        .map_err(WebFault::ours)
}

/// What is made of the text of a file with what the form says.
pub(in crate::web) fn looked(text: &[u8], typed: &Typed, stem: String, today: NaiveDate) -> Looked {
    let (names, mut problems) = match tidy::names(text) {
        Ok(names) => (names, Problems::default()),
        Err(problems) => (Vec::new(), problems),
    };
    let said = typed.all("column");
    let first = first_line(text);
    let choose = |(at, name): (usize, &String)| match said.get(at) {
        Some(chosen) => (*chosen).to_owned(),
        None => {
            let value = first.get(at).map_or("", String::as_str);
            guessed((name, value), &names, at)
        }
    };
    let chosen: Vec<String> = names.iter().enumerate().map(choose).collect();
    let mut tidy = None;
    if !names.is_empty() {
        let request = Request {
            wishes: wishes(typed),
            stem,
            ..Request::default()
        };
        let renamed: Vec<String> = chosen.iter().map(|name| left_out(name)).collect();
        match tidy::read_as(text, &request, &renamed) {
            Ok(read) => {
                let said = said_of(typed, "AA".to_owned(), today);
                let tried = bring::steps(&read, &said, Uuid::nil, counting());
                problems = tried.err().unwrap_or_default();
                tidy = Some(read);
            }
            Err(told) => problems = told,
        }
    }
    Looked {
        names,
        chosen,
        first,
        tidy,
        problems,
    }
}

/// A guess, unless a column before it has the same.
fn guessed((name, value): (&str, &str), names: &[String], at: usize) -> String {
    let mut guess = matching::guess(name).unwrap_or_default();
    // The same words stand above a day and above a plain yes.
    if guess == "put_out" && cell::day(value).is_ok() {
        "out_date".clone_into(&mut guess);
    }
    let before = names
        .iter()
        .take(at)
        .filter_map(|name| matching::guess(name));
    let is_taken = before.into_iter().any(|other| other == guess);
    if is_taken { String::new() } else { guess }
}

/// A column that is left out keeps a name that no column has.
fn left_out(name: &str) -> String {
    match name {
        "" => "left out of the study".to_owned(),
        name => name.to_owned(),
    }
}

/// The cells of the line below the header, to be shown beside the columns.
fn first_line(text: &[u8]) -> Vec<String> {
    let mut problems = Problems::default();
    let table = tidy::table::read(text, &mut problems);
    let line = table.and_then(|table| table.lines.into_iter().next());
    line.map(|line| line.cells).unwrap_or_default()
}

/// Blind codes for the trial, which nobody sees: each another.
fn counting() -> impl FnMut() -> [u8; 6] {
    let mut n: u32 = 0;
    move || {
        n = n.wrapping_add(1);
        let [a, b, c, d] = n.to_be_bytes();
        [a % 20, b % 20, c / 16 % 20, c % 16, d / 16, d % 16]
    }
}

/// The small plan that the form holds beside the file.
fn wishes(typed: &Typed) -> Wishes {
    let text = |name: &str| Some(typed.text(name).to_owned()).filter(|text| !text.is_empty());
    let number = |name: &str| units::positive(name, "", typed.text(name)).ok();
    Wishes {
        storage_control: text("storage_control"),
        stage_days: typed.text("stage_days").parse().ok(),
        margin_percent: number("margin"),
        balance_readability_g: number("balance"),
        calliper_readability_mm: number("calliper"),
        question: text("question"),
        piece: text("piece"),
        material: text("material"),
        ..Wishes::default()
    }
}

pub(super) fn said_of(typed: &Typed, mark: String, today: NaiveDate) -> Said {
    let day = |name: &str| when::day(name, "", typed.text(name)).ok();
    let or = |name: &str| match typed.text(name) {
        "" => "not recorded".to_owned(),
        text => text.chars().take(100).collect(),
    };
    Said {
        time_zone: typed.text("time_zone").to_owned(),
        mark,
        put_out_on: day("put_out_on"),
        tested_on: day("tested_on"),
        lab: or("lab"),
        machine: or("machine"),
        fixture: or("fixture"),
        today,
    }
}

/// What is wrong with the form itself.
pub(super) fn parse(typed: &Typed) -> Result<Opening, Faults> {
    let mut faults = Faults::none();
    let opening = Opening::parse(typed);
    for name in ["put_out_on", "tested_on"] {
        if !typed.text(name).is_empty() {
            faults.keep(when::day(name, "The day", typed.text(name)));
        }
    }
    for (name, called) in [
        ("margin", "The margin"),
        ("balance", "The balance's step"),
        ("calliper", "The calliper's step"),
    ] {
        faults.keep(units::optional(name, called, typed.text(name)));
    }
    if !typed.text("stage_days").is_empty() {
        let days = units::whole(
            "stage_days",
            "The days",
            typed.text("stage_days"),
            1,
            36_525,
        );
        faults.keep(days);
    }
    match opening {
        Ok(opening) => faults.or(opening),
        Err(mut own) => {
            own.extend(faults);
            Err(own)
        }
    }
}
