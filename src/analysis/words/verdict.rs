//! The sentences that decide (practice.md §5, 1–6, 10, 11, 14).

use crate::analysis::arm::{Counting, Special};
use crate::analysis::comparison::{Basis, Effect, Member};
use crate::analysis::digits::{decimals, fixed, plain};
use crate::analysis::family::Family;
use crate::analysis::names;
use crate::analysis::piece::Group;
use crate::analysis::primary::{Counted, Decides, Judged, Primary};
use crate::analysis::sentence::Sentence;
use crate::analysis::verdict::Verdict;
use crate::analysis::words::effect::{Shown, change, ways};
use crate::analysis::words::{self, none};
use crate::study::plan::{Condition, Plan, Response};

/// When the margin was set, in words that a verdict may carry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarginSet {
    /// Sealed before anything went out or was broken.
    Beforehand,
    /// Sealed after pieces had gone out.
    AfterOuting,
    /// Sealed when the baseline values were known.
    KnowingBaseline,
    /// Changed when results were known.
    KnowingResults,
    /// Never sealed.
    NotSealed,
    /// Given with a file, whoever set it and whenever.
    Given,
}

impl MarginSet {
    fn words(self) -> &'static str {
        match self {
            Self::Beforehand => "set beforehand",
            Self::AfterOuting => "set after pieces had gone out",
            Self::KnowingBaseline => "set when the baseline values were known",
            Self::KnowingResults => "set when results were known",
            Self::NotSealed => "of a plan that was not sealed",
            Self::Given => "given with the file",
        }
    }
}

/// What the verdict sentences must know beside the numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Setting {
    /// When the margin was set.
    pub margin: MarginSet,
    /// Whether any piece of the study was broken.
    pub has_tests: bool,
}

/// One paragraph for each condition of the primary family, in the plan's order.
#[must_use]
pub fn primary(plan: &Plan, primary: &Primary, setting: Setting) -> Vec<Sentence> {
    let both = primary.family.members.iter().zip(&primary.judged);
    both.map(|(member, judged)| one(plan, primary, member, judged, setting))
        .collect()
}

fn one(
    plan: &Plan,
    primary: &Primary,
    member: &Member,
    judged: &Judged,
    setting: Setting,
) -> Sentence {
    let Some(condition) = condition(plan, &member.exposed.group) else {
        return Sentence::plain(format!("{}: not in the plan that holds.", member.name));
    };
    let after = words::after(condition, primary.family.stage_days);
    if let Some(Decides { is_word: true, .. }) = judged.decides {
        let sentence = Sentence::plain(format!("{after}: ")).verdict("Not settled");
        return sentence.and(format!(": {}.", counting(judged, member.exposed.special)));
    }
    let Some((effect, verdict)) = member.effect.zip(judged.verdict) else {
        return none::sentence(plan, &primary.family, member, &after);
    };
    if effect.basis == Basis::InstrumentAlone {
        return below_resolution(
            &primary.family,
            member,
            &after,
            verdict,
            primary.margin_percent,
        );
    }
    let shown = Shown::new(effect, Some(primary.margin_percent));
    let mut said = said(plan, &primary.family, member, &after, &shown);
    if primary.family.response == Response::MassChange {
        said = said.and(format!(" {}", mass_alone(member, setting.has_tests)));
    }
    let mut sentence = tail(
        said,
        &shown,
        effect,
        verdict,
        primary.margin_percent,
        setting.margin,
    );
    if judged.decides.is_some() {
        let margin = plain(primary.margin_percent);
        let counting = counting(judged, member.exposed.special);
        sentence = sentence.and(format!(
            " The counting decides about the {margin} %: {counting}."
        ));
    }
    let is_load = matches!(
        primary.family.response,
        Response::MaxLoad | Response::Strength
    );
    let is_gain = is_load && effect.lower_percent > 0.0;
    sentence.and(if is_gain { MORE_IS_NOT_BETTER } else { "" })
}

/// The condition of a group.
#[must_use]
pub fn condition<'p>(plan: &'p Plan, group: &Group) -> Option<&'p Condition> {
    match group {
        Group::Cell { condition, .. } => plan.condition(condition),
        Group::Baseline | Group::LateReference => None,
    }
}

/// `After 365 days in the rain barrel the 6 clips broke at 24 % less load than … .`
#[must_use]
pub fn said(plan: &Plan, family: &Family, member: &Member, after: &str, shown: &Shown) -> Sentence {
    let pieces = words::the_pieces(plan, member.exposed.pieces);
    let state = match family.response {
        Response::MassChange | Response::LengthChange(_) => format!(", {},", words::state(plan)),
        Response::MaxLoad | Response::Strength | Response::Read(_) => String::new(),
    };
    let change = change(plan, family, shown, member.exposed.mean.unwrap_or(0.0));
    Sentence::plain(format!("{after} {pieces}{state} {change}."))
}

