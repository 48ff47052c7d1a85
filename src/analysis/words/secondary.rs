//! Sentences for everything that does not decide: an interval, and that it is one of many.

use crate::analysis::comparison::Member;
use crate::analysis::digits::plain;
use crate::analysis::family::{Against, Family};
use crate::analysis::names;
use crate::analysis::sentence::Sentence;
use crate::analysis::words::effect::{Shown, change, than, ways};
use crate::analysis::words::verdict::{condition, mass_alone, said};
use crate::analysis::words::{self, none};
use crate::study::plan::{Plan, Response};

/// One sentence for each secondary comparison, in their order.
#[must_use]
pub fn secondary(plan: &Plan, families: &[Family], has_tests: bool) -> Vec<Sentence> {
    let members = |f: &Family| f.members.iter().filter(|m| m.effect.is_some()).count();
    let number: usize = families.iter().map(members).sum();
    let one = |family: &Family| {
        let sentence = |member: &Member| {
            let told = sentence(plan, family, member, has_tests);
            if member.effect.is_some() {
                told.and(format!(" {}", place_in_list(number)))
            } else {
                told
            }
        };
        family
            .members
            .iter()
            .map(sentence)
            .collect::<Vec<Sentence>>()
    };
    families.iter().flat_map(one).collect()
}

fn sentence(plan: &Plan, family: &Family, member: &Member, has_tests: bool) -> Sentence {
    let Some(condition) = condition(plan, &member.exposed.group) else {
        return Sentence::plain(format!("{}: not in the plan that holds.", member.name));
    };
    let after = words::after(condition, family.stage_days);
    let Some(effect) = member.effect else {
        return none::sentence(plan, family, member, &after);
    };
    let shown = Shown::new(effect, None);
    let told = if condition.is_storage_control {
        storage(plan, family, member, &shown)
    } else {
        said(plan, family, member, &after, &shown)
    };
    let mass = match family.response {
        Response::MassChange => format!(" {}", mass_alone(member, has_tests)),
        _ => String::new(),
    };
    told.and(mass)
}

/// `Secondary; one of 6 such comparisons, not adjusted.`
fn place_in_list(number: usize) -> String {
    match number {
        1 => "Secondary; the only such comparison.".to_owned(),
        n => format!("Secondary; one of {n} such comparisons, not adjusted."),
    }
}

fn storage(plan: &Plan, family: &Family, member: &Member, shown: &Shown) -> Sentence {
    let change = change(plan, family, shown, member.exposed.mean.unwrap_or(0.0));
    let days = family.stage_days;
    let pieces = words::the_pieces(plan, member.exposed.pieces);
    Sentence::plain(format!("After {days} days indoors {pieces} {change}."))
}

/// `Those kept indoors were themselves 5 % weaker than at the start (1 to 9 %); compared with new, the
/// rain barrel clips lost 9 %.` Only when the interval excludes no change (practice.md §5.9).
#[must_use]
pub fn storage_moved(plan: &Plan, families: &[Family], exposed: &Family) -> Option<Sentence> {
    let is_it = |f: &&Family| {
        f.against == Against::Baseline
            && f.response == exposed.response
            && f.stage_days == exposed.stage_days
    };
    let is_control = |m: &&Member| m.exposed.group.is_storage_control(plan);
    let mut baseline = families.iter().filter(is_it).flat_map(|f| &f.members);
    let control = baseline.find(is_control)?;
    let effect = control.effect?;
    if effect.lower_percent <= 0.0 && effect.upper_percent >= 0.0 {
        return None;
    }
    let shown = Shown::new(effect, None);
    let way = match (&exposed.response, effect.estimate_percent < 0.0) {
        (Response::Read(property), true) => format!("lower in {}", property.label()),
        (Response::Read(property), false) => format!("higher in {}", property.label()),
        (_, true) => "weaker".to_owned(),
        (_, false) => "stronger".to_owned(),
    };
    let start = format!(
        "Those kept indoors were themselves {} % {way} than at the start ({})",
        shown.size(),
        shown.bare_interval(ways(&exposed.response)),
    );
    let new = control.reference.mean.filter(|mean| *mean != 0.0)?;
    let compared: Vec<String> = exposed
        .members
        .iter()
        .filter_map(|member| compared_with_new(plan, member, new, &shown))
        .collect();
    if compared.is_empty() {
        return Some(Sentence::plain(format!("{start}.")));
    }
    let all = names::listed(&compared);
    Some(Sentence::plain(format!(
        "{start}; compared with new, {all}."
    )))
}

fn compared_with_new(plan: &Plan, member: &Member, new: f64, shown: &Shown) -> Option<String> {
    let change = (member.exposed.mean? / new - 1.0) * 100.0;
    let verb = if change < 0.0 { "lost" } else { "gained" };
    let pieces = names::plural(&plan.form.piece_name);
    let place = names::place(condition(plan, &member.exposed.group)?);
    let size = shown.size_of(change);
    let bare = place
        .strip_prefix("in the ")
        .or_else(|| place.strip_prefix("on the "));
    Some(match bare {
        Some(name) => format!("the {name} {pieces} {verb} {size} %"),
        None => format!("the {pieces} {place} {verb} {size} %"),
    })
}

/// What a comparison is called in a table: `rain barrel, 365 days, against the storage control`.
#[must_use]
pub fn title(family: &Family, member: &Member) -> String {
    let against = than(family.against).trim_start_matches("than ");
    let confidence = plain(family.confidence_percent);
    format!(
        "{}, {} days, against {against} ({confidence} % interval)",
        member.name, family.stage_days
    )
}
