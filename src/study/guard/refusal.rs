//! Every reason for which an entry is refused, each with its sentence and a way to mend it.

use std::fmt;

use crate::study::code::Code;
use crate::study::specimen::Whereabouts;

/// Why an entry is refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refusal {
    /// The entry needs a reason in words and has none.
    ReasonMissing,
    /// A day or moment lies outside of the years that can be counted with.
    NoSuchDay(String),
    /// What happened to a holder ends before it begins.
    OverBeforeItBegan,
    /// The entry belongs to another chain.
    WrongChain,
    /// There is no such study.
    NoSuchStudy,
    /// The study was started already.
    StudyExists,
    /// Another study has this address.
    AddressTaken,
    /// The sender has no part in this study or consignment.
    NotYours,
    /// The lab link has ended or was revoked.
    LinkEnded,
    /// The plan is sealed.
    AlreadySealed,
    /// The plan is not sealed yet.
    NotSealed,
    /// There is no plan yet.
    NoPlan,
    /// The plan was written again since the page was opened.
    PlanChanged,
    /// No allocation was drawn for the plan as it is.
    NotDrawn,
    /// An amendment would remove a condition, holder or stage that pieces stand in.
    StillInUse,
    /// The account is a steward already.
    StewardAlready,
    /// The account is no steward.
    NoSteward,
    /// The last steward cannot leave.
    LastSteward,
    /// The instrument is on record already.
    InstrumentExists,
    /// The instrument is not on record or does not measure this.
    WrongInstrument,
    /// The number does not follow the last one.
    WrongNumber,
    /// The study is private.
    StillPrivate,
    /// A published edition keeps its address.
    EditionsStand,
    /// There is no such edition.
    NoSuchEdition,
    /// There is no such entry in this study.
    NoSuchEntry,
    /// A piece that the photograph shows is not unblinded yet.
    StillBlind,
    /// Nobody said that a photograph of the study as a whole tells no piece.
    NotLookedAt,
    /// The entry has no note.
    NothingToErase,
    /// The entry was corrected or declared void before.
    AlreadySuperseded,
    /// Later entries rest on it.
    RestedOn,
    /// An entry of this kind cannot be declared void.
    CannotBeVoid,
    /// The correction is about another piece.
    OtherPiece,
    /// There is no such piece in this study.
    NoSuchSpecimen(Code),
    /// The code exists already.
    CodeTaken(Code),
    /// A piece stands twice in the entry.
    NamedTwice(Code),
    /// The entry names no piece.
    NoPieces,
    /// The piece is not where the entry needs it.
    Elsewhere(Code, Whereabouts),
    /// The piece has no place in the allocation, or one that does not fit.
    NotAllocated(Code),
    /// The piece has not all readings that the plan calls for.
    Unmeasured(Code, String),
    /// The piece is not dry by the plan's rule.
    NotConstant(Code),
    /// This reading is on record already.
    AlreadyRead(Code),
    /// The plan does not call for this quantity.
    NotPlanned,
    /// A value that no instrument shows.
    Impossible,
    /// A published figure without its citation.
    NoCitation,
    /// A published figure that is no share of a start after a time.
    NoShare,
    /// The allocation cannot change any more.
    AllocationInUse,
    /// The allocation does not fit the plan or the pieces.
    WrongAllocation,
    /// No such holder in the plan.
    NoSuchHolder,
    /// The time lies in the future.
    InTheFuture,
    /// The time lies before the piece's last event.
    BeforeLastEvent(Code),
    /// There is no such consignment in this study.
    NoSuchConsignment,
    /// Pieces of different stages, or baseline pieces among others.
    MixedContents,
    /// The spare cannot stand for an invalid test, and why.
    NoRetest(Code, &'static str),
    /// There is no such blind code in this consignment.
    NoSuchPiece,
    /// The piece did not arrive.
    NotArrived,
    /// The piece has a test already.
    AlreadyTested,
    /// Earlier pieces of the order have no test yet.
    OutOfOrder,
    /// The piece is earlier in the order than said.
    LoadMissing,
    /// The shares of a failure do not make 100 %.
    SharesNotWhole,
    /// The consignment is finished.
    AlreadyFinished,
    /// The consignment is not finished.
    NotFinished,
    /// Some pieces have neither a test nor a missing mark.
    TestsMissing(usize),
    /// Some pieces have no mark for what they looked like.
    LooksMissing(usize),
    /// The consignment is unblinded and locked.
    AlreadyUnblinded,
    /// The link does not belong to this consignment.
    NoSuchLink,
    /// The consignments are of one lab already.
    SameLab,
    /// The item is not in this lab's record.
    NoSuchEquipment,
    /// Nothing there differs from what was sent.
    NothingDiffers,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchSpecimen(code) => write!(f, "There is no specimen {code} in this study."),
            Self::CodeTaken(code) => write!(f, "The code {code} exists already."),
            Self::NamedTwice(code) => write!(f, "The code {code} is named twice."),
            Self::Elsewhere(code, where_) => write!(f, "{code} is {}.", where_.label()),
            Self::NotAllocated(code) => {
                write!(f, "{code} has no place in the allocation that fits this.")
            }
            Self::Unmeasured(code, missing) => write!(
                f,
                "{code} cannot go out yet: {missing} before exposure is not on record. Measure it, or \
                 waive it with a reason, which the public page will show."
            ),
            Self::NotConstant(code) => write!(
                f,
                "{code} is not dry by the plan's rule yet, so this is no final mass. Go on with its drying \
                 round, or override the rule with a reason, which the public page will show."
            ),
            Self::AlreadyRead(code) => write!(
                f,
                "This reading of {code} is on record already; correct it with a reason instead."
            ),
            Self::NoRetest(code, why) => {
                write!(f, "{code} cannot stand for an invalid test: {why}.")
            }
            Self::NoSuchDay(day) => {
                let (first, last) = (super::YEARS.start(), super::YEARS.end());
                write!(f, "{day} must lie between the years {first} and {last}.")
            }
            Self::BeforeLastEvent(code) => write!(
                f,
                "The time lies before the last thing that happened to {code}; check the date, or \
                 confirm it."
            ),
            Self::TestsMissing(count) => write!(
                f,
                "{count} {} neither a test nor the mark that it did not arrive.",
                if *count == 1 {
                    "piece has"
                } else {
                    "pieces have"
                }
            ),
            Self::LooksMissing(count) => write!(
                f,
                "For {count} {} it is not yet said what it looked like.",
                if *count == 1 { "piece" } else { "pieces" }
            ),
            other => f.write_str(other.sentence()),
        }
    }
}

