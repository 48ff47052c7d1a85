//! The steward's face: coming and going, one's own account, the desk of a study. One file per page,
//! named as its template; the private files are parts of pages.

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
pub(super) mod entry_void;
pub(super) mod exposure_handle;
pub(super) mod exposure_in;
pub(super) mod exposure_incident;
pub(super) mod exposure_nameless;
pub(super) mod exposure_out;
pub(super) mod exposure_show;
pub(super) mod exposure_waive;
pub(super) mod first_run;
pub(super) mod instrument_list;
pub(super) mod journal_list;
pub(super) mod link_save;
pub(super) mod parcel_save;
pub(super) mod password_update;
pub(super) mod reading_correct;
pub(super) mod round;
pub(super) mod session_end;
pub(super) mod sign_in;
pub(super) mod specimen_list;
pub(super) mod specimen_new;
pub(super) mod specimen_print;
pub(super) mod specimen_reject;
pub(super) mod specimen_show;

mod exposure_in_list;
mod exposure_when;
mod pick;
mod piece_words;
mod round_choose;
mod round_parse;
mod specimen_history;
