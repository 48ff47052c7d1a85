//! Distributions. What the general library gives accurately is used from there (error function,
//! log-gamma of small arguments); what it loses in the tails is written here.
//!
//! Conventions: a lower tail is `cdf`, an upper tail `sf`; neither is ever computed as one minus
//! the other where that would cost figures. Degrees of freedom are any positive number, infinity
//! included.

pub mod beta;
pub mod equicoordinate;
pub mod gamma;
pub mod noncentral_t;
pub mod normal;
pub mod range;
pub mod scale;
pub mod student;
