//! Curves from tables: which column of travel belongs to which column of load, one piece from the
//! next, in N, mm, s, MPa and pure numbers.

use super::role::Role;
use super::table::Table;
use super::unit::Unit;
use super::{Block, Column, MachineFile};

/// One curve as the file holds it, in the units used inside. All columns are as long as `lines`; a
/// number that the file does not give is NaN.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Drawn {
    /// What the file calls it: a label above its columns or the name in its rows.
    pub label: Option<String>,
    /// The lines of words above its table.
    pub head: Vec<String>,
    /// The number of each point's line in the file.
    pub lines: Vec<u32>,
    /// Load, N; `None` where the file has stress only.
    pub load_n: Option<Vec<f64>>,
    /// Stress, MPa, where the file gives it.
    pub stress_mpa: Option<Vec<f64>>,
    /// Travel of the grips or deflection, mm.
    pub travel_mm: Option<Vec<f64>>,
    /// Change of the gauge length, mm.
    pub elongation_mm: Option<Vec<f64>>,
    /// Strain, a pure number.
    pub strain: Option<Vec<f64>>,
    /// Time, s.
    pub time_s: Option<Vec<f64>>,
}

/// So many curves are taken from one file.
pub const MOST_CURVES: usize = 400;

impl MachineFile {
    /// The curves of the file, in its order. Rows without a load are left out; a curve of fewer than
    /// three rows is none.
    #[must_use]
    pub fn curves(&self) -> Vec<Drawn> {
        let mut found = Vec::new();
        for block in &self.blocks {
            for (start, end, piece) in pieces(block) {
                for column in leading(block) {
                    let drawn = drawn(block, column, start..end, piece.clone());
                    if drawn.lines.len() >= 3 && found.len() < MOST_CURVES {
                        found.push(drawn);
                    }
                }
            }
        }
        found
    }
}

fn with_role(columns: &[Column], role: Role) -> Vec<usize> {
    let all = columns.iter().enumerate();
    all.filter(|(_, column)| column.role == role)
        .map(|(at, _)| at)
        .collect()
}

/// The columns that make a curve each: the loads, or the stresses where there are no loads.
fn leading(block: &Block) -> Vec<usize> {
    let loads = with_role(&block.columns, Role::Load);
    if loads.is_empty() {
        with_role(&block.columns, Role::Stress)
    } else {
        loads
    }
}

/// Rows of one piece after the other, where a column names the piece; else all rows.
fn pieces(block: &Block) -> Vec<(usize, usize, Option<String>)> {
    let rows = block.table.rows();
    let column = with_role(&block.columns, Role::Piece).first().copied();
    let Some(column) = column else {
        return vec![(0, rows, None)];
    };
    let names = Names::of(&block.table, column);
    let mut found: Vec<(usize, usize, Option<String>)> = Vec::new();
    for row in 0..rows {
        let name = names.at(row);
        if let Some((_, end, before)) = found.last_mut()
            && *before == name
        {
            *end = row + 1;
        } else if found.len() < MOST_CURVES {
            found.push((row, row + 1, name));
        } else {
            break;
        }
    }
    // A number that changes from row to row names no pieces.
    if found.len() * 3 > rows {
        return vec![(0, rows, None)];
    }
    found
}

/// The names of pieces in the rows: words, or numbers in the file's own figures.
enum Names<'a> {
    Words(&'a [u32], &'a [String]),
    Numbers(&'a [f64]),
}

impl<'a> Names<'a> {
    fn of(table: &'a Table, column: usize) -> Self {
        match table.texts.get(column) {
            Some(Some(texts)) => Self::Words(texts, &table.words),
            _ => Self::Numbers(table.columns.get(column).map_or(&[], Vec::as_slice)),
        }
    }

    fn at(&self, row: usize) -> Option<String> {
        match self {
            Self::Words(texts, words) => {
                let at = usize::try_from(*texts.get(row)?).ok()?;
                words.get(at).filter(|word| !word.is_empty()).cloned()
            }
            Self::Numbers(values) => {
                let value = values.get(row).filter(|value| value.is_finite())?;
                Some(value.to_string())
            }
        }
    }
}

fn drawn(
    block: &Block,
    leader: usize,
    rows: std::ops::Range<usize>,
    piece: Option<String>,
) -> Drawn {
    let values = |at: usize| {
        block
            .table
            .columns
            .get(at)
            .and_then(|all| all.get(rows.clone()))
    };
    let lead = values(leader).unwrap_or_default();
    let kept: Vec<bool> = lead.iter().map(|value| value.is_finite()).collect();
    let take = |role: Role| -> Option<Vec<f64>> {
        let at = partner(block, leader, role)?;
        let factor = block
            .columns
            .get(at)?
            .unit
            .map_or(1.0, |unit: Unit| unit.factor);
        let all = values(at)?.iter().zip(&kept);
        let column: Vec<f64> = all
            .filter(|(_, kept)| **kept)
            .map(|(v, _)| v * factor)
            .collect();
        column
            .iter()
            .any(|value| value.is_finite())
            .then_some(column)
    };
    let lines = block.table.lines.get(rows.clone()).unwrap_or_default();
    let column = block.columns.get(leader);
    let several = leading(block).len() > 1;
    let own = column.and_then(|c| c.label.clone().or_else(|| Some(c.name.clone())));
    Drawn {
        label: piece.or_else(|| own.filter(|_| several)),
        head: block.table.head.clone(),
        lines: lines
            .iter()
            .zip(&kept)
            .filter(|(_, kept)| **kept)
            .map(|(line, _)| *line)
            .collect(),
        load_n: take(Role::Load),
        stress_mpa: take(Role::Stress),
        travel_mm: take(Role::Travel),
        elongation_mm: take(Role::Elongation),
        strain: take(Role::Strain),
        time_s: take(Role::Time),
    }
}

/// The column of a role that belongs to a leading column: itself; the only one; the one of the same
/// rank where there are as many; else the nearest.
fn partner(block: &Block, leader: usize, role: Role) -> Option<usize> {
    if block.columns.get(leader)?.role == role {
        return Some(leader);
    }
    let leaders = leading(block);
    let all = with_role(&block.columns, role);
    if all.len() == leaders.len() {
        let rank = leaders.iter().position(|at| *at == leader)?;
        return all.get(rank).copied();
    }
    all.into_iter().min_by_key(|at| at.abs_diff(leader))
}
