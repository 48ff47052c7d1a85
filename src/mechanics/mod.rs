//! Curves, geometry, colour, water and weather: numbers with units in, numbers with units out.
//!
//! Pure, like `stats`; nothing here knows a study. A machine's file becomes curves
//! ([`machine_file`]), a curve its landmarks ([`curve`], [`evaluate`]), landmarks and a section
//! properties ([`tension`], [`flexure`]), each with its [`uncertainty`].

pub mod colour;
pub mod curve;
pub mod evaluate;
pub mod exposure;
pub mod flexure;
pub mod impact;
pub mod machine_file;
pub mod modulus;
pub mod moisture;
pub mod pull_off;
pub mod section;
pub mod tension;
pub mod uncertainty;
