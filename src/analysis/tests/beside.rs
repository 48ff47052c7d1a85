//! What stands beside the deciding comparison, against numbers computed outside this project.
//!
//! Unless another source is named: scipy 1.17 (`shapiro`, `combine_pvalues`, `levene` with the median,
//! `permutation_test` over all splits, `mannwhitneyu` exact; the Hodges–Lehmann interval by counting all
//! 924 rank sums).

use crate::analysis::analyse;
use crate::analysis::beside::Beside;
use crate::analysis::comparison::Unit;
use crate::analysis::findings::Findings;
use crate::analysis::primary::VariantKind;
use crate::analysis::tests::build::{Invented, a_study};
use crate::analysis::verdict::Verdict;
use crate::study::plan::{Covariate, Environment, Holder, OutlierRule, Response, Spreads};
use crate::study::reading::Quantity;

const KEPT: [f64; 6] = [300.0, 312.0, 305.0, 309.0, 298.0, 316.0];
const BARREL: [f64; 6] = [221.0, 236.5, 248.0, 230.2, 214.9, 240.3];
const SOIL: [f64; 6] = [291.3, 305.2, 287.7, 310.4, 296.1, 299.9];

fn close(got: f64, expected: f64, tolerance: f64) {
    assert!(
        (got - expected).abs() <= tolerance * expected.abs().max(1e-9),
        "{got} is not {expected}"
    );
}

fn two() -> Invented {
    a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .condition("soil", Environment::Soil, 1)
        .broke("c1", &KEPT)
        .broke("c2", &BARREL)
        .broke("c3", &SOIL)
}

fn found(study: &Invented) -> (Findings, Beside) {
    let found = analyse(&study.build()).unwrap();
    let beside = found.beside.clone().unwrap();
    (found, beside)
}

fn told(beside: &Beside) -> String {
    let all: Vec<String> = beside.words.iter().map(ToString::to_string).collect();
    all.join("\n")
}

#[test]
fn the_assumptions_are_looked_at_by_set() {
    let (_, beside) = found(&two());
    let looked = &beside.assumptions;
    let normality = looked.normality.as_ref().unwrap();
    // Royston's p is good to about two figures by its own account; both follow his algorithm.
    for (group, (w, p)) in normality.groups.iter().zip([
        (0.961_390_293_000_664_5, 0.830_389_2),
        (0.975_454_017_820_535, 0.926_859_3),
        (0.977_935_038_0, 0.940_844_9),
    ]) {
        close(group.w, w, 1e-6);
        close(group.p, p, 1e-4);
    }
    close(normality.p, 0.995_591_0, 1e-5);
    let spread = looked.spread.as_ref().unwrap();
    close(spread.f.unwrap(), 1.192_407_794_419_294, 1e-9);
    close(spread.p.unwrap(), 0.330_680_648_956_818, 1e-9);
    close(spread.smallest_sd, 6.976_149_845_485_45, 1e-12);
    close(spread.largest_sd, 12.341_704_366_361_508, 1e-12);
    let told = told(&beside);
    assert!(told.contains("nothing in the 18 values speaks against normal scatter"));
    assert!(told.contains(
        "Standard deviations from 7.0 N (cupboard) to 12 N (rain barrel, 1.8 times as large; \
         Brown–Forsythe p 0.331). Each set keeps its own spread."
    ));
}

#[test]
fn permutation_and_ranks_are_exact_and_adjusted_for_the_family() {
    let (_, beside) = found(&two());
    let robust = &beside.robustness;
    assert_eq!((robust.unit, robust.members.len()), (Unit::Pieces, 2));
    close(robust.each_percent, 97.5, 1e-12);
    let [barrel, soil] = [0, 1].map(|at| robust.members[at].clone());
    let [p, q] = [&barrel, &soil].map(|m| m.permutation.unwrap());
    assert!(p.is_exact && p.splits == 924.0);
    close(p.p, 2.0 / 924.0, 1e-12);
    close(p.p_adjusted, 4.0 / 924.0, 1e-12);
    close(q.p, 92.0 / 924.0, 1e-12);
    close(q.p_adjusted, 92.0 / 924.0, 1e-12);
    let [r, s] = [&barrel, &soil].map(|m| m.rank.unwrap());
    close(r.p, 0.002_164_502_164_502_164_5, 1e-12);
    close(s.p, 0.132_034_632_034_632_03, 1e-12);
    close(r.shift, -75.15, 1e-12);
    let (lower, upper) = r.interval.unwrap();
    close(lower, -94.1, 1e-12);
    close(upper, -57.7, 1e-12);
    close(r.achieved_percent.unwrap(), 98.484_848_484_848_49, 1e-12);
    let (lower, upper) = s.interval.unwrap();
    close(lower, -21.3, 1e-12);
    close(upper, 5.4, 1e-12);
}

