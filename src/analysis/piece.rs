//! One piece as the analysis sees it: where it belongs, what was read, and what came of it.
//! [`super::gather`] makes these from the record, and only of pieces that are not blind any more.

mod value;

pub use value::{Value, ValueKind};

use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::analysis::property::PieceProperty;
use crate::study::break_test::FailureMode;
use crate::study::break_test::failure::FailureShares;
use crate::study::code::Code;
use crate::study::plan::Plan;
use crate::study::reading::{MoistureState, Quantity};
use crate::study::specimen::{Identity, Recovery};

/// What a piece is called: its code, or what a file calls it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct PieceName(String);

impl PieceName {
    /// A name from a file.
    #[must_use]
    pub fn new(name: impl Into<String>) -> Self {
        Self(name.into())
    }

    /// As printed.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl From<&Code> for PieceName {
    fn from(code: &Code) -> Self {
        Self(code.as_str().to_owned())
    }
}

impl fmt::Display for PieceName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The set of like pieces to which a piece belongs.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "set")]
pub enum Group {
    /// Broken at the start.
    Baseline,
    /// Made later for comparison; never called baseline.
    LateReference,
    /// A condition at a stage, the storage control among them.
    Cell {
        /// Key of the condition.
        condition: String,
        /// Days of the stage.
        stage_days: u32,
    },
}

impl Group {
    /// A condition at a stage.
    #[must_use]
    pub fn cell(condition: &str, stage_days: u32) -> Self {
        Self::Cell {
            condition: condition.to_owned(),
            stage_days,
        }
    }

    /// Days of the stage; `None` for baseline and late reference.
    #[must_use]
    pub fn stage_days(&self) -> Option<u32> {
        match self {
            Self::Cell { stage_days, .. } => Some(*stage_days),
            Self::Baseline | Self::LateReference => None,
        }
    }

    /// Its role as the downloads spell it.
    #[must_use]
    pub fn role(&self, plan: &Plan) -> &'static str {
        match self {
            Self::Baseline => "baseline",
            Self::LateReference => "late_reference",
            Self::Cell { .. } if self.is_storage_control(plan) => "storage_control",
            Self::Cell { .. } => "exposed",
        }
    }

    /// Whether it is the storage control at some stage.
    #[must_use]
    pub fn is_storage_control(&self, plan: &Plan) -> bool {
        let control = plan.storage_control().map(|c| c.key.as_str());
        matches!(self, Self::Cell { condition, .. } if Some(condition.as_str()) == control)
    }

    /// Its name on a page.
    #[must_use]
    pub fn name(&self, plan: &Plan) -> String {
        match self {
            Self::Baseline => "baseline set".to_owned(),
            Self::LateReference => "late reference".to_owned(),
            Self::Cell { condition, .. } => plan
                .condition(condition)
                .map_or_else(|| condition.clone(), |c| c.name.clone()),
        }
    }
}

/// What came of a piece; exactly one of these.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Fate {
    /// Tested, valid.
    Valid,
    /// Tested; it carried at least the load given.
    LowerBound,
    /// Could not carry load: counts as 0 N.
    TotalLoss,
    /// Tested; the test does not measure the piece.
    Invalid,
    /// It reached its turn and was not tested.
    NotTested,
    /// Packed, but not in the box that arrived.
    LostOnTheWay,
    /// Not found; whether lost or decayed is not known.
    Lost,
    /// Destroyed by an accident before its test, or taken out of the study.
    Destroyed,
    /// Withdrawn at the wrong time.
    InError,
}

impl Fate {
    /// In words.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Valid => "valid",
            Self::LowerBound => "at least this load",
            Self::TotalLoss => "total loss (could not carry load)",
            Self::Invalid => "invalid test",
            Self::NotTested => "not tested",
            Self::LostOnTheWay => "lost on the way to the lab",
            Self::Lost => "not found",
            Self::Destroyed => "destroyed before its test",
            Self::InError => "withdrawn in error",
        }
    }

    /// The outcome column of the specimens file: `valid`, `invalid`, `lower_bound`, `total_loss`,
    /// `lost` (not found in its condition) or `withdrawn` (any other way out, told in `reason`).
    #[must_use]
    pub fn outcome_key(self) -> &'static str {
        match self {
            Self::Valid => "valid",
            Self::LowerBound => "lower_bound",
            Self::TotalLoss => "total_loss",
            Self::Invalid => "invalid",
            Self::Lost => "lost",
            Self::NotTested | Self::LostOnTheWay | Self::Destroyed | Self::InError => "withdrawn",
        }
    }
}

