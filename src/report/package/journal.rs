//! The journal as a table: every entry's header, and salt and body where the world may read them. What is
//! private or still blind has the hash of its body alone, so that the chain can be followed either way.

use super::Source;
use super::table::{Cell, Field, Kind, Table, field, text};
use crate::study::entry::ChainLine;

/// Kinds whose body may be public when it names nothing that is still hidden. Whatever is not here keeps
/// its body back: accounts, links, drafts of the plan, and kinds that are newer than this list.
const OPEN: [&str; 39] = [
    "study_started",
    "made_public",
    "made_private",
    "sealed",
    "amended",
    "instrument_added",
    "instrument_checked",
    "specimens_made",
    "specimen_rejected",
    "reading_taken",
    "reading_corrected",
    "voided",
    "drying_weighed",
    "drying_overridden",
    "series_added",
    "allocation_drawn",
    "grouping_reported",
    "waived",
    "put_out",
    "handled",
    "incident",
    "taken_in",
    "nameless_found",
    "consigned",
    "parcel_moved",
    "arrived",
    "session_set",
    "break_tested",
    "break_test_corrected",
    "curve_kept",
    "guessed",
    "finished",
    "reopened",
    "unblinded",
    "edition_published",
    "witness_noted",
    "figure_cited",
    "parcel_sealed",
    "receipt_noted",
];

/// Kinds about one photograph: public with it.
const PHOTOGRAPHS: &str = "photograph_";

fn is_open(source: &Source<'_>, line: &ChainLine) -> bool {
    let is_kind = OPEN.contains(&line.kind.as_str());
    let is_shown = line.kind.starts_with(PHOTOGRAPHS)
        && source.record.public_photographs().any(|photo| {
            let id = photo.entry.to_string();
            id == line.id || line.body.contains(&id)
        });
    // Where a weather archive was asked for is said to the steward to stay in the journal.
    let is_place = line.kind == "series_added" && line.body.contains("\"latitude\"");
    (is_kind || is_shown) && !is_place && !source.hidden.is_named_in(&line.body)
}

fn fields() -> Vec<Field> {
    vec![
        text("chain", "the chain: the study's id"),
        field("seq", Kind::Whole, "", "place in the chain, from 1"),
        text("entry", "the entry's id, given by the device"),
        text("kind", "what was recorded"),
        text("version", "version of its kind"),
        text("actor", "who: a kind and a number, never a name"),
        text("device", "on what device"),
        text("device_seq", "the device's own running number"),
        text("taken_at", "when, by the device's clock"),
        text("received_at", "when the server received it"),
        text("time_zone", "time zone of the device"),
        text("salt", "salt of the body, hexadecimal"),
        text("body", "the body, byte for byte as it was hashed (UTF-8)"),
        text("content_sha256", "SHA-256 of salt and body"),
        text(
            "hash",
            "SHA-256 of the hash before it, of each member from chain to time_zone with its length before \
             it (eight bytes, largest first), and of content_sha256; before the first stands the SHA-256 \
             of the line \u{201c}overwinter journal 1\u{201d}, a line feed and the chain",
        ),
    ]
}

/// The table.
pub(super) fn journal(source: &Source<'_>) -> Table {
    let title = "The journal, with what is private left as a hash";
    let mut table = Table::new("journal", title, fields());
    table.key = vec!["seq"];
    table.missing = vec![("", "private, or about pieces whose results are not in")];
    table.is_for_spreadsheet = false;
    for line in &source.extra.journal {
        let is_open = is_open(source, line);
        let own = |text: &str| Cell::Text(text.to_owned());
        let open = |text: &str| {
            if is_open {
                own(text)
            } else {
                Cell::Missing("")
            }
        };
        table.rows.push(vec![
            own(&line.chain),
            Cell::count(line.seq),
            own(&line.id),
            own(&line.kind),
            own(&line.version),
            own(&line.actor),
            own(&line.device),
            own(&line.device_seq),
            own(&line.taken_at),
            own(&line.received_at),
            own(&line.time_zone),
            open(&line.salt),
            open(&line.body),
            own(&line.content_sha256),
            own(&line.hash),
        ]);
    }
    table
}
