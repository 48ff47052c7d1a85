//! What the columns of a pasted block hold: by the names above them, by the cells below where there is none.

use super::{is_number, looks, mode, outcome, share};
use crate::study::units::Unit;

/// What a column of the block holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Column {
    /// The blind code.
    Code,
    /// The load, in the unit that the header names, when it names one.
    Load(Option<LoadUnit>),
    /// The unit of each load.
    Unit,
    /// The energy of an impact test, J.
    Energy,
    /// Whether the test counts.
    Outcome,
    /// How the piece failed.
    Mode,
    /// What it looked like.
    Looks,
    /// The share that came apart within a layer, %.
    Cohesive,
    /// The share that came apart between layers, %.
    Adhesive,
    /// The share that came apart in the glue, %.
    Glue,
    /// Which layer or layers.
    FailedAt,
    /// A reason or remark.
    Reason,
    /// Something else, left out.
    Other,
}

impl Column {
    /// Those that can be chosen, without a unit.
    pub const CHOICES: [Self; 13] = [
        Self::Other,
        Self::Code,
        Self::Load(None),
        Self::Unit,
        Self::Energy,
        Self::Outcome,
        Self::Mode,
        Self::Looks,
        Self::Cohesive,
        Self::Adhesive,
        Self::Glue,
        Self::FailedAt,
        Self::Reason,
    ];

    /// Whether it says where a bond came apart: only a pull-off test has that.
    #[must_use]
    pub fn is_of_bond(self) -> bool {
        matches!(
            self,
            Self::Cohesive | Self::Adhesive | Self::Glue | Self::FailedAt
        )
    }

    /// As forms send it.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Code => "code",
            Self::Load(_) => "load",
            Self::Unit => "unit",
            Self::Energy => "energy",
            Self::Outcome => "outcome",
            Self::Mode => "mode",
            Self::Looks => "looks",
            Self::Cohesive => "cohesive",
            Self::Adhesive => "adhesive",
            Self::Glue => "glue",
            Self::FailedAt => "failed_at",
            Self::Reason => "reason",
            Self::Other => "other",
        }
    }

    /// In words.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Code => "blind code",
            Self::Load(_) => "maximum load",
            Self::Unit => "unit of the load",
            Self::Energy => "energy in J",
            Self::Outcome => "validity",
            Self::Mode => "how it failed",
            Self::Looks => "what it looked like",
            Self::Cohesive => "share within a layer, %",
            Self::Adhesive => "share between layers, %",
            Self::Glue => "share in the glue, %",
            Self::FailedAt => "which layer or layers",
            Self::Reason => "reason or remark",
            Self::Other => "left out",
        }
    }

    /// Reads the key.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::CHOICES.into_iter().find(|one| one.key() == key)
    }
}

/// A unit beside a load.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoadUnit {
    /// A force.
    Force(Unit),
    /// A mass (kg, g, lb, oz): whether a scale showed a pull or a mass was hung up has to be said. With
    /// the unit of its weight, where there is one.
    Mass(Option<Unit>),
}

impl LoadUnit {
    /// Reads a unit as people write it.
    #[must_use]
    pub fn of(text: &str) -> Option<Self> {
        let bare: String = text.chars().filter(|sign| sign.is_alphabetic()).collect();
        Some(match bare.to_lowercase().as_str() {
            "n" | "newton" | "newtons" => Self::Force(Unit::Newton),
            "kn" => Self::Force(Unit::Kilonewton),
            "kgf" | "kp" => Self::Force(Unit::KilogramForce),
            "gf" | "pond" => Self::Force(Unit::GramForce),
            "lbf" => Self::Force(Unit::PoundForce),
            "kg" => Self::Mass(Some(Unit::KilogramForce)),
            "g" => Self::Mass(Some(Unit::GramForce)),
            "lb" | "lbs" => Self::Mass(Some(Unit::PoundForce)),
            "oz" => Self::Mass(None),
            _ => return None,
        })
    }
}

