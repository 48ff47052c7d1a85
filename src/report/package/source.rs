//! What an archive's tables are made of, what of it must stay hidden, and what has room in it.

use std::collections::BTreeSet;

use super::table::{Cell, Reason};
use super::{Curve, Extra};
use crate::analysis::climate::SeriesValues;
use crate::analysis::findings::Findings;
use crate::report::hidden::Hidden;
use crate::study::code::Code;
use crate::study::ids::InstrumentId;
use crate::study::plan::Plan;
use crate::study::record::StudyRecord;

/// Everything that the tables are made of.
pub(super) struct Source<'r> {
    pub(super) record: &'r StudyRecord,
    pub(super) plan: &'r Plan,
    pub(super) findings: &'r Findings,
    pub(super) values: &'r SeriesValues,
    pub(super) extra: &'r Extra,
    /// Codes of the pieces that may be looked at.
    pub(super) told: BTreeSet<&'r str>,
    /// Codes and ids that must not occur in what is handed out.
    pub(super) hidden: Hidden,
    /// What has room beside the tables.
    pub(super) room: Room,
}

impl<'r> Source<'r> {
    pub(super) fn of(
        (record, plan): (&'r StudyRecord, &'r Plan),
        findings: &'r Findings,
        values: &'r SeriesValues,
        (extra, room): (&'r Extra, Room),
    ) -> Self {
        let told = findings.specimens.iter().map(|piece| piece.code.as_str());
        let told: BTreeSet<&str> = told.collect();
        let hidden = Hidden::of(record, &told);
        Self {
            record,
            plan,
            findings,
            values,
            extra,
            told,
            hidden,
            room,
        }
    }

    /// Words that somebody wrote; kept back when they name what is hidden.
    pub(super) fn said(&self, words: &str) -> Cell {
        match self.hidden.is_named_in(words) {
            true => Cell::Missing(NAMES_BLIND.0),
            false => Cell::words(Some(words), ""),
        }
    }

    pub(super) fn is_told(&self, code: &Code) -> bool {
        self.told.contains(code.as_str())
    }

    /// An instrument by its number.
    pub(super) fn instrument(&self, id: InstrumentId) -> Cell {
        let at = self.record.instruments.iter().position(|i| i.id == id);
        at.map_or(Cell::Missing("unknown_instrument"), |at| {
            Cell::count(at + 1)
        })
    }

    /// A holder's name by its key.
    pub(super) fn holder(&self, key: &str) -> String {
        let found = self.plan.holder(key);
        found.map_or_else(|| key.to_owned(), |(_, holder)| holder.name.clone())
    }
}

/// Stands where words would name a piece that is still blind.
pub(super) const NAMES_BLIND: Reason = (
    "names_blind",
    "the words name a piece whose results are not in; a later edition has them",
);

/// What has room in an archive beside its tables, plan and findings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Room {
    pub(super) pictures: bool,
    pub(super) machine_files: bool,
}

impl Room {
    pub(super) const ALL: Self = Self {
        pictures: true,
        machine_files: true,
    };

    /// What makes a smaller archive: pictures go first, since they lie beside it anyway.
    pub(super) fn smaller(self, extra: &Extra) -> Option<Self> {
        let has_files = extra.curves.iter().any(|curve| curve.bytes.is_some());
        if self.pictures && !extra.photographs.is_empty() {
            Some(Self {
                pictures: false,
                ..self
            })
        } else if self.machine_files && has_files {
            Some(Self {
                machine_files: false,
                ..self
            })
        } else {
            None
        }
    }
}

/// What an archive does not hold though the study has it, a sentence each.
pub(super) fn left_out(extra: &Extra, room: Room) -> Vec<String> {
    let own = |is_wanted: fn(&Curve) -> bool| {
        let files = extra.curves.iter().filter(|curve| is_wanted(curve));
        let files: BTreeSet<&str> = files.map(|c| c.kept.file_sha256.as_str()).collect();
        files.len()
    };
    let (there, blind) = (own(|c| c.bytes.is_some()), own(|c| c.bytes.is_none()));
    let mut said = Vec::new();
    if !room.pictures && !extra.photographs.is_empty() {
        said.push(
            "The photographs would make the archive too large; they are files of the edition beside it."
                .to_owned(),
        );
    }
    if !room.machine_files && there > 0 {
        said.push(format!(
            "{} would make the archive too large; the steward keeps them, and the table of curves has their \
             SHA-256.",
            counted(there, "testing machine's file", "testing machines' files"),
        ));
    }
    if blind > 0 {
        said.push(format!(
            "{} also about pieces whose results are not in; a later edition has what they hold.",
            counted(
                blind,
                "testing machine's file is",
                "testing machines' files are"
            ),
        ));
    }
    said
}

fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}
