//! The curve of a piece after unblinding: its properties on the piece's page, and its picture.

use super::specimen_show::SpecimenPath;
use crate::analysis::change::bench;
use crate::analysis::property::{Basis, Limits, Sizes, kept_properties};
use crate::study::code::{BlindCode, Code};
use crate::study::curve::KeptCurve;
use crate::study::record::{ConsignmentRecord, StudyRecord};
use crate::web::App;
use crate::web::access::StudyAccess;
use crate::web::extract::Path;
use crate::web::fault::WebFault;
use crate::web::lab::curve_plot;
use crate::web::lab::curve_properties::Properties;
use crate::web::lab::curve_read::{self, Asked};
use axum::extract::State;
use axum::response::Response;

/// What the page shows of a piece's curve.
pub(super) struct Shown {
    pub(super) properties: Properties,
    pub(super) remarks: Vec<String>,
    pub(super) file_name: String,
}

/// The curve of a piece whose consignment is unblinded.
fn curve<'r>(
    record: &'r StudyRecord,
    code: &Code,
) -> Option<(&'r ConsignmentRecord, &'r BlindCode, &'r KeptCurve)> {
    let open = record.consignments.iter().filter(|one| !one.is_blind());
    open.rev().find_map(|consignment| {
        let mut pieces = consignment.pieces.iter();
        let piece = pieces.find(|piece| piece.specimen == *code)?;
        Some((
            consignment,
            &piece.blind,
            consignment.curve_of(&piece.blind)?,
        ))
    })
}

/// What the curve's stresses rest on.
fn sizes(record: &StudyRecord, code: &Code) -> Sizes {
    let Some(version) = record.plan() else {
        return Sizes::default();
    };
    if record.specimen(code).is_none_or(|piece| piece.is_nameless) {
        return Sizes::default();
    }
    let own = record.current_readings().map(|found| &found.reading);
    let own: Vec<_> = own.filter(|reading| reading.specimen == *code).collect();
    Sizes::of(&version.plan, &own, &bench(&record.instruments))
}

/// The properties of a piece; `None` while it is blind, or without a curve.
pub(super) fn shown(record: &StudyRecord, code: &Code) -> Option<Shown> {
    let (consignment, blind, curve) = curve(record, code)?;
    let form = &record.plan()?.plan.form;
    let sizes = sizes(record, code);
    let test = consignment.test_of(blind);
    let session = test.and_then(|test| consignment.session_of(test));
    let session = session.or(consignment.session.as_ref());
    let limits = Limits::of(session, &record.equipment);
    let basis = Basis {
        shape: form.shape,
        method: form.method.as_ref(),
        sizes: &sizes,
        machine: limits.machine,
    };
    let worked = kept_properties(curve, &basis);
    let read = curve.read.as_ref();
    let mut remarks = read.map(|read| read.remarks.clone()).unwrap_or_default();
    if let (Some(line), Some(why)) = (curve.ended_at_line, &curve.end_reason) {
        remarks.push(format!(
            "The tester said that the test ended at line {line}: {why}"
        ));
    }
    Some(Shown {
        properties: Properties::told(&worked, (form.shape, form.method.as_ref()), &sizes, &limits),
        remarks,
        file_name: curve.file_name.clone(),
    })
}

/// The picture, drawn from the original file as the tester had it read.
pub(in crate::web) async fn plot(
    State(app): State<App>,
    study: StudyAccess,
    Path(path): Path<SpecimenPath>,
) -> Result<Response, WebFault> {
    let record = study.record(&app).await?;
    let code = &path.find(&record)?.code;
    let (_, blind, curve) = curve(&record, code).ok_or(WebFault::NotFound)?;
    let form = record.plan().map(|version| &version.plan.form);
    let form = form.ok_or(WebFault::NotFound)?;
    let blob = app.store.find_blob_by_hex(&curve.file_sha256).await?;
    let bytes = blob
        .ok_or_else(|| WebFault::ours("a curve's file is not there"))?
        .bytes;
    let mut typed = curve_read::said(&curve.said);
    typed.set(&format!("piece-{}", curve.place), blind.to_string());
    if let Some(line) = curve.ended_at_line {
        typed.set(&format!("end-{}", curve.place), line.to_string());
    }
    let asked = Asked {
        pieces: vec![(blind.clone(), sizes(&record, code))],
        end_drop: form.end_drop(),
        shape: form.shape,
        method: form.method,
    };
    let (name, place) = (curve.file_name.clone(), curve.place);
    let read = tokio::task::spawn_blocking(move || {
        let looked = curve_read::look(&bytes, &name, &typed, &asked).ok()?;
        let place = usize::try_from(place).ok()?;
        looked.curves.into_iter().nth(place)?.read.ok()
    });
    let read = read.await.map_err(WebFault::ours)?;
    curve_plot::drawn(&read.ok_or(WebFault::NotFound)?)
}
