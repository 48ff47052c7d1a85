//! A measuring round: what is read, on what, in which unit and state, chosen once; and which piece
//! comes next.

use std::collections::BTreeMap;

use super::allocation::Place;
use super::code::Code;
use super::fault::{Fault, Faults};
use super::measured::{Kind, Measured};
use super::plan::Plan;
use super::reading::{Instrument, MoistureState, Occasion, Quantity};
use super::record::{SpecimenRecord, StudyRecord};
use super::specimen::Whereabouts;
use super::typed::Typed;
use super::units::Unit;

/// What stays set through a round.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// What is read.
    pub quantity: Quantity,
    /// Before or after exposure.
    pub occasion: Occasion,
    /// What it is read off.
    pub instrument: Instrument,
    /// In which unit it is typed.
    pub unit: Unit,
    /// The pieces' moisture state.
    pub state: MoistureState,
}

impl Settings {
    /// Reads the settings from a form or an address.
    ///
    /// # Errors
    /// Every setting that is missing or does not fit the study.
    pub fn parse(typed: &Typed, record: &StudyRecord) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        let plan = record.plan().map(|version| &version.plan);
        let quantity = faults.keep(quantity(typed, plan));
        let occasion = Occasion::typed("occasion", "The occasion", typed.text("occasion"));
        let occasion = faults.keep(occasion);
        let dimension = quantity.as_ref().map(Quantity::dimension);
        let known = record.instruments.iter().find(|instrument| {
            instrument.id.to_string() == typed.text("instrument")
                && Some(instrument.dimension) == dimension
        });
        if known.is_none() {
            faults.push("instrument", "Choose an instrument that measures this.");
        }
        let unit = dimension.map(|dimension| Unit::parse("unit", typed.text("unit"), dimension));
        let unit = unit.and_then(|unit| faults.keep(unit));
        let state = MoistureState::typed("state", "The moisture state", typed.text("state"));
        let state = faults.keep(state);
        let settings = || {
            Some(Self {
                quantity: quantity?,
                occasion: occasion?,
                instrument: known?.clone(),
                unit: unit?,
                state: state?,
            })
        };
        let settings = settings();
        faults.and_some(settings)
    }

    /// As pairs for an address or hidden fields.
    #[must_use]
    pub fn pairs(&self) -> [(&'static str, String); 5] {
        [
            ("quantity", self.quantity.clone().into()),
            ("occasion", self.occasion.key().to_owned()),
            ("instrument", self.instrument.id.to_string()),
            ("unit", self.unit.key().to_owned()),
            ("state", self.state.key().to_owned()),
        ]
    }

    /// The kind of reading that the round takes.
    #[must_use]
    pub fn kind(&self) -> Kind {
        (self.quantity.clone(), self.occasion, self.state)
    }

    /// In words: `mass, before exposure`.
    #[must_use]
    pub fn label(&self) -> String {
        format!("{}, {}", self.quantity.label(), self.occasion.label())
    }
}

/// Reads the quantity of a round: one that the plan calls for.
///
/// # Errors
/// A fault that lists what the plan calls for.
pub fn quantity(typed: &Typed, plan: Option<&Plan>) -> Result<Quantity, Fault> {
    let wanted = Quantity::try_from(typed.text("quantity").to_owned()).ok();
    let found = wanted.filter(|q| plan.is_some_and(|plan| plan.readings_of(q) > 0));
    found.ok_or_else(|| {
        let offered = plan.map(Plan::quantities).unwrap_or_default();
        let offered: Vec<&str> = offered.iter().map(Quantity::label).collect();
        let sentence = format!(
            "Choose what is measured; the plan calls for: {}.",
            offered.join(", ")
        );
        Fault::new("quantity", sentence)
    })
}

