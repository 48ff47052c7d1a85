//! The study itself: plain types and rules, no I/O.
