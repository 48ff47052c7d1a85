//! Several groups compared with one: which interval, on which unit of replication.
//!
//! With two or more holders per group the means of the holders are compared, their variance pooled
//! over the groups (practice.md §3.4); with one, the pieces, and the words say so. Where only some
//! groups have several holders, those rest on holder means and the others on pieces, each with its
//! own spread.

use crate::analysis::adjustment::{self, Adjustment};
use crate::analysis::arm::{Arm, larger};
use crate::analysis::comparison::{
    ArmFinding, Basis, DifferenceFinding, Effect, Member, Method, RatioFinding, Unit, Why,
};
use crate::analysis::piece::Group;
use crate::stats::family::Family;
use crate::stats::many_ratio::ratios;
use crate::stats::many_to_one::{self, differences};
use crate::stats::ratio::Ratio;
use crate::stats::refusal::Refusal;
use crate::stats::sample::{Spread, Summary};
use crate::study::plan::Spreads;
use crate::study::reading::Quantity;

/// A group that asks to be compared.
#[derive(Debug, Clone)]
pub struct Side {
    /// Which.
    pub group: Group,
    /// Name of the condition.
    pub name: String,
    /// Its values.
    pub arm: Arm,
    /// Why it cannot be compared, when its values do not tell.
    pub why: Option<Why>,
}

/// What is known before any number is computed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings<'p> {
    /// The plan's choice of spreads.
    pub spreads: Spreads,
    /// As a fraction.
    pub confidence: f64,
    /// Whether the response is a change in % already, so that differences speak and not ratios.
    pub is_change: bool,
    /// What was read before exposure to adjust for.
    pub covariate: Option<&'p Quantity>,
}

/// Every side compared with the reference.
#[derive(Debug, Clone)]
pub struct Compared {
    /// How.
    pub method: Method,
    /// One for each side.
    pub members: Vec<Member>,
    /// What it was adjusted for, when that was asked.
    pub adjustment: Option<Adjustment>,
}

/// Ratios (not for changes) and differences of a family, or why there are none.
pub(super) type Results = Result<
    (
        Option<Result<Vec<Result<Ratio, Refusal>>, Refusal>>,
        Result<Vec<Result<many_to_one::Difference, Refusal>>, Refusal>,
    ),
    Refusal,
>;

/// Compares every side with the reference as one family.
#[must_use]
pub fn compare(reference: &Side, sides: &[Side], settings: Settings<'_>) -> Compared {
    let mut members: Vec<Member> = sides.iter().map(|side| member(reference, side)).collect();
    let able: Vec<usize> = (0..sides.len())
        .filter(|at| members.get(*at).is_some_and(|m| m.none.is_none()))
        .collect();
    let arms: Vec<&Arm> = able
        .iter()
        .filter_map(|at| sides.get(*at))
        .map(|s| &s.arm)
        .collect();
    let method = method(&reference.arm, &arms, settings.spreads);
    if arms.is_empty() {
        return Compared {
            method,
            members,
            adjustment: None,
        };
    }
    let adjusted = settings
        .covariate
        .map(|quantity| adjustment::adjust(&reference.arm, &arms, method, quantity, settings));
    let (adjustment, adjusted) = match adjusted {
        None => (None, None),
        Some(Ok((adjustment, results))) => (Some(adjustment), Some(results)),
        Some(Err(adjustment)) => (Some(adjustment), None),
    };
    let results = adjusted.unwrap_or_else(|| plain(&reference.arm, &arms, method, settings));
    for (place, at) in able.iter().enumerate() {
        if let Some(member) = members.get_mut(*at) {
            match &results {
                Ok((ratios, differences)) => {
                    let ratio = ratios.as_ref().map(|all| one(all, place));
                    settle(member, ratio, one(differences, place));
                }
                Err(refusal) => refuse(member, *refusal),
            }
        }
    }
    Compared {
        method,
        members,
        adjustment,
    }
}

fn plain(reference: &Arm, arms: &[&Arm], method: Method, settings: Settings<'_>) -> Results {
    family(reference, arms, method).map(|family| {
        let ratios = (!settings.is_change).then(|| ratios(&family, settings.confidence));
        (ratios, differences(&family, settings.confidence))
    })
}

fn one<T: Copy>(all: &Result<Vec<Result<T, Refusal>>, Refusal>, at: usize) -> Result<T, Refusal> {
    match all {
        Ok(list) => list.get(at).copied().unwrap_or(Err(Refusal::NoComparison)),
        Err(refusal) => Err(*refusal),
    }
}

fn member(reference: &Side, side: &Side) -> Member {
    let values = reference.arm.pieces();
    let too_few = (values < 2).then_some(Why::ReferenceTooFew { values });
    Member {
        name: side.name.clone(),
        exposed: arm_finding(side),
        reference: arm_finding(reference),
        ratio: None,
        difference: None,
        resolution_percent: larger(
            side.arm.resolution_percent,
            reference.arm.resolution_percent,
        ),
        effect: None,
        none: why_not(side).or(too_few),
    }
}

fn arm_finding(side: &Side) -> ArmFinding {
    ArmFinding {
        group: side.group.clone(),
        pieces: side.arm.pieces(),
        holders: side.arm.by_holder().len(),
        mean: side.arm.mean(),
        is_mean_of_holders: side.arm.rests_on_holders(),
        special: side.arm.special,
    }
}

