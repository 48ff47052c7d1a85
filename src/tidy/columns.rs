//! The columns of a tidy file: their names, and what stands in them. Reading a name is in
//! [`super::naming`], a whole header in [`super::header`].

use crate::study::property::Property;
use crate::study::reading::{Occasion, Quantity};
use crate::study::units::{Dimension, Unit};

/// What a column holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Column {
    /// One of those that have one name only.
    Fixed(Fixed),
    /// A mass or dimension.
    Reading(Quantity, Occasion, Unit),
    /// The moisture state of a mass or dimension.
    State(Quantity, Occasion),
    /// Expanded uncertainty (k = 2) of a change from the instruments alone, in % of the value before.
    Resolution(Quantity),
    /// Maximum load.
    MaxLoad(Unit),
    /// A property that was read off the test, in its unit.
    Property(Property),
    /// Its expanded uncertainty (k = 2) in % of the value.
    PropertyUncertainty(Property),
    /// Maximum load before the test was changed knowing the group.
    UnknowingLoad(Unit),
}

/// A column with one name only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fixed {
    /// What the piece is called.
    Specimen,
    /// Lot of material.
    Lot,
    /// Build.
    Build,
    /// Condition.
    Condition,
    /// Role.
    Role,
    /// Days of the stage.
    StageDays,
    /// Holder.
    Holder,
    /// What came of it.
    Outcome,
    /// Why.
    Reason,
    /// Day of the test.
    TestDate,
    /// Place in the order of making.
    Order,
    /// Whether it was put out.
    PutOut,
    /// Days from out to in.
    DaysOut,
    /// State on recovery.
    Recovery,
    /// How it was identified.
    Identity,
    /// Whether it came back without a mark.
    Nameless,
    /// What came of it, finer than the outcome.
    Fate,
    /// How it failed.
    FailureMode,
    /// Share of the failure within a layer, %.
    Cohesive,
    /// Share of it between layers, %.
    Adhesive,
    /// Share of it in the glue, %.
    Glue,
    /// Which layer or layers.
    FailedAt,
    /// Which of the test sessions.
    Session,
    /// What a reader should know.
    Flags,
    /// What came of it before its test was changed knowing the group.
    UnknowingFate,
    /// Day on which it was put out.
    OutDate,
    /// Day on which it was taken in.
    InDate,
}

/// Columns with one name only, and what stands in them.
pub(super) const FIXED: [(&str, Fixed, &str); 27] = [
    (
        "specimen",
        Fixed::Specimen,
        "what the piece is called; each name once",
    ),
    ("lot", Fixed::Lot, "lot of material"),
    ("build", Fixed::Build, "print plate, mould shot, board"),
    (
        "condition",
        Fixed::Condition,
        "where it was; empty for baseline and late_reference",
    ),
    (
        "role",
        Fixed::Role,
        "baseline, storage_control, exposed or late_reference",
    ),
    (
        "stage_days",
        Fixed::StageDays,
        "planned days of its stage; empty as above",
    ),
    (
        "holder",
        Fixed::Holder,
        "the jar, rack, plot or bag that it shared",
    ),
    (
        "outcome",
        Fixed::Outcome,
        "valid, invalid, lower_bound, total_loss, lost, withdrawn; or empty",
    ),
    ("reason", Fixed::Reason, "why, in words"),
    ("test_date", Fixed::TestDate, "2025-03-04 or 4.3.2025"),
    ("order", Fixed::Order, "place in the order of making"),
    ("put_out", Fixed::PutOut, "yes or no"),
    ("days_out", Fixed::DaysOut, "days that it was out"),
    (
        "recovery",
        Fixed::Recovery,
        "whole, damaged, fragments, not_found, accident or in_error",
    ),
    (
        "identity",
        Fixed::Identity,
        "mark, place, elimination or unknown",
    ),
    (
        "nameless",
        Fixed::Nameless,
        "yes when it came back without a mark and was named then",
    ),
    (
        "fate",
        Fixed::Fate,
        "outcome, or not_tested, lost_on_the_way, destroyed, in_error",
    ),
    (
        "failure_mode",
        Fixed::FailureMode,
        "break, crack, opened, layer_split, grip_slip, grip_break …",
    ),
    (
        "cohesive_percent",
        Fixed::Cohesive,
        "pull-off: share of the failure within a layer, %",
    ),
    (
        "adhesive_percent",
        Fixed::Adhesive,
        "share of it between two layers, %",
    ),
    ("glue_percent", Fixed::Glue, "share of it in the glue, %"),
    ("failed_at", Fixed::FailedAt, "which layer, or which two"),
    ("session", Fixed::Session, "number of the test session"),
    (
        "flags",
        Fixed::Flags,
        "incident outside_window knowing_group …, parted by blanks",
    ),
    (
        "unknowing_fate",
        Fixed::UnknowingFate,
        "fate before the test was changed knowing the group",
    ),
    (
        "out_date",
        Fixed::OutDate,
        "day on which it was put out; read when a study is brought over",
    ),
    (
        "in_date",
        Fixed::InDate,
        "day on which it was taken in; read as above",
    ),
];

/// How many of [`FIXED`] everybody needs; the others let an edition's file carry everything.
pub(super) const USUAL: usize = 10;

/// The columns with units, and what stands in them.
const MEASURED: [(&str, &str); 7] = [
    (
        "mass_before_<unit>",
        "mass before exposure, such as mass_before_g",
    ),
    ("mass_after_<unit>", "mass after exposure"),
    (
        "mass_state_before, …_after",
        "as_received, conditioned, wet or re_dried; so for a dimension",
    ),
    (
        "<dimension>_before_<unit>",
        "such as width_before_mm; width_mm is the same",
    ),
    ("<dimension>_after_<unit>", "such as width_after_mm"),
    ("max_load_<unit>", "such as max_load_n or max_load_lbf"),
    (
        "<quantity>_change_u_percent",
        "what the instruments resolve: U (k = 2) of a change, in %",
    ),
];

/// The columns in words, for `--help`.
#[must_use]
pub fn described() -> String {
    let mut text = String::from("Columns, in any order; those not used are left out:\n");
    let mut line = |name: &str, what: &str| text.push_str(&format!("  {name:<28} {what}\n"));
    for (name, _, what) in FIXED.iter().take(USUAL) {
        line(name, what);
    }
    for (name, what) in MEASURED {
        line(name, what);
    }
    text.push_str("Further columns, which an edition's file has:\n");
    let mut line = |name: &str, what: &str| text.push_str(&format!("  {name:<28} {what}\n"));
    for (name, _, what) in FIXED.iter().skip(USUAL) {
        line(name, what);
    }
    line(
        "unknowing_max_load_<unit>",
        "maximum load before that change",
    );
    line(
        "<property>_<unit>",
        "read off the test, such as modulus_mpa or energy_to_break_j",
    );
    line("<property>_u_percent", "its uncertainty U (k = 2), in %");
    let units = |dimension| {
        let keys: Vec<String> = Unit::of(dimension)
            .map(|u| u.key().to_lowercase())
            .collect();
        keys.join(" ")
    };
    text.push_str(&format!(
        "Units of mass: {}; of length: {}; of load: {}.",
        units(Dimension::Mass),
        units(Dimension::Length),
        units(Dimension::Force)
    ));
    text
}
