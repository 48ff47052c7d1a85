//! The commands. Parses the command line, calls one function, maps its error to an exit code.
#![forbid(unsafe_code)]

fn main() {}
