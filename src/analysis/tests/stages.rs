//! Results over the stages and Weibull strength, against numbers computed outside this project.

use crate::analysis::analyse;
use crate::analysis::comparison::Unit;
use crate::analysis::findings::Findings;
use crate::analysis::tests::build::{Invented, Made, a_study};
use crate::study::plan::Environment;

fn close(got: f64, expected: f64, tolerance: f64) {
    assert!(
        (got - expected).abs() <= tolerance * expected.abs().max(1e-9),
        "{got} is not {expected}"
    );
}

fn three_stages(c2: [[f64; 3]; 3]) -> Invented {
    let kept = [302.0, 309.0, 297.0];
    let study = a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .stage(90)
        .stage(180);
    [90, 180, 365]
        .into_iter()
        .zip(c2)
        .fold(study, |study, (days, loads)| {
            study
                .broke_after("c1", days, &kept)
                .broke_after("c2", days, &loads)
        })
}

const FALLING: [[f64; 3]; 3] = [
    [289.0, 281.0, 297.0],
    [268.0, 275.0, 260.0],
    [221.0, 236.5, 229.0],
];

fn found(study: &Invented) -> Findings {
    analyse(&study.build()).unwrap()
}

fn barrel(found: &Findings) -> (crate::analysis::over_time::OverTime, String) {
    let at = found
        .over_time
        .iter()
        .position(|o| o.name == "rain barrel" && o.response.needs_breaking())
        .unwrap();
    (
        found.over_time[at].clone(),
        found.over_time_words[at].to_string(),
    )
}

/// statsmodels 0.15 (`OLS`), the share of the start and its time by Fieller's theorem from the
/// covariance matrix, lack of fit by hand.
#[test]
fn a_loss_over_the_stages_has_a_rate_and_a_time() {
    let found = found(&three_stages(FALLING).baseline(&[303.0, 309.0, 298.0, 312.0]));
    let (barrel, told) = barrel(&found);
    let line = barrel.line.as_ref().unwrap();
    close(line.per_year.estimate, -77.338_386_174_016_76, 1e-9);
    close(line.per_year.lower, -88.251_091_48, 1e-8);
    close(line.per_year.upper, -66.425_680_87, 1e-8);
    let percent = line.percent_per_year.unwrap();
    close(percent.estimate, -25.249_440_489_457_076, 1e-9);
    close(percent.lower, -28.428_463_827_457_467, 1e-8);
    close(percent.upper, -21.987_796_448_138_756, 1e-8);
    let time = line.time.unwrap();
    close(time.estimate_days.unwrap(), 144.656_670_769_6, 1e-9);
    close(time.lower_days, 128.480_385_791_097_66, 1e-8);
    close(time.upper_days.unwrap(), 166.114_872_339_068_82, 1e-8);
    close(line.p_straight.unwrap(), 0.888_437_067_318_579_2, 1e-8);
    assert_eq!((line.is_seen, barrel.values), (true, 13));
    assert_eq!(
        told,
        "In the rain barrel the clips lost 25 % of the load at the start in a year (95 % interval 22 to 28 %; \
         straight line over the stages of 90, 180 and 365 days and the pieces broken at the start). On that \
         line 90 % of the start are left after 145 days (128 to 166 days). This speaks of these clips in this \
         holder. Secondary, not adjusted."
    );
}

#[test]
fn without_a_trend_it_is_said_what_is_ruled_out() {
    let flat = [
        [301.0, 309.0, 296.0],
        [305.0, 299.0, 311.0],
        [296.0, 308.0, 300.5],
    ];
    let found = found(&three_stages(flat));
    let (barrel, told) = barrel(&found);
    let line = barrel.line.as_ref().unwrap();
    let percent = line.percent_per_year.unwrap();
    close(percent.estimate, -0.525_015_909_255_873, 1e-8);
    close(percent.lower, -5.327_800_905_150_894_6, 1e-8);
    close(percent.upper, 4.561_523_146_716_765, 1e-8);
    close(
        line.loss_ruled_out_per_year.unwrap(),
        5.327_800_905_150_894_6,
        1e-8,
    );
    let time = line.time.unwrap();
    assert!(time.estimate_days.is_none() && time.is_extrapolated);
    close(time.lower_days, 685.554_896_855_996_4, 1e-8);
    assert!(
        told.starts_with(
            "In the rain barrel no trend of load is seen over the stages of 90, 180 and 365 days, and a loss \
             faster than 5 % a year is ruled out (95 % interval 5 % lost to 5 % gained in a year). On such lines \
             90 % of the start are not reached before day 686"
        ),
        "{told}"
    );
    assert!(told.contains("beyond one and a half times the time observed"));
}

