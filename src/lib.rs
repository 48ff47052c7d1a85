//! Overwinter from outside: what each room is for, in reading order.
#![forbid(unsafe_code)]

/// A study's data and its plan → findings: pure.
pub mod analysis;
/// The only caller of "now" and of the random source.
pub mod clock;
/// The command line, one file per command.
pub mod commands;
/// Settings: flags and environment in one struct.
pub mod config;
/// The outermost error of a command.
pub mod error;
/// Curves, geometry, moisture, colour and exposure: pure.
pub mod mechanics;
/// The one way out: HTTP clients.
pub mod outbound;
/// A photograph's bytes → clean pictures: pure.
pub mod picture;
/// Publishing: findings → frozen files, kept by their content.
pub mod publishing;
/// Reminders: what is due, told by mail or to a webhook.
pub mod remind;
/// Findings → what people see: words in order, tables, figures, editions.
pub mod report;
/// A spreadsheet's bytes → text: pure.
pub mod sheet;
/// Statistics: pure; knows no study.
pub mod stats;
/// SQLite: the only room with SQL.
pub mod store;
/// The study itself: plain types and rules, no I/O.
pub mod study;
/// A tidy file → a data set: pure.
pub mod tidy;
/// ZIP archives that others sent, bounded before they are read: pure.
pub mod unpack;
/// Asking a weather archive, gently.
pub mod weather;
/// HTTP: routes, guards, pages, forms.
pub mod web;
