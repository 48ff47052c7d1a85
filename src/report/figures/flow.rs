//! How many pieces came how far, from the count of all pieces.

use crate::analysis::accounting::{Accounting, Cell};
use crate::report::chart::flow::{Flow, Step};
use crate::report::figures::Figure;

/// Why pieces are not in the next step, and how a set counts them.
type Reason = (&'static str, fn(&Cell) -> usize);

/// The figure; `None` before a piece is allocated.
pub(super) fn figure(accounting: &Accounting) -> Option<Figure> {
    let title = "How far the pieces came".to_owned();
    let flow = Flow {
        id: "figure-flow".to_owned(),
        title: title.clone(),
        steps: steps(accounting),
    };
    Some(Figure {
        file: "figure-flow.svg".to_owned(),
        title,
        caption: "Each bar is as long as its number is large; between two bars stands who is missing in the \
            next one, and why."
            .to_owned(),
        chart: flow.chart()?,
        is_primary: false,
        is_inline: true,
        table: None,
        behind: "#all-pieces".to_owned(),
    })
}

/// Every piece made is in the last bar, or told of on the way to it.
fn steps(accounting: &Accounting) -> Vec<Step> {
    const OPEN: [Reason; 1] = [("still out or not opened", |c| c.closed)];
    const BACK: [Reason; 4] = [
        ("not found", |c| c.lost),
        ("destroyed", |c| c.destroyed),
        ("withdrawn in error", |c| c.in_error),
        ("lost on the way to the lab", |c| c.lost_on_the_way),
    ];
    const TESTED: [Reason; 1] = [("not tested", |c| c.not_tested)];
    const COUNTED: [Reason; 1] = [("invalid", Cell::invalid)];
    let sum = |of: fn(&Cell) -> usize| accounting.cells.iter().map(of).sum::<usize>();
    let told = |reasons: &[Reason]| {
        let counted = reasons
            .iter()
            .map(|(why, of)| (sum(*of), (*why).to_owned()));
        counted.filter(|(n, _)| *n > 0).collect::<Vec<_>>()
    };
    let retests = sum(|c| c.retests);
    let apart = [
        (accounting.spares, "kept as spares"),
        (retests, "used in the place of invalid tests"),
        (accounting.rejected, "rejected before the allocation"),
        (accounting.unallocated, "not allocated"),
    ];
    let apart = apart.into_iter().filter(|(n, _)| *n > 0);
    let mut steps = vec![
        Step {
            name: "made".to_owned(),
            pieces: accounting.made,
            left: apart.map(|(n, why)| (n, why.to_owned())).collect(),
        },
        Step {
            name: "allocated".to_owned(),
            pieces: sum(|c| c.allocated),
            left: told(&OPEN),
        },
    ];
    let surplus = sum(|c| c.surplus);
    let (here, tested) = (sum(Cell::sum) - sum(|c| c.closed), sum(Cell::tested));
    for (name, pieces, reasons) in [
        (results(surplus, retests), here, &BACK[..]),
        (
            "reached the lab".to_owned(),
            tested + sum(|c| c.not_tested),
            &TESTED[..],
        ),
        ("tested".to_owned(), tested, &COUNTED[..]),
        ("counted".to_owned(), tested - sum(Cell::invalid), &[][..]),
    ] {
        steps.push(Step {
            name,
            pieces,
            left: told(reasons),
        });
    }
    steps
}

/// What the bar of the told results is called, with what was never allocated and is in it.
fn results(surplus: usize, retests: usize) -> String {
    match (surplus, retests) {
        (0, 0) => "results told".to_owned(),
        (n, 0) => format!("results told ({n} nameless more)"),
        (0, m) => format!("results told ({m} spares more)"),
        (n, m) => format!("results told ({n} nameless, {m} spares more)"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::accounting::Reason as Why;
    use crate::analysis::piece::Group;

    #[test]
    fn every_piece_is_in_the_next_bar_or_told_of() {
        let cell = Cell {
            group: Group::cell("c2", 90),
            name: "barrel".into(),
            is_storage_control: false,
            planned: Some(12),
            allocated: 12,
            retests: 0,
            put_out: 12,
            closed: 2,
            back: 8,
            nameless: 0,
            surplus: 0,
            lost: 1,
            destroyed: 1,
            in_error: 0,
            packed: 8,
            lost_on_the_way: 1,
            not_tested: 1,
            valid: 4,
            lower_bound: 1,
            total_loss: 0,
            invalid: vec![Why {
                reason: "slipped".into(),
                pieces: 1,
            }],
        };
        let accounting = Accounting {
            made: 15,
            rejected: 1,
            spares: 2,
            unallocated: 0,
            cells: vec![cell],
        };
        let steps = steps(&accounting);
        for pair in steps.windows(2) {
            let left: usize = pair[0].left.iter().map(|(n, _)| n).sum();
            assert_eq!(pair[0].pieces, pair[1].pieces + left, "{pair:?}");
        }
        assert_eq!(steps.last().map(|step| step.pieces), Some(5));
    }
}
