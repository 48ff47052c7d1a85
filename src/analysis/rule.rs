//! What the design can see by the very rule that gives the verdict (practice.md §3.5).
//!
//! This takes about a second, so [`super::analyse`] leaves it out; the plan page and
//! [`super::analyse_in_full`] ask for it.

use serde::{Deserialize, Serialize};

use crate::analysis::comparison::Unit;
use crate::analysis::family::exposed;
use crate::analysis::groups::GroupFinding;
use crate::stats::design::{self, Planner};
use crate::stats::refusal::Refusal;
use crate::stats::sample::{Spread, Summary};
use crate::study::plan::{Condition, Plan, Spreads};

/// Chance with which a loss is to be called changed.
pub const POWER: f64 = 0.8;

/// Under this chance of 'unchanged' when nothing changed, the page warns.
pub const FEW: f64 = 0.2;

/// Share of the variance that is taken to lie between holders, until the study itself can tell
/// (common practice, no source).
pub const BETWEEN_HOLDERS: f64 = 0.5;

/// How much larger the spread may be after exposure (trade.md §7.5: often 1.5 to 3 times).
pub(super) const GROWTHS: [f64; 3] = [1.0, 2.0, 3.0];

/// What the design can see.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RuleDesign {
    /// What the verdict rests on.
    pub unit: Unit,
    /// Conditions compared at the primary stage.
    pub conditions: usize,
    /// Pieces or holders in the storage control.
    pub control_units: usize,
    /// Pieces or holders in each condition, the fewest of them.
    pub exposed_units: usize,
    /// Scatter between pieces that was reckoned with, in %.
    pub cv_percent: f64,
    /// For a spread as new, twice and three times as large after exposure.
    pub lines: Vec<RuleLine>,
    /// With two and with three holders for each condition, where some condition has fewer than three.
    pub with_holders: Vec<HolderLine>,
}

/// What is seen at one growth of the spread.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RuleLine {
    /// How many times larger the spread is after exposure.
    pub growth: f64,
    /// The smallest loss called changed with a chance of [`POWER`], in %; `None` when none is.
    pub detectable_percent: Option<f64>,
    /// Chance of 'unchanged' when nothing changed.
    pub unchanged: f64,
    /// Standard error of that chance.
    pub error: f64,
}

impl RuleLine {
    /// Whether 'unchanged' is out of reach for practical purposes.
    #[must_use]
    pub fn is_few(&self) -> bool {
        self.unchanged < FEW
    }
}

/// What so many holders for each condition would see, spread as new.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HolderLine {
    /// Holders for each condition, the storage control among them.
    pub holders: usize,
    /// What is seen.
    pub line: RuleLine,
}

/// Why nothing is said by the rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoRule {
    /// The primary response is a change already, or there is nothing to compare.
    NotAsked,
    /// Some compared groups have several holders and some have one.
    MixedHolders,
    /// The method refused.
    Refused(Refusal),
}

impl From<Refusal> for NoRule {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal)
    }
}

/// What a plan can see, by its own rule and its own expected scatter.
///
/// # Errors
/// [`NoRule`].
pub fn by_the_rule(plan: &Plan) -> Result<RuleDesign, NoRule> {
    let sizes = sizes(plan)?;
    let cv = plan.expected_cv_percent / 100.0;
    let unit_cv = match sizes.unit {
        Unit::Holders => design::cv_of_holder_mean(cv, BETWEEN_HOLDERS, sizes.pieces_each)?,
        Unit::Pieces | Unit::Mixed => cv,
    };
    let base = sizes.design(plan, unit_cv);
    let lines: Result<Vec<RuleLine>, NoRule> = GROWTHS
        .into_iter()
        .map(|growth| line(base, growth))
        .collect();
    Ok(RuleDesign {
        unit: sizes.unit,
        conditions: base.conditions,
        control_units: base.control_units,
        exposed_units: base.exposed_units,
        cv_percent: plan.expected_cv_percent,
        lines: lines?,
        with_holders: with_holders(plan, &sizes, cv)?,
    })
}

