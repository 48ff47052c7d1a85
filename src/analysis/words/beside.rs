//! What stands beside the comparison that decides, in words: assumptions, other methods, the mixed
//! model. None of these sentences carries a verdict word.

use crate::analysis::beside::Beside;
use crate::analysis::beside::assumptions::{Assumptions, SpreadFinding};
use crate::analysis::beside::holder_model::{HolderModelFinding, HolderModelMember};
use crate::analysis::beside::robustness::{
    BootstrapFinding, PermutationFinding, RankFinding, RobustMember, Robustness,
};
use crate::analysis::comparison::{Basis, Effect, Unit};
use crate::analysis::digits::{fixed, plain, probability, round, significant};
use crate::analysis::family::Family;
use crate::analysis::names;
use crate::analysis::sentence::Sentence;
use crate::analysis::words;
use crate::analysis::words::effect::{Shown, ways};
use crate::study::plan::{OutlierRule, Plan, Response, Spreads};

/// Below this p something is worth telling (common practice, no source); it decides nothing.
pub const REMARKABLE: f64 = 0.05;

/// All of it, in the order of the page.
#[must_use]
pub fn beside(plan: &Plan, family: &Family, found: &Beside) -> Vec<Sentence> {
    let mut told = assumptions(plan, family, &found.assumptions);
    told.extend(robustness(family, &found.robustness));
    told.extend(holder_model(plan, family, found.holder_model.as_ref()));
    told.into_iter().map(Sentence::plain).collect()
}

/// What was looked at before the numbers are believed.
#[must_use]
pub fn assumptions(plan: &Plan, family: &Family, found: &Assumptions) -> Vec<String> {
    let mut told = vec![format!(
        "Looked at, never used to choose the method: {}",
        normality(family, found)
    )];
    told.extend(found.spread.as_ref().map(|s| spread(family, s)));
    told.push(outliers(plan, found));
    told
}

fn normality(family: &Family, found: &Assumptions) -> String {
    let what = match family.method.unit {
        Unit::Pieces => "values",
        Unit::Holders => "holder means",
        Unit::Mixed => "values and holder means",
    };
    let n = found.values;
    let Some(normality) = &found.normality else {
        return format!("{n} {what} are too few to show whether they scatter normally.");
    };
    let p = probability(normality.p, &[REMARKABLE]);
    if normality.p < REMARKABLE {
        format!(
            "the {what} do not scatter normally about the means of their sets (Shapiro–Wilk by set, \
             together p {p}); permutation, ranks and bootstrap below do not ask that of them."
        )
    } else {
        format!(
            "nothing in the {n} {what} speaks against normal scatter about the means of their sets \
             (Shapiro–Wilk by set, together p {p}); so few show gross departures only."
        )
    }
}

fn spread(family: &Family, found: &SpreadFinding) -> String {
    let unit = words::unit(&family.response);
    let show = |sd: f64| format!("{} {unit}", significant(sd, 2));
    let test = found.p.map_or_else(String::new, |p| {
        format!("; Brown–Forsythe p {}", probability(p, &[REMARKABLE]))
    });
    let times = if found.smallest_sd > 0.0 {
        let times = found.largest_sd / found.smallest_sd;
        format!(", {} times as large", significant(times, 2))
    } else {
        String::new()
    };
    let is_pooled = family.method.unit == Unit::Pieces && family.method.spreads == Spreads::Pooled;
    let says = match (is_pooled, family.method.unit) {
        (true, _) if found.p.is_some_and(|p| p < REMARKABLE) => {
            " The plan pools the spreads; where they differ, pooled intervals hold less often than they \
             promise."
        }
        (true, _) => " The plan pools the spreads.",
        (false, Unit::Holders) => " The spread between holders is pooled over the conditions.",
        (false, _) => " Each set keeps its own spread.",
    };
    format!(
        "Standard deviations from {} ({}) to {} ({}{times}{test}).{says}",
        show(found.smallest_sd),
        found.smallest_name,
        show(found.largest_sd),
        found.largest_name,
    )
}

