//! What must stand beside an answer: when the plan was sealed, what was drawn, how steady the machine
//! was, and where single holders meet several.

use crate::analysis::analyse;
use crate::analysis::comparison::Unit;
use crate::analysis::findings::Findings;
use crate::analysis::tests::build::{Invented, a_study};
use crate::study::plan::{Environment, Spreads};
use crate::study::record::StudyRecord;

const KEPT: [f64; 6] = [300.0, 312.0, 305.0, 309.0, 298.0, 316.0];

fn barrel() -> Invented {
    a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .broke("c1", &KEPT)
        .broke("c2", &KEPT.map(|n| n * 0.6))
}

fn notes(record: &StudyRecord) -> (Findings, String) {
    let found = analyse(record).unwrap();
    let all: Vec<String> = found.notes.iter().map(|n| n.sentence.to_string()).collect();
    (found, all.join("\n"))
}

#[test]
fn a_study_entered_after_the_fact_says_what_cannot_be_known() {
    let mut record = barrel().build();
    record.is_after_the_fact = true;
    record.seal = None;
    record.draws[0].drawn.draw = 0;
    let (found, told) = notes(&record);
    for words in [
        "Entered after the fact: the plan was not sealed before exposure",
        "The plan is not sealed.",
        "The grouping is reported, not drawn",
        "No mass was written down before exposure, so a mass change cannot be known.",
    ] {
        assert!(told.contains(words), "{words}\n{told}");
    }
    assert!(
        found.answer[0]
            .marked()
            .ends_with("by more than the 10 % of a plan that was not sealed.")
    );
}

#[test]
fn a_seal_made_late_is_not_called_beforehand() {
    let mut record = barrel().build();
    record.seal.as_mut().unwrap().is_knowing_baseline = true;
    let (found, told) = notes(&record);
    assert!(told.contains("Sealed knowing the baseline values."));
    assert!(!found.answer[0].to_string().contains("beforehand"));
    let mut record = barrel().build();
    let mut amended = record.plans[0].clone();
    amended.plan.margin_percent = 5.0;
    amended.version = 2;
    amended.amendment_reason = Some("narrower".into());
    amended.is_knowing_results = true;
    record.plans.push(amended);
    let (found, told) = notes(&record);
    assert!(
        found.answer[0]
            .to_string()
            .ends_with("by more than the 5 % set when results were known.")
    );
    assert!(told.contains("The plan was changed when results were known"));
}

#[test]
fn a_machine_that_drifted_is_told_beside_every_comparison() {
    let steady = notes(&barrel().baseline(&KEPT).build()).1;
    assert!(!steady.contains("drifted"));
    assert!(
        steady
            .contains("The baseline set was broken in another session (1 March 2024; the stage on")
    );
    let mut record = barrel().baseline(&KEPT).build();
    let stage = record
        .consignments
        .iter_mut()
        .find(|c| !c.pieces.is_empty())
        .unwrap();
    let session = stage.sessions.first_mut().unwrap();
    session.check_closing_n = Some(204.0);
    let told = notes(&record).1;
    assert!(
        told.contains("drifted by 1.9 %, beyond its limit of 1 %"),
        "{told}"
    );
}

/// Jars for the exposed pieces, one box for the controls: the jars carry their side, the pieces of the
/// box theirs, and the words say both (practice.md §3.4, §5.8).
#[test]
fn several_jars_against_one_box_rest_on_jars_and_on_pieces() {
    let study = a_study()
        .planned(|plan| plan.spreads = Spreads::Pooled)
        .condition("salt water", Environment::SaltWater, 3)
        .broke("c1", &KEPT)
        .broke("c2", &[250.0, 270.0, 260.0, 252.0, 268.0, 262.0]);
    let (found, told) = notes(&study.build());
    let family = &found.primary.unwrap().family;
    assert_eq!(family.method.unit, Unit::Mixed);
    let member = &family.members[0];
    // By hand: jar means 251, 269, 261; variance 81.333 with 2 df, over 3; control s² 48.667 over 6.
    let (jars, pieces) = (81.333_333_333 / 3.0, 48.666_666_667 / 6.0);
    let total: f64 = jars + pieces;
    let df = total * total / (jars * jars / 2.0 + pieces * pieces / 5.0);
    let difference = member.difference.as_ref().unwrap();
    assert!(
        (difference.se - total.sqrt()).abs() < 1e-6,
        "{}",
        difference.se
    );
    assert!((difference.df - df).abs() < 1e-6, "{}", difference.df);
    assert!(
        told.contains(
            "The 6 clips were in 3 jars; the interval rests on the jars, not on the clips."
        )
    );
    assert!(told.contains("The storage controls shared one cupboard;"));
}
