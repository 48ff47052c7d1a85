//! Choosing pieces with a thumb: by condition, by holder, or one by one.

use super::piece_words::{pieces as count_words, plan_of};
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::fault::Fault;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::typed::Typed;

/// A condition, or what stands outside all conditions.
pub(super) struct Section {
    pub(super) key: String,
    pub(super) name: String,
    pub(super) groups: Vec<Group>,
}

/// A holder's pieces.
pub(super) struct Group {
    pub(super) key: String,
    pub(super) name: String,
    pub(super) pieces: Vec<Tickable>,
}

/// A piece that can be ticked.
pub(super) struct Tickable {
    pub(super) code: Code,
    pub(super) hint: String,
}

impl Section {
    /// How many pieces it holds.
    pub(super) fn len(&self) -> usize {
        self.groups.iter().map(|group| group.pieces.len()).sum()
    }

    /// `12 pieces`.
    pub(super) fn count(&self) -> String {
        count_words(self.len())
    }

    /// Whether a single group is all there is, so that one tick for all is enough.
    pub(super) fn is_single(&self) -> bool {
        self.groups.len() == 1
    }
}

/// The wanted pieces by condition and holder, in the order of the plan; then those without a place
/// in a condition.
pub(super) fn sections(
    record: &StudyRecord,
    is_wanted: impl Fn(&SpecimenRecord) -> bool,
) -> Vec<Section> {
    let wanted: Vec<&SpecimenRecord> = record.specimens.iter().filter(|p| is_wanted(p)).collect();
    let conditions = plan_of(record).map(|plan| plan.conditions.as_slice());
    let mut sections: Vec<Section> = Vec::new();
    for condition in conditions.unwrap_or_default() {
        let groups = condition.holders.iter().map(|holder| {
            let inside = wanted.iter().filter_map(|piece| match &piece.place {
                Some(Place::Exposed {
                    stage_days,
                    holder: own,
                    ..
                }) if *own == holder.key => Some(tickable(piece, format!("{stage_days} d"))),
                _ => None,
            });
            Group {
                key: format!("holder:{}", holder.key),
                name: holder.name.clone(),
                pieces: inside.collect(),
            }
        });
        sections.push(Section {
            key: format!("condition:{}", condition.key),
            name: condition.name.clone(),
            groups: groups.filter(|group| !group.pieces.is_empty()).collect(),
        });
    }
    sections.push(outside(&wanted));
    sections.retain(|section| section.len() > 0);
    sections
}

/// The pieces that have no place in a condition.
fn outside(wanted: &[&SpecimenRecord]) -> Section {
    let group = |key: &str, name: &str, is_in: fn(Option<&Place>) -> bool| Group {
        key: format!("role:{key}"),
        name: name.to_owned(),
        pieces: wanted
            .iter()
            .filter(|piece| is_in(piece.place.as_ref()))
            .map(|piece| tickable(piece, String::new()))
            .collect(),
    };
    let mut groups = vec![
        group("baseline", "baseline set", |place| {
            place == Some(&Place::Baseline)
        }),
        group("spare", "spares", |place| place == Some(&Place::Spare)),
        group("late", "late references", |place| {
            place == Some(&Place::LateReference)
        }),
        group("none", "not allocated", |place| place.is_none()),
    ];
    groups.retain(|group| !group.pieces.is_empty());
    Section {
        key: "outside".to_owned(),
        name: "In no condition".to_owned(),
        groups,
    }
}

fn tickable(piece: &SpecimenRecord, hint: String) -> Tickable {
    Tickable {
        code: piece.code.clone(),
        hint,
    }
}

/// The pieces that were ticked, singly or with their condition or holder, in the order of the page.
///
/// # Errors
/// When nothing is ticked, or something that the page did not offer.
pub(super) fn chosen(typed: &Typed, sections: &[Section]) -> Result<Vec<Code>, Fault> {
    let singly = typed.all("piece");
    let mut chosen: Vec<Code> = Vec::new();
    for section in sections {
        let has_section = typed.is("all", &section.key);
        for group in &section.groups {
            let has_group = has_section || typed.is("all", &group.key);
            let ticked = group.pieces.iter().filter(|piece| {
                has_group || singly.iter().any(|code| *code == piece.code.as_str())
            });
            chosen.extend(ticked.map(|piece| piece.code.clone()));
        }
    }
    let stray = singly
        .iter()
        .find(|code| !chosen.iter().any(|known| known.as_str() == **code));
    if let Some(stray) = stray {
        let shown: String = stray.chars().take(20).collect();
        return Err(Fault::new(
            "piece",
            format!("{shown} cannot be chosen here; look again."),
        ));
    }
    if chosen.is_empty() {
        return Err(Fault::new("piece", "Tick at least one piece."));
    }
    Ok(chosen)
}