/// What the same plan could have seen with the spread found, in %, and its growth. Single pieces: the
/// storage control's own spread and the exposed groups' mean variance. Holders: the spread between
/// holder means, pooled over the groups. Never from the effect found.
///
/// # Errors
/// [`NoRule`].
pub fn with_spread_found(plan: &Plan, groups: &[GroupFinding]) -> Result<(f64, RuleLine), NoRule> {
    let sizes = sizes(plan)?;
    let here: Vec<&GroupFinding> = groups
        .iter()
        .filter(|g| {
            g.response == plan.primary && g.group.stage_days() == Some(plan.primary_stage_days)
        })
        .collect();
    let control = here.iter().find(|g| g.is_storage_control);
    let control = control.filter(|g| g.mean > 0.0).ok_or(NoRule::NotAsked)?;
    let (cv, growth) = match sizes.unit {
        Unit::Holders => (
            between_holders(&here).ok_or(NoRule::NotAsked)? / control.mean,
            1.0,
        ),
        Unit::Pieces | Unit::Mixed => {
            let of = |g: &GroupFinding| g.sd.filter(|sd| *sd > 0.0);
            let sd = of(control).ok_or(NoRule::NotAsked)?;
            let others = here.iter().filter(|g| !g.is_storage_control);
            let variances: Vec<f64> = others.filter_map(|g| of(g)).map(|sd| sd * sd).collect();
            if variances.is_empty() {
                return Err(NoRule::NotAsked);
            }
            let mean = variances.iter().sum::<f64>() / variances.len() as f64;
            (sd / control.mean, mean.sqrt() / sd)
        }
    };
    Ok((cv * 100.0, line(sizes.design(plan, cv), growth)?))
}

/// Standard deviation between holder means, pooled over the groups; `None` without any.
fn between_holders(groups: &[&GroupFinding]) -> Option<f64> {
    let (mut squares, mut df) = (0.0, 0.0);
    for group in groups {
        let means: Vec<f64> = group.holders.iter().map(|h| h.mean).collect();
        let own = Summary::of(&means).ok()?;
        squares += own.variance * (own.n as f64 - 1.0);
        df += own.n as f64 - 1.0;
    }
    let is_there = df > 0.0 && squares > 0.0;
    is_there.then(|| (squares / df).sqrt())
}

/// The sizes of a plan's primary family.
pub(super) struct Sizes {
    pub(super) unit: Unit,
    pub(super) conditions: usize,
    control: usize,
    pub(super) exposed: usize,
    /// Pieces in each holder, the fewest of the groups.
    pieces_each: usize,
    /// Pieces in each group, the fewest of them.
    pub(super) pieces: usize,
    /// Whether some group has fewer than three holders.
    is_few: bool,
}

impl Sizes {
    fn design(&self, plan: &Plan, cv: f64) -> design::Design {
        design::Design {
            conditions: self.conditions,
            control_units: self.control,
            exposed_units: self.exposed,
            cv,
            growth: 1.0,
            margin: plan.margin_percent / 100.0,
            confidence: plan.confidence_percent / 100.0,
            spread: match (self.unit, plan.spreads) {
                (Unit::Pieces, Spreads::Separate) => Spread::Separate,
                _ => Spread::Pooled,
            },
        }
    }
}

pub(super) fn sizes(plan: &Plan) -> Result<Sizes, NoRule> {
    if !plan.primary.needs_breaking() {
        return Err(NoRule::NotAsked);
    }
    let at = plan
        .stages
        .iter()
        .position(|s| s.days == plan.primary_stage_days);
    let pieces = |c: &Condition| -> usize {
        let n = at.and_then(|at| c.replicates.get(at)).copied().unwrap_or(0);
        usize::try_from(n).unwrap_or(0)
    };
    let control = plan.storage_control().ok_or(NoRule::NotAsked)?;
    let asked: Vec<&Condition> = exposed(plan).filter(|c| pieces(c) > 0).collect();
    let all = || asked.iter().copied().chain([control]);
    let holders = |c: &Condition| c.holders.len().min(pieces(c));
    let several = all().filter(|c| holders(c) >= 2).count();
    let count = all().count();
    let fewest = |of: &dyn Fn(&Condition) -> usize, list: &[&Condition]| {
        list.iter().map(|c| of(c)).min().unwrap_or(0)
    };
    let everyone: Vec<&Condition> = all().collect();
    let each = |c: &Condition| pieces(c) / holders(c).max(1);
    let (unit, units): (Unit, &dyn Fn(&Condition) -> usize) = match several {
        0 => (Unit::Pieces, &pieces),
        n if n == count => (Unit::Holders, &holders),
        _ => return Err(NoRule::MixedHolders),
    };
    Ok(Sizes {
        unit,
        conditions: asked.len(),
        control: units(control),
        exposed: fewest(units, &asked),
        pieces_each: fewest(&each, &everyone),
        pieces: fewest(&pieces, &everyone),
        is_few: fewest(&|c| c.holders.len(), &everyone) < 3,
    })
}