/// The bootstrap has the estimate of the deciding comparison and an interval near it; how near is
/// simulated in tests/benches/coverage.rs.
#[test]
fn the_bootstrap_stands_about_the_same_estimate_and_says_how_often_it_holds() {
    let (findings, beside) = found(&two());
    let members = &findings.primary.unwrap().family.members;
    for (member, robust) in members.iter().zip(&beside.robustness.members) {
        let (main, boot) = (member.effect.unwrap(), robust.bootstrap.unwrap());
        close(boot.estimate_percent, main.estimate_percent, 1e-9);
        let width = main.upper_percent - main.lower_percent;
        assert!((boot.lower_percent - main.lower_percent).abs() < 0.4 * width);
        assert!((boot.upper_percent - main.upper_percent).abs() < 0.4 * width);
        // practice.md §3.9: .90 at n 6.
        assert!((boot.coverage.unwrap() - 0.90).abs() < 0.015);
    }
    let twenty: Vec<f64> = (0..20).map(|n| 290.0 + f64::from(n * 7 % 20)).collect();
    let large = a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .broke("c1", &twenty)
        .broke("c2", &twenty);
    let beside = analyse(&large.build()).unwrap().beside.unwrap();
    assert_eq!(
        beside.robustness.members[0].bootstrap.unwrap().coverage,
        None
    );
    assert!(!told(&beside).contains("of studies") && told(&found(&two()).1).contains("of studies"));
}

#[test]
fn nothing_beside_carries_a_verdict_or_changes_one() {
    let (found, beside) = found(&two());
    assert!(
        beside
            .words
            .iter()
            .flat_map(|s| &s.0)
            .all(|span| !span.is_verdict)
    );
    let told = told(&beside);
    for word in ["Changed", "Unchanged", "Not settled", "significant"] {
        assert!(!told.contains(word), "{word}");
    }
    assert_eq!(
        found.primary.unwrap().judged[0].verdict,
        Some(Verdict::ChangedBeyond)
    );
}

/// 3 against 3 cannot be more extreme than 2 of 20 (trade.md §7.6), and nine values are too few for
/// normality.
#[test]
fn few_values_are_said_to_be_few() {
    let study = a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .broke("c1", &KEPT[..3])
        .broke("c2", &BARREL[..3]);
    let (_, beside) = found(&study);
    let told = told(&beside);
    assert!(told.contains("6 values are too few to show whether they scatter normally"));
    assert!(
        told.contains("not even the most extreme split can give a p below 0.10."),
        "{told}"
    );
    assert!(
        told.contains("no bootstrap: too few values: 3 of at least 4"),
        "{told}"
    );
    assert!(told.contains("p 0.100 (all 20 splits)"), "{told}");
}

#[test]
fn unequal_spreads_are_told_where_the_plan_pools_them() {
    let wild = [120.0, 480.0, 300.0, 180.0, 390.0, 310.0];
    let study = |spreads| {
        a_study()
            .planned(|plan| plan.spreads = spreads)
            .condition("rain barrel", Environment::FreshWater, 1)
            .broke("c1", &KEPT)
            .broke("c2", &wild)
    };
    let pooled = told(&found(&study(Spreads::Pooled)).1);
    assert!(
        pooled.contains("pooled intervals hold less often than they promise"),
        "{pooled}"
    );
    let own = told(&found(&study(Spreads::Separate)).1);
    assert!(own.contains("Each set keeps its own spread.") && !own.contains("promise"));
}

