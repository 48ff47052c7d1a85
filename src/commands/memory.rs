//! How glibc's allocator keeps what was freed: told before anything runs, since it can be told in no other way without unsafe code.
//!
//! A password's hash takes 19 MB for some milliseconds. When such a block is freed for the first time, glibc raises the size
//! from which it asks the system for a block of its own above it, and from then on keeps those 19 MB in one of up to eight
//! arenas a core. Measured on the demo under the browser test: 76 MB resident without these settings, 33 MB with them.

use std::env;
use std::os::unix::process::CommandExt;
use std::process::Command;

/// Where glibc reads its settings; a keeper who sets it is left alone.
const VARIABLE: &str = "GLIBC_TUNABLES";

/// Blocks of 128 KiB and more go back to the system when they are freed; two arenas.
const SETTINGS: &str = "glibc.malloc.mmap_threshold=131072:glibc.malloc.arena_max=2";

/// Starts this program anew in its own place, with the same arguments and process id, when the allocator has not been told
/// yet. Comes back when it has been, and also when the program cannot be started anew: it then takes more memory and is
/// otherwise the same.
pub fn settle() {
    if !cfg!(all(target_os = "linux", target_env = "gnu")) || env::var_os(VARIABLE).is_some() {
        return;
    }
    let mut arguments = env::args_os();
    let (Ok(program), Some(name)) = (env::current_exe(), arguments.next()) else {
        return;
    };
    let failed = Command::new(program)
        .arg0(name)
        .args(arguments)
        .env(VARIABLE, SETTINGS)
        .exec();
    eprintln!("overwinter: the allocator keeps its own settings: {failed}");
}
