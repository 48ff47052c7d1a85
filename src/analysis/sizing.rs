//! How many pieces a question needs, by the very rule that will give the verdict (practice.md §3.5): the
//! smallest loss that is called changed, and the chance of each verdict, for given sizes.
//!
//! The command line, the JSON and the plan's page show the same [`Sizing`]. A plan's own figures, with
//! its own sizes, are in [`super::rule`].

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::analysis::comparison::Unit;
use crate::analysis::rule::{BETWEEN_HOLDERS, FEW, GROWTHS, NoRule, POWER, sizes};
use crate::stats::design::{self, Planner, units_for_unchanged};
use crate::stats::refusal::Refusal;
use crate::stats::sample::Spread;
use crate::study::plan::{Plan, Spreads};

/// Most sizes and most growths that are asked about at once.
const MOST: usize = 40;

/// Most units that are tried when the question is how many are enough.
pub const MOST_UNITS: usize = 200;

/// Chance of 'unchanged' with which a size is enough.
pub const ENOUGH: f64 = 0.8;

/// What is asked. All sets have the same size.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Asked {
    /// Conditions compared with the storage control.
    pub conditions: usize,
    /// Pieces in each set, one or more sizes.
    pub pieces: Vec<usize>,
    /// Holders in each set; with one the verdict rests on the pieces.
    pub holders: usize,
    /// Scatter between like pieces, in % of the mean.
    pub cv_percent: f64,
    /// How many times larger the spread is after exposure, one or more.
    pub growths: Vec<f64>,
    /// The margin, in % of the storage control.
    pub margin_percent: f64,
    /// Confidence of the simultaneous intervals, in %.
    pub confidence_percent: f64,
    /// Separate or pooled spreads; with several holders they are pooled.
    pub spreads: Spreads,
    /// The loss for which the chances are told beside those of no change, in %.
    pub loss_percent: f64,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sizing {
    /// The question.
    pub asked: Asked,
    /// What the verdict rests on.
    pub unit: Unit,
    /// Chance with which the smallest loss is called changed, as a fraction.
    pub power: f64,
    /// Share of the variance that is taken to lie between holders; `None` with one holder.
    pub between_holders: Option<f64>,
    /// One for each growth and size, in the order of the question.
    pub lines: Vec<SizingLine>,
    /// For each growth, how many are enough.
    pub enough: Vec<Enough>,
}

/// One size at one growth of the spread.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SizingLine {
    /// How many times larger the spread is after exposure.
    pub growth: f64,
    /// Pieces in each set.
    pub pieces: usize,
    /// What the verdict rests on, in each set: pieces, or holders.
    pub units: usize,
    /// Pieces in all sets, the storage control among them; baseline and spares come on top.
    pub all_pieces: usize,
    /// The smallest loss called changed with the stated chance, in %; `None` when not even 99 % is.
    pub detectable_percent: Option<f64>,
    /// The chances when nothing changed.
    pub unchanged: VerdictChances,
    /// The chances when the stated loss happened to every condition.
    pub lost: VerdictChances,
}

impl SizingLine {
    /// Whether 'unchanged' is out of reach for practical purposes.
    #[must_use]
    pub fn is_few(&self) -> bool {
        self.unchanged.unchanged < FEW
    }
}

/// The chance of each verdict for one condition, as fractions that add up to 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct VerdictChances {
    /// Changed, by more than the margin.
    pub changed_beyond: f64,
    /// Changed; whether by more than the margin is open.
    pub changed: f64,
    /// Changed, but within the margin.
    pub changed_within: f64,
    /// Unchanged within the margin.
    pub unchanged: f64,
    /// Not settled.
    pub not_settled: f64,
    /// Largest standard error of these.
    pub error: f64,
}

/// How many are enough for 'unchanged' when nothing changed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Enough {
    /// How many times larger the spread is after exposure.
    pub growth: f64,
    /// The chance that is reached, as a fraction.
    pub chance: f64,
    /// Pieces, or holders of the first size, in each set; `None` when [`MOST_UNITS`] are not enough.
    pub units: Option<usize>,
}

