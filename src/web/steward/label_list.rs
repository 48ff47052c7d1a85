//! The pieces as a plain list with their QR codes and marks, on paper, and as a file for other
//! printers. Nothing in either tells what a piece is for.

use super::label_choose::labelled;
use crate::report::label::{Qr, address};
use crate::study::marks::Marks;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::fault::WebFault;
use crate::web::page::{Chrome, Page};
use askama::Template;
use axum::extract::State;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

#[derive(Template)]
#[template(path = "print/label_list.html")]
struct ListPage {
    chrome: Chrome,
    slug: String,
    title: String,
    rows: Vec<Row>,
}

struct Row {
    code: String,
    number: u32,
    origin: String,
    marks: Marks,
    qr: Qr,
}

/// The list.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    study: StudyAccess,
) -> Result<impl IntoResponse, WebFault> {
    let record = study.record(&app).await?;
    let base = app.config.link_base();
    let rows = labelled(&record).map(|piece| row(piece, &base));
    Ok(Page::of(ListPage {
        chrome: chrome.titled(format!("List of labels · {}", record.title)),
        slug: record.slug.clone(),
        title: record.title.clone(),
        rows: rows.collect::<Result<_, WebFault>>()?,
    }))
}

fn row(piece: &SpecimenRecord, base: &str) -> Result<Row, WebFault> {
    let code = piece.code.to_string();
    Ok(Row {
        qr: Qr::of(&address(base, &code)).map_err(WebFault::ours)?,
        number: piece.number,
        origin: match piece.is_nameless {
            true => "found without its mark".to_owned(),
            false => format!("{}, {}", piece.build, piece.order),
        },
        marks: Marks::of(piece.number),
        code,
    })
}

/// The same as a file: code, running number, address, marks.
pub(in crate::web) async fn file(
    State(app): State<App>,
    study: StudyAccess,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let bytes = written(&record, &app.config.link_base()).map_err(WebFault::ours)?;
    let name = format!("attachment; filename=\"{}-labels.csv\"", record.slug);
    let headers = [
        (CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
        (CONTENT_DISPOSITION, name),
    ];
    Ok((headers, bytes).into_response())
}

fn written(record: &StudyRecord, base: &str) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(["code", "number", "address", "marked_places"])?;
    for piece in labelled(record) {
        let code = piece.code.to_string();
        let (number, marks) = (piece.number.to_string(), Marks::of(piece.number).places());
        writer.write_record([&code, &number, &address(base, &code), &marks])?;
    }
    writer.into_inner().map_err(|e| e.into_error().into())
}
