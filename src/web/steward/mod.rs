//! The steward's face: coming and going, one's own account. One file per page, named as its
//! template.

pub(super) mod account_show;
pub(super) mod analysis_show;
pub(super) mod break_test_correct;
pub(super) mod consignment_list;
pub(super) mod consignment_new;
pub(super) mod consignment_print;
pub(super) mod consignment_reopen;
pub(super) mod consignment_show;
pub(super) mod consignment_unblind;
pub(super) mod edition_list;
pub(super) mod first_run;
pub(super) mod journal_list;
pub(super) mod link_save;
pub(super) mod parcel_save;
pub(super) mod password_update;
pub(super) mod session_end;
pub(super) mod sign_in;
