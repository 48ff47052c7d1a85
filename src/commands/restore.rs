//! `overwinter restore`: puts a backup in place of the database.

use crate::config::Folder;
use crate::error::Failure;
use crate::store::backup::{self, BackupError, Existing, Restored};
use std::path::PathBuf;

/// Put a backup in place of the database; no server may be running.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    #[command(flatten)]
    folder: Folder,
    /// The backup to put in place
    copy: PathBuf,
    /// Do so although there is a database; that one is kept beside it under another name
    #[arg(long)]
    overwrite: bool,
}

/// Puts it in place and says what became of the old one.
pub(super) async fn run(args: Args) -> Result<(), Failure> {
    let existing = if args.overwrite {
        Existing::SetAside
    } else {
        Existing::Refuse
    };
    match backup::restore(&args.folder.path, &args.copy, existing).await {
        Ok(restored) => {
            println!(
                "{} is restored to {}.",
                args.copy.display(),
                args.folder.path.display()
            );
            if let Restored::KeptOldAs(old) = restored {
                println!("The database that was there is kept as {}.", old.display());
            }
            Ok(())
        }
        Err(BackupError::TargetExists(path)) => Err(format!(
            "there is a database at {}; with --overwrite it is set aside and replaced",
            path.display()
        )
        .into()),
        Err(other) => Err(other.into()),
    }
}
