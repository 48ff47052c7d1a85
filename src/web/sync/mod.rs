//! The JSON doors: entries sent by a phone's queue, a script or a lab's machine, and what a device
//! says of its queue.

pub(super) mod entry_save;
pub(super) mod entry_set_aside;
pub(super) mod greeting_save;
pub(super) mod photograph_save;