impl Refusal {
    fn sentence(&self) -> &'static str {
        match self {
            Self::ReasonMissing => "This needs a reason in words.",
            Self::WrongChain => "This entry belongs to another journal.",
            Self::NoSuchStudy => "There is no such study.",
            Self::StudyExists => "This study exists already.",
            Self::AddressTaken => "Another study on this server has this address; choose another.",
            Self::NotYours => "You have no part in this.",
            Self::LinkEnded => "This lab link has ended; ask the steward to extend it.",
            Self::AlreadySealed => "The plan is sealed; change it by an amendment with a reason.",
            Self::NotSealed => "The plan must be sealed first.",
            Self::NoPlan => "Write the plan down first.",
            Self::PlanChanged => {
                "The plan was written again since this page was opened; look at it again."
            }
            Self::NotDrawn => "Draw the allocation for the plan as it is now, then seal it.",
            Self::StillInUse => {
                "A condition, holder or stage that pieces may stand in cannot be removed any more, nor the \
                storage control be another one."
            }
            Self::StewardAlready => "This account is a steward of the study already.",
            Self::NoSteward => "This account is no steward of the study.",
            Self::LastSteward => "The last steward cannot leave; add another one first.",
            Self::InstrumentExists => "This instrument is on record already.",
            Self::WrongInstrument => {
                "Choose an instrument of this study that measures this quantity."
            }
            Self::WrongNumber => "Another one came first; look again.",
            Self::StillPrivate => "Open the study's public page before publishing an edition.",
            Self::EditionsStand => {
                "A published edition keeps its address, so the study stays public; what the law forbids \
                is withdrawn edition by edition."
            }
            Self::NoSuchEdition => "There is no such edition.",
            Self::NoSuchEntry => "There is no such entry in this study.",
            Self::StillBlind => {
                "A piece that it shows is not unblinded yet: until then no picture of it may be public."
            }
            Self::NotLookedAt => {
                "Look at it once more, and say that no code, label or place of a piece can be read in it."
            }
            Self::NothingToErase => "There is nothing left to erase.",
            other => other.sentence_about_pieces(),
        }
    }

    fn sentence_about_pieces(&self) -> &'static str {
        match self {
            Self::AlreadySuperseded => "It was corrected or declared void before; look again.",
            Self::RestedOn => "Later entries rest on it; undo those first.",
            Self::CannotBeVoid => "An entry of this kind cannot be declared void.",
            Self::OtherPiece => "A correction must be about the same piece and the same reading.",
            Self::NoPieces => "Name at least one piece.",
            Self::NotPlanned => "The plan does not call for this reading.",
            Self::Impossible => "No instrument shows such a value.",
            Self::NoCitation => {
                "A published figure needs its citation: authors, title, place, year."
            }
            Self::NoShare => {
                "A published figure is a share of the start in %, after more than 0 days, with its ends on \
                 either side of it."
            }
            Self::AllocationInUse => "Pieces are out or packed: the allocation stays as it is.",
            Self::WrongAllocation => {
                "The allocation does not fit the plan or the pieces; draw it again."
            }
            Self::NoSuchHolder => "There is no such holder in the plan.",
            Self::OverBeforeItBegan => "The last day lies before the first one.",
            Self::InTheFuture => "The time lies in the future; check the date, or confirm it.",
            Self::NoSuchConsignment => "There is no such consignment in this study.",
            Self::MixedContents => {
                "A consignment holds either the baseline set alone or pieces of one stage."
            }
            Self::SharesNotWhole => {
                "The shares of the failure lie between 0 and 100 % and sum to 100 %."
            }
            Self::NoSuchPiece => "There is no such code in this consignment.",
            Self::NotArrived => "This piece is marked as not in the box.",
            Self::AlreadyTested => {
                "This piece has a test already; correct it with a reason instead."
            }
            Self::OutOfOrder => {
                "Pieces before it in the order have no test yet; break the order only with a reason."
            }
            Self::LoadMissing => "The maximum load is missing.",
            Self::AlreadyFinished => "The consignment is finished; the steward can open it again.",
            Self::NotFinished => {
                "The consignment is not finished; unblinding it early needs a reason."
            }
            Self::AlreadyUnblinded => "The consignment is unblinded and locked.",
            Self::NoSuchLink => "There is no such lab link.",
            Self::SameLab => "These consignments are of one lab already.",
            Self::NoSuchEquipment => "There is no such item in this lab's record.",
            Self::NothingDiffers => "Nothing there differs from what was sent; look again.",
            _ => "This is not possible now.",
        }
    }

    /// The piece that it names.
    #[must_use]
    pub fn piece(&self) -> Option<&Code> {
        match self {
            Self::NoSuchSpecimen(code)
            | Self::CodeTaken(code)
            | Self::NamedTwice(code)
            | Self::Elsewhere(code, _)
            | Self::NotAllocated(code)
            | Self::Unmeasured(code, _)
            | Self::NotConstant(code)
            | Self::AlreadyRead(code)
            | Self::NoRetest(code, _)
            | Self::BeforeLastEvent(code) => Some(code),
            _ => None,
        }
    }

    /// Whether confirming what was typed is enough to go on.
    #[must_use]
    pub fn is_doubt(&self) -> bool {
        matches!(self, Self::BeforeLastEvent(_) | Self::InTheFuture)
    }
}