fn outliers(plan: &Plan, found: &Assumptions) -> String {
    let rule = match plan.outlier_rule {
        OutlierRule::None => return "The plan has no outlier rule.".to_owned(),
        rule => rule.label(),
    };
    let codes: Vec<String> = found.flagged.iter().map(ToString::to_string).collect();
    match codes.as_slice() {
        [] => format!("The plan’s outlier rule ({rule}) flags no value."),
        [one] => format!(
            "The plan’s outlier rule ({rule}) flags {one}; it stays in, and the result without it stands \
             beside."
        ),
        several => format!(
            "The plan’s outlier rule ({rule}) flags {}; they stay in, and the result without them stands \
             beside.",
            names::listed(several)
        ),
    }
}

fn robustness(family: &Family, found: &Robustness) -> Vec<String> {
    let mut told = Vec::new();
    if !found.members.is_empty() {
        told.push(how(found));
        told.extend(found.members.iter().map(|m| member(family, m)));
    }
    told.extend(robustness_notes(found));
    told
}

/// What must be read with the results of other methods.
#[must_use]
pub fn robustness_notes(found: &Robustness) -> Vec<String> {
    let none = found.none.as_ref();
    let none = none.map(|why| format!("By other methods: none ({why})."));
    let mut notes: Vec<String> = none.into_iter().chain(least_p(found)).collect();
    let small = found.members.iter().filter_map(|m| m.bootstrap);
    let small = small
        .filter(|b| b.coverage.is_some())
        .min_by_key(|b| b.smallest_group);
    notes.extend(small.and_then(coverage));
    notes
}

/// How seldom a bootstrap of few values holds what it promises (practice.md §3.9).
fn coverage(found: BootstrapFinding) -> Option<String> {
    let share = found.coverage?;
    Some(format!(
        "With {} values in a set a bootstrap interval made for 95 % holds in about {} % of studies.",
        found.smallest_group,
        fixed(share * 100.0, 0)
    ))
}

/// On what the other methods rest and how they are kept together.
#[must_use]
pub fn how(found: &Robustness) -> String {
    let unit = match found.unit {
        Unit::Holders => "the holder means",
        Unit::Pieces | Unit::Mixed => "the single pieces",
    };
    let together = match found.members.len() {
        1 => String::new(),
        n => format!(
            "; p values are adjusted for the {} comparisons (Holm), and each interval has {} % so that \
             all hold together (Bonferroni)",
            names::count(n),
            plain(round(found.each_percent, 1))
        ),
    };
    format!("By other methods, on {unit}, none of which decides{together}.")
}

/// `Rain barrel: permutation p 0.0022 (all 924 splits); …`
fn member(family: &Family, found: &RobustMember) -> String {
    let mut parts = Vec::new();
    parts.extend(found.permutation.map(permutation));
    parts.extend(found.rank.map(|rank| ranks(&family.response, rank)));
    parts.extend(found.bootstrap.map(|b| bootstrap(&family.response, b)));
    parts.extend(found.missing.iter().map(|why| format!("no {why}")));
    format!("{}: {}.", names::capital(&found.name), parts.join("; "))
}

fn permutation(found: PermutationFinding) -> String {
    let splits = plain(found.splits);
    let how = if found.is_exact {
        format!("all {splits} splits")
    } else {
        format!("{splits} splits, drawn")
    };
    let p = probability(found.p_adjusted, &[REMARKABLE]);
    format!("permutation p {p} ({how})")
}

fn ranks(response: &Response, found: RankFinding) -> String {
    let unit = words::unit(response);
    let digits = found.interval.map_or(1, |(lower, upper)| {
        crate::analysis::digits::decimals(&[lower, upper], &[0.0], (upper - lower) / 2.0, 0)
    });
    let show = |value: f64| fixed(value, digits);
    let reached = match (found.interval, found.achieved_percent) {
        (None, _) => "too many values for an exact interval".to_owned(),
        (Some((a, b)), None) => format!("{} to {} {unit}, with ties", show(a), show(b)),
        (Some((a, b)), Some(percent)) => format!(
            "{} to {} {unit} at {} %",
            show(a),
            show(b),
            plain(round(percent, 1))
        ),
    };
    let p = probability(found.p_adjusted, &[REMARKABLE]);
    format!(
        "ranks p {p} (Mann–Whitney), shift {} {unit} ({reached}; Hodges–Lehmann)",
        show(found.shift)
    )
}

