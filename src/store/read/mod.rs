//! The questions that pages ask, one file per noun. Nothing here writes.

pub mod account;
