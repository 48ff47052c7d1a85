//! What devices need besides pages: the door for queued entries, what a device says of its queue, the
//! service worker and what it keeps for the time without a network.

mod entry_asked;
pub(super) mod entry_save;
pub(super) mod entry_set_aside;
mod entry_typed;
pub(super) mod greeting_save;
mod nameless;
pub(super) mod page_list;
pub(super) mod photograph_save;
pub(super) mod worker;