/// Why there is no answer.
#[derive(Debug, Clone, PartialEq)]
pub enum NoSizing {
    /// Nothing, or too much, is asked at once.
    Number,
    /// Fewer pieces than holders.
    FewerThanHolders {
        /// Pieces.
        pieces: usize,
        /// Holders.
        holders: usize,
    },
    /// The loss is not between 0 and 100 %.
    Loss,
    /// The method refused.
    Refused(Refusal),
}

impl fmt::Display for NoSizing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number => write!(
                f,
                "Ask about 1 to {MOST} sizes and 1 to {MOST} growths at once."
            ),
            Self::FewerThanHolders { pieces, holders } => write!(
                f,
                "{pieces} pieces cannot be shared out to {holders} holders; give at least one piece to each."
            ),
            Self::Loss => f.write_str("The loss must lie above 0 and below 100 %."),
            Self::Refused(refusal) => refusal.fmt(f),
        }
    }
}

impl std::error::Error for NoSizing {}

impl From<Refusal> for NoSizing {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal)
    }
}

/// Whether to look also for how many are enough, which takes longer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Search {
    /// Only the sizes asked about.
    SizesOnly,
    /// And how many are enough.
    Enough,
}

/// Answers the question.
///
/// # Errors
/// [`NoSizing`].
pub fn size(asked: &Asked, search: Search) -> Result<Sizing, NoSizing> {
    let in_number = |n: usize| (1..=MOST).contains(&n);
    if !in_number(asked.pieces.len()) || !in_number(asked.growths.len()) {
        return Err(NoSizing::Number);
    }
    if !(asked.loss_percent > 0.0 && asked.loss_percent < 100.0) {
        return Err(NoSizing::Loss);
    }
    let mut lines = Vec::with_capacity(asked.growths.len() * asked.pieces.len());
    let mut enough = Vec::new();
    for growth in &asked.growths {
        for pieces in &asked.pieces {
            lines.push(line(asked, *growth, *pieces)?);
        }
        let first = asked.pieces.first().copied().unwrap_or_default();
        if search == Search::Enough {
            let (design, _) = asked.design(*growth, first)?;
            enough.push(Enough {
                growth: *growth,
                chance: ENOUGH,
                units: units_for_unchanged(design, ENOUGH, MOST_UNITS)?,
            });
        }
    }
    let has_holders = asked.holders >= 2;
    Ok(Sizing {
        unit: if has_holders {
            Unit::Holders
        } else {
            Unit::Pieces
        },
        power: POWER,
        between_holders: has_holders.then_some(BETWEEN_HOLDERS),
        asked: asked.clone(),
        lines,
        enough,
    })
}

/// Sizes beside a plan's own that its curve shows: pieces, or pieces for each holder.
const AROUND: [usize; 6] = [3, 4, 6, 8, 12, 20];
const AROUND_HOLDERS: [usize; 4] = [1, 2, 4, 8];

/// What sizes around a plan's own could see, all sets alike, and the plan's own number of pieces.
///
/// # Errors
/// [`NoRule`].
pub fn around(plan: &Plan) -> Result<(Sizing, usize), NoRule> {
    let own = sizes(plan)?;
    let (holders, around): (usize, Vec<usize>) = match own.unit {
        Unit::Holders => {
            let holders = own.exposed;
            (holders, AROUND_HOLDERS.map(|each| each * holders).to_vec())
        }
        Unit::Pieces | Unit::Mixed => (1, AROUND.to_vec()),
    };
    let mut pieces = around;
    pieces.extend((own.pieces >= holders.max(2)).then_some(own.pieces));
    pieces.sort_unstable();
    pieces.dedup();
    let asked = Asked {
        conditions: own.conditions,
        pieces,
        holders,
        cv_percent: plan.expected_cv_percent,
        growths: GROWTHS.to_vec(),
        margin_percent: plan.margin_percent,
        confidence_percent: plan.confidence_percent,
        spreads: plan.spreads,
        loss_percent: (2.0 * plan.margin_percent).min(90.0),
    };
    let sizing = size(&asked, Search::SizesOnly).map_err(|no| match no {
        NoSizing::Refused(refusal) => NoRule::Refused(refusal),
        NoSizing::Number | NoSizing::FewerThanHolders { .. } | NoSizing::Loss => NoRule::NotAsked,
    })?;
    Ok((sizing, own.pieces))
}

