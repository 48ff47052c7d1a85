//! The analysis against published examples, its sentences, and the laws that it must obey.

pub(crate) mod build;
mod circumstances;
mod counting;
mod laws;
mod published;
mod sentences;
mod visible;
