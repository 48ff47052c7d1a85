//! Nothing of a piece that is still blind may appear, in words, numbers or order.

use crate::analysis::analyse;
use crate::analysis::tests::build::{Invented, a_study};
use crate::study::break_test::Looks;
use crate::study::plan::Environment;
use crate::study::record::StudyRecord;

const KEPT: [f64; 6] = [300.0, 312.0, 305.0, 309.0, 298.0, 316.0];

fn two_stages() -> Invented {
    a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .stage(90)
        .baseline(&KEPT)
        .broke_after("c1", 90, &KEPT)
        .broke_after("c2", 90, &KEPT.map(|n| n * 0.9))
        .broke("c1", &[401.5, 402.5, 403.5, 404.5, 405.5, 406.5])
        .broke("c2", &[111.5, 112.5, 113.5, 114.5, 115.5, 116.5])
        .masses(|n| (5.0 + n as f64 / 1000.0, 4.9 + n as f64 / 1000.0))
}

fn printed(record: &StudyRecord) -> String {
    serde_json::to_string(&analyse(record).unwrap()).unwrap()
}

#[test]
fn nothing_of_a_blind_consignment_appears() {
    let record = two_stages().blind(365).build();
    let text = printed(&record);
    let hidden = record.consignments.iter().filter(|c| c.is_blind());
    for piece in hidden.flat_map(|c| &c.pieces) {
        assert!(
            !text.contains(&format!("\"{}\"", piece.specimen)),
            "{}",
            piece.specimen
        );
    }
    for value in ["111.5", "401.5", "4.918", "5.018"] {
        assert!(!text.contains(value), "{value}");
    }
    // The same words appear once it is unblinded, so the search above can fail.
    assert!(printed(&two_stages().build()).contains("111.5"));
}

#[test]
fn before_the_primary_stage_nothing_is_judged() {
    let found = analyse(&two_stages().blind(365).build()).unwrap();
    assert!(found.primary.is_none() && found.answer.is_empty());
    assert_eq!(
        found.standing.interim().as_deref(),
        Some("interim, stage 1 of 2")
    );
    let cells = &found.accounting.cells;
    let late = cells
        .iter()
        .find(|c| c.group.stage_days() == Some(365))
        .unwrap();
    assert_eq!((late.closed, late.packed, late.back), (6, 0, 0));
}

#[test]
fn a_half_unblinded_stage_is_not_judged() {
    let mut record = two_stages().build();
    let mut second = record.consignments.last().unwrap().clone();
    second.id = crate::study::ids::ConsignmentId(uuid::Uuid::from_u128(99));
    second.unblinded_at = None;
    record.consignments.push(second);
    let found = analyse(&record).unwrap();
    assert!(!found.standing.is_final && found.primary.is_none());
    assert!(!serde_json::to_string(&found).unwrap().contains("111.5"));
}

#[test]
fn the_testers_guesses_are_held_against_chance() {
    let mut study = a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .broke("c1", &KEPT)
        .broke("c2", &KEPT);
    for at in 0..12 {
        let looks = match at {
            0..=3 | 6..=7 => Looks::Indoors,
            11 => Looks::CannotTell,
            _ => Looks::Exposed,
        };
        study = study.looks(at, looks);
    }
    let found = analyse(&study.build()).unwrap();
    let guesses = found.sessions[0].guesses.clone().unwrap();
    assert_eq!(
        (guesses.guessed, guesses.hits, guesses.cannot_tell),
        (11, 7, 1)
    );
    let (a, q) = (6.0 / 11.0, 6.0 / 11.0);
    let expected = 11.0 * (a * q + (1.0 - a) * (1.0 - q));
    assert!((guesses.expected - expected).abs() < 1e-12);
    assert!(
        found
            .notes
            .iter()
            .any(|n| n.sentence.to_string().contains("was right 7 times"))
    );
}
