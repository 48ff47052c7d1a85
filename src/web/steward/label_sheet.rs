//! Sheets of labels, drawn in millimetres and printed to scale, and the style sheet that tells the
//! printer how large the paper is.

use super::label_choose;
use crate::report::label::{self, Sheet};
use crate::study::code::Code;
use crate::study::fault::Faults;
use crate::study::label::Run;
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;
use crate::study::units;
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::extract::Query;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use askama::Template;
use axum::extract::State;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "print/label_sheet.html")]
struct SheetPage {
    chrome: Chrome,
    slug: String,
    run: Run,
    sheets: Vec<Sheet>,
    labels: usize,
}

/// The sheets of a run; the choice again when something in the address is wrong.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
    query: Query,
) -> Result<Response, WebFault> {
    let fields = Fields(query.0);
    if !fields.0.has("stock") {
        let choose = format!("/desk/{}/labels", study.slug);
        return Ok(Moved::to(choose).into_response());
    }
    let record = study.record(&app).await?;
    match laid_out(&app, &record, &fields) {
        Ok((run, sheets)) => Ok(Page::of(SheetPage {
            chrome: chrome.titled(format!("Labels · {}", record.title)),
            slug: record.slug.clone(),
            labels: sheets.iter().map(|sheet| sheet.labels.len()).sum(),
            run,
            sheets,
        })
        .into_response()),
        Err(form) => {
            let page = label_choose::page(&app, chrome, record, form);
            Ok(Page::refused(page).into_response())
        }
    }
}

fn laid_out(app: &App, record: &StudyRecord, fields: &Fields) -> Result<(Run, Vec<Sheet>), Form> {
    let (run, codes) = fields.read(|typed| {
        let (run, codes) = (Run::parse(typed), chosen(typed, record));
        match (run, codes) {
            (Ok(run), Ok(codes)) => Ok((run, codes)),
            (run, codes) => {
                let mut faults = run.err().unwrap_or_default();
                faults.extend(codes.err().unwrap_or_default());
                Err(faults)
            }
        }
    })?;
    let sheets = label::sheets(&run, &codes, &app.config.link_base());
    let sheets = sheets.map_err(|why| {
        let field = match why {
            label::NoLabels::TooMany(_) => "pieces",
            _ => "stock",
        };
        fields.again_with(field, why.to_string())
    })?;
    Ok((run, sheets))
}

/// The codes that were asked for: those typed, or all of a build, or all.
fn chosen(typed: &Typed, record: &StudyRecord) -> Result<Vec<String>, Faults> {
    let listed = typed.text("codes");
    if !listed.is_empty() {
        let apart = |c: char| c.is_whitespace() || ",;".contains(c);
        let words = listed.split(apart).filter(|word| !word.is_empty());
        return words.map(|word| known(word, record)).collect();
    }
    let group = typed.text("pieces");
    let pieces = label_choose::labelled(record)
        .filter(|piece| group.is_empty() || label_choose::group_of(piece) == group);
    let codes: Vec<String> = pieces.map(|piece| piece.code.to_string()).collect();
    if codes.is_empty() {
        return Err(Faults::one("pieces", "There is no piece to label here."));
    }
    Ok(codes)
}

fn known(word: &str, record: &StudyRecord) -> Result<String, Faults> {
    let code: Code = word
        .parse()
        .map_err(|fault| Faults::one("codes", format!("{word}: {fault}")))?;
    match record.specimen(&code) {
        Some(_) => Ok(code.to_string()),
        None => Err(Faults::one(
            "codes",
            format!("{code} is no piece of this study."),
        )),
    }
}

/// Paper of the address's width and height in mm, without margins of the printer's own; A4 when it
/// names none.
pub(in crate::web) async fn paper(query: Query) -> Result<Response, WebFault> {
    let size = |name: &str, usual: f64| {
        let text = query.0.text(name);
        let read = units::positive(name, name, text).ok();
        let fits = read.filter(|mm| (5.0..=2000.0).contains(mm));
        if text.is_empty() { Some(usual) } else { fits }
    };
    let (Some(width), Some(height)) = (size("width", 210.0), size("height", 297.0)) else {
        return Err(WebFault::NotFound);
    };
    let style = format!("@page {{ size: {width}mm {height}mm; margin: 0; }}\n");
    Ok(([(CONTENT_TYPE, "text/css; charset=utf-8")], style).into_response())
}
