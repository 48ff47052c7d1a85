//! What deviations say of void readings, and of words that name what is still blind.

use super::{KEPT_BACK, before_results, deviations};
use crate::analysis::analyse;
use crate::report::tests::study;
use crate::study::record::{Standing, StudyRecord};

/// The cases under this heading once all is open.
fn cases(record: &StudyRecord, heading: &str) -> Vec<String> {
    let findings = analyse(record).unwrap();
    let mut told = deviations(record, &findings).into_iter();
    let found = told.find(|kind| kind.heading == heading);
    found.map(|kind| kind.cases).unwrap_or_default()
}

#[test]
fn a_void_reading_stands_with_the_reason_for_which_it_is_void_never_with_its_own_remark() {
    let mut record = study();
    let void = &mut record.readings[62];
    void.standing = Standing::Void;
    void.note = Some("read twice".into());
    let (entry, piece) = (void.entry, void.reading.specimen.to_string());
    let told = |record: &StudyRecord| {
        let mut told = cases(record, "Corrected and void readings").into_iter();
        told.find(|case| case.starts_with(&piece)).unwrap()
    };
    // The reason was erased.
    assert!(
        told(&record).ends_with("declared void"),
        "{}",
        told(&record)
    );
    record.voidings.insert(entry, "it lay on the lid".into());
    let case = told(&record);
    assert!(
        case.ends_with("declared void. Reason: it lay on the lid"),
        "{case}"
    );
}

#[test]
fn words_that_name_a_piece_before_its_results_are_in_are_kept_back() {
    let mut record = study();
    let code = record.specimens[40].code.to_string();
    for (said, is_told) in [
        ("The balance's battery was empty.".to_owned(), true),
        (format!("{code} hung on the roof by then"), false),
        (
            format!("{} hung on the roof by then", code.to_lowercase()),
            false,
        ),
    ] {
        record.waivers[0].reason = said.clone();
        let told = before_results(&record);
        let waived = told.iter().find(|kind| kind.heading.contains("waivers"));
        let case = &waived.unwrap().cases[0];
        assert_eq!(case.ends_with(&said), is_told, "{case}");
        assert_eq!(case == KEPT_BACK, !is_told, "{case}");
    }
    // With its results it may be named.
    let open = cases(
        &record,
        "Pieces that went out without all readings (waivers)",
    );
    assert!(open[0].contains("hung on the roof"), "{open:?}");
}