#[test]
fn values_that_are_not_normal_are_told_and_nothing_else_changes() {
    let mut skewed = [300.0; 12];
    for (at, value) in skewed.iter_mut().enumerate() {
        *value += at as f64 * 0.5;
    }
    skewed[11] = 420.0;
    skewed[10] = 390.0;
    let study = a_study()
        .planned(|plan| plan.outlier_rule = OutlierRule::Grubbs5)
        .condition("rain barrel", Environment::FreshWater, 1)
        .broke("c1", &skewed)
        .broke("c2", &skewed);
    let (found, beside) = found(&study);
    let told = told(&beside);
    assert!(
        told.contains("the values do not scatter normally"),
        "{told}"
    );
    let code = &beside.assumptions.flagged[0];
    assert!(
        told.contains(code.as_str()) && told.contains("stay in"),
        "{told}"
    );
    let family = found.primary.unwrap().family;
    assert_eq!(family.method.spreads, Spreads::Separate);
    assert_eq!(family.members[0].exposed.pieces, 12);
}

fn tubs(boxes: usize) -> Invented {
    a_study()
        .planned(|plan| {
            let extra = |n: usize| Holder {
                key: format!("c1h{n}"),
                name: format!("box {n}"),
            };
            plan.conditions[0].holders = (1..=boxes).map(extra).collect();
        })
        .condition("tubs", Environment::FreshWater, 3)
        .broke("c1", &[49.0, 53.0, 48.0, 51.0, 55.0, 50.0])
        .broke("c2", &[43.0, 47.0, 40.0, 45.0, 47.0, 42.0])
}

/// Tub means of trade.md §7.7 (Hurlbert 1984); variances by REML from statsmodels 0.15 (`MixedLM`):
/// 7.1667 between tubs, 1.6667 within.
#[test]
fn the_mixed_model_stands_beside_the_holder_means() {
    let (found, beside) = found(&tubs(3));
    let model = beside.holder_model.as_ref().unwrap();
    let parts = model.parts.unwrap();
    close(parts.between_sd.powi(2), 7.166_658, 1e-5);
    close(parts.within_sd.powi(2), 1.666_668, 1e-5);
    assert_eq!(parts.most_df, 4.0);
    // In a balanced study the model and the holder means say the same.
    let main = found.primary.unwrap().family.members[0].effect.unwrap();
    let [estimate, lower, upper] = model.members[0].change_percent.unwrap();
    close(estimate, main.estimate_percent, 1e-6);
    close(lower, main.lower_percent, 1e-4);
    close(upper, main.upper_percent, 1e-4);
    assert!(told(&beside).contains("81 % of the variance lies between holders"));
}

/// practice.md §3.4: a variance estimated as zero gains no degrees of freedom.
#[test]
fn a_variance_between_holders_of_zero_gains_nothing() {
    let study = a_study()
        .planned(|plan| {
            plan.conditions[0].holders = ["a", "b"]
                .map(|name| Holder {
                    key: format!("c1{name}"),
                    name: name.into(),
                })
                .to_vec();
            for (at, holder) in plan.conditions[0].holders.iter_mut().enumerate() {
                holder.key = format!("c1h{}", at + 1);
            }
        })
        .condition("tubs", Environment::FreshWater, 2)
        .broke("c1", &[49.0, 49.0, 53.0, 53.0, 51.0, 51.0])
        .broke("c2", &[43.0, 43.0, 47.0, 47.0, 45.0, 45.5]);
    let (_, beside) = found(&study);
    let model = beside.holder_model.as_ref().unwrap();
    assert_eq!(model.parts.unwrap().between_sd, 0.0);
    assert_eq!(model.parts.unwrap().most_df, 2.0);
    assert!(model.members[0].df.unwrap() <= 2.0);
    assert!(told(&beside).contains("no degrees of freedom are gained from that"));
}

#[test]
fn one_holder_each_leaves_no_mixed_model_and_says_so() {
    let (_, beside) = found(&two());
    assert!(beside.holder_model.is_none());
    assert!(told(&beside).contains(
        "No mixed model: with one holder for each condition, holder and condition cannot be told apart, \
         and all of this speaks of these clips in these holders."
    ));
    // One box for the controls, three tubs: the model takes the box as one of such holders.
    let (found, beside) = found(&tubs(1));
    assert_eq!(found.primary.unwrap().family.method.unit, Unit::Mixed);
    assert_eq!(beside.holder_model.unwrap().parts.unwrap().most_df, 2.0);
    assert!(beside.robustness.members.is_empty() && beside.robustness.none.is_some());
}