/// Something a reader should know about a piece's value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Flag {
    /// A value looked doubtful and was confirmed.
    ConfirmedDoubt,
    /// Tested before pieces listed earlier.
    OutOfOrder,
    /// Its label was visible to the tester.
    LabelVisible,
    /// It arrived damaged at the lab.
    ArrivedDamaged,
    /// It was damaged when it was taken in.
    RecoveredDamaged,
    /// Its test was changed by somebody who knew its group.
    KnowingGroup,
    /// Something happened to its holder while it was out.
    Incident,
    /// Taken in outside the window of its stage.
    OutsideWindow,
    /// It went out without all its readings.
    Waived,
    /// A spare, tested in the place of a piece whose test was invalid, by the plan's rule.
    Retest,
    /// The calibration behind its load does not speak for the day of its test.
    CalibrationOpen,
    /// Its load lies outside the range for which the class of the cell holds.
    LoadOutsideRange,
    /// Its extension goes beyond the range for which the class of the extensometer holds.
    ExtensionOutsideRange,
}

impl Flag {
    /// In words.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::ConfirmedDoubt => "doubtful value, asked about and confirmed",
            Self::OutOfOrder => "tested out of order",
            Self::LabelVisible => "label visible to the tester",
            Self::ArrivedDamaged => "arrived damaged",
            Self::RecoveredDamaged => "damaged when taken in",
            Self::KnowingGroup => "changed knowing the group",
            Self::Incident => "incident on its holder",
            Self::OutsideWindow => "taken in outside the stage's window",
            Self::Waived => "went out without all readings",
            Self::Retest => "spare in the place of an invalid test",
            Self::CalibrationOpen => "calibration does not cover the day of the test",
            Self::LoadOutsideRange => "load outside the range of the cell's class",
            Self::ExtensionOutsideRange => "extension beyond the range of the extensometer's class",
        }
    }
}

/// A quantity read on one occasion: the mean over repeats in one moisture state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// Mean, in g or mm.
    pub mean: f64,
    /// Over how many readings.
    pub readings: usize,
    /// In which state.
    pub state: MoistureState,
    /// Coarsest step of the instruments used, in g or mm, when they are known.
    pub readability: Option<f64>,
    /// Largest expanded uncertainty (k = 2) of one reading, in g or mm, when it is known.
    pub uncertainty: Option<f64>,
    /// Whether one instrument served all repeats, and which: its place in the study's list.
    pub instrument: Option<usize>,
}

/// A quantity before and after exposure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pair {
    /// Mass or a dimension.
    pub quantity: Quantity,
    /// Before exposure.
    pub before: Option<Measured>,
    /// After exposure.
    pub after: Option<Measured>,
    /// Change in % of the value before; only when both were read in the plan's reference state.
    pub change_percent: Option<f64>,
    /// Expanded uncertainty (k = 2) of that change from the instruments alone, in % of the value
    /// before; `None` when the instruments are not known.
    pub resolution_percent: Option<f64>,
}

/// A test as it would count had nobody changed it knowing the group.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct UnknowingTest {
    /// What came of the piece.
    pub fate: Fate,
    /// Maximum load in N.
    pub max_load_n: Option<f64>,
}

/// A piece with everything about it that a page may show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Piece {
    /// Its code.
    pub code: PieceName,
    /// Lot of material.
    pub lot: String,
    /// Build.
    pub build: String,
    /// Place in the order of making.
    pub order: u32,
    /// Where it belongs.
    #[serde(flatten)]
    pub group: Group,
    /// Key of its holder.
    pub holder: Option<String>,
    /// Whether it was put out.
    pub was_put_out: bool,
    /// Days out, when it was put out and taken in.
    pub days_out: Option<f64>,
    /// State on recovery.
    pub recovery: Option<Recovery>,
    /// How it was identified.
    pub identity: Option<Identity>,
    /// Found without its mark, and given this code then.
    pub is_nameless: bool,
    /// What came of it.
    pub fate: Fate,
    /// How it failed.
    pub mode: Option<FailureMode>,
    /// Where its bond came apart, in a pull-off test.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub failure: Option<FailureShares>,
    /// The reason or remark beside its fate.
    pub reason: Option<String>,
    /// Maximum load in N; 0 for total loss.
    pub max_load_n: Option<f64>,
    /// The test before it was changed knowing the group, when it was.
    pub unknowing: Option<UnknowingTest>,
    /// Day of the test.
    pub tested_on: Option<NaiveDate>,
    /// Which of the test sessions, from 1.
    pub session: Option<usize>,
    /// Readings before and after.
    pub pairs: Vec<Pair>,
    /// Section in mm², when the form has one and it was read: before exposure, or before the test, as the
    /// plan says.
    pub section_mm2: Option<f64>,
    /// The area over which a load is a stress, where that is not the section (bending).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stress_area_mm2: Option<f64>,
    /// What was read off its test besides the load.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub properties: Vec<PieceProperty>,
    /// What a reader should know.
    pub flags: Vec<Flag>,
}

/// Pieces by group.
pub type Groups<'p> = BTreeMap<&'p Group, Vec<&'p Piece>>;

/// Pieces by group, each group in the order of the codes' numbers.
#[must_use]
pub fn by_group(pieces: &[Piece]) -> Groups<'_> {
    let mut groups = Groups::new();
    for piece in pieces {
        groups.entry(&piece.group).or_default().push(piece);
    }
    groups
}
