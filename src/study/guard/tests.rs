//! The rules, one by one, on small standings.

use super::*;
use crate::study::break_test::{BreakTest, FailureMode, Outcome};
use crate::study::code::{BlindCode, Code};
use crate::study::ids::{AccountId, ConsignmentId, EntryId, LinkId, StudyId};
use crate::study::standing::{ConsignmentStanding, LinkStanding, PieceStanding};
use std::collections::BTreeMap;
use uuid::Uuid;

fn id(n: u128) -> Uuid {
    Uuid::from_u128(n)
}

fn study() -> StudyStanding {
    StudyStanding {
        is_after_the_fact: false,
        plan: None,
        is_sealed: false,
        stewards: [AccountId(id(1))].into(),
        draws: 0,
        draw_plan_version: None,
        is_placed: false,
        is_out: false,
        is_consigned: false,
        is_public: false,
        instruments: Default::default(),
        specimens: 0,
        editions: 0,
    }
}

fn envelope(actor: Actor, entry: Entry) -> Envelope {
    Envelope {
        id: EntryId(id(9)),
        chain: Chain::Study(StudyId(id(2))),
        actor,
        device: "test".into(),
        device_seq: 1,
        taken_at: DateTime::UNIX_EPOCH,
        time_zone: "Europe/Oslo".into(),
        note: None,
        entry,
    }
}

fn steward(entry: Entry) -> Envelope {
    envelope(Actor::Account(AccountId(id(1))), entry)
}

fn blind(byte: u8) -> BlindCode {
    (0..255)
        .filter_map(|last| BlindCode::from_bytes([byte, 1, 2, 3, 4, last]))
        .next()
        .expect("some last byte gives a code")
}

fn lab(pieces: &[(u8, bool)]) -> Standing {
    let pieces = pieces.iter().enumerate().map(|(n, (byte, is_tested))| {
        let piece = PieceStanding {
            position: u32::try_from(n).expect("small") + 1,
            is_missing: false,
            test: is_tested.then(|| EntryId(id(50))),
            is_guessed: false,
            arrived_otherwise: false,
        };
        (blind(*byte), piece)
    });
    Standing {
        study: Some(study()),
        consignment: Some(ConsignmentStanding {
            is_finished: false,
            is_unblinded: false,
            pieces: pieces.collect(),
            has_receipt: false,
            labs: BTreeMap::new(),
            equipment: BTreeMap::new(),
        }),
        link: Some(LinkStanding {
            id: LinkId(id(7)),
            is_open: true,
            is_for_consignment: true,
        }),
        ..Standing::default()
    }
}

fn test_of(byte: u8, is_out_of_order: bool) -> Entry {
    Entry::BreakTested(BreakTest {
        consignment: ConsignmentId(id(5)),
        blind: blind(byte),
        outcome: Outcome::Valid,
        max_load_n: Some(300.0),
        typed: None,
        energy_j: None,
        failure: None,
        mode: FailureMode::Break,
        is_out_of_order,
        is_confirmed_doubt: false,
    })
}

fn tester(entry: Entry) -> Envelope {
    envelope(Actor::Link(LinkId(id(7))), entry)
}

fn refusal(envelope: &Envelope, standing: &Standing) -> Option<Refusal> {
    check(envelope, standing, DateTime::UNIX_EPOCH).err()
}

#[test]
fn a_stranger_and_a_steward_of_another_study_are_refused() {
    let standing = Standing {
        study: Some(study()),
        ..Standing::default()
    };
    let other = envelope(Actor::Account(AccountId(id(3))), Entry::MadePublic {});
    assert_eq!(refusal(&other, &standing), Some(Refusal::NotYours));
    assert_eq!(refusal(&steward(Entry::MadePublic {}), &standing), None);
    assert_eq!(
        refusal(&tester(Entry::MadePublic {}), &lab(&[])),
        Some(Refusal::NotYours)
    );
}

#[test]
fn the_order_of_testing_is_broken_only_with_a_reason() {
    let standing = lab(&[(1, false), (2, false)]);
    assert_eq!(refusal(&tester(test_of(1, false)), &standing), None);
    assert_eq!(
        refusal(&tester(test_of(2, false)), &standing),
        Some(Refusal::OutOfOrder)
    );
    let mut out = tester(test_of(2, true));
    assert_eq!(refusal(&out, &standing), Some(Refusal::ReasonMissing));
    out.note = Some("The first piece is still cold.".into());
    assert_eq!(refusal(&out, &standing), None);
}

#[test]
fn a_piece_is_tested_once_and_a_finished_consignment_is_closed() {
    let mut standing = lab(&[(1, true), (2, false)]);
    assert_eq!(
        refusal(&tester(test_of(1, false)), &standing),
        Some(Refusal::AlreadyTested)
    );
    let finish = tester(Entry::Finished {
        consignment: ConsignmentId(id(5)),
    });
    assert_eq!(refusal(&finish, &standing), Some(Refusal::TestsMissing(1)));
    standing.consignment.as_mut().unwrap().is_finished = true;
    assert_eq!(
        refusal(&tester(test_of(2, false)), &standing),
        Some(Refusal::AlreadyFinished)
    );
}

