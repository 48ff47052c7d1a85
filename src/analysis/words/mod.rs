//! The numbers in words: the sentences of practice.md §5, never saying more than the interval does.
//!
//! [`verdict`] writes what decides, [`effect`] the change with its interval, [`none`] why there is no
//! interval, [`secondary`] all else, [`circumstance`] what the reader must know beside it, [`adjustment`] a covariate, [`beside`]
//! the assumptions and other methods, [`over_time`] the stages, [`brittle`] Weibull strength.

pub mod adjustment;
pub mod beside;
pub mod brittle;
pub mod circumstance;
pub mod effect;
pub mod none;
pub mod over_time;
pub mod secondary;
pub mod verdict;

use chrono::NaiveDate;

use crate::analysis::names;
use crate::study::plan::{Condition, EndOfTest, Plan, Response};
use crate::study::reading::MoistureState;

/// `After 365 days in the rain barrel`.
#[must_use]
pub fn after(condition: &Condition, stage_days: u32) -> String {
    let days = if stage_days == 1 { "day" } else { "days" };
    format!("After {stage_days} {days} {}", names::place(condition))
}

/// `the 6 clips`, `the one clip`.
#[must_use]
pub fn the_pieces(plan: &Plan, n: usize) -> String {
    let name = &plan.form.piece_name;
    match n {
        1 => format!("the one {name}"),
        _ => format!("the {}", names::counted(n, name)),
    }
}

/// The verb before a change of load.
#[must_use]
pub fn broke(plan: &Plan) -> &'static str {
    match plan.form.end_of_test {
        EndOfTest::Break => "broke at",
        EndOfTest::Drop | EndOfTest::Opening | EndOfTest::RigLimit => "carried",
    }
}

/// What is less or more: `load`, `strength`, `mass`, a dimension's name.
#[must_use]
pub fn quantity(response: &Response) -> &str {
    match response {
        Response::MaxLoad => "load",
        Response::Strength => "strength",
        Response::Read(property) => property.label(),
        Response::MassChange => "mass",
        Response::LengthChange(name) => name,
    }
}

/// The unit of a response's values.
#[must_use]
pub fn unit(response: &Response) -> &'static str {
    match response {
        Response::MaxLoad => "N",
        Response::Strength => "MPa",
        Response::Read(property) => property.unit(),
        Response::MassChange | Response::LengthChange(_) => "%",
    }
}

/// The state in which pieces were read.
#[must_use]
pub fn state(plan: &Plan) -> &'static str {
    match plan.reference_state {
        MoistureState::ReDried => "rinsed and dried",
        MoistureState::Conditioned => "conditioned",
        MoistureState::AsReceived => "as received",
        MoistureState::Wet => "wet",
    }
}

/// `4 March 2025`.
#[must_use]
pub fn date(day: NaiveDate) -> String {
    day.format("%-d %B %Y").to_string()
}