const MASSES: [f64; 12] = [
    5.01, 5.04, 4.97, 5.10, 4.99, 5.06, 5.03, 4.95, 5.08, 5.00, 5.06, 4.98,
];

fn weighed_clips(spreads: Spreads, covariate: Covariate) -> Invented {
    a_study()
        .planned(|plan| {
            plan.spreads = spreads;
            plan.covariate = covariate;
        })
        .condition("rain barrel", Environment::FreshWater, 1)
        .broke("c1", &[301.0, 309.5, 296.2, 322.8, 299.1, 313.0])
        .broke("c2", &[271.4, 255.0, 283.2, 265.9, 276.6, 262.2])
        .masses(|at| (MASSES[at], MASSES[at] - 0.01))
}

/// By ordinary least squares in statsmodels 0.15 (`OLS` on group and centred mass), the ratio of the
/// adjusted means by Fieller's theorem from its covariance matrix.
#[test]
fn the_adjusted_comparison_is_that_of_the_analysis_of_covariance() {
    let study = weighed_clips(Spreads::Pooled, Covariate::Before(Quantity::Mass));
    let found = analyse(&study.build()).unwrap();
    let primary = found.primary.as_ref().unwrap();
    let slope = primary.family.adjustment.as_ref().unwrap().slope.unwrap();
    close(slope.estimate, 207.028_934_368_384_74, 1e-9);
    close(slope.lower, 190.263_371_97, 1e-8);
    close(slope.upper, 223.794_496_77, 1e-8);
    close(slope.at, 5.0225, 1e-12);
    close(slope.p_common.unwrap(), 0.859_300_179_179_608_1, 1e-6);
    let ratio = primary.family.members[0].ratio.as_ref().unwrap();
    close(ratio.ratio, 0.883_987_509_462_236_9, 1e-10);
    close(ratio.lower.unwrap(), 0.879_366_716_305_676_8, 1e-9);
    close(ratio.upper.unwrap(), 0.888_629_615_884_475_6, 1e-9);
    // The unadjusted result stands beside.
    let plain = weighed_clips(Spreads::Pooled, Covariate::None);
    let plain = analyse(&plain.build()).unwrap().primary.unwrap();
    let beside = &primary.variants[0];
    assert_eq!(beside.kind, VariantKind::Unadjusted);
    assert_eq!(beside.family, plain.family);
    let notes: Vec<String> = found.notes.iter().map(|n| n.sentence.to_string()).collect();
    assert!(
        notes.iter().any(|n| n.starts_with(
            "Adjusted for mass before exposure, with one slope common to all sets: 207 N for each g (95 % \
             interval 190 to 224), compared at 5.02 g."
        )),
        "{notes:#?}"
    );
}

#[test]
fn mass_never_adjusts_its_own_change_and_what_cannot_be_adjusted_says_so() {
    let own = weighed_clips(Spreads::Separate, Covariate::Before(Quantity::Mass))
        .planned(|plan| plan.primary = Response::MassChange);
    let found = analyse(&own.build()).unwrap();
    assert_eq!(found.primary.as_ref().unwrap().family.adjustment, None);
    let notes = format!("{:?}", found.notes);
    assert!(notes.contains("that is never done"), "{notes}");
    let flat =
        weighed_clips(Spreads::Separate, Covariate::Before(Quantity::Mass)).masses(|_| (5.0, 4.9));
    let found = analyse(&flat.build()).unwrap();
    let primary = found.primary.unwrap();
    let adjustment = primary.family.adjustment.unwrap();
    assert!(adjustment.slope.is_none());
    let why = adjustment.none.unwrap();
    assert_eq!(why, "mass before exposure does not differ between pieces");
    assert!(primary.family.members[0].effect.is_some() && primary.variants.is_empty());
}

/// A reading from after exposure can never adjust: taking all of them away changes nothing.
#[test]
fn only_readings_from_before_exposure_adjust() {
    let study = weighed_clips(Spreads::Separate, Covariate::Before(Quantity::Mass));
    let with = analyse(&study.build()).unwrap().primary.unwrap();
    let without = study.masses(|at| (MASSES[at], f64::NAN));
    let without = analyse(&without.build()).unwrap().primary.unwrap();
    assert_eq!(with.family, without.family);
}