fn tail(
    said: Sentence,
    shown: &Shown,
    effect: Effect,
    verdict: Verdict,
    margin: f64,
    set: MarginSet,
) -> Sentence {
    let (m, set) = (plain(margin), set.words());
    let said = said.and(" ");
    match verdict {
        Verdict::ChangedBeyond => said
            .verdict("Changed")
            .and(format!(", by more than the {m} % {set}.")),
        Verdict::Changed => said
            .verdict("Changed")
            .and(format!("; whether by more than {m} % is not settled.")),
        Verdict::ChangedWithin => said
            .verdict("Changed, but within")
            .and(format!(" the ±{m} % {set}.")),
        Verdict::Unchanged => said
            .verdict(format!("Unchanged within ±{m} %"))
            .and(": smaller changes than these limits are not excluded."),
        Verdict::NotSettled => said
            .verdict("Not settled")
            .and(format!(": {}", what_fits(shown, effect, margin))),
    }
}

/// What fits and what does not, when nothing is settled.
fn what_fits(shown: &Shown, effect: Effect, margin: f64) -> String {
    let loss = shown.size_of(effect.lower_percent);
    let gain = shown.size_of(effect.upper_percent);
    let fits = match (
        effect.lower_percent <= -margin,
        effect.upper_percent >= margin,
    ) {
        (true, true) => format!("no change, a loss of {loss} % and a gain of {gain} % all fit"),
        (false, true) => format!("no change and a gain of {gain} % both fit"),
        _ => format!("no change and a loss of {loss} % both fit"),
    };
    format!(
        "{fits}. A loss beyond {loss} % or a gain beyond {gain} % does not fit at this confidence."
    )
}

/// What belongs beside a gain of load (practice.md §5.6).
const MORE_IS_NOT_BETTER: &str =
    " More load is not a better part: stiffer pieces can also be more brittle.";

/// What mass does not tell.
#[must_use]
pub fn mass_alone(member: &Member, has_tests: bool) -> &'static str {
    let is_gain = member.exposed.mean.is_some_and(|mean| mean > 0.0);
    match (is_gain, has_tests) {
        (true, _) => {
            "Salt, water or growth add mass, so a gain can hide a loss; a balance cannot tell them \
             apart."
        }
        (false, true) => "Mass does not tell strength.",
        (false, false) => "Nothing was broken: mass does not tell strength.",
    }
}

/// The pieces show no spread: only the instrument speaks (practice.md §5.11).
fn below_resolution(
    family: &Family,
    member: &Member,
    after: &str,
    verdict: Verdict,
    margin: f64,
) -> Sentence {
    let u = member.resolution_percent.unwrap_or(0.0);
    let digits = decimals(&[u], &[margin], u, 0);
    let device = match family.response {
        Response::MassChange => "balance",
        _ => "instrument",
    };
    let m = plain(margin);
    let found = member.effect.map_or(0.0, |effect| effect.estimate_percent);
    let showed = if found == 0.0 {
        "no change".to_owned()
    } else {
        format!(
            "the same change of all pieces ({} %)",
            fixed(found, digits + 1)
        )
    };
    let start = format!(
        "{after}: The {device} showed {showed}, but resolves none under {} %; with a margin of {m} % \
         this is ",
        fixed(u, digits)
    );
    let word = match verdict {
        Verdict::NotSettled => "not settled".to_owned(),
        other => other.label(margin),
    };
    Sentence::plain(start).verdict(word).and(".")
}

/// `excluded, the two lost pieces leave 4 % less; counted as zero, 36 % less`.
fn counting(judged: &Judged, special: Special) -> String {
    let Some(decides) = judged.decides else {
        return String::new();
    };
    let of = |counting: Counting| judged.countings.iter().find(|c| c.counting == counting);
    let (excluded, counted) = (of(decides.excluded), of(decides.counted));
    let (n, who, how) = match (decides.excluded, special) {
        (Counting::LostExcluded, _) => (special.lost, "lost piece", "as zero"),
        (_, s) if s.lower_bounds == 0 => {
            (s.total_losses, "piece that could not carry load", "as zero")
        }
        (_, s) if s.total_losses == 0 => (
            s.lower_bounds,
            "piece that did not fail",
            "at the load carried",
        ),
        (_, s) => {
            let n = s.total_losses + s.lower_bounds;
            (
                n,
                "piece without a plain load",
                "as zero or at the load carried",
            )
        }
    };
    let who = match who.split_once(' ') {
        Some(("piece", rest)) => format!("{} {rest}", names::noun(n, "piece")),
        _ => names::noun(n, who),
    };
    let leave = if n == 1 { "leaves" } else { "leave" };
    format!(
        "excluded, the {} {who} {leave} {}; counted {how}, {}",
        names::count(n),
        result(excluded),
        result(counted)
    )
}

fn result(counted: Option<&Counted>) -> String {
    let effect = counted.and_then(|c| c.effect);
    effect.map_or_else(
        || "no interval".to_owned(),
        |effect| {
            let shown = Shown::new(effect, None);
            format!("{} % {}", shown.size(), shown.way(ways(&Response::MaxLoad)))
        },
    )
}
