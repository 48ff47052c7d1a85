//! The interface for programs, below `/api/`: what a token opens, entries in, published editions out. Who may
//! reach what stands in `routes/machine.rs`; how a token is judged in `token`; what it looks like to a
//! program in `description`, which is served and held to the running server by a test. What belongs to a
//! tester's token alone is in the lab's folder, which knows what a tester may know.

pub(super) mod description;
pub(super) mod edition_list;
pub(super) mod entry_file;
pub(super) mod entry_fill;
pub(super) mod entry_send;
pub(super) mod guide_show;
mod operations;
pub(super) mod piece_list;
mod schemas;
mod schemas_lab;
pub(super) mod token_show;

use serde_json::Value;

/// Puts a member into an object.
pub(in crate::web) fn put(object: &mut Value, name: &str, member: Value) {
    if let Some(members) = object.as_object_mut() {
        members.insert(name.to_owned(), member);
    }
}
