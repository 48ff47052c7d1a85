//! How many pieces, in words, a table and a curve: for the command line and for the plan's page.

use crate::analysis::comparison::Unit;
use crate::analysis::digits::{fixed, plain, round};
use crate::analysis::names;
use crate::analysis::sizing::{Enough, MOST_UNITS, Sizing, SizingLine, VerdictChances};
use crate::report::chart::Chart;
use crate::report::chart::curve::{Curve, Plot};
use crate::report::chart::marks;
use crate::report::tables::{Table, TableRow};

/// What was asked, in a sentence.
#[must_use]
pub fn sentence(sizing: &Sizing) -> String {
    let asked = &sizing.asked;
    let rests = match sizing.unit {
        Unit::Holders => format!(
            "the verdict rests on the means of {} holders in each set, {} of the variance taken to lie \
             between holders",
            asked.holders,
            plain(sizing.between_holders.unwrap_or_default())
        ),
        Unit::Pieces | Unit::Mixed => {
            format!("the verdict rests on the pieces, {}", asked.spreads.label())
        }
    };
    format!(
        "By the rule that will decide: {} compared with one storage control, scatter of {} % between \
         pieces, margin ±{} %, {} % simultaneous intervals; {rests}.",
        names::counted(asked.conditions, "condition"),
        plain(asked.cv_percent),
        plain(asked.margin_percent),
        plain(asked.confidence_percent),
    )
}

/// One row for each growth and size.
#[must_use]
pub fn table(sizing: &Sizing) -> Table {
    let loss = plain(sizing.asked.loss_percent);
    let row = |line: &SizingLine| TableRow {
        name: growth(line.growth),
        cells: vec![
            line.pieces.to_string(),
            line.all_pieces.to_string(),
            line.detectable_percent
                .map_or_else(|| "none".to_owned(), |loss| format!("{} %", fixed(loss, 1))),
            percent(line.unchanged.unchanged),
            percent(any_change(&line.unchanged)),
            percent(any_change(&line.lost)),
            percent(line.lost.changed_beyond),
            percent(line.lost.not_settled),
        ],
    };
    Table {
        caption: format!(
            "The smallest loss called changed in {} of 100 such studies; how often each word is said when \
             nothing changed, and when every condition lost {loss} %.",
            plain(sizing.power * 100.0)
        ),
        head: vec![
            "Spread after exposure".to_owned(),
            "Pieces in a set".to_owned(),
            "In all sets".to_owned(),
            "Smallest loss".to_owned(),
            "Nothing changed: ‘unchanged’".to_owned(),
            "‘changed’".to_owned(),
            format!("Lost {loss} %: ‘changed’"),
            "by more than the margin".to_owned(),
            "‘not settled’".to_owned(),
        ],
        rows: sizing.lines.iter().map(row).collect(),
        is_numbers: true,
    }
}

fn growth(times: f64) -> String {
    if times == 1.0 {
        "as new".to_owned()
    } else {
        format!("{} times as large", plain(round(times, 2)))
    }
}

fn percent(chance: f64) -> String {
    format!("{} %", fixed(chance * 100.0, 0))
}

fn any_change(chances: &VerdictChances) -> f64 {
    chances.changed_beyond + chances.changed + chances.changed_within
}

/// How many are enough, one sentence for each growth.
#[must_use]
pub fn enough(sizing: &Sizing) -> Vec<String> {
    sizing
        .enough
        .iter()
        .map(|e| one_enough(sizing, e))
        .collect()
}

fn one_enough(sizing: &Sizing, enough: &Enough) -> String {
    let first = sizing.asked.pieces.first().copied().unwrap_or_default();
    let what = match sizing.unit {
        Unit::Holders => {
            let each = (first / sizing.asked.holders.max(1)).max(1);
            format!("holders of {}", names::counted(each, "piece"))
        }
        Unit::Pieces | Unit::Mixed => "pieces".to_owned(),
    };
    let spread = match enough.growth {
        1.0 => "With a spread as new".to_owned(),
        times => format!(
            "With a spread {} times as large after exposure",
            plain(round(times, 2))
        ),
    };
    let chance = plain(enough.chance * 100.0);
    match enough.units {
        Some(units) => format!(
            "{spread}, {units} {what} in each set reach ‘unchanged’ in {chance} of 100 studies in which \
             nothing changed."
        ),
        None => format!(
            "{spread}, not even {MOST_UNITS} {what} in each set reach ‘unchanged’ in {chance} of 100 studies \
             in which nothing changed."
        ),
    }
}

