//! The commands. Parses the command line, calls one function, maps its error to an exit code: 1, or 3 where what was read is wrong (2 is clap's,
//! for a wrong command line).
#![forbid(unsafe_code)]

use clap::Parser;
use overwinter::commands::{self, Cli};
use std::process::ExitCode;

fn main() -> ExitCode {
    commands::memory::settle();
    start()
}

#[tokio::main]
async fn start() -> ExitCode {
    match commands::run(Cli::parse()).await {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("overwinter: {failure}");
            ExitCode::from(failure.code())
        }
    }
}
