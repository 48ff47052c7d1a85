//! `overwinter analyse data.zip`: an edition's archive computed anew from its own tables, and compared with
//! its own findings, member by member.

use std::io::{Cursor, Read};

use serde::Deserialize;
use serde_json::Value;
use sha2::{Digest, Sha256};
use zip::ZipArchive;

use super::compare::{Compared, compare};
use crate::analysis::analyse_dataset_in_full;
use crate::analysis::context::Context;
use crate::analysis::findings::{FORMAT, Findings};
use crate::analysis::gather::Apart;
use crate::analysis::names::counted;
use crate::analysis::piece::Piece;
use crate::analysis::words::verdict::MarginSet;
use crate::clock::hex;
use crate::error::Failure;
use crate::report::download;
use crate::study::plan::{Plan, sha256_hex};
use crate::study::specimen::Identity;
use crate::tidy::wishes::{Request, Wishes};
use crate::tidy::{self, raw};
use crate::unpack;

/// Most bytes of an unpacked file that is read: findings of some four thousand pieces. Read, a table takes up to
/// sixteen times as much.
const MOST_BYTES: u64 = 6 << 20;
/// Most bytes that all files together are unpacked to, to be held against their hashes.
const MOST_HASHED: u64 = 2 << 30;
/// Most files in it.
const MOST_FILES: usize = 20_000;

/// Recomputes and compares; what is found, in words.
///
/// # Errors
/// Data that cannot be read (3), or a difference (4).
pub fn check(name: &str, bytes: Vec<u8>) -> Result<String, Failure> {
    let wrong = |told: String| Failure::wrong_data(format!("{name}: {told}"));
    let mut archive = Archive::open(bytes).map_err(wrong)?;
    let damaged = archive.damaged().map_err(wrong)?;
    let published = archive.read("findings.json").map_err(wrong)?;
    let published: Value = serde_json::from_slice(&published)
        .map_err(|cause| wrong(format!("findings.json: {cause}")))?;
    let again = recomputed(&mut archive, &published).map_err(wrong)?;
    let mut compared = compared(&published, &again.findings)?;
    let table = archive.read("data/comparisons.csv").map_err(wrong)?;
    let ours = download::comparisons(&again.plan, &again.findings)?;
    compared.note("data/comparisons.csv", table == ours || compared.is_near());
    // What was changed comes first, what follows from it below.
    compared
        .differs
        .sort_by_key(|told| !told.starts_with("/specimens/"));
    let other = "its bytes are not those that datapackage.json names";
    let damaged = damaged.iter().map(|path| format!("{path}: {other}"));
    compared.differs.splice(0..0, damaged);
    told(name, &again, &compared)
}

fn told(name: &str, again: &Again, compared: &Compared) -> Result<String, Failure> {
    let of = counted(again.findings.specimens.len(), "piece");
    let what = format!("{} numbers and words of {of}", compared.members);
    if !compared.differs.is_empty() {
        let count = counted(compared.differs.len(), "difference");
        let shown: Vec<&str> = compared
            .differs
            .iter()
            .take(60)
            .map(String::as_str)
            .collect();
        let lines = shown.join("\n  ");
        return Err(Failure::differs(format!(
            "{name}: {what} compared; {count}:\n  {lines}"
        )));
    }
    let words = if compared.is_near() {
        "the same to nine digits (another kind of machine rounds otherwise)"
    } else {
        "identical"
    };
    Ok(format!(
        "{name}: the findings computed anew are {words}: {what} compared.\nNot in the tables and so not compared: \
         {}.\n",
        again.not_compared.join("; ")
    ))
}

/// What the tables give.
struct Again {
    plan: Plan,
    findings: Findings,
    not_compared: Vec<&'static str>,
}

