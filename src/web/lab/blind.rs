//! The blind side of a consignment: what its tester may know. The only place of this face that
//! touches the study's record, and it copies out of it by name.

use crate::analysis::change::bench;
use crate::analysis::property::Sizes;
use crate::study::break_test::instructions::instructions;
use crate::study::break_test::{Looks, TestSession};
use crate::study::code::{BlindCode, Code};
use crate::study::consignment::Arrival;
use crate::study::curve::KeptCurve;
use crate::study::equipment::flag::EquipmentFlag;
use crate::study::ids::{ConsignmentId, EntryId, LinkId, StudyId};
use crate::study::plan::{Shape, SpecimenForm, TestKind, TestMethod};
use crate::study::reading::Reading;
use crate::study::receipt::ParcelReceipt;
use crate::study::record::{
    ArrivalShot, ConsignmentRecord, EquipmentRecord, PieceRecord, Standing, StudyRecord, TestRecord,
};
use crate::study::when;
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act::Acting;
use crate::web::arrival::ArrivalView;
use crate::web::fault::WebFault;
use std::collections::BTreeMap;

/// A consignment as its tester sees it.
pub(super) struct Blind {
    /// The link by which it was reached.
    pub(super) link: LinkId,
    /// The study that entries go to; never shown but in the receipt's line.
    pub(super) study: StudyId,
    /// Its id.
    pub(super) id: ConsignmentId,
    /// The lab, as both sides call it.
    pub(super) lab: String,
    /// The pieces in the order of testing.
    pub(super) pieces: Vec<Piece>,
    /// What was set up.
    pub(super) session: Option<TestSession>,
    /// The sessions in which tests were made, each as it was set last.
    pub(super) sessions: Vec<TestSession>,
    /// How a piece is to be tested: heading and words.
    pub(super) instructions: Vec<(&'static str, String)>,
    /// The fall of the load that ends a test by the plan, as a share of its peak; `None` where the plan
    /// ends it otherwise.
    pub(super) end_drop: Option<f64>,
    /// The shape of the pieces.
    pub(super) shape: Shape,
    /// How they are tested, where properties are worked out.
    pub(super) method: Option<TestMethod>,
    /// When it was declared finished, in words.
    pub(super) finished: Option<String>,
    /// Whether the steward has unblinded and so locked it.
    pub(super) is_locked: bool,
    /// What arrived, as both sides see it.
    pub(super) arrival: ArrivalView,
    /// How the parcel was opened, when that is on record, and the remark beside it.
    pub(super) receipt: Option<ParcelReceipt>,
    pub(super) receipt_note: Option<String>,
    /// Photographs of what arrived.
    pub(super) shots: Vec<ArrivalShot>,
    /// The lab's own record: every version of every item.
    pub(super) equipment: Vec<EquipmentRecord>,
    /// What the lab set up for its consignment before this one.
    pub(super) previous: Option<TestSession>,
    /// The curve that counts of each piece that has one.
    pub(super) curves: Vec<KeptCurve>,
    /// The journal's head: number of entries and hash of the last.
    pub(super) head: (u64, String),
}

/// A piece as its tester sees it.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    /// Its code.
    pub(super) blind: BlindCode,
    /// Its place in the order, from 1.
    pub(super) position: u32,
    /// How it arrived.
    pub(super) arrival: Option<Arrival>,
    /// What was remarked then.
    pub(super) arrival_note: Option<String>,
    /// What it looked like.
    pub(super) looks: Option<Looks>,
    /// Its tests, the one that counts last.
    pub(super) tests: Vec<TestRecord>,
    /// Its sizes, as far as its stress rests on them.
    pub(super) sizes: Sizes,
    /// What is to be known of the instruments behind the test that counts.
    pub(super) flags: Vec<EquipmentFlag>,
}

impl Blind {
    /// The consignment that the link opens.
    pub(super) async fn load(app: &App, lab: &LabAccess) -> Result<Self, WebFault> {
        let record = lab.record(app).await?;
        let found = record.consignment(lab.target.consignment);
        let consignment = found.ok_or(WebFault::NotFound)?;
        let mut blind = Self::of(&record, consignment, lab.link);
        blind.curves = app.store.curves_of(blind.id).await?;
        Ok(blind)
    }

    /// The same while its tester may still write.
    pub(super) async fn load_open(app: &App, lab: &LabAccess) -> Result<Self, WebFault> {
        let blind = Self::load(app, lab).await?;
        blind.must_be_open()?;
        Ok(blind)
    }

