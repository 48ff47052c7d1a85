//! The questions that pages ask, one file per noun. Nothing here writes.

pub mod account;
mod chain;
mod curve;
pub mod edition;
pub mod entry;
pub mod record;
mod record_custody;
mod record_drying;
mod record_lab;
mod record_literature;
mod record_photographs;
mod record_pieces;
mod record_series;

pub use record::{StudyDoor, StudyLine};
pub use record_lab::LinkTarget;
