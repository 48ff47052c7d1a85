//! The sentences of practice.md §5, word for word; its own numbers put in where it gives them.

use crate::analysis::analyse;
use crate::analysis::comparison::{Basis, Effect};
use crate::analysis::findings::Findings;
use crate::analysis::primary::Primary;
use crate::analysis::tests::build::{Invented, Made, a_study};
use crate::analysis::verdict::Verdict;
use crate::analysis::words::secondary::storage_moved;
use crate::analysis::words::verdict::{MarginSet, Setting, primary};
use crate::study::plan::{Environment, Holder, Plan};

const KEPT: [f64; 6] = [300.0, 312.0, 305.0, 309.0, 298.0, 316.0];

fn barrel() -> Invented {
    a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .broke("c1", &KEPT)
}

fn found(study: &Invented) -> Findings {
    analyse(&study.build()).unwrap()
}

fn notes(found: &Findings) -> Vec<String> {
    found
        .notes
        .iter()
        .map(|note| note.sentence.to_string())
        .collect()
}

fn has(found: &Findings, words: &str) {
    let notes = notes(found);
    assert!(
        notes.iter().any(|note| note == words),
        "{words}\nnot in {notes:#?}"
    );
}

/// The verdict sentence for an interval given by hand.
fn said(estimate: f64, lower: f64, upper: f64) -> String {
    let record = barrel().broke("c2", &KEPT).build();
    let plan: &Plan = &record.plans[0].plan;
    let mut given: Primary = analyse(&record).unwrap().primary.unwrap();
    let effect = Effect {
        basis: Basis::Ratio,
        estimate_percent: estimate,
        lower_percent: lower,
        upper_percent: upper,
    };
    given.family.members[0].effect = Some(effect);
    given.judged[0].verdict = Some(Verdict::of(&effect, 10.0));
    let setting = Setting {
        margin: MarginSet::Beforehand,
        has_tests: true,
    };
    primary(plan, &given, setting)[0].marked()
}

const P: &str = "After 365 days in the rain barrel the 6 clips broke at";

#[test]
fn one_beyond_the_margin() {
    assert_eq!(
        said(-24.0, -31.0, -17.0),
        format!(
            "{P} 24 % less load than those kept indoors (95 % interval 17 to 31 % less). \
             **Changed**, by more than the 10 % set beforehand."
        )
    );
}

#[test]
fn two_crossing_the_margin() {
    assert_eq!(
        said(-12.0, -20.0, -4.0),
        format!(
            "{P} 12 % less load than those kept indoors (95 % interval 4 to 20 % less). \
             **Changed**; whether by more than 10 % is not settled."
        )
    );
}

#[test]
fn three_inside_and_excluding_no_change() {
    assert_eq!(
        said(-4.0, -7.0, -1.0),
        format!(
            "{P} 4 % less load than those kept indoors (95 % interval 1 to 7 % less). \
             **Changed, but within** the ±10 % set beforehand."
        )
    );
}

#[test]
fn four_inside_and_including_no_change() {
    assert_eq!(
        said(-1.0, -6.0, 4.0),
        format!(
            "{P} 1 % less load than those kept indoors (95 % interval 6 % less to 4 % more). \
             **Unchanged within ±10 %**: smaller changes than these limits are not excluded."
        )
    );
}

#[test]
fn five_neither() {
    assert_eq!(
        said(-3.0, -14.0, 8.0),
        format!(
            "{P} 3 % less load than those kept indoors (95 % interval 14 % less to 8 % more). \
             **Not settled**: no change and a loss of 14 % both fit. A loss beyond 14 % or a gain \
             beyond 8 % does not fit at this confidence."
        )
    );
    assert!(said(3.0, -8.0, 14.0).contains("no change and a gain of 14 % both fit."));
    assert!(
        said(1.0, -13.0, 14.0).contains("no change, a loss of 13 % and a gain of 14 % all fit.")
    );
}

