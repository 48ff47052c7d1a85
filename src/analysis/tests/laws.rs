//! How findings must change when the data change: scale, order, names; and that they are the same
//! bytes every time.

use proptest::prelude::*;

use crate::analysis::analyse;
use crate::analysis::findings::Findings;
use crate::analysis::tests::build::{Invented, a_study};
use crate::study::plan::{Environment, Spreads};

fn study(spreads: Spreads, control: &[f64], a: &[f64], b: &[f64]) -> Invented {
    a_study()
        .planned(|plan| plan.spreads = spreads)
        .condition("rain barrel", Environment::FreshWater, 1)
        .condition("soil", Environment::Soil, 1)
        .broke("c1", control)
        .broke("c2", a)
        .broke("c3", b)
}

fn effects(found: &Findings) -> Vec<[f64; 3]> {
    let members = &found.primary.as_ref().unwrap().family.members;
    let one = |e: crate::analysis::comparison::Effect| {
        [e.estimate_percent, e.lower_percent, e.upper_percent]
    };
    members.iter().filter_map(|m| m.effect.map(one)).collect()
}

fn near(a: &[[f64; 3]], b: &[[f64; 3]]) -> bool {
    let close = |x: &f64, y: &f64| (x - y).abs() <= 1e-7 * x.abs().max(1.0);
    a.len() == b.len()
        && a.iter()
            .flatten()
            .zip(b.iter().flatten())
            .all(|(x, y)| close(x, y))
}

fn loads() -> impl Strategy<Value = Vec<f64>> {
    // Steps of 0.1 N, so that zero spread has no chance worth the name.
    proptest::collection::vec((2_000_i32..4_000).prop_map(|n| f64::from(n) / 10.0), 4..9)
}

fn spreads() -> impl Strategy<Value = Spreads> {
    prop_oneof![Just(Spreads::Pooled), Just(Spreads::Separate)]
}

proptest! {
    // No regression files: the top level of the repository has no place for them.
    #![proptest_config(ProptestConfig {
        cases: 24,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn another_unit_of_load_changes_no_percentage(
        s in spreads(), c in loads(), a in loads(), b in loads(), factor in 0.2_f64..5.0,
    ) {
        let turn = |list: &[f64]| list.iter().map(|n| n * factor).collect::<Vec<f64>>();
        let plain = analyse(&study(s, &c, &a, &b).build()).unwrap();
        let turned = analyse(&study(s, &turn(&c), &turn(&a), &turn(&b)).build()).unwrap();
        prop_assert!(near(&effects(&plain), &effects(&turned)));
        prop_assert_eq!(
            plain.primary.unwrap().judged.iter().map(|j| j.verdict).collect::<Vec<_>>(),
            turned.primary.unwrap().judged.iter().map(|j| j.verdict).collect::<Vec<_>>()
        );
    }

    #[test]
    fn the_order_of_the_pieces_changes_nothing_that_is_said(
        s in spreads(), c in loads(), a in loads(), b in loads(),
    ) {
        let turn = |list: &[f64]| list.iter().rev().copied().collect::<Vec<f64>>();
        let plain = analyse(&study(s, &c, &a, &b).build()).unwrap();
        let turned = analyse(&study(s, &turn(&c), &turn(&a), &turn(&b)).build()).unwrap();
        prop_assert!(near(&effects(&plain), &effects(&turned)));
        prop_assert_eq!(plain.answer, turned.answer);
    }

    #[test]
    fn exchanging_the_conditions_exchanges_their_results(
        s in spreads(), c in loads(), a in loads(), b in loads(),
    ) {
        let plain = effects(&analyse(&study(s, &c, &a, &b).build()).unwrap());
        let mut swapped = effects(&analyse(&study(s, &c, &b, &a).build()).unwrap());
        swapped.reverse();
        prop_assert!(near(&plain, &swapped));
    }

    #[test]
    fn the_same_record_gives_the_same_bytes(
        s in spreads(), c in loads(), a in loads(), b in loads(),
    ) {
        let record = study(s, &c, &a, &b).build();
        let print = || serde_json::to_vec(&analyse(&record).unwrap()).unwrap();
        prop_assert_eq!(print(), print());
    }

    #[test]
    fn no_record_makes_a_number_that_is_none(
        s in spreads(), c in loads(), a in loads(),
    ) {
        for b in [vec![250.0], vec![250.0; 4], vec![0.0, 1e300, 3.0]] {
            let found = analyse(&study(s, &c, &a, &b).build()).unwrap();
            let text = serde_json::to_string(&found).unwrap();
            let back: Findings = serde_json::from_str(&text).unwrap();
            prop_assert_eq!(back.answer.len(), 2);
            prop_assert!(!back.answer[1].to_string().contains("NaN"));
        }
    }
}
