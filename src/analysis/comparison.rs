//! One comparison as data: what was compared, its interval, or why there is none.

use serde::{Deserialize, Serialize};

use crate::analysis::arm::Special;
use crate::analysis::piece::Group;
use crate::stats::many_to_one;
use crate::stats::ratio::Ratio;
use crate::study::plan::Spreads;

/// What the intervals rest on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// Every piece counts by itself.
    Pieces,
    /// The mean of each holder counts.
    Holders,
    /// Holder means where a group has several holders, pieces where it has one.
    Mixed,
}

/// How the intervals were computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Method {
    /// What they rest on.
    pub unit: Unit,
    /// Whether one spread serves all groups.
    pub spreads: Spreads,
}

/// Why there is no interval.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "why")]
pub enum Why {
    /// No piece of the group was found.
    NoneFound {
        /// How many were not.
        lost: usize,
    },
    /// No piece of the group has a value.
    NoValue,
    /// One piece gives no interval.
    OnePiece {
        /// Its value, in N, MPa or %.
        value: f64,
    },
    /// No piece could carry load.
    AllTotalLoss {
        /// How many pieces.
        pieces: usize,
    },
    /// Nothing was read before exposure.
    NothingBefore,
    /// Nothing was read after exposure.
    NothingAfter,
    /// The readings before and after were not both taken in the plan's state.
    OtherState,
    /// Those compared with have too few values.
    ReferenceTooFew {
        /// How many they have.
        values: usize,
    },
    /// All values are equal, and what the instrument resolves is not known.
    ZeroSpread,
    /// The interval has no end: those compared with scatter too much.
    Unbounded,
    /// The method refused for another reason.
    Refused {
        /// In words.
        sentence: String,
    },
}

/// One group as the comparison used it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ArmFinding {
    /// Which.
    #[serde(flatten)]
    pub group: Group,
    /// Pieces with a value.
    pub pieces: usize,
    /// Holders with a value; 0 when pieces have none.
    pub holders: usize,
    /// The mean compared, in N, MPa or %; `None` without a value.
    pub mean: Option<f64>,
    /// Whether that is the mean of holder means.
    pub is_mean_of_holders: bool,
    /// Pieces without a plain value.
    pub special: Special,
}

/// A ratio of means with its simultaneous Fieller set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RatioFinding {
    /// Exposed over reference.
    pub ratio: f64,
    /// Lower end; `None` when the set is no interval.
    pub lower: Option<f64>,
    /// Upper end; `None` when the set is no interval.
    pub upper: Option<f64>,
    /// Degrees of freedom.
    pub df: f64,
    /// Critical value.
    pub critical: f64,
    /// Fieller's g; below 1 for an interval.
    pub g: f64,
}

/// A difference of means with its simultaneous interval, in N, MPa or percentage points.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DifferenceFinding {
    /// Exposed less reference.
    pub difference: f64,
    /// Standard error.
    pub se: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// Difference over standard error.
    pub t: f64,
    /// Critical value.
    pub critical: f64,
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
    /// Adjusted two-sided p.
    pub p_adjusted: f64,
}

/// What the interval that speaks is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// The ratio of means.
    Ratio,
    /// The difference of means.
    Difference,
    /// The difference, widened to what the instrument resolves.
    Instrument,
    /// The instrument alone: the pieces show no spread.
    InstrumentAlone,
}

/// A change in % of the reference (loads) or in percentage points (changes of mass and size).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Effect {
    /// What it is made of.
    pub basis: Basis,
    /// Estimate.
    pub estimate_percent: f64,
    /// Lower end.
    pub lower_percent: f64,
    /// Upper end.
    pub upper_percent: f64,
}

/// One group compared with the reference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Member {
    /// Name of the condition.
    pub name: String,
    /// The group compared.
    pub exposed: ArmFinding,
    /// What it is compared with.
    pub reference: ArmFinding,
    /// The ratio, for loads and strengths.
    pub ratio: Option<RatioFinding>,
    /// The difference: the same statement in the response's unit.
    pub difference: Option<DifferenceFinding>,
    /// Expanded uncertainty of one change from the instruments, in %, for changes.
    pub resolution_percent: Option<f64>,
    /// The interval that speaks.
    pub effect: Option<Effect>,
    /// Why there is none.
    pub none: Option<Why>,
}

impl RatioFinding {
    /// From the statistics room.
    #[must_use]
    pub fn of(found: &Ratio) -> Self {
        let ends = found.set.bounded();
        Self {
            ratio: found.ratio,
            lower: ends.map(|i| i.lower),
            upper: ends.map(|i| i.upper),
            df: found.df,
            critical: found.critical,
            g: found.g,
        }
    }

    /// The ratio as a change in %; `None` when its set is no interval.
    #[must_use]
    pub fn effect(&self) -> Option<Effect> {
        let percent = |ratio: f64| (ratio - 1.0) * 100.0;
        Some(Effect {
            basis: Basis::Ratio,
            estimate_percent: percent(self.ratio),
            lower_percent: percent(self.lower?),
            upper_percent: percent(self.upper?),
        })
    }
}

impl DifferenceFinding {
    /// From the statistics room.
    #[must_use]
    pub fn of(found: many_to_one::Difference) -> Self {
        Self {
            difference: found.difference,
            se: found.se,
            df: found.df,
            t: found.t,
            critical: found.critical,
            lower: found.interval.lower,
            upper: found.interval.upper,
            p_adjusted: found.p,
        }
    }
}
