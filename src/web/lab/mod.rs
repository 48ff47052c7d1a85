//! The tester's face: what one lab link opens, blind.

pub(super) mod door;