impl Asked {
    /// The design of one size, and its units in each set.
    fn design(&self, growth: f64, pieces: usize) -> Result<(design::Design, usize), NoSizing> {
        let cv = self.cv_percent / 100.0;
        let (units, cv, spread) = if self.holders >= 2 {
            if pieces < self.holders {
                return Err(NoSizing::FewerThanHolders {
                    pieces,
                    holders: self.holders,
                });
            }
            let each = pieces / self.holders;
            let cv = design::cv_of_holder_mean(cv, BETWEEN_HOLDERS, each)?;
            (self.holders, cv, Spread::Pooled)
        } else {
            let spread = match self.spreads {
                Spreads::Separate => Spread::Separate,
                Spreads::Pooled => Spread::Pooled,
            };
            (pieces, cv, spread)
        };
        let design = design::Design {
            conditions: self.conditions,
            control_units: units,
            exposed_units: units,
            cv,
            growth,
            margin: self.margin_percent / 100.0,
            confidence: self.confidence_percent / 100.0,
            spread,
        };
        Ok((design, units))
    }
}

fn line(asked: &Asked, growth: f64, pieces: usize) -> Result<SizingLine, NoSizing> {
    let (design, units) = asked.design(growth, pieces)?;
    let planner = Planner::new(design)?;
    let loss = planner.detectable_loss(POWER)?;
    Ok(SizingLine {
        growth,
        pieces,
        units,
        all_pieces: pieces.saturating_mul(asked.conditions + 1),
        detectable_percent: loss.map(|loss| loss * 100.0),
        unchanged: VerdictChances::of(&planner.chances(0.0)?),
        lost: VerdictChances::of(&planner.chances(-asked.loss_percent / 100.0)?),
    })
}

impl VerdictChances {
    fn of(chances: &design::Chances) -> Self {
        Self {
            changed_beyond: chances.beyond_margin,
            changed: chances.changed,
            changed_within: chances.changed_within,
            unchanged: chances.unchanged,
            not_settled: chances.not_settled,
            error: chances.error,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked() -> Asked {
        Asked {
            conditions: 3,
            pieces: vec![6],
            holders: 1,
            cv_percent: 5.0,
            growths: vec![1.0],
            margin_percent: 10.0,
            confidence_percent: 95.0,
            spreads: Spreads::Pooled,
            loss_percent: 20.0,
        }
    }

    /// practice.md §3.5 (simulated there, pooled): three conditions, n 6, ±10 %: CV 5 % .63, CV 8 % .03.
    #[test]
    fn the_chance_of_unchanged_is_the_simulated_one() {
        for (cv_percent, chance) in [(5.0, 0.63), (8.0, 0.03)] {
            let found = size(
                &Asked {
                    cv_percent,
                    ..asked()
                },
                Search::SizesOnly,
            )
            .unwrap();
            let line = found.lines[0];
            assert!(
                (line.unchanged.unchanged - chance).abs() < 0.015,
                "{line:?}"
            );
            assert_eq!(line.is_few(), chance < 0.2);
            assert_eq!(line.all_pieces, 24);
        }
    }

    /// The number found is the first that suffices, and its chances add up.
    #[test]
    fn enough_is_the_first_size_that_suffices() {
        let found = size(&asked(), Search::Enough).unwrap();
        let units = found.enough[0].units.unwrap();
        let pieces = vec![units - 1, units];
        let both = size(&Asked { pieces, ..asked() }, Search::SizesOnly).unwrap();
        let [below, at] = [both.lines[0].unchanged, both.lines[1].unchanged];
        assert!(
            below.unchanged < ENOUGH && at.unchanged >= ENOUGH,
            "{units}"
        );
        let sum =
            at.changed_beyond + at.changed + at.changed_within + at.unchanged + at.not_settled;
        assert!((sum - 1.0).abs() < 1e-9);
    }

    #[test]
    fn several_holders_see_less_than_their_pieces_would() {
        let sees = |holders| {
            let asked = Asked { holders, ..asked() };
            size(&asked, Search::SizesOnly).unwrap().lines[0]
                .detectable_percent
                .unwrap()
        };
        assert!(sees(3) > sees(1));
        let few = Asked {
            holders: 7,
            ..asked()
        };
        assert!(size(&few, Search::SizesOnly).is_err());
    }
}
