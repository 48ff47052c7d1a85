//! Statistics: pure functions from numbers to numbers, which know nothing of studies.
//!
//! Read in this order: [`refusal`] (why there may be no number), [`sample`] (values checked once),
//! [`describe`], [`two_sample`], then [`many_to_one`] and [`many_ratio`], from which verdicts come;
//! [`dist`] and [`numeric`] are the machinery below.
//!
//! Conventions. Input is checked, output is never NaN: a method that cannot stand behind a number
//! returns a [`refusal::Refusal`]. Confidence is a fraction (0.95), shares and ratios are fractions
//! too. "Control" in this room means the group all others are compared with; which pieces those
//! are, the caller decides. Everything random takes a seed.

pub mod anova;
pub mod bootstrap;
pub mod covariate;
pub mod describe;
pub mod design;
pub mod dist;
pub mod effect;
pub mod equivalence;
pub mod family;
pub mod homogeneity;
pub mod interval;
pub mod many_ratio;
pub mod many_to_one;
pub mod mixed;
pub mod multiplicity;
pub mod nested;
pub mod nonlinear;
pub mod normality;
pub mod numeric;
pub mod outcome;
pub mod outlier;
pub mod paired;
pub mod pairwise;
pub mod permutation;
pub mod power;
pub mod rank;
pub mod ratio;
pub mod refusal;
pub mod regression;
pub mod rng;
pub mod sample;
pub mod shift;
pub mod tolerance;
pub mod trend;
pub mod two_sample;
pub mod weibull;
