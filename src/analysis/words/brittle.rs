//! Weibull strength in words, with what a modulus from few pieces is worth.

use crate::analysis::brittle::{Brittle, LOW_SHARE};
use crate::analysis::digits::{plain, significant};
use crate::analysis::names;
use crate::analysis::over_time::Bounds;
use crate::analysis::sentence::Sentence;
use crate::analysis::words;

/// One sentence for each set, and at the end what they are worth; none without a set.
#[must_use]
pub fn brittle(all: &[Brittle]) -> Vec<Sentence> {
    let mut told: Vec<Sentence> = all.iter().map(|b| Sentence::plain(sentence(b))).collect();
    if !told.is_empty() {
        // trade.md §7.9: biased high; ten for a look, thirty to state m.
        told.push(Sentence::plain(
            "Weibull distributions by maximum likelihood, profile intervals, each set by itself. A shape \
             from few pieces comes out too high: ten pieces give a first look, thirty a number.",
        ));
    }
    told
}

fn sentence(found: &Brittle) -> String {
    let unit = words::unit(&found.response);
    let name = match found.group.stage_days() {
        Some(days) => format!("{}, {days} days", names::capital(&found.name)),
        None => names::capital(&found.name),
    };
    let low = plain(LOW_SHARE * 100.0);
    let parts = [
        found.shape.map(|b| format!("shape {}", bounds(b, ""))),
        found.scale.map(|b| {
            format!(
                "characteristic {} {}",
                words::quantity(&found.response),
                bounds(b, unit)
            )
        }),
        found
            .low
            .map(|b| format!("{low} % fail below {}", bounds(b, unit))),
        found
            .none
            .as_ref()
            .map(|why| format!("not all could be told ({why})")),
    ];
    let told: Vec<String> = parts.into_iter().flatten().collect();
    format!("{name}: {}; {}.", told.join(", "), pieces(found))
}

fn bounds(found: Bounds, unit: &str) -> String {
    let blank = if unit.is_empty() { "" } else { " " };
    let [estimate, lower, upper] =
        [found.estimate, found.lower, found.upper].map(|v| significant(v, 3));
    format!("{estimate}{blank}{unit} ({lower} to {upper}{blank}{unit})")
}

fn pieces(found: &Brittle) -> String {
    let mut told = vec![format!("{} broke", names::counted(found.failed, "piece"))];
    if found.censored > 0 {
        told.push(format!(
            "{} carried at least the load written",
            found.censored
        ));
    }
    if found.left_out > 0 {
        told.push(format!("{} that carried none left out", found.left_out));
    }
    names::listed(&told)
}
