//! Rounding a table of shares to whole numbers at random, without bias and with every sum kept.
#![expect(
    clippy::indexing_slicing,
    reason = "every index is a row or column of the one table, whose size is fixed when it is made"
)]

use std::collections::BTreeSet;

use super::Dice;

/// Shares of `rows` × `columns` pieces rounded to whole pieces.
///
/// # Formula
/// ```text
/// share(r, c) = rows[r] · columns[c] / N,   N = Σ rows = Σ columns
/// ```
/// The answer adds up to `rows` and to `columns`; each number is its share rounded down or up, and on
/// average it is the share itself. Fractions are kept as numerators over N, so that nothing is lost.
///
/// As long as some number has a fraction, every row and column in which one stands holds two or more;
/// so going from one to the next, by row and by column in turn, closes a ring. Along the ring fractions
/// are moved from every second number to the others until one of them is whole: by `a` one way or by
/// `b` the other way, with chances b/(a+b) and a/(a+b), which leaves every mean where it was.
///
/// # Source
/// The procedure is that of Cox, "A constructive procedure for unbiased controlled rounding",
/// Journal of the American Statistical Association 82 (1987) 520 (from memory).
pub(super) fn round(rows: &[usize], columns: &[usize], dice: &mut Dice) -> Vec<Vec<usize>> {
    // In random order, so that no row or column is always the partner of its neighbour.
    let row_order = shuffled(rows.len(), dice);
    let column_order = shuffled(columns.len(), dice);
    let in_order = |sums: &[usize], order: &[usize]| order.iter().map(|at| sums[*at]).collect();
    let ordered: (Vec<usize>, Vec<usize>) =
        (in_order(rows, &row_order), in_order(columns, &column_order));
    let mut table = Table::of_shares(&ordered.0, &ordered.1);
    while let Some(ring) = table.ring() {
        table.turn(&ring, dice);
    }
    let mut whole = vec![vec![0; columns.len()]; rows.len()];
    for (numbers, row) in table.whole.iter().zip(row_order) {
        for (number, column) in numbers.iter().zip(&column_order) {
            whole[row][*column] = *number;
        }
    }
    whole
}

fn shuffled(count: usize, dice: &mut Dice) -> Vec<usize> {
    let mut order: Vec<usize> = (0..count).collect();
    dice.shuffle(&mut order);
    order
}

/// A number of the table: row and column.
type Cell = (usize, usize);

struct Table {
    /// Σ rows: the denominator of all fractions.
    total: usize,
    whole: Vec<Vec<usize>>,
    /// What each share has beyond its whole part, as a numerator below `total`.
    rest: Vec<Vec<usize>>,
    /// The columns of each row that have a fraction, and the rows of each column.
    in_row: Vec<BTreeSet<usize>>,
    in_column: Vec<BTreeSet<usize>>,
}

impl Table {
    fn of_shares(rows: &[usize], columns: &[usize]) -> Self {
        let total = rows.iter().sum::<usize>().max(1);
        let each = |part: fn(usize, usize) -> usize| -> Vec<Vec<usize>> {
            let row = |row: &usize| columns.iter().map(|c| part(row * c, total)).collect();
            rows.iter().map(row).collect()
        };
        let mut table = Self {
            total,
            whole: each(|product, total| product / total),
            rest: each(|product, total| product % total),
            in_row: vec![BTreeSet::new(); rows.len()],
            in_column: vec![BTreeSet::new(); columns.len()],
        };
        for (r, rests) in table.rest.iter().enumerate() {
            for (c, _) in rests.iter().enumerate().filter(|(_, rest)| **rest > 0) {
                table.in_row[r].insert(c);
                table.in_column[c].insert(r);
            }
        }
        table
    }

    /// A ring of numbers with fractions, by row and by column in turn; none when all are whole.
    fn ring(&self) -> Option<Vec<Cell>> {
        let other = |open: &BTreeSet<usize>, than: usize| open.iter().copied().find(|o| *o != than);
        let mut row = self.in_row.iter().position(|open| !open.is_empty())?;
        let mut column = usize::MAX;
        let mut path: Vec<Cell> = Vec::new();
        // Where on the path each row and each column was left.
        let mut left_row = vec![None; self.in_row.len()];
        let mut left_column = vec![None; self.in_column.len()];
        loop {
            left_row[row] = Some(path.len());
            column = other(&self.in_row[row], column)?;
            path.push((row, column));
            if let Some(start) = left_column[column] {
                return Some(path.split_off(start));
            }
            left_column[column] = Some(path.len());
            row = other(&self.in_column[column], row)?;
            path.push((row, column));
            if let Some(start) = left_row[row] {
                return Some(path.split_off(start));
            }
        }
    }

    /// Moves fractions along a ring until one of them is whole.
    fn turn(&mut self, ring: &[Cell], dice: &mut Dice) {
        let rest = |(r, c): &Cell| self.rest[*r][*c];
        let room = |cells: usize, is_rising: bool| {
            let cells = ring.iter().skip(cells).step_by(2);
            let room = |cell| {
                if is_rising {
                    self.total - rest(cell)
                } else {
                    rest(cell)
                }
            };
            cells.map(room).min().unwrap_or(0)
        };
        let forth = room(0, true).min(room(1, false));
        let back = room(0, false).min(room(1, true));
        let (amount, rises) = if dice.below(forth + back) < back {
            (forth, 0)
        } else {
            (back, 1)
        };
        for (position, (r, c)) in ring.iter().enumerate() {
            let rest = &mut self.rest[*r][*c];
            if position % 2 == rises {
                *rest += amount;
            } else {
                *rest -= amount;
            }
            self.close_if_whole((*r, *c));
        }
    }

    fn close_if_whole(&mut self, (r, c): Cell) {
        let rest = &mut self.rest[r][c];
        if *rest == self.total {
            *rest = 0;
            self.whole[r][c] += 1;
        }
        if *rest == 0 {
            self.in_row[r].remove(&c);
            self.in_column[c].remove(&r);
        }
    }
}
