//! Packing as typed into a form: which pieces, for which lab, what became of their labels. What the
//! study says about the choice (left-out storage controls, missing readings, no seal yet) is asked
//! about once.

use super::{Contents, Label};
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::fault::{Fault, Faults};
use crate::study::reading::Occasion;
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::specimen::Whereabouts;
use crate::study::typed::Typed;

impl Contents {
    /// As stored in addresses and forms.
    #[must_use]
    pub fn key(self) -> String {
        match self {
            Self::Baseline => "baseline".to_owned(),
            Self::Stage { days } => format!("stage-{days}"),
        }
    }

    /// Reads the key.
    #[must_use]
    pub fn parse(key: &str) -> Option<Self> {
        if key == "baseline" {
            return Some(Self::Baseline);
        }
        let days = key.strip_prefix("stage-")?.parse().ok()?;
        Some(Self::Stage { days })
    }

    /// In words.
    #[must_use]
    pub fn label(self) -> String {
        match self {
            Self::Baseline => "baseline set".to_owned(),
            Self::Stage { days } => format!("stage of {days} days"),
        }
    }

    /// Whether a piece belongs to it, wherever it is now.
    #[must_use]
    pub fn holds(self, place: &Place) -> bool {
        match (self, place) {
            (Self::Baseline, Place::Baseline | Place::LateReference) => true,
            (Self::Stage { days }, Place::Exposed { stage_days, .. }) => days == *stage_days,
            _ => false,
        }
    }

    /// Where its pieces are when they can be packed.
    #[must_use]
    pub fn packed_from(self) -> Whereabouts {
        match self {
            Self::Baseline => Whereabouts::Bench,
            Self::Stage { .. } => Whereabouts::In,
        }
    }
}

/// What can be packed now.
#[derive(Debug, Clone, Copy)]
pub struct Packable<'r> {
    record: &'r StudyRecord,
    contents: Contents,
}

impl<'r> Packable<'r> {
    /// Of a study.
    #[must_use]
    pub fn new(record: &'r StudyRecord, contents: Contents) -> Self {
        Self { record, contents }
    }

    /// Every piece of these contents, wherever it is.
    fn all(self) -> impl Iterator<Item = &'r SpecimenRecord> {
        let holds = move |place: &Place| self.contents.holds(place);
        let pieces = self.record.specimens.iter();
        pieces.filter(move |piece| piece.place.as_ref().is_some_and(holds))
    }

    /// The pieces that can be packed, in the order of their codes' numbers.
    #[must_use]
    pub fn pieces(self) -> Vec<&'r SpecimenRecord> {
        let from = self.contents.packed_from();
        self.all()
            .filter(|piece| piece.whereabouts == from)
            .collect()
    }

    /// How many of its pieces are still out.
    #[must_use]
    pub fn still_out(self) -> usize {
        self.all()
            .filter(|piece| piece.whereabouts == Whereabouts::Out)
            .count()
    }

    /// Whether a piece is a storage control.
    #[must_use]
    pub fn is_storage_control(self, piece: &SpecimenRecord) -> bool {
        let plan = self.record.plan().map(|version| &version.plan);
        let control = plan.and_then(|plan| plan.storage_control());
        match (&piece.place, control) {
            (Some(Place::Exposed { condition, .. }), Some(control)) => *condition == control.key,
            _ => false,
        }
    }

    /// What should be asked about before these pieces are packed; empty when nothing is doubtful.
    #[must_use]
    pub fn doubts(self, chosen: &[Code]) -> Vec<String> {
        let mut doubts = Vec::new();
        if self.contents == Contents::Baseline && self.record.seal.is_none() {
            doubts.push(
                "The plan is not sealed. If the baseline is broken first, the public page will say \
                 “sealed knowing the baseline values”."
                    .to_owned(),
            );
        }
        if matches!(self.contents, Contents::Stage { .. }) {
            doubts.extend(self.control_doubt(chosen));
        }
        doubts.extend(self.unread_doubt(chosen));
        doubts
    }

    fn control_doubt(self, chosen: &[Code]) -> Option<String> {
        self.record.plan()?.plan.storage_control()?;
        let pieces = self.pieces();
        let here = pieces.iter().filter(|piece| self.is_storage_control(piece));
        let here: Vec<_> = here.collect();
        let left = here.iter().filter(|piece| !chosen.contains(&piece.code));
        match (here.len(), left.count()) {
            (0, _) => Some(
                "No storage control of this stage can be packed with them. Tested apart, exposed pieces \
                 and storage controls differ by the session as well."
                    .to_owned(),
            ),
            (_, 0) => None,
            (all, left) => Some(format!(
                "{left} of the {all} storage controls of this stage {} left out. Tested apart, exposed \
                 pieces and storage controls differ by the session as well.",
                if left == 1 { "is" } else { "are" }
            )),
        }
    }

    /// What breaks cannot be weighed again.
    fn unread_doubt(self, chosen: &[Code]) -> Option<String> {
        let plan = &self.record.plan()?.plan;
        let (occasion, words) = match self.contents {
            Contents::Baseline => (Occasion::Before, "on the bench"),
            Contents::Stage { .. } => (Occasion::After, "after exposure"),
        };
        let lacks = |code: &&Code| {
            plan.quantities().iter().any(|quantity| {
                let found = self.record.current_readings().filter(|read| {
                    let reading = &read.reading;
                    reading.specimen == **code
                        && reading.quantity == *quantity
                        && reading.occasion == occasion
                });
                found.count() < usize::from(plan.readings_of(quantity))
            })
        };
        let count = chosen.iter().filter(lacks).count();
        (count > 0).then(|| {
            let (piece, its) = if count == 1 { ("piece has", "It") } else { ("pieces have", "They") };
            format!(
                "{count} {piece} not all the readings {words} that the plan calls for. {its} cannot be \
                 measured once broken."
            )
        })
    }
}

