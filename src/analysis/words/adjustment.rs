//! What the deciding comparison was adjusted for, in words.

use crate::analysis::digits::{decimals, fixed, plain, probability, significant};
use crate::analysis::family::Family;
use crate::analysis::names;
use crate::analysis::words;
use crate::analysis::words::beside::REMARKABLE;
use crate::analysis::words::circumstance::{Note, Topic};
use crate::study::plan::{Covariate, Plan};

/// What the comparison was adjusted for, with the common slope (practice.md §3.8).
#[must_use]
pub fn adjusted(plan: &Plan, family: &Family) -> Option<Note> {
    let Some(found) = &family.adjustment else {
        let is_asked = plan.covariate != Covariate::None;
        return is_asked.then(|| {
            Note::new(
                Topic::Reach,
                "The plan names a reading to adjust its own change for; that is never done.",
            )
        });
    };
    let quantity = found.quantity.label();
    let Some(slope) = found.slope else {
        let why = found.none.as_deref().unwrap_or("no reason given");
        return Some(Note::new(
            Topic::Reach,
            format!(
                "The plan asks to adjust for {quantity} before exposure; that was not possible ({why}), so \
                 nothing is adjusted."
            ),
        ));
    };
    let of = found.quantity.si_unit().symbol();
    let unit = words::unit(&family.response);
    let half = (slope.upper - slope.lower) / 2.0;
    let digits = decimals(&[slope.lower, slope.upper], &[0.0], half / 2.0, 0);
    let [estimate, lower, upper] =
        [slope.estimate, slope.lower, slope.upper].map(|value| fixed(value, digits));
    let mut text = format!(
        "Adjusted for {quantity} before exposure, with one slope common to all sets: {estimate} {unit} for \
         each {of} ({} % interval {lower} to {upper}), compared at {} {of}. The result without the \
         adjustment stands beside.",
        plain(family.confidence_percent),
        significant(slope.at, 3),
    );
    if let Some(p) = slope.p_common.filter(|p| *p < REMARKABLE) {
        text.push_str(&format!(
            " The sets’ own slopes differ (p {}), so a common one fits them poorly.",
            probability(p, &[REMARKABLE])
        ));
    }
    match found.left_out {
        0 => {}
        1 => text.push_str(" One piece without that reading is left out."),
        n => text.push_str(&format!(
            " {} pieces without that reading are left out.",
            names::capital(&names::count(n))
        )),
    }
    Some(Note::new(Topic::Reach, text))
}
