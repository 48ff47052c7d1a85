//! Nobody silently missing, nobody counted twice; censored and total losses told as such.

use crate::analysis::accounting::Cell;
use crate::analysis::analyse;
use crate::analysis::arm::Counting;
use crate::analysis::findings::Findings;
use crate::analysis::piece::Fate;
use crate::analysis::primary::VariantKind;
use crate::analysis::tests::build::{Invented, Made, a_study};
use crate::analysis::verdict::Verdict;
use crate::study::plan::{Environment, OutlierRule};
use crate::study::record::Standing;

const KEPT: [f64; 6] = [300.0, 312.0, 305.0, 309.0, 298.0, 316.0];

fn barrel() -> Invented {
    a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .broke("c1", &KEPT)
}

fn cell(found: &Findings, name: &str) -> Cell {
    found
        .accounting
        .cells
        .iter()
        .find(|c| c.name == name)
        .unwrap()
        .clone()
}

#[test]
fn every_piece_is_counted_once_by_what_came_of_it() {
    let study = barrel().pieces(
        "c2",
        &[
            Made::Broke(200.0),
            Made::Broke(210.0),
            Made::AtLeast(350.0),
            Made::TotalLoss,
            Made::Invalid("the pin slipped"),
            Made::Invalid("the pin slipped"),
            Made::Lost,
            Made::Lost,
            Made::Out,
        ],
    );
    let found = analyse(&study.baseline(&KEPT[..2]).build()).unwrap();
    let barrel = cell(&found, "rain barrel");
    assert_eq!(
        (barrel.planned, barrel.allocated, barrel.put_out),
        (Some(9), 9, 9)
    );
    assert_eq!(
        (barrel.valid, barrel.lower_bound, barrel.total_loss),
        (2, 1, 1)
    );
    assert_eq!((barrel.lost, barrel.closed, barrel.invalid()), (2, 1, 2));
    assert_eq!(barrel.invalid[0].reason, "the pin slipped");
    assert_eq!(barrel.sum(), barrel.allocated);
    assert_eq!(found.accounting.made, 9 + 6 + 2);
    assert!(
        found
            .accounting
            .cells
            .iter()
            .all(|c| c.sum() == c.allocated + c.surplus)
    );
}

#[test]
fn nameless_pieces_are_matched_to_missing_codes_and_counted_once() {
    let study = barrel()
        .broke("c2", &[200.0, 210.0, 205.0])
        .pieces("c2", &[Made::Lost, Made::Lost, Made::Lost])
        .nameless("c2", 190.0)
        .nameless("c2", 195.0);
    let found = analyse(&study.build()).unwrap();
    let barrel = cell(&found, "rain barrel");
    assert_eq!((barrel.allocated, barrel.nameless, barrel.lost), (6, 2, 1));
    assert_eq!((barrel.valid, barrel.surplus, barrel.sum()), (5, 0, 6));
    assert_eq!(found.accounting.made, 12);
    // They count among the loads, not among the changes of mass.
    let loads = found
        .groups
        .iter()
        .find(|g| g.name == "rain barrel")
        .unwrap();
    assert_eq!(loads.n, 5);
    assert!(
        found
            .specimens
            .iter()
            .filter(|p| p.is_nameless)
            .all(|p| p.pairs.is_empty())
    );
    // As zero only the one piece that is truly missing.
    let zero = &found.primary.unwrap().judged[0].countings[2];
    assert_eq!((zero.counting, zero.pieces), (Counting::LostAsZero, 6));
}

#[test]
fn total_losses_count_as_zero_and_lower_bounds_at_their_value() {
    let study = barrel()
        .broke("c2", &[100.0, 110.0, 120.0, 105.0])
        .pieces("c2", &[Made::TotalLoss, Made::AtLeast(130.0)]);
    let found = analyse(&study.build()).unwrap();
    let group = found
        .groups
        .iter()
        .find(|g| g.name == "rain barrel")
        .unwrap();
    let sum = 100.0 + 110.0 + 120.0 + 105.0 + 130.0;
    assert!((group.mean - sum / 6.0).abs() < 1e-9);
    let judged = &found.primary.as_ref().unwrap().judged[0];
    assert_eq!(judged.countings.len(), 3);
    assert_eq!(judged.verdict, Some(Verdict::ChangedBeyond));
    assert!(judged.decides.is_none());
}

