//! The chain of custody as a table: one row for each piece whose results are in.

use crate::analysis::findings::Findings;
use crate::report::download::{CsvFault, write};
use crate::study::custody::line::{self, Step};
use crate::study::record::StudyRecord;

/// The steps that have a column of their own, in the order of the line.
const STEPS: [&str; 13] = [
    "made",
    "weighed",
    "put_out",
    "taken_in",
    "weighed_again",
    "packed",
    "handed_over",
    "held",
    "received",
    "not_received",
    "tested",
    "returned",
    "discarded",
];

/// One row for each piece of the findings: the day of each step in the study's time zone, the last where
/// a step comes twice, how the seal was found, and the whole line in words.
///
/// # Errors
/// [`CsvFault`].
pub fn table(record: &StudyRecord, findings: &Findings) -> Result<Vec<u8>, CsvFault> {
    let mut head = vec!["specimen".to_owned()];
    head.extend(STEPS.map(|step| format!("{step}_on")));
    head.extend(["lab", "seal_on_arrival", "line"].map(str::to_owned));
    let mut rows = vec![head];
    for piece in &findings.specimens {
        let code = piece.code.to_string();
        let specimen = record
            .specimens
            .iter()
            .find(|one| one.code.as_str() == code);
        let Some(specimen) = specimen else {
            continue;
        };
        let steps = line::of(record, specimen);
        let consignment = record
            .consignments
            .iter()
            .rfind(|one| !one.is_blind() && one.pieces.iter().any(|p| p.specimen == specimen.code));
        let seal = consignment.and_then(|one| one.custody.receipt.as_ref());
        let mut cells = vec![code];
        cells.extend(STEPS.map(|key| day_of(&steps, key, &record.time_zone)));
        cells.push(consignment.map(|one| one.lab.clone()).unwrap_or_default());
        cells.push(seal.map(|receipt| receipt.seal_words()).unwrap_or_default());
        cells.push(line::in_words(&steps, &record.time_zone));
        rows.push(cells);
    }
    write(&rows)
}

fn day_of(steps: &[Step], key: &str, zone: &str) -> String {
    let last = steps.iter().rfind(|step| step.key == key);
    let moment = last.map(|step| crate::study::when::field(step.at, zone));
    moment
        .and_then(|text| text.split_once('T').map(|(day, _)| day.to_owned()))
        .unwrap_or_default()
}