fn recomputed(archive: &mut Archive, published: &Value) -> Result<Again, String> {
    let told = Findings::deserialize(published).map_err(|cause| {
        let format = published.get("format").unwrap_or(&Value::Null);
        format!("findings.json (format {format}, this program's is {FORMAT}): {cause}")
    })?;
    let plan = archive.plan(&told.study.plan_sha256)?;
    let request = Request {
        plan: Some(plan),
        wishes: Wishes {
            title: Some(told.study.title.clone()),
            stages_in: Some(told.standing.stages_in.clone()),
            ..Wishes::default()
        },
        stem: told.study.slug.clone(),
    };
    let table = archive.read("data/specimens.csv")?;
    let mut tidy = tidy::read(&table, &request)
        .map_err(|problems| format!("data/specimens.csv:\n{problems}"))?;
    let mut not_compared = vec!["notes that speak of the journal"];
    if archive.has("data/readings.csv") {
        let readings = archive.read("data/readings.csv")?;
        let instruments = archive.read("data/instruments.csv")?;
        let mut measured = raw::measured(&tidy.plan, &readings, &instruments)?;
        // Nobody knows which piece one without a mark is, so what was read of it is no pair.
        let is_known =
            |piece: &&mut Piece| !piece.is_nameless && piece.identity != Some(Identity::Unknown);
        for piece in tidy.pieces.iter_mut().filter(is_known) {
            piece.pairs = measured.remove(piece.code.as_str()).unwrap_or_default();
        }
    }
    let mut set = tidy.dataset();
    set.apart = Apart {
        rejected: told.accounting.rejected,
        spares: told.accounting.spares,
        unallocated: told.accounting.unallocated,
    };
    not_compared.push("how many pieces never belonged to a set, or are still out");
    not_compared.push("the test sessions");
    let mut context = tidy.context();
    context.provenance = told.study.clone();
    context.sessions = told.sessions.clone();
    if told.study.file_sha256.is_none() {
        context.has_tests = !told.sessions.is_empty();
    }
    let findings = with_margin(&set, context, &told);
    drop(set);
    Ok(Again {
        plan: tidy.plan,
        findings,
        not_compared,
    })
}

/// When the margin was set is known from the journal alone; the words that say so are those of the
/// findings, or none of those that there are.
fn with_margin(
    set: &crate::analysis::gather::Dataset<'_>,
    mut context: Context,
    told: &Findings,
) -> Findings {
    let mut findings = analyse_dataset_in_full(set, &context);
    let mut best = alike(&findings, told);
    for margin in [
        MarginSet::Beforehand,
        MarginSet::AfterOuting,
        MarginSet::KnowingBaseline,
        MarginSet::KnowingResults,
        MarginSet::NotSealed,
    ] {
        if findings.answer == told.answer {
            break;
        }
        context.margin = margin;
        let again = crate::analysis::analyse_dataset(set, &context);
        let here = alike(&again, told);
        if here > best {
            best = here;
            findings.answer = again.answer;
            findings.secondary_words = again.secondary_words;
        }
    }
    findings
}

/// How many words of the answers are the same at the same place.
fn alike(findings: &Findings, told: &Findings) -> usize {
    let both = findings.answer.iter().zip(&told.answer);
    let same = both.map(|(here, there)| {
        let (here, there) = (here.to_string(), there.to_string());
        let words = here
            .split_whitespace()
            .rev()
            .zip(there.split_whitespace().rev());
        words.filter(|(a, b)| a == b).count()
    });
    same.sum()
}

/// Compares, leaving out what tables do not hold.
fn compared(published: &Value, again: &Findings) -> Result<Compared, Failure> {
    let mut there = published.clone();
    let mut here = serde_json::to_value(again)?;
    for value in [&mut there, &mut here] {
        if let Some(members) = value.as_object_mut() {
            members.remove("notes");
            members.remove("sessions");
        }
    }
    // An edition may leave out what takes a second to compute.
    for key in ["rule", "rule_found"] {
        if there.get(key).is_none_or(Value::is_null)
            && let Some(found) = here.get_mut(key)
        {
            *found = Value::Null;
        }
    }
    still_out(&there, &mut here);
    Ok(compare(&there, &here))
}

/// Sets with pieces that are still out: tables have none of them, the findings their number.
fn still_out(there: &Value, here: &mut Value) {
    let path = "/accounting/cells";
    let (Some(Value::Array(told)), Some(Value::Array(found))) =
        (there.pointer(path), here.pointer_mut(path))
    else {
        return;
    };
    let mut made = 0;
    for (told, found) in told.iter().zip(found) {
        if told.get("closed").and_then(Value::as_u64) != Some(0) {
            made += 1;
            for key in ["allocated", "put_out", "closed"] {
                overwrite(found, told, &format!("/{key}"));
            }
        }
    }
    if made > 0 {
        overwrite(here, there, "/accounting/made");
    }
}

