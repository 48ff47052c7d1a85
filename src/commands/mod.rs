//! The command line: one file per command, each a struct of its arguments and one function.

mod account;
#[doc(hidden)]
pub mod analyse;
mod backup;
pub mod demo;
mod export;
mod health;
pub mod memory;
mod plan;
mod restore;
pub mod serve;
mod verify;

use crate::error::Failure;
use clap::{Parser, Subcommand};

/// Overwinter carries shared specimen studies from the first question to the public page.
///
/// Every setting is a flag or an environment variable; `overwinter COMMAND --help` lists those of a
/// command. The database is one file in the data folder.
#[derive(Debug, Parser)]
#[command(
    name = "overwinter",
    version,
    max_term_width = 100,
    disable_help_subcommand = true
)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run the server
    Serve(serve::Args),
    Analyse(Box<analyse::Args>),
    Plan(plan::Args),
    /// Fill a folder with invented studies and serve them
    Demo(demo::command::Args),
    /// List, add, reset or close accounts; a server may be running
    #[command(subcommand)]
    Account(account::Args),
    /// Make a consistent copy of the database; a server may be running
    Backup(backup::Args),
    /// Put a backup in place of the database; no server may be running
    Restore(restore::Args),
    /// Write a published edition as plain files for any web server; a server may be running
    Export(export::Args),
    /// Prove the journal's chains and the tables made from it; a server may be running
    Verify(verify::Args),
    /// Ask a running server whether it is well; fails when it is not
    Health(health::Args),
}

/// Does what the command line asks.
///
/// # Errors
/// One line that says what was not done and why.
pub async fn run(cli: Cli) -> Result<(), Failure> {
    match cli.command {
        Command::Serve(args) => serve::run(args).await,
        Command::Analyse(args) => analyse::run(*args),
        Command::Plan(args) => plan::run(args),
        Command::Demo(args) => demo::command::run(args).await,
        Command::Account(args) => account::run(args).await,
        Command::Backup(args) => backup::run(args).await,
        Command::Restore(args) => restore::run(args).await,
        Command::Export(args) => export::run(args).await,
        Command::Verify(args) => verify::run(args).await,
        Command::Health(args) => health::run(args).await,
    }
}