fn bootstrap(response: &Response, found: BootstrapFinding) -> String {
    let shown = Shown::new(
        Effect {
            basis: Basis::Ratio,
            estimate_percent: found.estimate_percent,
            lower_percent: found.lower_percent,
            upper_percent: found.upper_percent,
        },
        None,
    );
    let ways = ways(response);
    format!(
        "bootstrap {} % {} ({}; BCa, {} resamples)",
        shown.size(),
        shown.way(ways),
        shown.interval(ways),
        found.resamples
    )
}

/// With few values even the most extreme split is not rare.
fn least_p(found: &Robustness) -> Option<String> {
    let exact = found.members.iter().filter_map(|m| m.permutation);
    let least = exact.filter(|p| p.is_exact).map(|p| p.splits);
    let splits = least.reduce(f64::min)?;
    let p = (2.0 / splits * found.members.len() as f64).min(1.0);
    (p >= REMARKABLE).then(|| {
        format!(
            "With so few values not even the most extreme split can give a p below {}.",
            significant(p, 2)
        )
    })
}

/// The mixed model, or why there is none; `None` when no piece has a holder on record.
#[must_use]
pub fn holder_model(
    plan: &Plan,
    family: &Family,
    found: Option<&HolderModelFinding>,
) -> Option<String> {
    let Some(found) = found else {
        return no_holder_model(plan, family);
    };
    let members: Vec<String> = found
        .members
        .iter()
        .map(|m| holder_member(&family.response, m))
        .collect();
    let Some(parts) = found.parts else {
        return Some(format!("Mixed model: none ({}).", members.join("; ")));
    };
    let between = if parts.between_sd > 0.0 {
        let share = fixed(parts.between_share * 100.0, 0);
        format!("{share} % of the variance lies between holders")
    } else {
        "the variance between holders is estimated as zero, as few holders often give, and no degrees of \
         freedom are gained from that"
            .to_owned()
    };
    let df = plain(round(parts.most_df, 1));
    Some(format!(
        "Mixed model beside it, holder as a random effect (REML, Kenward–Roger, at most {df} degrees of \
         freedom): {}; {between}.",
        members.join("; ")
    ))
}

fn holder_member(response: &Response, member: &HolderModelMember) -> String {
    let Some(of) = member.change_percent else {
        let why = member.none.as_deref().unwrap_or("no interval");
        return format!("{} no interval ({why})", member.name);
    };
    format!("{} {}", member.name, change(response, of))
}

/// A change in percent with its interval, in words: `4 % less (1 to 7 % less)`.
#[must_use]
pub fn change(response: &Response, [estimate, lower, upper]: [f64; 3]) -> String {
    let shown = Shown::new(
        Effect {
            basis: Basis::Ratio,
            estimate_percent: estimate,
            lower_percent: lower,
            upper_percent: upper,
        },
        None,
    );
    let ways = ways(response);
    format!(
        "{} % {} ({})",
        shown.size(),
        shown.way(ways),
        shown.interval(ways)
    )
}

/// One holder for each condition leaves nothing for a mixed model to tell.
fn no_holder_model(plan: &Plan, family: &Family) -> Option<String> {
    let is_single = family.members.iter().all(|m| m.exposed.holders <= 1);
    let is_told = is_single && family.members.iter().any(|m| m.exposed.holders == 1);
    is_told.then(|| {
        format!(
            "No mixed model: with one holder for each condition, holder and condition cannot be told apart, \
             and all of this speaks of these {} in these holders.",
            names::plural(&plan.form.piece_name)
        )
    })
}
