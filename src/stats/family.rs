//! Several groups that are all compared with the same one: what [`super::many_to_one`] and
//! [`super::many_ratio`] are asked about.

use crate::stats::refusal::Refusal;
use crate::stats::sample::{Spread, Summary};

/// Where the variance of a mean comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Scatter {
    /// One variance for all groups, with its degrees of freedom.
    Common { variance: f64, df: f64 },
    /// Every group's own, with n − 1.
    Own,
}

/// One control and the groups compared with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Family {
    control: Summary,
    others: Vec<Summary>,
    scatter: Scatter,
}

impl Family {
    /// A family of groups of values.
    ///
    /// # Errors
    /// [`Refusal::NoComparison`] without another group, [`Refusal::TooFew`] (separate spreads need
    /// two values in every group, pooled ones one degree of freedom in all), [`Refusal::NotFinite`],
    /// [`Refusal::TooLarge`].
    pub fn of<G: AsRef<[f64]>>(
        control: &[f64],
        others: &[G],
        spread: Spread,
    ) -> Result<Self, Refusal> {
        let others: Result<Vec<Summary>, Refusal> =
            others.iter().map(|g| Summary::of(g.as_ref())).collect();
        Self::of_summaries(Summary::of(control)?, others?, spread)
    }

    /// A family of which number, mean and variance of each group are at hand; pooled spreads are
    /// pooled from these, weighted with n − 1.
    ///
    /// # Errors
    /// As [`Family::of`].
    pub fn of_summaries(
        control: Summary,
        others: Vec<Summary>,
        spread: Spread,
    ) -> Result<Self, Refusal> {
        let needed = if spread == Spread::Separate { 2 } else { 1 };
        let family = Self::checked(control, others, needed)?;
        if spread == Spread::Separate {
            return Ok(family);
        }
        let (mut squares, mut df) = (0.0, 0.0);
        for group in family.groups() {
            let own = group.n as f64 - 1.0;
            squares += own * group.variance;
            df += own;
        }
        if df < 1.0 {
            let got = family.groups().count();
            return Err(Refusal::TooFew {
                needed: got + 1,
                got,
            });
        }
        Ok(Self {
            scatter: Scatter::Common {
                variance: squares / df,
                df,
            },
            ..family
        })
    }

    /// A family with a common variance of the single value that was estimated elsewhere, as for
    /// holder means (`n` counts holders, `df` = holders − conditions).
    ///
    /// The summaries' own variances are not looked at.
    ///
    /// # Errors
    /// As [`Family::of`], and [`Refusal::OutOfRange`] for a variance below zero or `df` not
    /// positive.
    pub fn with_common_variance(
        control: Summary,
        others: Vec<Summary>,
        variance: f64,
        df: f64,
    ) -> Result<Self, Refusal> {
        let family = Self::checked(control, others, 1)?;
        if variance.is_nan() || variance < 0.0 {
            return Err(Refusal::OutOfRange { what: "variance" });
        }
        if df.is_nan() || df <= 0.0 {
            return Err(Refusal::OutOfRange {
                what: "degrees of freedom",
            });
        }
        Ok(Self {
            scatter: Scatter::Common { variance, df },
            ..family
        })
    }

    fn checked(control: Summary, others: Vec<Summary>, needed: usize) -> Result<Self, Refusal> {
        if others.is_empty() {
            return Err(Refusal::NoComparison);
        }
        let family = Self {
            control: control.checked(needed)?,
            others,
            scatter: Scatter::Own,
        };
        for group in &family.others {
            group.checked(needed)?;
        }
        Ok(family)
    }

    fn groups(&self) -> impl Iterator<Item = &Summary> {
        std::iter::once(&self.control).chain(&self.others)
    }

    /// The group all others are compared with.
    pub fn control(&self) -> &Summary {
        &self.control
    }

    /// The groups compared with it, in order.
    pub fn others(&self) -> &[Summary] {
        &self.others
    }

    /// Whether one variance serves all groups.
    pub fn spread(&self) -> Spread {
        match self.scatter {
            Scatter::Common { .. } => Spread::Pooled,
            Scatter::Own => Spread::Separate,
        }
    }

    /// The common variance and its degrees of freedom; `None` with separate spreads.
    pub fn common_variance(&self) -> Option<(f64, f64)> {
        match self.scatter {
            Scatter::Common { variance, df } => Some((variance, df)),
            Scatter::Own => None,
        }
    }

    /// Estimated variance of the mean of one of the groups.
    pub(super) fn mean_variance(&self, group: &Summary) -> f64 {
        match self.scatter {
            Scatter::Common { variance, .. } => variance / group.n as f64,
            Scatter::Own => group.mean_variance(),
        }
    }

    /// Degrees of freedom of a contrast to which the group contributes the variance `share` (a
    /// fraction of the whole) and the control the rest.
    pub(super) fn df_of_contrast(&self, group: &Summary, share: f64) -> f64 {
        match self.scatter {
            Scatter::Common { df, .. } => df,
            Scatter::Own => {
                let rest = 1.0 - share;
                let own = share * share / (group.n as f64 - 1.0);
                1.0 / (own + rest * rest / (self.control.n as f64 - 1.0))
            }
        }
    }
}
