//! The analysis against published examples, its sentences, and the laws that it must obey.

mod beside;
pub(crate) mod build;
mod circumstances;
mod counting;
mod laws;
mod published;
mod sentences;
mod sentences_of_mass;
mod stages;
mod visible;
