//! The study itself: plain types and rules, no I/O, no SQL, no HTTP.
//!
//! In reading order: what is planned ([`plan`]), the pieces ([`code`], [`specimen`], [`label`], [`marks`], [`allocation`]),
//! what is measured ([`units`], [`reading`], [`break_test`], [`curve`], [`property`]) and how a round goes ([`round`],
//! [`measured`], [`plausibility`]), how it is dried ([`drying`], [`drying_advice`]), what it was like out
//! there ([`environment`]), what others published ([`literature`]), who holds them ([`custody`], [`outing`], [`consignment`], [`receipt`]), what
//! the lab works with ([`equipment`]) and what can hurt them ([`cautions`]), what has to be done next and until when ([`due`]), the journal's vocabulary
//! ([`entry`]), the rules that an entry must pass
//! ([`guard`]) and the whole study as the other rooms read it ([`record`]).

pub mod allocation;
pub mod break_test;
pub mod cautions;
mod choice;
pub mod code;
pub mod consignment;
pub mod curve;
pub mod custody;
pub mod drying;
pub mod drying_advice;
pub mod due;
pub mod edition;
pub mod entry;
pub mod environment;
pub mod equipment;
pub mod fault;
pub mod guard;
pub mod ids;
pub mod label;
pub mod licence;
pub mod literature;
pub mod marks;
pub mod measured;
pub mod opening;
pub mod outing;
pub mod photograph;
pub mod plan;
pub mod plausibility;
pub mod progress;
pub mod property;
pub mod reading;
pub mod receipt;
pub mod record;
pub mod round;
pub mod specimen;
pub mod standing;
pub mod token;
pub mod typed;
pub mod units;
pub mod when;
pub mod witness;
