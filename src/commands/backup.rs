//! `overwinter backup`: a consistent copy, while a server runs or not.

use crate::clock::Clock;
use crate::config::Folder;
use crate::error::Failure;
use crate::store::backup;
use std::path::PathBuf;

/// Make a consistent copy of the database; a server may be running.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    #[command(flatten)]
    folder: Folder,
    /// The file to write, which must not exist yet, or a folder to write a dated one into
    target: PathBuf,
}

/// Makes the copy and says where it is.
pub(super) async fn run(args: Args) -> Result<(), Failure> {
    let target = match args.target.is_dir() {
        true => args.target.join(dated_name()),
        false => args.target,
    };
    backup::backup(&args.folder.path, &target).await?;
    let bytes = std::fs::metadata(&target)?.len();
    println!(
        "The database is copied to {} ({bytes} bytes).",
        target.display()
    );
    Ok(())
}

fn dated_name() -> String {
    format!(
        "overwinter-{}.db",
        Clock::system().now().format("%Y-%m-%d-%H%M%S")
    )
}
