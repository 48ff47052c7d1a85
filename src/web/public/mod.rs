//! The reader's face: what everybody may see.

pub(super) mod edition_show;
pub(super) mod feed_show;
pub(super) mod home;
pub(super) mod photograph_show;
pub(super) mod plan_file;
pub(super) mod scan;
pub(super) mod study_show;
