//! Published many-to-one examples, entered as break loads of an invented study.
//!
//! Blood counts: Dunnett CW (1955), J. Am. Stat. Assoc. 50, 1096, as in reference file 05_dunnett.
//! Ratios: reference file 12b (Dilba, Bretz & Guiard 2006; Hasler & Hothorn 2008), recomputed outside
//! this project.

use crate::analysis::analyse;
use crate::analysis::findings::Findings;
use crate::analysis::tests::build::a_study;
use crate::study::plan::{Environment, Spreads};

fn close(got: f64, expected: f64, tolerance: f64) {
    assert!(
        (got - expected).abs() <= tolerance * expected.abs().max(1e-9),
        "{got} is not {expected}"
    );
}

fn blood_counts() -> Findings {
    let study = a_study()
        .planned(|plan| plan.spreads = Spreads::Pooled)
        .condition("drug A", Environment::Other, 1)
        .condition("drug B", Environment::Other, 1)
        .broke("c1", &[7.4, 8.5, 7.2, 8.24, 9.84, 8.32])
        .broke("c2", &[9.76, 8.8, 7.68, 9.36])
        .broke("c3", &[12.8, 9.68, 12.16, 9.2, 10.55]);
    analyse(&study.build()).unwrap()
}

#[test]
fn dunnetts_blood_counts_give_his_simultaneous_intervals() {
    let found = blood_counts();
    let family = &found.primary.as_ref().unwrap().family;
    let [a, b] = [0, 1].map(|at| family.members[at].difference.clone().unwrap());
    close(a.critical, 2.513_482_903_596_474_3, 1e-8);
    close(a.difference, 0.65, 1e-8);
    close(a.lower, -1.256_304_137_148_291_3, 1e-8);
    close(a.upper, 2.556_304_137_148_291_3, 1e-8);
    close(a.p_adjusted, 0.620_101_980_018_456, 1e-6);
    close(b.difference, 2.628, 1e-8);
    close(b.se, 0.711_471_636_039_617, 1e-8);
    close(b.lower, 0.839_728_206_420_610_1, 1e-8);
    close(b.upper, 4.416_271_793_579_39, 1e-8);
    close(b.p_adjusted, 0.005_825_360_847_946_911, 1e-6);
    assert_eq!(a.df, 12.0);
}

#[test]
fn the_groups_of_the_blood_counts_are_described() {
    let found = blood_counts();
    let control = found.groups.iter().find(|g| g.is_storage_control).unwrap();
    close(control.mean, 8.25, 1e-12);
    assert_eq!((control.n, control.values.len()), (6, 6));
}

/// 12b ratio_pooled_open_1 and ratio_separate_open_1: one control of 6 and three groups of 6.
#[test]
fn simultaneous_ratios_are_the_reference_ones() {
    let pooled = [
        (0.752_007_775_138_972_4, 1.166_597_996_058_713),
        (0.728_887_116_556_015, 1.138_246_723_508_945_7),
    ];
    let separate = [
        (0.846_563_050_554_401, 1.037_335_196_161_319_3),
        (0.747_601_506_630_434_5, 1.087_160_191_002_251_8),
    ];
    for (spreads, expected) in [(Spreads::Pooled, pooled), (Spreads::Separate, separate)] {
        let study = a_study()
            .planned(|plan| plan.spreads = spreads)
            .condition("barrel", Environment::FreshWater, 1)
            .condition("soil", Environment::Soil, 1)
            .condition("compost", Environment::Compost, 1)
            .broke("c1", &[403.3, 420.1, 396.3, 377.2, 443.4, 403.4])
            .broke("c2", &[366.3, 376.8, 391.4, 343.5, 418.0, 396.4])
            .broke("c3", &[305.3, 402.5, 326.7, 353.6, 413.4, 429.4])
            .broke("c4", &[290.9, 402.7, 331.1, 186.4, 256.3, 129.8]);
        let found = analyse(&study.build()).unwrap();
        let members = found.primary.unwrap().family.members;
        for (member, (lower, upper)) in members.iter().zip(expected) {
            let ratio = member.ratio.as_ref().unwrap();
            close(ratio.lower.unwrap(), lower, 1e-7);
            close(ratio.upper.unwrap(), upper, 1e-7);
        }
    }
}

/// trade.md §7.7 (Hurlbert 1984): tub means A 50, 54, 49 and B 44, 47, 41 with df 4, not more.
#[test]
fn with_several_holders_the_holder_means_carry_the_comparison() {
    let study = a_study()
        .planned(|plan| {
            let control = &mut plan.conditions[0];
            let extra = |n: usize| crate::study::plan::Holder {
                key: format!("c1h{n}"),
                name: format!("box {n}"),
            };
            control.holders = (1..=3).map(extra).collect();
        })
        .condition("tubs", Environment::FreshWater, 3)
        .broke("c1", &[49.0, 53.0, 48.0, 51.0, 55.0, 50.0])
        .broke("c2", &[43.0, 47.0, 40.0, 45.0, 47.0, 42.0]);
    let found = analyse(&study.build()).unwrap();
    let member = found.primary.unwrap().family.members.remove(0);
    let difference = member.difference.unwrap();
    assert_eq!(difference.df, 4.0);
    close(difference.difference, -7.0, 1e-12);
    // The handbook prints t −3.031, interval −13.41 to −0.59.
    assert!((difference.t + 3.031).abs() < 5e-4, "{}", difference.t);
    assert!((difference.lower + 13.41).abs() < 5e-3 && (difference.upper + 0.59).abs() < 5e-3);
}