#[test]
fn six_a_gain_is_not_a_better_part() {
    assert_eq!(
        said(24.0, 17.0, 31.0),
        format!(
            "{P} 24 % more load than those kept indoors (95 % interval 17 to 31 % more). \
             **Changed**, by more than the 10 % set beforehand. More load is not a better part: \
             stiffer pieces can also be more brittle."
        )
    );
}

#[test]
fn bounds_get_digits_until_they_read_on_their_own_side() {
    assert!(said(-5.0, -9.98, 0.03).contains("(95 % interval 9.98 % less to 0.03 % more)"));
    assert!(said(-15.0, -20.0, -10.02).contains("interval 10.02 to 20.00 % less"));
}

#[test]
fn seven_the_family_holds_together() {
    let three = barrel()
        .condition("soil", Environment::Soil, 1)
        .condition("roof", Environment::Outdoor, 1)
        .broke("c2", &KEPT)
        .broke("c3", &KEPT)
        .broke("c4", &KEPT);
    let given = found(&three);
    has(
        &given,
        "The three intervals hold together with 95 % confidence.",
    );
    assert!(
        given.answer[2]
            .to_string()
            .starts_with("After 365 days on the roof the 6 clips")
    );
    let one = notes(&found(&barrel().broke("c2", &KEPT)));
    assert!(one.iter().all(|note| !note.contains("hold together")));
}

#[test]
fn eight_one_holder_and_several() {
    let one = found(&barrel().broke("c2", &KEPT));
    has(
        &one,
        "All six shared one rain barrel: this speaks of these specimens in this holder; another \
         rain barrel may differ, and the interval does not include that.",
    );
    has(
        &one,
        "The storage controls shared one cupboard; differences between cupboards are not included.",
    );
    let twelve: Vec<f64> = KEPT.iter().chain(&KEPT).copied().collect();
    let jars = a_study()
        .condition("salt water", Environment::SaltWater, 3)
        .broke("c1", &KEPT)
        .broke("c2", &twelve);
    let several = found(&jars);
    has(
        &several,
        "The 12 clips were in 3 jars; the interval rests on the jars, not on the clips.",
    );
}

#[test]
fn nine_storage_itself_moved() {
    let new = KEPT.map(|n| n * 1.10);
    let weaker = KEPT.map(|n| n * 0.9);
    let given = found(&barrel().broke("c2", &weaker).baseline(&new));
    let told = notes(&given);
    let nine = told
        .iter()
        .find(|note| note.starts_with("Those kept indoors"))
        .unwrap();
    // 1/1.1 of new is 9.1 % less; the barrel clips at 0.9/1.1 lost 18 %.
    assert!(
        nine.starts_with("Those kept indoors were themselves 9 % weaker than at the start ("),
        "{nine}"
    );
    assert!(
        nine.ends_with("); compared with new, the rain barrel clips lost 18 %."),
        "{nine}"
    );
    assert_eq!(
        nine_with_numbers(),
        "Those kept indoors were themselves 5 % weaker than at the start (1 to 9 %); compared with new, the \
         rain barrel clips lost 9 %."
    );
    let same = notes(&found(&barrel().broke("c2", &weaker).baseline(&KEPT)));
    assert!(
        same.iter()
            .all(|note| !note.starts_with("Those kept indoors"))
    );
}

/// The ninth sentence with the handbook's own numbers.
fn nine_with_numbers() -> String {
    let record = barrel()
        .broke("c2", &KEPT.map(|n| n * 0.9))
        .baseline(&KEPT.map(|n| n * 1.1))
        .build();
    let mut given = analyse(&record).unwrap();
    let exposed = &mut given.primary.as_mut().unwrap().family;
    exposed.members[0].exposed.mean = Some(273.0);
    for family in &mut given.secondary {
        for member in &mut family.members {
            member.reference.mean = Some(300.0);
            member.effect = Some(Effect {
                basis: Basis::Ratio,
                estimate_percent: -5.0,
                lower_percent: -9.0,
                upper_percent: -1.0,
            });
        }
    }
    let exposed = &given.primary.unwrap().family;
    storage_moved(&record.plans[0].plan, &given.secondary, exposed)
        .unwrap()
        .to_string()
}

