//! The study itself: plain types and rules, no I/O.

pub mod fault;
pub mod typed;