#[test]
fn a_censored_piece_can_decide_and_then_nothing_is_settled() {
    let study = barrel()
        .broke("c2", &KEPT[..5])
        .pieces("c2", &[const { Made::TotalLoss }; 5]);
    let found = analyse(&study.build()).unwrap();
    let told = found.answer[0].marked();
    assert!(
        told.contains("**Not settled**: excluded, the five pieces that could not carry load leave"),
        "{told}"
    );
}

#[test]
fn what_was_changed_knowing_the_group_is_shown_without() {
    let mut record = barrel().broke("c2", &KEPT.map(|n| n * 0.7)).build();
    let consignment = &mut record.consignments[0];
    let last = consignment.tests.len() - 1;
    let mut corrected = consignment.tests[last].clone();
    consignment.tests[last].standing = Standing::Superseded;
    corrected.entry = crate::study::ids::EntryId(uuid::Uuid::from_u128(9));
    corrected.supersedes = Some(consignment.tests[last].entry);
    corrected.is_knowing_group = true;
    corrected.test.max_load_n = Some(90.0);
    consignment.tests.push(corrected);
    let found = analyse(&record).unwrap();
    let primary = found.primary.unwrap();
    let variant = &primary.variants[0];
    assert_eq!(
        (variant.kind, variant.pieces),
        (VariantKind::WithoutKnowing, 1)
    );
    let [shown, without] = [&primary.family, &variant.family]
        .map(|family| family.members[0].effect.unwrap().estimate_percent);
    assert!(shown < without, "{shown} {without}");
}

#[test]
fn a_flagged_value_stays_in_and_the_result_without_it_stands_beside() {
    let mut loads = KEPT.map(|n| n * 0.7);
    loads[2] = 40.0;
    let study = barrel()
        .planned(|plan| plan.outlier_rule = OutlierRule::Grubbs5)
        .broke("c2", &loads);
    let found = analyse(&study.build()).unwrap();
    let group = found
        .groups
        .iter()
        .find(|g| g.name == "rain barrel")
        .unwrap();
    let flagged: Vec<f64> = group
        .values
        .iter()
        .filter(|v| v.is_flagged)
        .map(|v| v.value)
        .collect();
    assert_eq!((flagged, group.n), (vec![40.0], 6));
    let variant = &found.primary.unwrap().variants[0];
    assert_eq!(variant.kind, VariantKind::WithoutFlagged);
    assert_eq!(variant.family.members[0].exposed.pieces, 5);
}

#[test]
fn a_late_reference_is_never_called_baseline() {
    let study = a_study()
        .planned(|plan| plan.conditions[0].is_storage_control = false)
        .broke("c1", &KEPT.map(|n| n * 0.8))
        .late_reference(&KEPT);
    let found = analyse(&study.build()).unwrap();
    let told = format!("{:?}{:?}", found.answer, found.notes);
    assert!(
        found.answer[0]
            .to_string()
            .contains("than reference pieces made later")
    );
    assert!(
        !told.contains("baseline") && !told.contains("at the start"),
        "{told}"
    );
}

#[test]
fn a_missing_piece_in_the_box_is_not_a_total_loss() {
    let mut record = barrel().broke("c2", &KEPT).build();
    let consignment = &mut record.consignments[0];
    let gone = consignment.pieces.last_mut().unwrap();
    gone.arrival = Some(crate::study::consignment::Arrival::Missing);
    let blind = gone.blind.clone();
    consignment.tests.retain(|t| t.test.blind != blind);
    let found = analyse(&record).unwrap();
    assert_eq!(found.specimens.last().unwrap().fate, Fate::LostOnTheWay);
    assert_eq!(cell(&found, "rain barrel").lost_on_the_way, 1);
    assert!(found.primary.unwrap().judged[0].decides.is_none());
}