/// A packing as typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packing {
    /// The lab, as the tester will read it.
    pub lab: String,
    /// The pieces of the set or stage with what became of their labels.
    pub pieces: Vec<(Code, Label)>,
    /// The pieces whose invalid tests are to be repeated on spares, and what becomes of the spares' labels.
    pub retests: Vec<Code>,
    /// The label of pieces without a word of their own.
    pub label: Option<Label>,
}

impl Packing {
    /// Reads the fields `lab`, `piece` and `retest` (once for each), `label` and `label-<code>`.
    ///
    /// # Errors
    /// Every fault of the form.
    pub fn parse(typed: &Typed) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        let lab = faults.keep(typed.required("lab", "The lab's name"));
        let mut pieces: Vec<(Code, Label)> = Vec::new();
        for text in typed.all("piece") {
            let Some(code) = faults.keep(piece("piece", text)) else {
                continue;
            };
            let label = faults.keep(label_of(typed, &code));
            if let (Some(label), false) = (label, pieces.iter().any(|(known, _)| *known == code)) {
                pieces.push((code, label));
            }
        }
        let mut retests: Vec<Code> = Vec::new();
        for text in typed.all("retest") {
            let Some(code) = faults.keep(piece("retest", text)) else {
                continue;
            };
            if !retests.contains(&code) {
                retests.push(code);
            }
        }
        let shared = Label::typed("label", "The labels", typed.text("label"));
        let label = match retests.is_empty() {
            true => shared.ok(),
            false => faults.keep(shared),
        };
        if typed.all("piece").is_empty() && typed.all("retest").is_empty() {
            faults.push("piece", "Choose at least one piece.");
        }
        // Every piece without a word of its own asks for the same one.
        let mut said = std::collections::BTreeSet::new();
        faults
            .0
            .retain(|fault| said.insert((fault.field.clone(), fault.sentence.clone())));
        faults.and_some(lab.map(|lab| Self {
            lab,
            pieces,
            retests,
            label,
        }))
    }
}

fn piece(field: &str, text: &str) -> Result<Code, Fault> {
    text.parse()
        .map_err(|_| Fault::new(field, format!("{text:?} is no code of a piece.")))
}

fn label_of(typed: &Typed, code: &Code) -> Result<Label, Fault> {
    let field = format!("label-{code}");
    match typed.text(&field) {
        "" => Label::typed("label", "The labels", typed.text("label")),
        own => Label::typed(&field, "The label", own),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(count: usize) -> Vec<Code> {
        Code::run("KT", 0)
            .take(count)
            .map(|(_, code)| code)
            .collect()
    }

    #[test]
    fn each_piece_has_its_label_or_the_common_one() {
        let codes = codes(2);
        let mut typed = Typed::from([("lab", "college"), ("label", "removed")]);
        typed.add("piece", codes[0].as_str());
        typed.add("piece", codes[1].as_str());
        typed.set(&format!("label-{}", codes[1]), "covered");
        let packing = Packing::parse(&typed).unwrap();
        let labels: Vec<Label> = packing.pieces.iter().map(|(_, label)| *label).collect();
        assert_eq!(labels, [Label::Removed, Label::Covered]);
    }

    #[test]
    fn a_packing_without_lab_label_or_pieces_says_so() {
        let faults = Packing::parse(&Typed::default()).unwrap_err();
        assert!(faults.for_field("lab").is_some() && faults.for_field("piece").is_some());
        let mut typed = Typed::from([("lab", "college")]);
        for code in codes(3) {
            typed.add("piece", code.as_str());
        }
        let faults = Packing::parse(&typed).unwrap_err();
        assert_eq!(
            faults.iter().count(),
            1,
            "asked for once, not for every piece"
        );
        assert!(faults.for_field("label").is_some());
    }

    #[test]
    fn contents_come_back_from_their_key() {
        for contents in [Contents::Baseline, Contents::Stage { days: 180 }] {
            assert_eq!(Contents::parse(&contents.key()), Some(contents));
        }
        assert_eq!(Contents::parse("stage-x"), None);
    }
}