#[test]
fn twelve_nothing_to_measure() {
    let lost = found(&barrel().pieces("c2", &[const { Made::Lost }; 3]));
    assert_eq!(
        lost.answer[0].marked(),
        "After 365 days in the rain barrel: None found; whether lost or decayed is not known: no \
         result."
    );
    let gone = found(&barrel().pieces("c2", &[const { Made::TotalLoss }; 6]));
    assert_eq!(
        gone.answer[0].marked(),
        "After 365 days in the rain barrel: None of the six could carry load when taken out: counted \
         as 0 N; **total loss**, no interval."
    );
    let one = found(&barrel().pieces("c2", &[Made::Broke(312.0), Made::Lost, Made::Lost]));
    assert_eq!(
        one.answer[0].marked(),
        "After 365 days in the rain barrel: One piece came back (312 N): one piece gives no interval \
         and no verdict."
    );
    let unweighed = found(&barrel().broke("c2", &KEPT));
    has(
        &unweighed,
        "No mass was written down before exposure, so a mass change cannot be known.",
    );
}

#[test]
fn thirteen_no_storage_control() {
    let study = a_study()
        .planned(|plan| plan.conditions.clear())
        .condition("garden bed", Environment::Soil, 1)
        .planned(|plan| {
            plan.conditions[0].key = "c2".into();
            plan.conditions[0].is_storage_control = false;
            plan.conditions[0].holders = vec![Holder {
                key: "c2h1".into(),
                name: "garden bed".into(),
            }];
        })
        .broke("c2", &KEPT.map(|n| n * 0.7))
        .baseline(&KEPT);
    let given = found(&study);
    has(
        &given,
        "Compared with pieces broken at the start: ageing indoors and exposure cannot be told apart.",
    );
    assert!(
        given.answer[0]
            .to_string()
            .contains("than those broken at the start")
    );
}

#[test]
fn fourteen_the_counting_decides() {
    let four = KEPT.map(|n| n * 0.96);
    let study = barrel()
        .broke("c2", &four[..4])
        .pieces("c2", &[Made::Lost, Made::Lost]);
    let given = found(&study);
    let effect = |estimate: f64, half: f64| Effect {
        basis: Basis::Ratio,
        estimate_percent: estimate,
        lower_percent: estimate - half,
        upper_percent: estimate + half,
    };
    let mut rounded = given.primary.clone().unwrap();
    for counted in &mut rounded.judged[0].countings {
        let found = counted.effect.unwrap().estimate_percent;
        // 4 % less without the lost two, 36 % less with them as zero: (4 · 0.96)/6 = 0.64.
        let near = if found > -20.0 {
            effect(-4.0, 3.0)
        } else {
            effect(-36.0, 40.0)
        };
        assert!((found - near.estimate_percent).abs() < 1.5, "{found}");
        counted.effect = Some(near);
    }
    let setting = Setting {
        margin: MarginSet::Beforehand,
        has_tests: true,
    };
    let plan = study.build().plans[0].plan.clone();
    assert_eq!(
        primary(&plan, &rounded, setting)[0].marked(),
        "After 365 days in the rain barrel: **Not settled**: excluded, the two lost pieces leave 4 % less; \
         counted as zero, 36 % less."
    );
    assert_eq!(
        given.primary.unwrap().judged[0].verdict,
        Some(Verdict::NotSettled)
    );
}

#[test]
fn secondary_comparisons_never_carry_a_verdict_word() {
    let study = barrel()
        .broke("c2", &KEPT.map(|n| n * 0.6))
        .baseline(&KEPT)
        .masses(|n| (5.0, 4.99 - 0.001 * n as f64));
    let given = found(&study);
    assert_eq!(given.secondary_words.len(), given.secondary.len());
    assert!(!given.secondary_words.is_empty());
    for sentence in &given.secondary_words {
        assert!(sentence.0.iter().all(|span| !span.is_verdict), "{sentence}");
        let text = sentence.to_string();
        assert!(text.contains(" such comparisons, not adjusted.") || text.contains("cannot be"));
    }
}