#[test]
fn two_stages_give_no_rate_and_a_blind_one_does_not_count() {
    let study = a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .stage(90)
        .broke_after("c1", 90, &[300.0, 310.0])
        .broke_after("c2", 90, &[290.0, 295.0])
        .broke("c1", &[300.0, 310.0])
        .broke("c2", &[250.0, 260.0]);
    assert!(found(&study).over_time.is_empty());
    assert!(
        found(&three_stages(FALLING).blind(365))
            .over_time
            .is_empty()
    );
}

#[test]
fn the_plan_may_ask_for_another_retention_and_a_bend_is_told() {
    let bent = [
        [200.0, 204.0, 198.0],
        [199.0, 202.0, 200.0],
        [198.0, 201.0, 203.0],
    ];
    let study = three_stages(bent)
        .planned(|plan| plan.retention_percent = Some(50.0))
        .baseline(&[303.0, 309.0, 298.0, 312.0]);
    let (barrel, told) = barrel(&found(&study));
    assert_eq!(barrel.line.unwrap().retention_percent, Some(50.0));
    assert!(told.contains("50 % of the start"), "{told}");
    assert!(
        told.contains("do not lie on a straight line (p below 0.001)"),
        "{told}"
    );
}

#[test]
fn several_holders_enter_as_their_means() {
    let study = a_study()
        .condition("salt water", Environment::SaltWater, 3)
        .stage(90)
        .stage(180);
    let study = [90, 180, 365].into_iter().fold(study, |study, days| {
        let loss = f64::from(days) / 10.0;
        let loads = [300.0, 305.0, 296.0, 301.0, 307.0, 299.0].map(|n| n - loss);
        study
            .broke_after("c1", days, &loads)
            .broke_after("c2", days, &loads)
    });
    let found = found(&study);
    let jars = found
        .over_time
        .iter()
        .find(|o| o.name == "salt water")
        .unwrap();
    assert_eq!(
        (jars.unit, jars.values, jars.holders),
        (Unit::Holders, 9, 3)
    );
}

/// scipy 1.17: likelihood of six broken pieces and one that carried at least 262 N maximised by
/// Nelder–Mead, profile intervals by root finding on χ²/2.
#[test]
fn weibull_strength_is_given_on_request_with_censored_pieces() {
    let study = a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .broke("c1", &[300.0, 312.0, 305.0, 309.0])
        .broke("c2", &[221.0, 236.5, 248.0, 230.2, 214.9, 240.3, 255.0])
        .pieces("c2", &[Made::AtLeast(262.0), Made::TotalLoss]);
    assert!(found(&study).brittle.is_empty());
    let found = found(&study.planned(|plan| plan.asks_weibull = true));
    let barrel = found
        .brittle
        .iter()
        .find(|b| b.name == "rain barrel")
        .unwrap();
    assert_eq!((barrel.failed, barrel.censored, barrel.left_out), (7, 1, 1));
    let (shape, scale) = (barrel.shape.unwrap(), barrel.scale.unwrap());
    close(shape.estimate, 15.318_657_717_866_22, 1e-5);
    close(shape.lower, 7.642_104_236_492_558, 1e-5);
    close(shape.upper, 25.895_510_596_011_44, 1e-5);
    close(scale.estimate, 246.933_942_439_777_46, 1e-6);
    close(scale.lower, 233.483_408_122_408_18, 1e-6);
    close(scale.upper, 262.551_568_200_546_5, 1e-6);
    close(barrel.low.unwrap().estimate, 213.197_117_594_185_16, 1e-6);
    let told: Vec<String> = found
        .brittle_words
        .iter()
        .map(ToString::to_string)
        .collect();
    assert!(
        told[1].starts_with(
            "Rain barrel, 365 days: shape 15.3 (7.64 to 25.9), characteristic load 247 N (233 to"
        ),
        "{told:#?}"
    );
    assert!(told[1].ends_with(
        "7 pieces broke, 1 carried at least the load written and 1 that carried none left out."
    ));
    assert!(told[2].contains("ten pieces give a first look"));
}