    fn of(record: &StudyRecord, consignment: &ConsignmentRecord, link: LinkId) -> Self {
        let form = record.plan().map(|version| &version.plan.form);
        let sizes = sizes(record, consignment);
        let sizes = |code: &Code| sizes.get(code).copied().unwrap_or_default();
        Self {
            link,
            study: record.id,
            id: consignment.id,
            lab: consignment.lab.clone(),
            pieces: consignment
                .pieces
                .iter()
                .map(|piece| Piece::of(piece, consignment, record, sizes(&piece.specimen)))
                .collect(),
            session: consignment.session.clone(),
            sessions: consignment.used_sessions().into_iter().cloned().collect(),
            instructions: form.map(instructions).unwrap_or_default(),
            end_drop: form.and_then(SpecimenForm::end_drop),
            shape: form.map_or(Shape::LoadOnly, |form| form.shape),
            method: form.and_then(|form| form.method),
            finished: consignment
                .finished_at
                .map(|at| format!("{} UTC", when::in_words(at, "UTC"))),
            is_locked: !consignment.is_blind(),
            arrival: ArrivalView::of(consignment, "UTC", true),
            receipt: consignment.custody.receipt.clone(),
            receipt_note: consignment.custody.receipt_note.clone(),
            shots: consignment.custody.photographs.clone(),
            equipment: record.equipment_of(consignment).cloned().collect(),
            previous: previous(record, consignment),
            curves: Vec::new(),
            head: (record.entries, record.head.clone()),
        }
    }

    /// Where its pages begin.
    pub(super) fn address(&self) -> String {
        format!("/lab/{}", self.link)
    }

    /// Where the photographs of what arrived stand.
    pub(super) fn photographs(&self) -> String {
        format!("{}/parcel/photographs", self.address())
    }

    /// Where a difference is settled.
    pub(super) fn settle_address(&self) -> String {
        format!("{}/parcel/settle", self.address())
    }

    /// A version of an item of the lab's record.
    pub(super) fn item(&self, entry: EntryId) -> Result<&EquipmentRecord, WebFault> {
        let found = self.equipment.iter().find(|one| one.entry == entry);
        found.ok_or(WebFault::NotFound)
    }

    /// What the lab calls the load cell of the set-up.
    pub(super) fn cell_name(&self) -> Option<String> {
        let cell = self.session.as_ref()?.used.cell?;
        let mut current = self.equipment.iter().filter(|one| one.is_current());
        let found = current.find(|one| one.item == cell)?;
        Some(found.equipment.name.clone())
    }

    /// Whoever sends through this link.
    pub(super) fn acting(&self, lab: &LabAccess) -> Acting {
        Acting::tester(lab, self.study)
    }

    /// Whether the tester may still write.
    pub(super) fn is_open(&self) -> bool {
        self.finished.is_none() && !self.is_locked
    }

    /// Refuses what comes after the end.
    pub(super) fn must_be_open(&self) -> Result<(), WebFault> {
        if self.is_open() {
            return Ok(());
        }
        let sentence = if self.is_locked {
            "The steward has unblinded this consignment: it is locked, and nothing was changed."
        } else {
            "This consignment was declared finished, so nothing was changed. The steward can open it \
             again."
        };
        Err(WebFault::Conflict(sentence.to_owned()))
    }

    /// The piece with this code.
    pub(super) fn piece(&self, code: &str) -> Result<&Piece, WebFault> {
        let code: BlindCode = code.parse().map_err(|_| WebFault::NotFound)?;
        let found = self.pieces.iter().find(|piece| piece.blind == code);
        found.ok_or(WebFault::NotFound)
    }

    /// The pieces that are there to be tested.
    pub(super) fn present(&self) -> impl Iterator<Item = &Piece> {
        self.pieces.iter().filter(|piece| !piece.is_missing())
    }

    /// How many pieces have a test.
    pub(super) fn done(&self) -> usize {
        self.present()
            .filter(|piece| piece.test().is_some())
            .count()
    }

    /// The first piece after a place in the order that has no test yet, or the first of all.
    pub(super) fn next_after(&self, position: u32) -> Option<&Piece> {
        let open = || self.present().filter(|piece| piece.test().is_none());
        open()
            .find(|piece| piece.position > position)
            .or_else(|| open().next())
    }

