//! Overwinter from outside: what each room is for, in reading order.
#![forbid(unsafe_code)]

pub mod analysis;
pub mod mechanics;
pub mod report;
pub mod stats;
pub mod study;
