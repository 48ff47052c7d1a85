//! The table of the photographs that the steward released and the blind allows.

use super::Source;
use super::table::{Cell, Kind, Table, field, text};
use crate::report::photograph;

/// The table.
pub(super) fn photographs(source: &Source<'_>) -> Table {
    let fields = vec![
        text("entry", "the entry in the journal"),
        text("specimens", "the pieces that it shows, parted by blanks"),
        text("view", "when it was taken in the life of the piece"),
        field(
            "frame_mm",
            Kind::Number,
            "mm",
            "width of what the whole picture shows, at the piece",
        ),
        field(
            "taken_at",
            Kind::Moment,
            "",
            "by the device's clock, in UTC",
        ),
        text("edition_file", "the picture among the files of the edition"),
        text("file", "the picture in this archive"),
        text("sha256", "SHA-256 of the picture"),
    ];
    let mut table = Table::new("photographs", "Photographs that were released", fields);
    table.key = vec!["entry"];
    table.missing = vec![
        ("not_measured", "nobody measured it"),
        ("no_piece", "it shows a holder, or the study as a whole"),
        (
            "too_large",
            "the pictures would make the archive too large; they lie beside it",
        ),
    ];
    for (at, photo) in source.record.public_photographs().enumerate() {
        let shown = &photo.photograph;
        let codes: Vec<&str> = shown
            .described
            .specimens
            .iter()
            .map(|c| c.as_str())
            .collect();
        let name = photograph::large_name(at);
        let path = source.room.pictures.then(|| format!("photographs/{name}"));
        table.rows.push(vec![
            Cell::Text(photo.entry.to_string()),
            Cell::words(Some(codes.join(" ")), "no_piece"),
            Cell::Text(photo.view().key().to_owned()),
            Cell::number(shown.described.frame_mm, "not_measured"),
            Cell::Moment(photo.taken_at),
            Cell::Text(name),
            Cell::words(path, "too_large"),
            Cell::Text(shown.files.large.clone()),
        ]);
    }
    table
}
