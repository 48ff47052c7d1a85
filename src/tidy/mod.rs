//! A tidy file, one line a piece → a data set for [`crate::analysis`]. Pure: bytes go in, a data set or
//! all that is wrong with the bytes comes out; whatever the bytes are.
//!
//! In reading order: bytes to cells ([`table`]), the header ([`columns`], [`naming`], [`header`]), one line
//! ([`row`], [`further`], [`cell`]), what the caller says beside the data ([`wishes`]), the plan by which it
//! is analysed ([`design`], [`shown`]), the pieces ([`pieces`]); bringing a study over: a spreadsheet to text
//! ([`sheet`]), columns under other names ([`matching`]), rows to entries ([`bring`]); the readings of an
//! archive are in [`raw`]. What is wrong is a [`problem`]. Where the file comes from and what becomes of
//! the findings is the command's business.

pub mod bring;
pub mod cell;
pub mod columns;
pub mod design;
pub mod further;
pub mod header;
pub mod matching;
pub mod naming;
pub mod pieces;
pub mod problem;
pub mod raw;
pub mod row;
pub mod sheet;
pub mod shown;
pub mod table;
pub mod wishes;

#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};

use crate::analysis::context::Context;
use crate::analysis::findings::Provenance;
use crate::analysis::gather::{Apart, Dataset};
use crate::analysis::piece::{Fate, Group, Piece};
use crate::analysis::words;
use crate::analysis::words::circumstance::{Note, Topic};
use crate::analysis::words::verdict::MarginSet;
use crate::study::plan::{Plan, sha256_hex};
use crate::study::reading::Quantity;
use crate::tidy::columns::Fixed;
use crate::tidy::header::Columns;
use crate::tidy::problem::Problems;
use crate::tidy::row::{Role, Row};
use crate::tidy::table::Table;
use crate::tidy::wishes::{Request, Wishes};

/// A file understood.
#[derive(Debug, Clone, PartialEq)]
pub struct Tidy {
    /// The plan by which it is analysed.
    pub plan: Plan,
    /// The rows that the pieces were made of, by the names of the pieces.
    pub rows: Vec<Row>,
    /// The pieces.
    pub pieces: Vec<Piece>,
    /// Title of the report.
    pub title: String,
    /// About the file itself.
    pub about: About,
    wishes: Wishes,
    sha256: String,
    stem: String,
}

/// About the file itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct About {
    /// Lines with a piece.
    pub rows: usize,
    /// What parts the columns, in words.
    pub delimiter: &'static str,
    /// Columns that were not read.
    pub not_read: Vec<String>,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// Whether a whole plan came with it.
    pub has_whole_plan: bool,
}

/// Reads a file.
///
/// # Errors
/// Everything that is wrong with it and with the plan.
pub fn read(bytes: &[u8], request: &Request) -> Result<Tidy, Problems> {
    read_as(bytes, request, &[])
}

/// The names in a file's header, as spelt.
///
/// # Errors
/// When it is no table.
pub fn names(bytes: &[u8]) -> Result<Vec<String>, Problems> {
    let mut problems = Problems::default();
    match table::read(bytes, &mut problems) {
        Some(table) => Ok(table.header),
        None => Err(problems),
    }
}

/// Reads a file as if its columns had these names, the first of them for the first; an empty name leaves
/// the column out, and those beyond the list keep their own.
///
/// # Errors
/// As [`read`].
pub fn read_as(bytes: &[u8], request: &Request, names: &[String]) -> Result<Tidy, Problems> {
    let mut problems = Problems::default();
    let tidy = understood(bytes, request, names, &mut problems);
    match tidy {
        Some(tidy) if problems.is_empty() => Ok(tidy),
        _ => Err(problems.sorted()),
    }
}

fn understood(
    bytes: &[u8],
    request: &Request,
    names: &[String],
    problems: &mut Problems,
) -> Option<Tidy> {
    let mut table = table::read(bytes, problems)?;
    for (own, name) in table.header.iter_mut().zip(names) {
        own.clone_from(name);
    }
    let columns = Columns::of(&table, problems);
    if columns.all.iter().all(Option::is_none) {
        problems.line(
            table.header_line,
            "No column here is known; expected a header such as specimen, condition, role, stage_days, \
             max_load_n.",
        );
        return None;
    }
    require(&columns, &table, problems);
    let mut rows = row::rows(&table, &columns, problems);
    if table.lines.is_empty() {
        problems.file("There is no piece below the header; expected one line for each piece.");
    }
    place(&mut rows, &columns, request, problems);
    let plan = design::plan(&rows, &columns, request, problems)?;
    let sha256 = sha256_hex(bytes);
    Some(Tidy {
        pieces: pieces::pieces(&rows, &plan, &request.wishes),
        title: title(request),
        about: About {
            rows: rows.len(),
            delimiter: table.delimiter,
            not_read: columns.not_read.clone(),
            sha256: sha256.clone(),
            has_whole_plan: request.plan.is_some(),
        },
        plan,
        rows,
        wishes: request.wishes.clone(),
        sha256,
        stem: request.stem.clone(),
    })
}

fn title(request: &Request) -> String {
    let wished = request.wishes.title.clone();
    wished.unwrap_or_else(|| request.stem.clone())
}

