//! The JSON door: entries sent by a phone's queue, a script or a lab's machine.

pub(super) mod entry_save;
