//! One side of a comparison: the values of a group, with the holder of each.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::analysis::accounting::missing_by_holder;
use crate::analysis::piece::{Piece, ValueKind};
use crate::study::plan::Response;

/// How pieces without a plain value are counted (practice.md §3.7).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Counting {
    /// Lower bounds at their value, total losses at zero, lost pieces left out: what is shown.
    LostExcluded,
    /// Valid values only.
    ValidOnly,
    /// As shown, and exposed pieces that were not found at zero.
    LostAsZero,
}

impl Counting {
    /// All of them; the first is the one shown.
    pub const ALL: [Self; 3] = [Self::LostExcluded, Self::ValidOnly, Self::LostAsZero];

    /// In words.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::LostExcluded => {
                "lower bounds at their value, total losses as zero, lost pieces left out"
            }
            Self::ValidOnly => "valid values only",
            Self::LostAsZero => "lower bounds at their value, total losses and lost pieces as zero",
        }
    }
}

/// Whether a group was exposed, so that a piece not found may have decayed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exposure {
    /// It was: a lost piece may count as zero.
    Exposed,
    /// Storage control, baseline, late reference: a lost piece is only lost.
    Kept,
}

/// Values of one group.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Arm {
    values: Vec<(Option<String>, f64)>,
    /// Pieces that the counting decides about.
    pub special: Special,
    /// Largest instrument uncertainty of one change, in %, for changes.
    pub resolution_percent: Option<f64>,
}

/// Pieces without a plain value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Special {
    /// Carried at least their value.
    pub lower_bounds: usize,
    /// Could not carry load.
    pub total_losses: usize,
    /// Not found, nameless ones taken off.
    pub lost: usize,
}

impl Special {
    /// Whether there are none.
    #[must_use]
    pub fn is_none(self) -> bool {
        self == Self::default()
    }
}

impl Arm {
    /// The values of these pieces.
    #[must_use]
    pub fn of(
        pieces: &[&Piece],
        response: &Response,
        counting: Counting,
        exposure: Exposure,
    ) -> Self {
        let mut arm = Self::default();
        for piece in pieces {
            let Some(found) = piece.value(response) else {
                continue;
            };
            match found.kind {
                ValueKind::LowerBound => arm.special.lower_bounds += 1,
                ValueKind::TotalLoss => arm.special.total_losses += 1,
                ValueKind::Valid => {}
            }
            if counting != Counting::ValidOnly || found.kind == ValueKind::Valid {
                arm.values.push((piece.holder.clone(), found.value));
            }
            arm.resolution_percent = larger(arm.resolution_percent, resolution(piece, response));
        }
        if response.needs_breaking() && exposure == Exposure::Exposed {
            for (holder, lost) in missing_by_holder(pieces) {
                arm.special.lost += lost;
                if counting == Counting::LostAsZero {
                    let zero = (holder.map(str::to_owned), 0.0);
                    arm.values.extend(std::iter::repeat_n(zero, lost));
                }
            }
        }
        arm
    }

    /// The values.
    #[must_use]
    pub fn values(&self) -> Vec<f64> {
        self.values.iter().map(|(_, value)| *value).collect()
    }

    /// How many pieces.
    #[must_use]
    pub fn pieces(&self) -> usize {
        self.values.len()
    }

    /// Values by holder, in the order of the holders' keys; pieces without a holder are left out.
    #[must_use]
    pub fn by_holder(&self) -> BTreeMap<&str, Vec<f64>> {
        let mut holders: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
        for (holder, value) in &self.values {
            if let Some(holder) = holder {
                holders.entry(holder).or_default().push(*value);
            }
        }
        holders
    }

    /// The mean of each holder.
    #[must_use]
    pub fn holder_means(&self) -> Vec<f64> {
        self.by_holder()
            .into_values()
            .map(|values| mean(&values))
            .collect()
    }

    /// Whether the holders carry the comparison: two or more with values, no piece without one.
    #[must_use]
    pub fn rests_on_holders(&self) -> bool {
        self.by_holder().len() >= 2 && self.values.iter().all(|(holder, _)| holder.is_some())
    }

    /// The mean that a comparison uses: of the holder means where the holders carry it, of the
    /// pieces otherwise; `None` without a value.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        let values = if self.rests_on_holders() {
            self.holder_means()
        } else {
            self.values()
        };
        (!values.is_empty()).then(|| mean(&values))
    }
}

fn resolution(piece: &Piece, response: &Response) -> Option<f64> {
    use crate::study::reading::Quantity;
    let quantity = match response {
        Response::MassChange => Quantity::Mass,
        Response::LengthChange(name) => Quantity::Length(name.clone()),
        Response::MaxLoad | Response::Strength => return None,
    };
    piece
        .pair(&quantity)
        .and_then(|pair| pair.resolution_percent)
}

/// The larger of two numbers of which either may be missing.
#[must_use]
pub fn larger(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    a.into_iter().chain(b).reduce(f64::max)
}

/// Arithmetic mean; of no value, not a number, so callers ask for at least one.
fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}