/// Columns without which nothing can be said.
fn require(columns: &Columns, table: &Table, problems: &mut Problems) {
    for (fixed, name, what) in [
        (Fixed::Specimen, "specimen", "what each piece is called"),
        (Fixed::Condition, "condition", "where each piece was"),
    ] {
        if columns.fixed(fixed).is_none() {
            let told = format!("There is no column {name}; expected one with {what}.");
            problems.line(table.header_line, told);
        }
    }
}

/// Gives each row its role and stage where the file leaves them to the plan, and tells where they are
/// missing.
fn place(rows: &mut [Row], columns: &Columns, request: &Request, problems: &mut Problems) {
    let wishes = &request.wishes;
    let has_roles = columns.fixed(Fixed::Role).is_some();
    let is_told = has_roles || wishes.storage_control.is_some() || request.plan.is_some();
    if !is_told && columns.fixed(Fixed::Condition).is_some() {
        problems.file(
            "Which condition is the storage control is not said; expected a column role (baseline, \
             storage_control, exposed, late_reference), or the option --storage-control.",
        );
    }
    for row in rows {
        role(row, has_roles, wishes, problems);
        if !shown::has_stage(row) {
            continue;
        }
        row.stage_days = row.stage_days.or(wishes.stage_days);
        if row.condition.is_none() && columns.fixed(Fixed::Condition).is_some() {
            let told = "The piece has no condition; expected one, or the role baseline.";
            problems.line(row.line, told);
        }
        if row.stage_days.is_none() && !row.says_stage && columns.fixed(Fixed::StageDays).is_some()
        {
            let told = "The piece has no stage_days; expected the planned days of its stage.";
            problems.line(row.line, told);
        }
    }
}

fn role(row: &mut Row, has_roles: bool, wishes: &Wishes, problems: &mut Problems) {
    let of_start = matches!(row.role, Some(Role::Baseline | Role::LateReference));
    if let Some(control) = wishes.storage_control.as_ref().filter(|_| !of_start) {
        row.role = match &row.condition {
            None if row.role.is_none() => Some(Role::Baseline),
            Some(name) if name == control => Some(Role::StorageControl),
            _ => Some(Role::Exposed),
        };
    } else if !row.says_role && has_roles {
        let told = "The piece has no role; expected baseline, storage_control, exposed or \
            late_reference.";
        problems.line(row.line, told);
    }
}

impl Tidy {
    /// The smallest step with which a quantity was read, where the caller said it.
    #[must_use]
    pub fn readability(&self, quantity: &Quantity) -> Option<f64> {
        self.wishes.readability(quantity)
    }

    /// The data set.
    #[must_use]
    pub fn dataset(&self) -> Dataset<'_> {
        let here: BTreeSet<u32> = self
            .pieces
            .iter()
            .filter_map(|piece| piece.group.stage_days())
            .collect();
        let wished = self.wishes.stages_in.as_ref();
        let is_in = |days: &u32| wished.is_none_or(|stages| stages.contains(days));
        let is_baseline = |piece: &Piece| piece.group == Group::Baseline;
        Dataset {
            plan: &self.plan,
            pieces: self.pieces.clone(),
            open_stages: here.into_iter().filter(is_in).collect(),
            is_baseline_open: self.pieces.iter().any(is_baseline),
            closed: BTreeMap::new(),
            apart: Apart::default(),
        }
    }

    /// What else the analysis must know.
    #[must_use]
    pub fn context(&self) -> Context {
        let was_tested = |piece: &Piece| {
            let tested = [Fate::Valid, Fate::LowerBound, Fate::Invalid];
            tested.contains(&piece.fate)
        };
        // The plan's own bytes, so that two readers of one plan see the same hash.
        let bytes = self.plan.to_bytes().unwrap_or_default();
        Context {
            provenance: Provenance {
                slug: self.stem.clone(),
                title: self.title.clone(),
                question: self.plan.question.clone(),
                piece_name: self.plan.form.piece_name.clone(),
                plan_version: 1,
                plan_sha256: sha256_hex(&bytes),
                entries: 0,
                head: String::new(),
                file_sha256: Some(self.sha256.clone()),
                is_after_the_fact: false,
            },
            margin: MarginSet::Given,
            has_tests: self.pieces.iter().any(was_tested),
            sessions: Vec::new(),
            notes: self.notes(),
        }
    }

    fn notes(&self) -> Vec<Note> {
        let mut notes = vec![Note::new(
            Topic::Unknown,
            "Read from a file: when the margin was set, whether chance decided which piece went where, \
             and whether the tester was blind, is not known here.",
        )];
        notes.extend(self.other_days());
        notes
    }

    /// The baseline set is always broken at another time than the exposed pieces (practice.md §1.3).
    fn other_days(&self) -> Option<Note> {
        let days = |is_wanted: &dyn Fn(&Group) -> bool| {
            let here = self.pieces.iter().filter(|piece| is_wanted(&piece.group));
            let days: BTreeSet<_> = here.filter_map(|piece| piece.tested_on).collect();
            days.first().copied().zip(days.last().copied())
        };
        let start = days(&|group| *group == Group::Baseline)?;
        let stage = self.plan.primary_stage_days;
        let end = days(&|group| group.stage_days() == Some(stage))?;
        (start.1 < end.0 || end.1 < start.0).then(|| {
            Note::new(
                Topic::Session,
                format!(
                    "The baseline set was broken in another session (until {}; the stage from {} on).",
                    words::date(start.1),
                    words::date(end.0),
                ),
            )
        })
    }
}
