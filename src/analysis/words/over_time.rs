//! Results over the stages in words: a rate, or none seen and what is ruled out; the time to a
//! retention. Secondary, and never a verdict word.

use crate::analysis::comparison::{Basis, Effect, Unit};
use crate::analysis::digits::{fixed, plain, probability, significant};
use crate::analysis::names;
use crate::analysis::over_time::{Bounds, Line, OverTime, TimeFinding};
use crate::analysis::sentence::Sentence;
use crate::analysis::words;
use crate::analysis::words::beside::REMARKABLE;
use crate::analysis::words::effect::{Shown, Ways};
use crate::study::plan::Plan;

/// Ways of a rate.
const WAYS: Ways = Ways {
    down: "lost",
    up: "gained",
};

/// One sentence for each finding, in their order.
#[must_use]
pub fn over_time(plan: &Plan, all: &[OverTime]) -> Vec<Sentence> {
    let one = |found: &OverTime| Sentence::plain(sentence(plan, found));
    all.iter().map(one).collect()
}

fn sentence(plan: &Plan, found: &OverTime) -> String {
    let place = if found.is_storage_control {
        "Indoors".to_owned()
    } else {
        let condition = plan.condition(&found.condition);
        names::capital(&condition.map_or_else(|| found.name.clone(), names::place))
    };
    let Some(line) = &found.line else {
        let why = found.none.as_deref().unwrap_or("too few values");
        let what = found.response.label();
        return format!("{place}: no line of {what} over the stages ({why}).");
    };
    let mut told = vec![rate(plan, found, line, &place)];
    told.extend(line.time.map(|t| time(line, t)));
    told.extend(line.p_straight.filter(|p| *p < REMARKABLE).map(|p| {
        format!(
            "The stages do not lie on a straight line (p {}): the rate is a mean over the time observed.",
            probability(p, &[REMARKABLE])
        )
    }));
    told.extend(holders(plan, found));
    told.push("Secondary, not adjusted.".to_owned());
    told.join(" ")
}

fn rate(plan: &Plan, found: &OverTime, line: &Line, place: &str) -> String {
    let quantity = words::quantity(&found.response);
    let pieces = names::plural(&plan.form.piece_name);
    let (bounds, unit, of) = match line.percent_per_year {
        Some(percent) => (percent, "%", format!(" of the {quantity} at the start")),
        None if found.response.needs_breaking() => (
            line.per_year,
            words::unit(&found.response),
            format!(" of {quantity}"),
        ),
        None => (line.per_year, "%", format!(" of {quantity}")),
    };
    let shown = shown(bounds);
    let confidence = plain(found.confidence_percent);
    let stages = stages(found);
    let interval = if unit == "%" {
        shown.bare_interval(WAYS)
    } else {
        shown.bare_interval(WAYS).replace('%', unit)
    };
    if line.is_seen {
        return format!(
            "{place} the {pieces} {} {} {unit}{of} in a year ({confidence} % interval {interval}; straight \
             line over {stages}).",
            shown.way(WAYS),
            shown.size(),
        );
    }
    let ruled_out = line
        .loss_ruled_out_per_year
        .map_or_else(String::new, |loss| {
            format!(
                ", and a loss faster than {} % a year is ruled out",
                shown.size_of(loss)
            )
        });
    format!(
        "{place} no trend of {quantity} is seen over {stages}{ruled_out} ({confidence} % interval {interval} \
         in a year)."
    )
}

fn shown(bounds: Bounds) -> Shown {
    let effect = Effect {
        basis: Basis::Difference,
        estimate_percent: bounds.estimate,
        lower_percent: bounds.lower,
        upper_percent: bounds.upper,
    };
    Shown::new(effect, None)
}

/// `the stages of 90, 180 and 365 days and the pieces broken at the start`
fn stages(found: &OverTime) -> String {
    let days: Vec<String> = found.stages.iter().map(u32::to_string).collect();
    let start = if found.has_start {
        " and the pieces broken at the start"
    } else {
        ""
    };
    format!("the stages of {} days{start}", names::listed(&days))
}

fn time(line: &Line, found: TimeFinding) -> String {
    let retention = line.retention_percent.map_or_else(String::new, plain);
    let far = if found.is_extrapolated {
        "; that lies beyond one and a half times the time observed, and no further than a straight line \
         can be trusted"
    } else {
        ""
    };
    let earliest = days(found.lower_days);
    match found.estimate_days.zip(found.upper_days) {
        Some((estimate, latest)) => format!(
            "On that line {retention} % of the start are left after {} days ({earliest} to {} days){far}.",
            days(estimate),
            days(latest)
        ),
        None => format!(
            "On such lines {retention} % of the start are not reached before day {earliest}{far}."
        ),
    }
}

fn days(value: f64) -> String {
    if value >= 100.0 {
        fixed(value, 0)
    } else {
        significant(value, 3)
    }
}

fn holders(plan: &Plan, found: &OverTime) -> Option<String> {
    let pieces = names::plural(&plan.form.piece_name);
    match (found.unit, found.holders) {
        (_, 0) => None,
        (Unit::Holders, _) => Some("The line rests on means of holders.".to_owned()),
        (_, 1) => Some(format!("This speaks of these {pieces} in this holder.")),
        _ => Some(format!(
            "The line rests on single {pieces}; differences between holders are not included."
        )),
    }
}
