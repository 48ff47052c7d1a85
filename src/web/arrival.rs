//! What arrived, as both sides see it: the same lines, the same words, under blind codes. Nothing here
//! knows what stands behind a code.

use crate::study::consignment::Arrival;
use crate::study::custody::line;
use crate::study::fault::Faults;
use crate::study::receipt::About;
use crate::study::record::{ArrivalShot, ConsignmentRecord, SettlementRecord, TransitRecord};
use crate::study::typed::Typed;
use crate::study::when;

/// A parcel as it was sent and as it arrived.
pub(super) struct ArrivalView {
    /// How many pieces were sent, and how many were ticked off as there.
    pub(super) counts: String,
    /// Heading and words of the parcel as a whole.
    pub(super) facts: Vec<(&'static str, String)>,
    /// The pieces in the order of testing.
    pub(super) lines: Vec<ArrivalLine>,
    /// What arrived otherwise than it was sent.
    pub(super) differences: Vec<DifferenceLine>,
    /// Photographs of what arrived.
    pub(super) shots: Vec<ShotLine>,
    /// Loggers that travelled along.
    pub(super) transits: Vec<TransitLine>,
}

/// A piece on the list.
pub(super) struct ArrivalLine {
    pub(super) position: u32,
    pub(super) code: String,
    pub(super) state: &'static str,
    pub(super) remark: String,
    /// The part of its chain of custody that concerns the consignment.
    pub(super) way: String,
}

/// Something that arrived otherwise than it was sent.
pub(super) struct DifferenceLine {
    pub(super) about: String,
    pub(super) words: String,
    pub(super) settled: Vec<String>,
}

/// A photograph of what arrived.
pub(super) struct ShotLine {
    pub(super) entry: String,
    pub(super) size: (u32, u32),
    pub(super) shows: String,
    pub(super) note: String,
    pub(super) is_erased: bool,
}

/// A logger that travelled along.
pub(super) struct TransitLine {
    pub(super) name: String,
    pub(super) period: String,
    pub(super) rows: u32,
    pub(super) extremes: Vec<String>,
    pub(super) file: String,
}

impl ArrivalView {
    /// Of a consignment; moments in this zone. `tells_tests`: whether it may say when a piece was
    /// tested.
    pub(super) fn of(one: &ConsignmentRecord, zone: &str, tells_tests: bool) -> Self {
        let lines = one.pieces.iter().map(|piece| {
            let steps = line::with_the_lab(one, piece, tells_tests);
            ArrivalLine {
                position: piece.position,
                code: piece.blind.to_string(),
                state: piece.arrival.map_or("not ticked off yet", Arrival::label),
                remark: piece.arrival_note.clone().unwrap_or_default(),
                way: line::in_words(&steps, zone),
            }
        });
        let differences = one.settled_differences().into_iter();
        let differences = differences.map(|(difference, settled)| DifferenceLine {
            about: difference.about.to_string(),
            words: difference.words,
            settled: settled.iter().map(|one| settled_words(one, zone)).collect(),
        });
        let transits = one.custody.transits.iter();
        Self {
            counts: counts(one),
            facts: facts(one, zone),
            lines: lines.collect(),
            differences: differences.collect(),
            shots: one.custody.photographs.iter().map(ShotLine::of).collect(),
            transits: transits.map(|found| TransitLine::of(found, zone)).collect(),
        }
    }

    /// How many differences nobody has settled.
    pub(super) fn unsettled(&self) -> usize {
        let open = self.differences.iter().filter(|one| one.settled.is_empty());
        open.count()
    }

    /// The differences, as a form offers them; those that are settled last.
    pub(super) fn offered(&self) -> Vec<(String, String)> {
        let mut offered: Vec<_> = self.differences.iter().collect();
        offered.sort_by_key(|one| !one.settled.is_empty());
        let pair = |one: &DifferenceLine| (one.about.clone(), one.words.clone());
        offered.into_iter().map(pair).collect()
    }
}

fn counts(one: &ConsignmentRecord) -> String {
    let sent = one.pieces.len();
    let ticked = |piece: &&crate::study::record::PieceRecord| piece.arrival.is_some();
    let missing =
        |piece: &&crate::study::record::PieceRecord| piece.arrival == Some(Arrival::Missing);
    let seen = one.pieces.iter().filter(ticked).count();
    let gone = one.pieces.iter().filter(missing).count();
    match seen {
        0 => format!("{sent} sent; not ticked off yet."),
        seen if seen < sent => format!(
            "{sent} sent; {} ticked off as arrived, {gone} as missing, {} not ticked off yet.",
            seen - gone,
            sent - seen
        ),
        seen => format!("{sent} sent; {} arrived, {gone} missing.", seen - gone),
    }
}

fn facts(one: &ConsignmentRecord, zone: &str) -> Vec<(&'static str, String)> {
    let custody = &one.custody;
    let mut facts = Vec::new();
    if let Some(number) = &custody.seal_number {
        facts.push(("Sealed with", format!("number {number}")));
    }
    if let Some(receipt) = &custody.receipt {
        facts.push(("Opened", when::in_words(receipt.at, zone)));
        facts.push(("Counted in it", receipt.count.to_string()));
        facts.push(("Seal on arrival", receipt.seal_words()));
    }
    if let Some(note) = &custody.receipt_note {
        facts.push(("Remark", note.clone()));
    }
    facts
}

fn settled_words(one: &SettlementRecord, zone: &str) -> String {
    let by = if one.is_of_lab {
        "the lab"
    } else {
        "the steward"
    };
    let day = when::day_in_words(one.at, zone);
    format!("{by}, {day}: {}", one.words)
}

impl ShotLine {
    fn of(shot: &ArrivalShot) -> Self {
        let codes: Vec<String> = shot.blinds.iter().map(ToString::to_string).collect();
        Self {
            entry: shot.entry.to_string(),
            size: (shot.files.width, shot.files.height),
            shows: if codes.is_empty() {
                "the parcel".to_owned()
            } else {
                codes.join(", ")
            },
            note: shot.note.clone().unwrap_or_default(),
            is_erased: shot.is_erased,
        }
    }
}

impl TransitLine {
    fn of(found: &TransitRecord, zone: &str) -> Self {
        let transit = &found.transit;
        let words = |at| when::in_words(at, zone);
        let extremes = transit.extremes.iter().map(|one| {
            let (label, unit) = (one.measurand.label(), one.measurand.unit());
            format!("{label} {:.1} to {:.1} {unit}", one.lowest, one.highest)
        });
        Self {
            name: transit.name.clone(),
            period: format!("{} to {}", words(transit.first), words(transit.last)),
            rows: transit.rows,
            extremes: extremes.collect(),
            file: transit.file_sha256.clone(),
        }
    }
}

/// What a form settles, and how.
///
/// # Errors
/// Every fault of the form.
pub(super) fn settled(typed: &Typed, view: &ArrivalView) -> Result<(About, String), Faults> {
    let mut faults = Faults::none();
    let about = typed.text("about");
    let is_there = view.differences.iter().any(|one| one.about == about);
    let read: Option<About> = about.parse().ok().filter(|_| is_there);
    if read.is_none() {
        faults.push("about", "Choose one of the differences.");
    }
    let words = faults.keep(typed.paragraph("words", "How it was settled"));
    if words.as_ref().is_some_and(String::is_empty) {
        faults.push("words", "Say in words how it was settled.");
    }
    let both = read.zip(words);
    faults.and_some(both)
}
