//! One side of a comparison: the values of a group, with the holder of each.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::analysis::accounting::missing_by_holder;
use crate::analysis::piece::{Fate, Piece, ValueKind};
use crate::study::plan::Response;
use crate::study::reading::Quantity;

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

/// What is taken from the pieces of a group.
#[derive(Debug, Clone, Copy)]
pub struct Taken<'p> {
    /// The response.
    pub response: &'p Response,
    /// How pieces without a plain value count.
    pub counting: Counting,
    /// Whether the group was exposed.
    pub exposure: Exposure,
    /// What was read before exposure to adjust for.
    pub covariate: Option<&'p Quantity>,
}

/// One value with what belongs to it.
#[derive(Debug, Clone, PartialEq)]
struct Entry {
    holder: Option<String>,
    value: f64,
    covariate: Option<f64>,
}

/// Values of one group.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Arm {
    values: Vec<Entry>,
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
    pub fn of(pieces: &[&Piece], taken: Taken<'_>) -> Self {
        let mut arm = Self::default();
        for piece in pieces {
            let Some(found) = piece.value(taken.response) else {
                continue;
            };
            match found.kind {
                ValueKind::LowerBound => arm.special.lower_bounds += 1,
                ValueKind::TotalLoss => arm.special.total_losses += 1,
                ValueKind::Valid => {}
            }
            if taken.counting != Counting::ValidOnly || found.kind == ValueKind::Valid {
                arm.values.push(Entry {
                    holder: piece.holder.clone(),
                    value: found.value,
                    covariate: before(piece, taken.covariate),
                });
            }
            let resolution = resolution(piece, taken.response);
            arm.resolution_percent = larger(arm.resolution_percent, resolution);
        }
        if taken.response.needs_breaking() && taken.exposure == Exposure::Exposed {
            arm.count_lost(pieces, taken);
        }
        arm
    }

    /// Lost pieces, at zero where they count so. Which of a holder's pieces a nameless one was is not
    /// known: the first ones not found keep their reading from before exposure.
    fn count_lost(&mut self, pieces: &[&Piece], taken: Taken<'_>) {
        for (holder, lost) in missing_by_holder(pieces) {
            self.special.lost += lost;
            if taken.counting != Counting::LostAsZero {
                continue;
            }
            let gone = pieces.iter().filter(|p| {
                p.fate == Fate::Lost && !p.is_nameless && p.holder.as_deref() == holder
            });
            self.values.extend(gone.take(lost).map(|piece| Entry {
                holder: piece.holder.clone(),
                value: 0.0,
                covariate: before(piece, taken.covariate),
            }));
        }
    }

    /// The values.
    #[must_use]
    pub fn values(&self) -> Vec<f64> {
        self.values.iter().map(|entry| entry.value).collect()
    }

    /// What the comparison rests on: holder means where the holders carry it, values otherwise.
    #[must_use]
    pub fn units(&self) -> Vec<f64> {
        if self.rests_on_holders() {
            self.holder_means()
        } else {
            self.values()
        }
    }

    /// As [`Arm::units`], each with its covariate; pieces without one are left out.
    #[must_use]
    pub fn units_with_covariate(&self) -> (Vec<f64>, Vec<f64>) {
        let known = |e: &Entry| e.covariate.map(|x| (e.holder.clone(), e.value, x));
        let all: Vec<(Option<String>, f64, f64)> = self.values.iter().filter_map(known).collect();
        if !self.rests_on_holders() {
            return all.into_iter().map(|(_, y, x)| (y, x)).unzip();
        }
        let mut holders: BTreeMap<String, (Vec<f64>, Vec<f64>)> = BTreeMap::new();
        for (holder, y, x) in all {
            let own = holders.entry(holder.unwrap_or_default()).or_default();
            own.0.push(y);
            own.1.push(x);
        }
        holders
            .into_values()
            .map(|(y, x)| (mean(&y), mean(&x)))
            .unzip()
    }

    /// Values without the reading to adjust for.
    #[must_use]
    pub fn without_covariate(&self) -> usize {
        self.values.iter().filter(|e| e.covariate.is_none()).count()
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
        for entry in &self.values {
            if let Some(holder) = &entry.holder {
                holders.entry(holder).or_default().push(entry.value);
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
        self.by_holder().len() >= 2 && self.values.iter().all(|entry| entry.holder.is_some())
    }

    /// The mean that a comparison uses: of the holder means where the holders carry it, of the
    /// pieces otherwise; `None` without a value.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        let values = self.units();
        (!values.is_empty()).then(|| mean(&values))
    }
}

/// A reading from before exposure.
fn before(piece: &Piece, covariate: Option<&Quantity>) -> Option<f64> {
    let pair = piece.pair(covariate?)?;
    pair.before.as_ref().map(|measured| measured.mean)
}

fn resolution(piece: &Piece, response: &Response) -> Option<f64> {
    let quantity = match response {
        Response::MassChange => Quantity::Mass,
        Response::LengthChange(name) => Quantity::Length(name.clone()),
        Response::MaxLoad | Response::Strength | Response::Read(_) => return None,
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
