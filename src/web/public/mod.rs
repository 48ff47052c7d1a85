//! The reader's face: what everybody may see.

pub(super) mod home;
pub(super) mod plan_file;