#[test]
fn an_ended_link_writes_nothing() {
    let mut standing = lab(&[(1, false)]);
    standing.link.as_mut().unwrap().is_open = false;
    assert_eq!(
        refusal(&tester(test_of(1, false)), &standing),
        Some(Refusal::LinkEnded)
    );
}

#[test]
fn the_last_steward_cannot_leave() {
    let standing = Standing {
        study: Some(study()),
        ..Standing::default()
    };
    let leave = steward(Entry::StewardRemoved {
        account: AccountId(id(1)),
    });
    assert_eq!(refusal(&leave, &standing), Some(Refusal::LastSteward));
}

#[test]
fn a_seal_needs_a_plan_and_unknown_pieces_are_named() {
    let standing = Standing {
        study: Some(study()),
        ..Standing::default()
    };
    let seal = steward(Entry::Sealed {
        plan_version: 1,
        plan_sha256: String::new(),
    });
    assert_eq!(refusal(&seal, &standing), Some(Refusal::NoPlan));
    let (_, code) = Code::run("KT", 0).next().unwrap();
    let mut reject = steward(Entry::SpecimenRejected {
        specimen: code.clone(),
    });
    reject.note = Some("A blister.".into());
    assert_eq!(
        refusal(&reject, &standing),
        Some(Refusal::NoSuchSpecimen(code))
    );
}

/// A plan of one exposed condition and the storage control, six pieces each, no baseline set.
fn plan() -> crate::study::plan::Plan {
    use crate::study::plan::form;
    let mut typed = form::blank();
    for field in ["question", "material", "lots", "builds", "piece_name"] {
        typed.set(field, field);
    }
    typed.set("loading_direction", "up");
    typed.set("fixture", "jaws");
    typed.set("baseline", "0");
    typed.set("compares_storage_with_baseline", "");
    typed.set("compares_exposed_with_baseline", "");
    typed.add("condition_name", "barrel");
    typed.add("condition_holders", "3");
    typed.add("condition_replicates", "6");
    form::parse(&typed, None).unwrap()
}

#[test]
fn a_draw_gives_every_group_its_number_or_is_no_draw() {
    use crate::study::allocation::{Allocated, Candidate, draw};
    use crate::study::specimen::Whereabouts;
    use crate::study::standing::SpecimenStanding;
    let pieces: Vec<Candidate> = Code::run("KT", 0)
        .take(12)
        .map(|(_, code)| Candidate {
            code,
            build: "a".into(),
            mass_g: None,
        })
        .collect();
    let drawn = |rows| {
        steward(Entry::AllocationDrawn(Allocated {
            draw: 1,
            plan_version: 1,
            seed: String::new(),
            method: String::new(),
            candidates_sha256: String::new(),
            rows,
        }))
    };
    let bench = |piece: &Candidate| {
        let standing = SpecimenStanding {
            place: None,
            whereabouts: Whereabouts::Bench,
            last_event_at: None,
            is_waived: false,
            readings: Default::default(),
            drying: Vec::new(),
            is_overridden: Default::default(),
        };
        (piece.code.clone(), standing)
    };
    let rows = draw(&plan(), &pieces, &[1; 32]).unwrap();
    let mut standing = Standing {
        study: Some(StudyStanding {
            plan: Some((1, plan())),
            ..study()
        }),
        specimens: pieces.iter().map(bench).collect(),
        ..Standing::default()
    };
    assert_eq!(refusal(&drawn(rows.clone()), &standing), None);
    let short = drawn(rows[1..].to_vec());
    assert_eq!(refusal(&short, &standing), Some(Refusal::WrongAllocation));
    standing.study.as_mut().unwrap().is_after_the_fact = true;
    let told = drawn(rows);
    assert_eq!(refusal(&told, &standing), Some(Refusal::WrongAllocation));
}

#[test]
fn a_reported_grouping_keeps_its_places_when_the_plan_is_written_again() {
    let mut standing = Standing {
        study: Some(StudyStanding {
            plan: Some((1, plan())),
            is_after_the_fact: true,
            ..study()
        }),
        ..Standing::default()
    };
    let mut smaller = plan();
    smaller.conditions.pop();
    let written = steward(Entry::PlanWritten {
        plan: Box::new(smaller),
    });
    assert_eq!(refusal(&written, &standing), None);
    standing.study.as_mut().unwrap().is_placed = true;
    assert_eq!(refusal(&written, &standing), Some(Refusal::StillInUse));
}

#[test]
fn a_study_with_an_edition_cannot_be_closed_to_the_public() {
    let closed = steward(Entry::MadePrivate {});
    let mut standing = Standing {
        study: Some(study()),
        ..Standing::default()
    };
    assert_eq!(refusal(&closed, &standing), None);
    standing.study.as_mut().unwrap().editions = 1;
    assert_eq!(refusal(&closed, &standing), Some(Refusal::EditionsStand));
}
