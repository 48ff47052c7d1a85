//! How findings must change when the data change: scale, order, names; and that they are the same
//! bytes every time.

use proptest::prelude::*;

use crate::analysis::analyse;
use crate::analysis::beside::Beside;
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

fn differences(found: &Findings) -> Vec<[f64; 3]> {
    let members = &found.primary.as_ref().unwrap().family.members;
    let all = members.iter().filter_map(|m| m.difference.as_ref());
    all.map(|d| [d.difference, d.lower, d.upper]).collect()
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

    /// Load added to every piece moves no difference, no shift by ranks, no p value and no spread.
    #[test]
    fn load_added_to_every_piece_leaves_differences_as_they_are(
        s in spreads(), c in loads(), a in loads(), b in loads(), more in 1_i32..5_000,
    ) {
        // Sixteenths are exact in binary, so that ties stay ties.
        let exact = |list: &[f64]| list.iter().map(|n| (n * 16.0).round() / 16.0).collect::<Vec<f64>>();
        let (c, a, b) = (exact(&c), exact(&a), exact(&b));
        let up = |list: &[f64]| list.iter().map(|n| n + f64::from(more)).collect::<Vec<f64>>();
        let plain = analyse(&study(s, &c, &a, &b).build()).unwrap();
        let moved = analyse(&study(s, &up(&c), &up(&a), &up(&b)).build()).unwrap();
        prop_assert!(near(&differences(&plain), &differences(&moved)));
        let ranks = |found: &Findings| -> Vec<[f64; 3]> {
            let members = found.beside.clone().unwrap().robustness.members;
            members.iter().filter_map(|m| m.rank.zip(m.permutation)).map(|(r, p)| [r.shift, r.p_adjusted, p.p_adjusted]).collect()
        };
        prop_assert!(near(&ranks(&plain), &ranks(&moved)), "{:?} {:?}", ranks(&plain), ranks(&moved));
        prop_assert_eq!(ranks(&plain).len(), 2);
        let sds = |found: &Findings| {
            let groups = found.groups.iter().filter_map(|g| Some([g.sd?, 0.0, 0.0]));
            groups.collect::<Vec<[f64; 3]>>()
        };
        prop_assert!(near(&sds(&plain), &sds(&moved)));
    }

    /// Another unit and another order of the pieces, in everything that stands beside.
    #[test]
    fn what_stands_beside_keeps_to_the_same_laws(
        c in loads(), a in loads(), b in loads(), factor in 0.2_f64..5.0,
    ) {
        let back = |list: &[f64]| list.iter().rev().copied().collect::<Vec<f64>>();
        let times = |list: &[f64]| list.iter().map(|n| n * factor).collect::<Vec<f64>>();
        let of = |record: &crate::study::record::StudyRecord| analyse(record).unwrap().beside.unwrap();
        let plain = of(&study(Spreads::Separate, &c, &a, &b).build());
        let turned = of(&study(Spreads::Separate, &back(&c), &back(&a), &back(&b)).build());
        let changes = |of: &Beside| -> Vec<[f64; 3]> {
            let found = of.robustness.members.iter().filter_map(|m| m.bootstrap);
            found.map(|b| [b.estimate_percent, b.lower_percent, b.upper_percent]).collect()
        };
        prop_assert_eq!(changes(&plain).len(), 2);
        prop_assert_eq!(&plain.robustness, &turned.robustness);
        let scaled = of(&study(Spreads::Separate, &times(&c), &times(&a), &times(&b)).build());
        prop_assert!(near(&changes(&plain), &changes(&scaled)));
        let mut swapped = of(&study(Spreads::Separate, &c, &b, &a).build());
        swapped.robustness.members.reverse();
        let again = changes(&swapped);
        prop_assert!(near(&changes(&plain), &again));
    }

    #[test]
    fn over_the_stages_only_the_unit_of_load_matters(
        a in loads(), b in loads(), d in loads(), factor in 0.2_f64..5.0,
    ) {
        let study = |by: f64, is_turned: bool| {
            let list = |of: &[f64]| {
                let mut list: Vec<f64> = of.iter().map(|n| n * by).collect();
                if is_turned {
                    list.reverse();
                }
                list
            };
            let study = a_study()
                .condition("rain barrel", Environment::FreshWater, 1)
                .stage(90)
                .stage(180);
            [(90, &a), (180, &b), (365, &d)].into_iter().fold(study, |study, (days, of)| {
                study.broke_after("c1", days, &list(of)).broke_after("c2", days, &list(of))
            })
        };
        let lines = |by: f64, is_turned: bool| -> Vec<[f64; 3]> {
            let found = analyse(&study(by, is_turned).build()).unwrap();
            let lines = found.over_time.iter().filter_map(|o| o.line.clone());
            lines.flat_map(|l| {
                let (y, p) = (l.per_year, l.percent_per_year.unwrap());
                [[y.estimate / by, y.lower / by, y.upper / by], [p.estimate, p.lower, p.upper]]
            }).collect()
        };
        let plain = lines(1.0, false);
        prop_assert_eq!(plain.len(), 4);
        prop_assert!(near(&plain, &lines(factor, false)));
        prop_assert!(near(&plain, &lines(1.0, true)));
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

/// One core or many: four threads at once, each with the same record, write the bytes that one writes.
#[test]
fn many_threads_write_the_bytes_that_one_writes() {
    let kept = [300.0, 312.0, 305.0, 309.0, 298.0, 316.0];
    let record = study(
        Spreads::Separate,
        &kept,
        &kept.map(|n| n * 0.8),
        &kept.map(|n| 600.0 - n),
    )
    .build();
    let print = || serde_json::to_vec(&analyse(&record).unwrap()).unwrap();
    let alone = print();
    let together: Vec<Vec<u8>> = std::thread::scope(|scope| {
        let started: Vec<_> = (0..4).map(|_| scope.spawn(print)).collect();
        started.into_iter().map(|t| t.join().unwrap()).collect()
    });
    assert!(together.iter().all(|bytes| *bytes == alone));
}
