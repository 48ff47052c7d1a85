//! `overwinter export`: a published edition as plain files, for any web server or content network.

use crate::config::Folder;
use crate::error::Failure;
use crate::report::export::{self, Listed};
use crate::report::feed;
use crate::store::read::edition::EditionFound;
use crate::store::{Hold, Store};
use std::fs;
use std::path::{Path, PathBuf};

/// Write a published edition as plain files; a server may be running.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    #[command(flatten)]
    folder: Folder,
    /// The study's address and the edition's number, as in `fleece-pegs/2`; without a number the latest
    edition: String,
    /// The folder to write into; it is made when it is not there. Editions may be written beside each
    /// other; a file that is there with other bytes is left alone and the export refused
    dir: PathBuf,
}

/// Writes the files and says where they are.
pub(super) async fn run(args: Args) -> Result<(), Failure> {
    let (slug, number) = match args.edition.split_once('/') {
        None => (args.edition.as_str(), None),
        Some((slug, number)) => (slug, Some(number.trim_end_matches('/').parse::<u32>()?)),
    };
    let store = Store::open(&args.folder.path, Hold::Beside).await?;
    let record = store.study_record(slug).await?;
    let record = record.ok_or_else(|| format!("there is no study “{slug}”"))?;
    let is_there = |edition: &&crate::study::record::EditionRecord| match number {
        Some(number) => edition.number == number,
        None => edition.withdrawn.is_none(),
    };
    let edition = record.editions.iter().rev().find(is_there);
    let edition = edition.ok_or_else(|| format!("“{slug}” has no such edition"))?;
    if let Some(reason) = &edition.withdrawn {
        return Err(format!("edition {} was withdrawn: {reason}", edition.number).into());
    }
    let study = args.dir.join("studies").join(slug);
    let target = study.join("editions").join(edition.number.to_string());
    let files = edition_files(&store, slug, edition.number).await?;
    // All are looked at before the first is written.
    for (path, bytes) in &files {
        let file = target.join(path);
        if fs::read(&file).is_ok_and(|there| there != *bytes) {
            return Err(format!("{} is there already, with other bytes", file.display()).into());
        }
    }
    fs::create_dir_all(&target)?;
    for (path, bytes) in &files {
        fs::write(target.join(path), bytes)?;
    }
    let written = |number: u32| study.join("editions").join(number.to_string()).is_dir();
    let beside = record.editions.iter().rev();
    let beside = beside.filter(|edition| edition.withdrawn.is_none() && written(edition.number));
    let listed = beside.map(|edition| Listed::new(edition, &record.time_zone));
    let page = export::study_page(&record.title, listed.collect())?;
    write_list(&study.join("index.html"), &page)?;
    // The feed tells of what stands in the folder, by addresses that hold wherever it is put.
    let mut told = (*record).clone();
    told.editions.retain(|edition| written(edition.number));
    write_list(&study.join("feed.atom"), &feed::of_study(&told, "../..")?)?;
    println!(
        "Edition {} of {slug}: {} files in {}.",
        edition.number,
        files.len(),
        target.display()
    );
    if !record.is_public {
        println!("On this server the study is private: think before you show it.");
    }
    Ok(())
}

/// Every file of an edition with its bytes.
async fn edition_files(
    store: &Store,
    slug: &str,
    number: u32,
) -> Result<Vec<(String, Vec<u8>)>, Failure> {
    let mut files = Vec::new();
    for path in store.edition_paths(slug, number).await? {
        match store.edition_file(slug, number, &path).await? {
            EditionFound::File(file) => files.push((path, file.bytes)),
            EditionFound::Withdrawn { .. } | EditionFound::Nothing => {
                return Err(format!("the edition changed while it was read: {path}").into());
            }
        }
    }
    Ok(files)
}

/// The list of editions is ours to renew with each one that is written beside the others.
fn write_list(file: &Path, page: &str) -> Result<(), Failure> {
    let whole = file.with_extension("part");
    fs::write(&whole, page)?;
    fs::rename(&whole, file)?;
    Ok(())
}