    /// The curve that counts of a piece.
    pub(super) fn curve_of(&self, code: &BlindCode) -> Option<&KeptCurve> {
        self.curves.iter().find(|curve| curve.blind == *code)
    }

    /// Whether the pieces are struck.
    pub(super) fn is_impact(&self) -> bool {
        self.method.is_some_and(|m| m.kind == TestKind::Impact)
    }

    /// Whether a bond is pulled off.
    pub(super) fn is_pull_off(&self) -> bool {
        self.method.is_some_and(|m| m.kind == TestKind::PullOff)
    }

    /// How many pieces are not ticked off.
    pub(super) fn not_ticked(&self) -> usize {
        self.pieces
            .iter()
            .filter(|piece| piece.arrival.is_none())
            .count()
    }

    /// The loads that count, of every piece but one, in N.
    pub(super) fn other_loads(&self, but: &BlindCode) -> Vec<f64> {
        let others = self.pieces.iter().filter(|piece| piece.blind != *but);
        others
            .filter_map(|piece| piece.test()?.test.max_load_n)
            .collect()
    }

    /// "24 pieces" or "1 piece".
    pub(super) fn count(&self) -> String {
        counted(self.pieces.len(), "piece", "pieces")
    }
}

impl Piece {
    fn of(
        piece: &PieceRecord,
        consignment: &ConsignmentRecord,
        record: &StudyRecord,
        sizes: Sizes,
    ) -> Self {
        let tests = consignment.tests.iter();
        let own = tests.filter(|test| test.test.blind == piece.blind);
        let test = consignment.test_of(&piece.blind);
        Self {
            blind: piece.blind.clone(),
            position: piece.position,
            arrival: piece.arrival,
            arrival_note: piece.arrival_note.clone(),
            looks: piece.looks,
            tests: own.map(without_steward).collect(),
            sizes,
            flags: test.map_or_else(Vec::new, |test| record.equipment_flags(consignment, test)),
        }
    }

    /// Not in the box.
    pub(super) fn is_missing(&self) -> bool {
        self.arrival == Some(Arrival::Missing)
    }

    /// The test that counts.
    pub(super) fn test(&self) -> Option<&TestRecord> {
        self.tests
            .iter()
            .find(|test| test.standing == Standing::Current)
    }
}

/// The sizes of a consignment's pieces. They tell nothing of a piece's group: they are those from before
/// exposure, or, where the plan says so, what the tester would find on measuring.
fn sizes<'r>(
    record: &'r StudyRecord,
    consignment: &'r ConsignmentRecord,
) -> BTreeMap<&'r Code, Sizes> {
    let Some(plan) = record.plan().map(|version| &version.plan) else {
        return BTreeMap::new();
    };
    if plan.form.shape == Shape::LoadOnly {
        return BTreeMap::new();
    }
    let mut readings: BTreeMap<&Code, Vec<&Reading>> = BTreeMap::new();
    for piece in &consignment.pieces {
        // A nameless piece has no readings of its own.
        let specimen = record.specimen(&piece.specimen);
        if specimen.is_some_and(|found| !found.is_nameless) {
            readings.insert(&piece.specimen, Vec::new());
        }
    }
    for found in record.current_readings() {
        if let Some(list) = readings.get_mut(&found.reading.specimen) {
            list.push(&found.reading);
        }
    }
    let bench = bench(&record.instruments);
    let sized = |(code, list): (&'r Code, Vec<&Reading>)| (code, Sizes::of(plan, &list, &bench));
    readings.into_iter().map(sized).collect()
}

/// The set-up of the lab's consignment before this one, for its next to begin with. Of that
/// consignment nothing else goes to this link.
fn previous(record: &StudyRecord, consignment: &ConsignmentRecord) -> Option<TestSession> {
    let lab = consignment.lab_id();
    let others = record.consignments.iter();
    let mut before = others.filter(|one| {
        one.id != consignment.id && one.lab_id() == lab && one.packed_at <= consignment.packed_at
    });
    let own = before.rfind(|one| one.session.is_some());
    let own = own.and_then(|one| one.session.clone());
    // What the steward brought over from another study of the same lab.
    let mut session = own.or_else(|| consignment.brought.clone())?;
    session.consignment = consignment.id;
    Some(session)
}

/// A correction after unblinding is the steward's, and so are its words.
fn without_steward(test: &TestRecord) -> TestRecord {
    let mut test = test.clone();
    if test.is_knowing_group {
        test.note = None;
    }
    test
}

/// "1 piece", "2 pieces".
pub(super) fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}