/// What one document says at a place is what the other says there.
fn overwrite(document: &mut Value, other: &Value, place: &str) {
    if let (Some(own), Some(theirs)) = (document.pointer_mut(place), other.pointer(place)) {
        own.clone_from(theirs);
    }
}

/// The files of an archive.
struct Archive {
    zip: ZipArchive<Cursor<Vec<u8>>>,
}

impl Archive {
    fn open(bytes: Vec<u8>) -> Result<Self, String> {
        let zip = unpack::open(bytes, MOST_FILES);
        Ok(Self {
            zip: zip.map_err(|cause| format!("it cannot be opened: {cause}"))?,
        })
    }

    fn has(&self, path: &str) -> bool {
        self.names().iter().any(|name| name == path)
    }

    /// Names that can be read.
    fn names(&self) -> Vec<String> {
        let names = self.zip.file_names().flatten();
        names.map(|name| name.into_owned()).collect()
    }

    fn read(&mut self, path: &str) -> Result<Vec<u8>, String> {
        let file = self.zip.by_name(path);
        let file = file.map_err(|cause| format!("{path} cannot be read: {cause}"))?;
        let mut bytes = Vec::new();
        let read = file.take(MOST_BYTES + 1).read_to_end(&mut bytes);
        read.map_err(|cause| format!("{path} cannot be read: {cause}"))?;
        if bytes.len() as u64 > MOST_BYTES {
            return Err(format!(
                "{path} is larger than {} MB unpacked",
                MOST_BYTES >> 20
            ));
        }
        Ok(bytes)
    }

    /// The hash of a file, which is unpacked piece by piece; `left` is what may still be unpacked.
    fn hash(&mut self, path: &str, left: &mut u64) -> Result<String, String> {
        let file = self.zip.by_name(path);
        let mut file = file.map_err(|cause| format!("{path} cannot be read: {cause}"))?;
        let mut digest = Sha256::new();
        let mut part = [0_u8; 1 << 14];
        loop {
            let read = file.read(&mut part);
            let read = read.map_err(|cause| format!("{path} cannot be read: {cause}"))?;
            if read == 0 {
                return Ok(format!("sha256:{}", hex(&digest.finalize())));
            }
            *left = left.saturating_sub(read as u64);
            if *left == 0 {
                return Err(format!("it unpacks to more than {} GB", MOST_HASHED >> 30));
            }
            digest.update(part.get(..read).unwrap_or_default());
        }
    }

    /// The plan with a hash.
    fn plan(&mut self, sha256: &str) -> Result<Plan, String> {
        let names = self.names();
        let is_plan = |name: &&String| name.starts_with("plan") && name.ends_with(".json");
        for name in names.iter().filter(is_plan) {
            let bytes = self.read(name)?;
            if sha256_hex(&bytes) == sha256 {
                return serde_json::from_slice(&bytes).map_err(|cause| format!("{name}: {cause}"));
            }
        }
        Err("no plan in it has the hash that findings.json names".to_owned())
    }

    /// Files that are not there or have other bytes than the descriptor says.
    fn damaged(&mut self) -> Result<Vec<String>, String> {
        let bytes = self.read("datapackage.json")?;
        let package: Value =
            serde_json::from_slice(&bytes).map_err(|cause| format!("datapackage.json: {cause}"))?;
        let resources = package.get("resources").and_then(Value::as_array);
        let (mut damaged, mut left) = (Vec::new(), MOST_HASHED);
        for resource in resources.into_iter().flatten() {
            let text = |key: &str| resource.get(key).and_then(Value::as_str);
            let path = text("path").unwrap_or_default();
            let hash = text("hash").unwrap_or_default();
            let found = self.hash(path, &mut left);
            if left == 0 {
                return Err(found.err().unwrap_or_default());
            }
            if found.as_deref() != Ok(hash) {
                damaged.push(path.to_owned());
            }
        }
        Ok(damaged)
    }
}
