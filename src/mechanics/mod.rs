//! Curves, geometry, colour, water and weather: numbers with units in, numbers with units out.
//!
//! Pure, like `stats`; nothing here knows a study.

pub mod colour;
pub mod exposure;
pub mod moisture;
