//! `overwinter verify`: proves the journal's chains and the tables made from it.

use std::io::Read;
use std::path::PathBuf;

use crate::config::Folder;
use crate::error::Failure;
use crate::store::verify::{Report, Witness, verify};
use crate::store::{DATABASE_FILE, Hold, Store};

/// Most bytes of a file with lines noted elsewhere.
const MOST_BYTES: u64 = 64 << 20;

/// Check the journal's hash chains, its files, and every table against a replay of the journal.
///
/// A chain proves that nothing inside it was changed. That its end was cut off, or that all of it was
/// written anew, can only be found against a head noted elsewhere: give a seal line, a tester's
/// receipt or a saved edition with --against.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    #[command(flatten)]
    folder: Folder,
    /// A file with lines noted elsewhere (seal line, receipt, edition); may be given repeatedly
    #[arg(long, value_name = "FILE")]
    against: Vec<PathBuf>,
    /// First build the tables anew from the journal; no server may be running
    #[arg(long)]
    rebuild: bool,
}

/// Verifies, says what was found, and fails when something is wrong.
pub(super) async fn run(args: Args) -> Result<(), Failure> {
    let database = args.folder.path.join(DATABASE_FILE);
    if args.rebuild {
        let store = Store::open(&args.folder.path, Hold::Alone).await?;
        let entries = store.rebuild().await?;
        store.close().await?;
        println!("The tables were built anew from {entries} entries.");
    } else {
        // Says clearly when there is no database, or one of another version.
        Store::open(&args.folder.path, Hold::Beside)
            .await?
            .close()
            .await?;
    }
    let mut witnesses = Vec::new();
    for file in &args.against {
        witnesses.extend(noted_in(file)?);
    }
    let report = verify(&database, &witnesses).await?;
    say(&report);
    if report.faults.is_empty() {
        Ok(())
    } else {
        Err("the journal does not verify".into())
    }
}

fn noted_in(file: &PathBuf) -> Result<Vec<Witness>, Failure> {
    let cannot = |cause: std::io::Error| format!("{} cannot be read: {cause}", file.display());
    let mut bytes = Vec::new();
    let opened = std::fs::File::open(file).map_err(cannot)?;
    opened
        .take(MOST_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(cannot)?;
    if bytes.len() as u64 > MOST_BYTES {
        let most = MOST_BYTES >> 20;
        return Err(format!(
            "{} is larger than {most} MB; copy the lines out of it",
            file.display()
        )
        .into());
    }
    let found = Witness::find_all(&String::from_utf8_lossy(&bytes));
    if found.is_empty() {
        let what = "holds no line such as `overwinter journal … entry … sha256 …`";
        return Err(format!("{} {what}", file.display()).into());
    }
    Ok(found)
}

fn say(report: &Report) {
    println!(
        "{} entries in {} chains, {} files, {} tables compared with a replay.",
        report.entries, report.chains, report.files, report.tables
    );
    match report.witnesses {
        0 => println!(
            "No head noted elsewhere was given: that the end of a chain was cut off, or all of it \
             written anew, cannot be seen. Give a seal line, a receipt or an edition with --against."
        ),
        count => println!("{count} heads noted elsewhere were looked up."),
    }
    for fault in &report.faults {
        println!("WRONG: {fault}");
    }
    if report.faults.is_empty() {
        println!("Everything fits.");
    }
}
