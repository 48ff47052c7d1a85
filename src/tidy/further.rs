//! What only an edition's file has of a piece: its way, its flags, its test before it was changed.

use chrono::NaiveDate;

use crate::analysis::piece::{Fate, Flag};
use crate::analysis::property::PieceProperty;
use crate::study::break_test::FailureMode;
use crate::study::break_test::block;
use crate::study::break_test::failure::FailureShares;
use crate::study::property::Property;
use crate::study::specimen::{Identity, Recovery};
use crate::tidy::cell;
use crate::tidy::columns::{Column, Fixed};
use crate::tidy::problem::Problems;
use crate::tidy::row::{Cells, max_load};

/// A test as it was before somebody changed it knowing the group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unknowing {
    /// What came of it.
    pub fate: Fate,
    /// Its load in N.
    pub max_load_n: Option<f64>,
}

/// What only an edition's file has.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct More {
    /// Place in the order of making.
    pub order: u32,
    /// Whether it was put out.
    pub put_out: Option<bool>,
    /// Days that it was out.
    pub days_out: Option<f64>,
    /// State on recovery.
    pub recovery: Option<Recovery>,
    /// How it was identified.
    pub identity: Option<Identity>,
    /// Whether it came back without a mark.
    pub is_nameless: bool,
    /// How it failed.
    pub mode: Option<FailureMode>,
    /// Where its bond came apart.
    pub failure: Option<FailureShares>,
    /// Which test session.
    pub session: Option<u32>,
    /// What a reader should know.
    pub flags: Vec<Flag>,
    /// Before it was changed knowing the group.
    pub unknowing: Option<Unknowing>,
    /// Day on which it was put out.
    pub out_on: Option<NaiveDate>,
    /// Day on which it was taken in.
    pub in_on: Option<NaiveDate>,
    /// What was read off its test besides the load.
    pub properties: Vec<PieceProperty>,
}

/// Fates as an edition spells them.
pub(super) const FATES: [&str; 9] = [
    "valid",
    "lower_bound",
    "total_loss",
    "invalid",
    "not_tested",
    "lost_on_the_way",
    "lost",
    "destroyed",
    "in_error",
];

/// Flags as an edition spells them.
pub(super) const FLAGS: [&str; 13] = [
    "confirmed_doubt",
    "out_of_order",
    "label_visible",
    "arrived_damaged",
    "recovered_damaged",
    "knowing_group",
    "incident",
    "outside_window",
    "waived",
    "retest",
    "calibration_open",
    "load_outside_range",
    "extension_outside_range",
];

/// Reads it.
pub(super) fn more(cells: &Cells<'_>, problems: &mut Problems) -> More {
    let recoveries = Recovery::ALL.map(Recovery::key);
    let identities = Identity::ALL.map(Identity::key);
    let modes = FailureMode::ALL.map(FailureMode::key);
    let flags = |text: &str| -> Result<Vec<Flag>, String> {
        text.split_whitespace()
            .map(|flag| cell::one_of(flag, &FLAGS))
            .collect()
    };
    let load = max_load(cells, problems, |column| {
        matches!(column, Column::UnknowingLoad(_))
    });
    let unknowing = cells.fixed(Fixed::UnknowingFate, problems, |t| cell::one_of(t, &FATES));
    More {
        order: cells
            .fixed(Fixed::Order, problems, cell::count)
            .unwrap_or_default(),
        put_out: cells.fixed(Fixed::PutOut, problems, cell::claim),
        days_out: cells.fixed(Fixed::DaysOut, problems, cell::not_negative),
        recovery: cells.fixed(Fixed::Recovery, problems, |t| cell::one_of(t, &recoveries)),
        identity: cells.fixed(Fixed::Identity, problems, |t| cell::one_of(t, &identities)),
        is_nameless: cells
            .fixed(Fixed::Nameless, problems, cell::claim)
            .unwrap_or_default(),
        mode: cells.fixed(Fixed::FailureMode, problems, |t| {
            // Keys as an edition writes them; of a spreadsheet the words of a bench.
            block::mode(t).ok_or_else(|| cell::expected(t, &modes))
        }),
        failure: failure(cells, problems),
        session: cells.fixed(Fixed::Session, problems, cell::count),
        flags: cells
            .fixed(Fixed::Flags, problems, flags)
            .unwrap_or_default(),
        unknowing: unknowing.map(|fate| Unknowing {
            fate,
            max_load_n: load,
        }),
        out_on: cells.fixed(Fixed::OutDate, problems, cell::day),
        in_on: cells.fixed(Fixed::InDate, problems, cell::day),
        properties: properties(cells, problems),
    }
}

/// The shares of a pull-off test; those that are left empty beside others are 0.
fn failure(cells: &Cells<'_>, problems: &mut Problems) -> Option<FailureShares> {
    let mut share = |fixed| cells.fixed(fixed, problems, cell::not_negative);
    let shares = [Fixed::Cohesive, Fixed::Adhesive, Fixed::Glue].map(&mut share);
    let place = cells.fixed(Fixed::FailedAt, problems, cell::words);
    let [cohesive, adhesive, glue] = shares;
    cohesive.or(adhesive).or(glue)?;
    let shares = FailureShares {
        cohesive_percent: cohesive.unwrap_or_default(),
        adhesive_percent: adhesive.unwrap_or_default(),
        glue_percent: glue.unwrap_or_default(),
        place: place.unwrap_or_default(),
    };
    if !shares.is_whole() {
        let at = cells.columns.fixed(Fixed::Cohesive);
        let sentence = "The shares cohesive, adhesive and glue do not sum to 100 %.";
        cells.tell(at, problems, sentence);
    }
    Some(shares)
}

/// The properties of the columns there are, in their own order, whatever that of the columns.
fn properties(cells: &Cells<'_>, problems: &mut Problems) -> Vec<PieceProperty> {
    let columns = || cells.columns.all.iter().enumerate();
    let uncertain = |property: Property| {
        let is_it = |column: &Column| *column == Column::PropertyUncertainty(property);
        columns().find(|(_, column)| column.as_ref().is_some_and(is_it))
    };
    let mut found = Vec::new();
    for (at, column) in columns() {
        let Some(Column::Property(property)) = column else {
            continue;
        };
        let beside = uncertain(*property).map(|(at, _)| at);
        let value = cells.read(Some(at), problems, cell::number);
        let percent = cells.read(beside, problems, cell::not_negative);
        found.extend(value.map(|value| PieceProperty {
            property: *property,
            value,
            uncertainty_percent: percent,
        }));
    }
    found.sort_by_key(|one| one.property);
    found
}
