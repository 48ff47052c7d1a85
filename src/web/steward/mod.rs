//! The steward's face: coming and going, one's own account. One file per page, named as its
//! template.

pub(super) mod account_show;
pub(super) mod allocation_draw;
pub(super) mod allocation_show;
pub(super) mod first_run;
pub(super) mod journal_list;
pub(super) mod password_update;
pub(super) mod plan_edit;
mod plan_page;
pub(super) mod publicity_update;
pub(super) mod seal_save;
pub(super) mod seal_show;
pub(super) mod session_end;
pub(super) mod sign_in;
pub(super) mod steward_list;
pub(super) mod study_list;
pub(super) mod study_new;
pub(super) mod study_show;