fn why_not(side: &Side) -> Option<Why> {
    let values = side.arm.values();
    let special = side.arm.special;
    match values.as_slice() {
        [] if side.why.is_some() => side.why.clone(),
        [] if special.lost > 0 => Some(Why::NoneFound { lost: special.lost }),
        [] => Some(Why::NoValue),
        [0.0] if special.total_losses == 1 => Some(Why::AllTotalLoss { pieces: 1 }),
        [value] => Some(Why::OnePiece { value: *value }),
        several if special.total_losses > 0 && several.iter().all(|v| *v == 0.0) => {
            Some(Why::AllTotalLoss {
                pieces: special.total_losses,
            })
        }
        _ => None,
    }
}

fn method(reference: &Arm, arms: &[&Arm], spreads: Spreads) -> Method {
    let mut all = arms.iter().copied().chain([reference]);
    let several = all.clone().filter(|arm| arm.rests_on_holders()).count();
    if several == 0 {
        let unit = Unit::Pieces;
        return Method { unit, spreads };
    }
    let is_all = all.all(Arm::rests_on_holders);
    Method {
        unit: if is_all { Unit::Holders } else { Unit::Mixed },
        spreads: if is_all {
            Spreads::Pooled
        } else {
            Spreads::Separate
        },
    }
}

fn family(reference: &Arm, arms: &[&Arm], method: Method) -> Result<Family, Refusal> {
    let spread = match method.spreads {
        Spreads::Pooled => Spread::Pooled,
        Spreads::Separate => Spread::Separate,
    };
    match method.unit {
        Unit::Pieces | Unit::Holders => {
            let others: Vec<Vec<f64>> = arms.iter().map(|arm| arm.units()).collect();
            Family::of(&reference.units(), &others, spread)
        }
        Unit::Mixed => mixed(reference, arms),
    }
}

/// Groups with several holders share one between-holder variance; the others keep that of their
/// pieces.
///
/// # Formula
/// ```text
/// s_h² = Σ (h_i − 1) s_i² / Σ (h_i − 1),  ν_h = Σ (h_i − 1)   over the groups with h_i ≥ 2 holders
/// var(mean_i) = s_h²/h_i with ν_h, or s_i²/n_i with n_i − 1
/// ```
/// A group is handed on as a summary of ν + 1 values with the same variance of the mean, because the
/// contrasts with separate spreads use nothing else of it.
fn mixed(reference: &Arm, arms: &[&Arm]) -> Result<Family, Refusal> {
    let all = arms.iter().copied().chain([reference]);
    let (mut squares, mut df) = (0.0, 0);
    for arm in all.filter(|arm| arm.rests_on_holders()) {
        let summary = Summary::of(&arm.holder_means())?;
        squares += summary.variance * (summary.n as f64 - 1.0);
        df += summary.n - 1;
    }
    let between = squares / df as f64;
    let one = |arm: &Arm| -> Result<Summary, Refusal> {
        if !arm.rests_on_holders() {
            return Summary::of(&arm.values());
        }
        let own = Summary::of(&arm.holder_means())?;
        let n = df + 1;
        Ok(Summary {
            n,
            mean: own.mean,
            variance: between / own.n as f64 * n as f64,
        })
    };
    let others: Result<Vec<Summary>, Refusal> = arms.iter().map(|arm| one(arm)).collect();
    Family::of_summaries(one(reference)?, others?, Spread::Separate)
}

fn settle(
    member: &mut Member,
    ratio: Option<Result<Ratio, Refusal>>,
    difference: Result<many_to_one::Difference, Refusal>,
) {
    member.difference = difference.ok().map(DifferenceFinding::of);
    match ratio {
        Some(Ok(ratio)) => {
            let found = RatioFinding::of(&ratio);
            member.effect = found.effect();
            member.none = member.effect.is_none().then_some(Why::Unbounded);
            member.ratio = Some(found);
        }
        Some(Err(refusal)) => refuse(member, refusal),
        None => match difference {
            Ok(found) => member.effect = Some(widened(&found, member.resolution_percent)),
            Err(refusal) => refuse(member, refusal),
        },
    }
}

/// Zero spread of changes is what the instrument resolves; everything else is told as it is.
fn refuse(member: &mut Member, refusal: Refusal) {
    let means = member.exposed.mean.zip(member.reference.mean);
    let is_change = member.resolution_percent.is_some();
    member.none = match (refusal, means, member.resolution_percent) {
        (Refusal::ZeroSpread, Some((exposed, reference)), Some(u)) if is_change => {
            let estimate = exposed - reference;
            member.effect = Some(Effect {
                basis: Basis::InstrumentAlone,
                estimate_percent: estimate,
                lower_percent: estimate - u,
                upper_percent: estimate + u,
            });
            None
        }
        (Refusal::ZeroSpread, _, _) => Some(Why::ZeroSpread),
        (other, _, _) => Some(Why::Refused {
            sentence: other.to_string(),
        }),
    };
}

/// An interval never narrower than the instrument allows (practice.md §3.6).
fn widened(found: &many_to_one::Difference, resolution: Option<f64>) -> Effect {
    let half = found.critical * found.se;
    let (basis, half) = match resolution {
        Some(u) if u > half => (Basis::Instrument, u),
        _ => (Basis::Difference, half),
    };
    Effect {
        basis,
        estimate_percent: found.difference,
        lower_percent: found.difference - half,
        upper_percent: found.difference + half,
    }
}