/// Whether a piece belongs into a round of an occasion.
#[must_use]
pub fn is_in(record: &StudyRecord, occasion: Occasion, piece: &SpecimenRecord) -> bool {
    match occasion {
        Occasion::Before if record.is_after_the_fact => {
            !piece.is_nameless && piece.whereabouts != Whereabouts::Rejected
        }
        Occasion::Before => piece.whereabouts == Whereabouts::Bench,
        Occasion::After => piece.whereabouts == Whereabouts::In,
    }
}

/// The pieces of a round of an occasion, in the order in which they are read: one stage after the
/// other, and within a stage exposed and storage-control pieces interleaved, so that a drift of the
/// instrument meets all groups alike. Before the allocation there is one group, in the order of the
/// numbers.
#[must_use]
pub fn pool(record: &StudyRecord, occasion: Occasion) -> Vec<&SpecimenRecord> {
    let mut groups: BTreeMap<(u32, &str), Vec<&SpecimenRecord>> = BTreeMap::new();
    let all = record.specimens.iter();
    for piece in all.filter(|piece| is_in(record, occasion, piece)) {
        let (stage, group) = match &piece.place {
            Some(Place::Exposed {
                condition,
                stage_days,
                ..
            }) => (*stage_days, condition.as_str()),
            _ => (0, ""),
        };
        // Before exposure no stage is apart from the others.
        let stage = if occasion == Occasion::Before {
            0
        } else {
            stage
        };
        groups.entry((stage, group)).or_default().push(piece);
    }
    let mut placed: Vec<((u32, f64), &SpecimenRecord)> = Vec::new();
    for ((stage, _), pieces) in &groups {
        let spots = spread_out(pieces.len());
        placed.extend(
            spots
                .zip(pieces)
                .map(|(spot, piece)| ((*stage, spot), *piece)),
        );
    }
    // A stable sort: of pieces at the same spot, the group that comes first in the alphabet leads.
    placed.sort_by(|((s, x), _), ((t, y), _)| s.cmp(t).then(x.total_cmp(y)));
    placed.into_iter().map(|(_, piece)| piece).collect()
}

/// Where `count` pieces of a group stand between 0 and 1, evenly.
fn spread_out(count: usize) -> impl Iterator<Item = f64> {
    let half = u32::try_from(count).unwrap_or(u32::MAX).max(1);
    (0..half).map(move |n| (f64::from(n) + 0.5) / f64::from(half))
}

/// How far a round has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Pieces with every reading that the plan calls for.
    pub done: usize,
    /// Pieces in the round.
    pub of: usize,
}

/// Counts the pieces that are done.
#[must_use]
pub fn progress(record: &StudyRecord, measured: &Measured<'_>, kind: &Kind) -> Progress {
    let Some(version) = record.plan() else {
        return Progress { done: 0, of: 0 };
    };
    let mut progress = Progress { done: 0, of: 0 };
    for piece in pool(record, kind.1) {
        progress.of += 1;
        let is_done = measured
            .free_repeat(&piece.code, kind, &version.plan)
            .is_none();
        progress.done += usize::from(is_done);
    }
    progress
}

/// The next piece that lacks a reading: the first after `last` in the round's order, then from the
/// top again.
#[must_use]
pub fn next<'r>(
    record: &'r StudyRecord,
    measured: &Measured<'_>,
    kind: &Kind,
    last: Option<&Code>,
) -> Option<&'r SpecimenRecord> {
    let plan = &record.plan()?.plan;
    let order = pool(record, kind.1);
    let due: Vec<&SpecimenRecord> = order
        .iter()
        .copied()
        .filter(|piece| measured.free_repeat(&piece.code, kind, plan).is_some())
        .collect();
    let place = |code: &Code| order.iter().position(|piece| piece.code == *code);
    let here = last.and_then(place);
    let is_later =
        |piece: &&&SpecimenRecord| here.is_none_or(|here| place(&piece.code) > Some(here));
    due.iter().find(is_later).or_else(|| due.first()).copied()
}