/// A warning where 'unchanged' is hardly within reach (under 20 %); empty otherwise.
#[must_use]
pub fn warning(sizing: &Sizing) -> String {
    let few: Vec<&SizingLine> = sizing.lines.iter().filter(|line| line.is_few()).collect();
    let each: Vec<String> = few
        .iter()
        .map(|line| format!("{} ({})", line.pieces, growth(line.growth)))
        .collect();
    match each.as_slice() {
        [] => String::new(),
        all if all.len() == sizing.lines.len() => {
            "‘Unchanged’ is hardly within reach of these designs, even when nothing changes: under 20 of \
             100 such studies."
                .to_owned()
        }
        some => format!(
            "‘Unchanged’ is hardly within reach, even when nothing changes (under 20 of 100 such studies), \
             with pieces in a set: {}.",
            names::listed(some)
        ),
    }
}

/// What a curve shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// The smallest loss called changed.
    SmallestLoss,
    /// The chance of 'unchanged' when nothing changed.
    ChanceOfUnchanged,
}

/// A curve over the number of pieces, one line for each growth; `None` when there is nothing to draw.
/// `own` is the plan's own number, marked.
#[must_use]
pub fn curve(sizing: &Sizing, shown: Shown, own: Option<usize>) -> Option<Chart> {
    let value = |line: &SizingLine| match shown {
        Shown::SmallestLoss => line.detectable_percent,
        Shown::ChanceOfUnchanged => Some(line.unchanged.unchanged * 100.0),
    };
    let curves: Vec<Curve> = sizing
        .asked
        .growths
        .iter()
        .enumerate()
        .map(|(at, times)| {
            let here = sizing.lines.iter().filter(|line| line.growth == *times);
            let points = here.filter_map(|line| Some((line.pieces as f64, value(line)?)));
            Curve {
                name: match times {
                    1.0 => "as new".to_owned(),
                    times => format!("× {}", plain(round(*times, 2))),
                },
                style: marks::exposed(at),
                points: points.collect(),
            }
        })
        .collect();
    let (id, title, axis, level) = match shown {
        Shown::SmallestLoss => (
            "curve-loss",
            "Smallest loss called changed",
            "smallest loss called changed, %",
            Some(sizing.asked.margin_percent),
        ),
        Shown::ChanceOfUnchanged => (
            "curve-unchanged",
            "Chance of ‘unchanged’ when nothing changed",
            "chance of ‘unchanged’, %",
            Some(20.0),
        ),
    };
    let from_zero = match shown {
        Shown::SmallestLoss => None,
        Shown::ChanceOfUnchanged => Some(100.0),
    };
    Plot {
        id: id.to_owned(),
        title: title.to_owned(),
        description: curves.iter().map(Curve::told).collect::<Vec<_>>().join(" "),
        across: "pieces in each set".to_owned(),
        upwards: axis.to_owned(),
        highest: from_zero,
        level,
        own: own.map(|n| n as f64),
        curves,
    }
    .chart()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::sizing::{Asked, Search, size};
    use crate::study::plan::Spreads;

    fn sizing(pieces: Vec<usize>, cv_percent: f64) -> Sizing {
        let asked = Asked {
            conditions: 1,
            pieces,
            holders: 1,
            cv_percent,
            growths: vec![1.0],
            margin_percent: 10.0,
            confidence_percent: 95.0,
            spreads: Spreads::Separate,
            loss_percent: 20.0,
        };
        size(&asked, Search::SizesOnly).unwrap()
    }

    #[test]
    fn what_is_out_of_reach_is_warned_about_and_what_is_not_is_not() {
        assert_eq!(warning(&sizing(vec![20], 3.0)), "");
        assert!(
            warning(&sizing(vec![3], 12.0))
                .starts_with("‘Unchanged’ is hardly within reach of these")
        );
        assert!(warning(&sizing(vec![3, 40], 12.0)).contains("in a set: 3 (as new)"));
    }

    #[test]
    fn the_curve_has_a_point_for_each_size_and_says_them() {
        let sizing = sizing(vec![3, 6, 12], 5.0);
        let chart = curve(&sizing, Shown::ChanceOfUnchanged, Some(6)).unwrap();
        assert_eq!(chart.curves.len(), 1);
        assert_eq!(chart.curves[0].points.len(), 3);
        assert_eq!(table(&sizing).rows.len(), 3);
        assert!(chart.description.contains("at 12"));
    }
}