fn line(base: design::Design, growth: f64) -> Result<RuleLine, NoRule> {
    let planner = Planner::new(design::Design { growth, ..base })?;
    let none = planner.chances(0.0)?;
    let loss = planner.detectable_loss(POWER)?;
    Ok(RuleLine {
        growth,
        detectable_percent: loss.map(|loss| loss * 100.0),
        unchanged: none.unchanged,
        error: none.error,
    })
}

/// The same pieces spread over two and over three holders (practice.md §3.4).
fn with_holders(plan: &Plan, sizes: &Sizes, cv: f64) -> Result<Vec<HolderLine>, NoRule> {
    if !sizes.is_few {
        return Ok(Vec::new());
    }
    let wanted = [2, 3]
        .into_iter()
        .filter(|holders| sizes.pieces >= *holders);
    wanted
        .map(|holders| {
            let each = sizes.pieces / holders;
            let base = design::Design {
                control_units: holders,
                exposed_units: holders,
                spread: Spread::Pooled,
                ..sizes.design(plan, design::cv_of_holder_mean(cv, BETWEEN_HOLDERS, each)?)
            };
            let line = line(base, 1.0)?;
            Ok(HolderLine { holders, line })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::tests::build::a_study;
    use crate::study::plan::Environment;

    fn plan(cv_percent: f64) -> Plan {
        let study = a_study()
            .planned(|plan| plan.expected_cv_percent = cv_percent)
            .condition("rain barrel", Environment::FreshWater, 1)
            .condition("soil", Environment::Soil, 1)
            .condition("roof", Environment::Outdoor, 1);
        let record = ["c1", "c2", "c3", "c4"]
            .into_iter()
            .fold(study, |study, key| study.broke(key, &[300.0; 6]))
            .planned(|plan| plan.spreads = Spreads::Pooled)
            .build();
        record.plans[0].plan.clone()
    }

    /// practice.md §3.5 (simulated there, pooled): three conditions, n 6, ±10 %: CV 5 % .63, CV 8 %
    /// .03 as the chance of 'unchanged' when nothing changed.
    #[test]
    fn the_chance_of_unchanged_is_the_simulated_one() {
        for (cv, chance) in [(5.0, 0.63), (8.0, 0.03)] {
            let plan = plan(cv);
            let sizes = sizes(&plan).ok().unwrap();
            let planner = Planner::new(sizes.design(&plan, cv / 100.0)).unwrap();
            let found = planner.chances(0.0).unwrap().unchanged;
            assert!((found - chance).abs() < 0.015, "{cv}: {found}");
        }
    }

    /// Jar means of trade.md §7.7: 50, 54, 49 and 44, 47, 41 have the pooled variance 8 (by hand), so
    /// 2.83 of a storage control of 51.
    #[test]
    fn with_several_holders_the_spread_found_is_that_between_them() {
        let study = a_study()
            .planned(|plan| {
                let extra = |n: usize| crate::study::plan::Holder {
                    key: format!("c1h{n}"),
                    name: format!("box {n}"),
                };
                plan.conditions[0].holders = (1..=3).map(extra).collect();
            })
            .condition("tubs", Environment::FreshWater, 3)
            .broke("c1", &[49.0, 53.0, 48.0, 51.0, 55.0, 50.0])
            .broke("c2", &[43.0, 47.0, 40.0, 45.0, 47.0, 42.0]);
        let record = study.build();
        let found = crate::analysis::analyse_in_full(&record).unwrap();
        let (cv, line) = found.rule_found.unwrap();
        assert!((cv - 8.0_f64.sqrt() / 51.0 * 100.0).abs() < 1e-9, "{cv}");
        assert_eq!(line.growth, 1.0);
        assert!(line.unchanged < 0.5);
    }

    #[test]
    fn holders_are_the_units_when_every_group_has_several() {
        let mut plan = plan(5.0);
        assert!(matches!(
            sizes(&plan),
            Ok(Sizes {
                unit: Unit::Pieces,
                exposed: 6,
                ..
            })
        ));
        let one = plan.conditions[0].holders[0].clone();
        let more = |condition: &mut Condition| {
            let extra = |n: usize| crate::study::plan::Holder {
                key: format!("{}h{n}", condition.key),
                ..one.clone()
            };
            condition.holders = (1..=3).map(extra).collect();
        };
        more(&mut plan.conditions[1]);
        assert_eq!(sizes(&plan).err(), Some(NoRule::MixedHolders));
        plan.conditions.iter_mut().for_each(more);
        let all = sizes(&plan).ok().unwrap();
        assert_eq!(
            (all.unit, all.control, all.exposed, all.pieces_each),
            (Unit::Holders, 3, 3, 2)
        );
    }
}
