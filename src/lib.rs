//! Overwinter from outside: what each room is for, in reading order.
#![forbid(unsafe_code)]

/// The only caller of "now" and of the random source.
pub mod clock;
/// The command line, one file per command.
pub mod commands;
/// Settings: flags and environment in one struct.
pub mod config;
/// The outermost error of a command.
pub mod error;
/// Geometry, moisture, colour, exposure: curves and dimensions in, numbers with units out. Pure.
pub mod mechanics;
/// Distributions, intervals, comparisons, power. Pure; knows no study.
pub mod stats;
/// SQLite: the only room with SQL.
pub mod store;
/// The study itself: plain types and rules, no I/O.
pub mod study;
/// HTTP: routes, guards, pages, forms.
pub mod web;
