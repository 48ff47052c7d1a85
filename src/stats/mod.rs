//! Statistics: pure functions from numbers to numbers, which know nothing of studies.
//!
//! Read in this order. [`refusal`] tells why there may be no number, [`sample`] checks values once and
//! sums them up, [`describe`] describes a group. The verdicts of a page come from [`family`] (who is
//! compared with whom), [`many_ratio`] (simultaneous intervals of ratios; [`many_to_one`] has the
//! differences) and [`outcome`] (what an interval says); [`design`] tells beforehand what a plan can
//! see by that very rule. Everything else stands beside them: two groups, all pairs, holders, time,
//! ranks, resampling, single samples. [`dist`] and [`numeric`] are the machinery below.
//!
//! Conventions. Input is checked, output is never NaN: a method that cannot stand behind a number
//! returns a [`refusal::Refusal`]. Confidence is a fraction (0.95), shares and ratios are fractions
//! too. "Control" in this room means the group all others are compared with; which pieces those
//! are, the caller decides. Everything random takes a seed or has a fixed one.

pub mod interval;
pub mod refusal;
pub mod sample;

pub mod describe;
pub mod two_sample;

pub mod effect;
pub mod equivalence;
pub mod paired;
pub mod ratio;

pub mod family;
pub mod many_ratio;
pub mod many_to_one;
pub mod outcome;

pub mod design;
pub mod power;

pub mod anova;
pub mod homogeneity;
pub mod multiplicity;
pub mod pairwise;

pub mod mixed;
pub mod nested;

pub mod adjusted_ratio;
pub mod covariate;
pub mod nonlinear;
pub mod regression;
pub mod trend;

pub mod bootstrap;
pub mod permutation;
pub mod rank;
pub mod rng;
pub mod shift;

pub mod normality;
pub mod outlier;
pub mod tolerance;
pub mod weibull;

pub mod dist;
pub mod numeric;