pub(super) fn columns(
    header: &[String],
    rows: &[Vec<String>],
    (width, is_pull_off): (usize, bool),
    is_code: &impl Fn(&String) -> bool,
) -> Vec<Column> {
    let mut found: Vec<Column> = Vec::with_capacity(width);
    for at in 0..width {
        let cells: Vec<&String> = rows.iter().filter_map(|row| row.get(at)).collect();
        let filled: Vec<&String> = cells.into_iter().filter(|cell| !cell.is_empty()).collect();
        let name = header.get(at).map_or("", String::as_str);
        let of_bond = of_bond(name, &filled).filter(|_| is_pull_off);
        let mut column = of_bond.or_else(|| by_name(name));
        // Codes are known when they are seen, whatever stands above them.
        let coded = filled.iter().filter(|cell| is_code(cell)).count();
        if coded > 0 && 2 * coded >= filled.len() {
            column = Some(Column::Code);
        }
        let column = column.unwrap_or_else(|| by_cells(&filled));
        let is_taken = found.iter().any(|other| other.key() == column.key());
        found.push(if is_taken { Column::Other } else { column });
    }
    found
}

/// A column by what stands above it, in small letters.
fn by_name(name: &str) -> Option<Column> {
    let low = name.to_lowercase();
    let has = |words: &[&str]| words.iter().any(|word| low.contains(word));
    if low.is_empty() {
        return None;
    }
    Some(if has(&["energy", "joule"]) {
        Column::Energy
    } else if has(&["unit"]) {
        Column::Unit
    } else if has(&["load", "force", "fmax", "f max", "peak", "maximum"]) {
        Column::Load(unit_in(name))
    } else if has(&["fail", "mode", "how it", "broke"]) {
        Column::Mode
    } else if has(&["valid", "outcome", "result", "counts"]) {
        Column::Outcome
    } else if has(&["look"]) {
        Column::Looks
    } else if has(&["note", "remark", "reason", "comment", "why"]) {
        Column::Reason
    } else if has(&["code", "piece", "blind"]) {
        Column::Code
    } else {
        return None;
    })
}

/// What a column says of where a bond came apart, by what stands above it and whether shares stand below.
fn of_bond(name: &str, filled: &[&String]) -> Option<Column> {
    let low = name.to_lowercase();
    let has = |words: &[&str]| words.iter().any(|word| low.contains(word));
    let others = [
        "load", "force", "strength", "mpa", "psi", "mode", "remark", "note", "reason",
    ];
    if has(&others) {
        return None;
    }
    let named = has(&["cohesi", "adhesi", "glue"]);
    let shares = filled.iter().filter(|cell| is_share(cell)).count();
    if 2 * shares < filled.len() {
        let place = [
            "interface",
            "between",
            "layer",
            "where",
            "failed at",
            "place",
        ];
        return (named || has(&place)).then_some(Column::FailedAt);
    }
    if has(&["glue"]) {
        Some(Column::Glue)
    } else if has(&["cohesi"]) {
        Some(Column::Cohesive)
    } else if has(&["adhesi", "interface", "between"]) {
        Some(Column::Adhesive)
    } else {
        None
    }
}

/// Whether a cell holds a share, or a stroke for none.
fn is_share(cell: &str) -> bool {
    let number = share(cell).replace(',', ".");
    number.is_empty() || number.parse().is_ok_and(|share: f64| share.is_finite())
}

/// The unit that a header names: after the name, mostly in brackets.
fn unit_in(name: &str) -> Option<LoadUnit> {
    let parts = name.split(|sign: char| !sign.is_alphanumeric());
    let parts: Vec<&str> = parts.filter(|part| !part.is_empty()).collect();
    parts
        .iter()
        .skip(1)
        .rev()
        .find_map(|part| LoadUnit::of(part))
}

/// A column without a name that is understood, by its cells.
fn by_cells(filled: &[&String]) -> Column {
    let most = |is_it: &dyn Fn(&str) -> bool| {
        let count = filled.iter().filter(|cell| is_it(cell)).count();
        count > 0 && 2 * count > filled.len()
    };
    if most(&|cell| cell.ends_with('%') && is_share(cell)) {
        // Which share it is, nobody can see.
        Column::Other
    } else if most(&|cell| LoadUnit::of(cell).is_some() && !is_number(cell)) {
        Column::Unit
    } else if most(&is_number) {
        // A running number is no load: whole, from 1, each one more than the last.
        let numbers = filled.iter().map(|cell| cell.parse::<usize>().ok());
        let is_rank = numbers.zip(1..).all(|(number, rank)| number == Some(rank));
        if is_rank {
            Column::Other
        } else {
            Column::Load(None)
        }
    } else if most(&|cell| outcome(cell).is_some()) {
        Column::Outcome
    } else if most(&|cell| mode(cell).is_some()) {
        Column::Mode
    } else if most(&|cell| looks(cell).is_some()) {
        Column::Looks
    } else {
        Column::Reason
    }
}
