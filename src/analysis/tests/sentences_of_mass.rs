//! The sentences of practice.md §5 about mass alone, word for word.

use crate::analysis::analyse;
use crate::analysis::comparison::{Basis, Effect};
use crate::analysis::findings::Findings;
use crate::analysis::tests::build::{Invented, a_study};
use crate::analysis::verdict::Verdict;
use crate::analysis::words::verdict::{MarginSet, Setting, primary};
use crate::study::plan::{Environment, Plan, Response};

fn found(study: &Invented) -> Findings {
    analyse(&study.build()).unwrap()
}

fn mass_plan() -> Plan {
    let scatter = |n: usize| 0.02 * (n as f64 - 2.5);
    mass_invented(0.0001, scatter, scatter).build().plans[0]
        .plan
        .clone()
}

fn mass_study(step_g: f64, after: impl Fn(usize) -> f64, kept: impl Fn(usize) -> f64) -> Findings {
    found(&mass_invented(step_g, after, kept))
}

fn mass_invented(
    step_g: f64,
    after: impl Fn(usize) -> f64,
    kept: impl Fn(usize) -> f64,
) -> Invented {
    let before = |n: usize| 5.0 + 0.01 * n as f64;
    let list = |of: &dyn Fn(usize) -> f64| -> Vec<(f64, f64)> {
        (0..6)
            .map(|n| (before(n), before(n) * (1.0 + of(n) / 100.0)))
            .collect()
    };
    a_study()
        .planned(|plan| {
            plan.primary = Response::MassChange;
            plan.margin_percent = 0.1;
        })
        .condition("rain barrel", Environment::FreshWater, 1)
        .balance_step(step_g)
        .weighed("c1", &list(&kept))
        .weighed("c2", &list(&after))
}

/// The sentence of a mass study for an interval given by hand.
fn said_of_mass(estimate: f64, lower: f64, upper: f64) -> String {
    let way = estimate.signum();
    let scatter = |n: usize| 0.02 * (n as f64 - 2.5);
    let mass = mass_study(0.0001, |n| way * 0.3 + scatter(n), |n| scatter((n * 5) % 6));
    let mut given = mass.primary.unwrap();
    let effect = Effect {
        basis: Basis::Difference,
        estimate_percent: estimate,
        lower_percent: lower,
        upper_percent: upper,
    };
    given.family.members[0].effect = Some(effect);
    given.judged[0].verdict = Some(Verdict::of(&effect, given.margin_percent));
    let setting = Setting {
        margin: MarginSet::Beforehand,
        has_tests: false,
    };
    primary(&mass_plan(), &given, setting)[0].marked()
}

#[test]
fn ten_only_mass_loss_and_gain() {
    const P: &str = "After 365 days in the rain barrel the 6 clips, rinsed and dried,";
    assert_eq!(
        said_of_mass(-0.3, -0.5, -0.1001),
        format!(
            "{P} lost 0.3000 % more mass than those kept indoors (0.1001 to 0.5000 %). Nothing was broken: \
             mass does not tell strength. **Changed**, by more than the 0.1 % set beforehand."
        )
    );
    // With a margin that no bound comes near the digits are those of the handbook.
    assert!(
        said_of_mass(-0.3, -0.5, -0.12).starts_with(&format!("{P} lost 0.30 % more mass"))
            && said_of_mass(-0.3, -0.5, -0.1).starts_with(&format!(
                "{P} lost 0.3 % more mass than those kept indoors (0.1 to 0.5 %). Nothing was broken: mass \
                 does not tell strength. **Changed**; whether"
            ))
    );
    let gain = said_of_mass(0.3, 0.1, 0.5);
    assert!(
        gain.starts_with(&format!(
            "{P} gained 0.3 % more mass than those kept indoors (0.1 to 0.5 %). Salt, water or growth add \
             mass, so a gain can hide a loss; a balance cannot tell them apart."
        )),
        "{gain}"
    );
}

#[test]
fn eleven_below_what_the_balance_resolves() {
    let same = a_study()
        .planned(|plan| {
            plan.primary = Response::MassChange;
            plan.margin_percent = 0.1;
        })
        .condition("rain barrel", Environment::FreshWater, 1)
        .balance_step(0.01)
        .weighed("c1", &[(5.0, 5.0); 6])
        .weighed("c2", &[(5.0, 5.0); 6]);
    assert_eq!(
        found(&same).answer[0].marked(),
        "After 365 days in the rain barrel: The balance showed no change, but resolves none under \
         0.16 %; with a margin of 0.1 % this is **not settled**."
    );
}
