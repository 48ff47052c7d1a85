//! Why there is no interval, in words (practice.md §5.12): also the end of a result is a result.

use crate::analysis::comparison::{Member, Why};
use crate::analysis::digits::significant;
use crate::analysis::family::{Against, Family};
use crate::analysis::names;
use crate::analysis::sentence::Sentence;
use crate::analysis::words;
use crate::study::plan::Plan;

/// The sentence for a member without an interval.
#[must_use]
pub fn sentence(plan: &Plan, family: &Family, member: &Member, after: &str) -> Sentence {
    let Some(why) = &member.none else {
        return Sentence::plain(format!("{after}: no interval."));
    };
    let quantity = words::quantity(&family.response);
    let say = |text: String| Sentence::plain(text);
    match why {
        Why::NoneFound { .. } => say(format!(
            "{after}: None found; whether lost or decayed is not known: no result."
        )),
        Why::AllTotalLoss { pieces } => total_loss(after, *pieces),
        Why::OnePiece { value } => say(format!(
            "{after}: One piece came back ({} {}): one piece gives no interval and no verdict.",
            significant(*value, 3),
            words::unit(&family.response),
        )),
        Why::NoValue => say(format!("{after}: no piece gave a value: no result.")),
        Why::NothingBefore => say(format!(
            "No {quantity} was written down before exposure, so a {quantity} change cannot be known."
        )),
        Why::NothingAfter => say(format!(
            "{after}: no {quantity} was read after exposure, so a {quantity} change cannot be known."
        )),
        Why::OtherState => say(format!(
            "{after}: {quantity} was not read in the same state before and after ({}), so a \
             {quantity} change cannot be known.",
            plan.reference_state.label()
        )),
        Why::ReferenceTooFew { values } => say(reference(family, after, *values)),
        Why::ZeroSpread => say(format!(
            "{after}: all values are equal; without spread there is no interval and no verdict."
        )),
        Why::Unbounded => unbounded(family, after),
        Why::Refused { sentence } => say(format!("{after}: no interval ({sentence}).")),
    }
}

fn total_loss(after: &str, pieces: usize) -> Sentence {
    let who = match pieces {
        1 => "The one piece could not".to_owned(),
        2 => "Neither of the two could".to_owned(),
        n => format!("None of the {} could", names::count(n)),
    };
    Sentence::plain(format!(
        "{after}: {who} carry load when taken out: counted as 0 N; "
    ))
    .verdict("total loss")
    .and(", no interval.")
}

fn reference(family: &Family, after: &str, values: usize) -> String {
    let who = match family.against {
        Against::StorageControl => "storage control",
        Against::Baseline => "baseline piece",
        Against::LateReference => "reference piece",
    };
    let few = match values {
        0 => format!("no {who} gave a value"),
        _ => format!("only one {who} gave a value"),
    };
    format!("{after}: {few}, so there is nothing to compare with and no verdict.")
}

fn unbounded(family: &Family, after: &str) -> Sentence {
    let who = match family.against {
        Against::StorageControl => "storage controls scatter",
        Against::Baseline => "baseline pieces scatter",
        Against::LateReference => "reference pieces scatter",
    };
    let because = format!("the {who} so much that the interval has no end.");
    if family.is_simultaneous {
        let start = Sentence::plain(format!("{after}: "));
        start.verdict("Not settled").and(format!(": {because}"))
    } else {
        Sentence::plain(format!("{after}: {because}"))
    }
}
