//! What a design can see, in words and tables: for the plan page and for the public page.

use crate::analysis::comparison::Unit;
use crate::analysis::design::{Design, DesignLine};
use crate::analysis::digits::{fixed, plain, round};
use crate::analysis::names;
use crate::analysis::rule::{BETWEEN_HOLDERS, POWER, RuleDesign, RuleLine};
use crate::report::tables::{Table, TableRow};

/// A piece of what a design can see.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DesignPart {
    /// How it was computed.
    pub sentence: String,
    /// Its lines.
    pub table: Table,
    /// In warning colour, when something is out of reach; otherwise empty.
    pub warning: String,
}

/// The two-group figures.
#[must_use]
pub fn two_groups(design: &Design) -> DesignPart {
    let line = |line: &DesignLine| TableRow {
        name: format!("{} %", plain(line.cv_percent)),
        cells: vec![format!("{} %", fixed(line.detectable_percent, 1))],
    };
    DesignPart {
        sentence: format!(
            "Two groups of {} and {} pieces, compared by a two-sided t test at {} %, see a difference of \
             the size below in {} of 100 such studies (noncentral t distribution, equal spread, one \
             comparison). The simultaneous intervals that decide are stricter than that.",
            design.exposed,
            design.reference,
            plain(round(design.alpha * 100.0, 3)),
            plain(design.power * 100.0),
        ),
        table: Table {
            caption:
                "Smallest difference seen, in % of the mean, by the scatter between like pieces."
                    .to_owned(),
            head: vec!["Scatter (CV)".to_owned(), "Smallest difference".to_owned()],
            rows: design.lines.iter().map(line).collect(),
            is_numbers: true,
        },
        warning: String::new(),
    }
}

/// The figures by the rule that decides.
#[must_use]
pub fn rule(design: &RuleDesign) -> DesignPart {
    let of = match design.unit {
        Unit::Holders => format!(
            "holders, {} of the variance taken to lie between them",
            plain(BETWEEN_HOLDERS)
        ),
        Unit::Pieces | Unit::Mixed => "pieces".to_owned(),
    };
    let growth = |line: &RuleLine| TableRow {
        name: match line.growth {
            1.0 => "as new".to_owned(),
            growth => format!("{} times as large", plain(growth)),
        },
        cells: cells(line),
    };
    let mut rows: Vec<TableRow> = design.lines.iter().map(growth).collect();
    rows.extend(design.with_holders.iter().map(|h| TableRow {
        name: format!("as new, with {} holders each", names::count(h.holders)),
        cells: cells(&h.line),
    }));
    DesignPart {
        sentence: format!(
            "By the rule that decides: {} compared with one storage control, {} in each and {} in the \
             storage control ({of}), scatter of {} % between pieces.",
            names::counted(design.conditions, "condition"),
            design.exposed_units,
            design.control_units,
            plain(round(design.cv_percent, 1)),
        ),
        table: table("", rows),
        warning: warning(&design.lines),
    }
}

/// The figures by the rule that decides, with the spread found and not the effect found.
#[must_use]
pub fn rule_found(unit: Unit, cv_percent: f64, line: &RuleLine) -> DesignPart {
    let cv = plain(round(cv_percent, 1));
    let spread = match unit {
        Unit::Holders => format!("{cv} % between holder means"),
        Unit::Pieces | Unit::Mixed => format!(
            "{cv} % in the storage control, {} times as large in the exposed sets",
            plain(round(line.growth, 1))
        ),
    };
    DesignPart {
        sentence: format!("With the spread found ({spread}), whatever the effect was:"),
        table: table(
            "With the spread found: ",
            vec![TableRow {
                name: "as found".to_owned(),
                cells: cells(line),
            }],
        ),
        warning: warning(std::slice::from_ref(line)),
    }
}

fn table(with: &str, rows: Vec<TableRow>) -> Table {
    Table {
        caption: format!(
            "{with}{} smallest loss called changed in {} of 100 such studies, and how often ‘unchanged’ is \
             reached when nothing changed.",
            if with.is_empty() { "The" } else { "the" },
            plain(POWER * 100.0)
        ),
        head: [
            "Spread after exposure",
            "Smallest loss",
            "Chance of ‘unchanged’",
        ]
        .map(str::to_owned)
        .to_vec(),
        rows,
        is_numbers: true,
    }
}

fn cells(line: &RuleLine) -> Vec<String> {
    let loss = line.detectable_percent;
    vec![
        loss.map_or_else(|| "none".to_owned(), |loss| format!("{} %", fixed(loss, 1))),
        format!("{} %", fixed(line.unchanged * 100.0, 0)),
    ]
}

fn warning(lines: &[RuleLine]) -> String {
    let few: Vec<&RuleLine> = lines.iter().filter(|line| line.is_few()).collect();
    match few.as_slice() {
        [] => String::new(),
        few if few.len() == lines.len() => {
            "‘Unchanged’ is hardly within reach of this design, even when nothing changes."
                .to_owned()
        }
        [first, ..] => format!(
            "With a spread {} times as large after exposure ‘unchanged’ is hardly within reach, even when \
             nothing changes.",
            plain(round(first.growth, 1))
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(growth: f64, unchanged: f64) -> RuleLine {
        RuleLine {
            growth,
            detectable_percent: Some(9.9),
            unchanged,
            error: 0.001,
        }
    }

    #[test]
    fn a_design_that_cannot_settle_is_warned_about() {
        assert_eq!(warning(&[line(1.0, 0.63), line(2.0, 0.25)]), "");
        assert!(warning(&[line(1.0, 0.63), line(2.0, 0.03)]).starts_with("With a spread 2 times"));
        assert!(warning(&[line(1.0, 0.1)]).starts_with("‘Unchanged’ is hardly"));
    }
}
