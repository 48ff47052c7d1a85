//! Groups compared after adjusting for a covariate with one common slope.
//!
//! Only readings from before exposure may serve as covariate; what is adjusted stands beside what is
//! not.

use crate::stats::dist::equicoordinate::{Equicoordinate, Sides};
use crate::stats::dist::{beta::f_sf, student};
use crate::stats::interval::Interval;
use crate::stats::numeric::sum::mean;
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::regression::{self, Regression, Term};

/// One group: responses and, value by value, the covariate.
#[derive(Debug, Clone, Copy)]
pub struct Group<'a> {
    /// The responses.
    pub y: &'a [f64],
    /// The covariate of the same pieces.
    pub x: &'a [f64],
}

/// A group's difference from the control after adjustment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AdjustedDifference {
    /// Estimate, standard error, unadjusted p and interval.
    pub plain: Term,
    /// Interval that holds for all groups at once. Šidák's inequality, a little wider than need be.
    pub simultaneous: Interval,
}

/// Groups compared at the mean of the covariate.
#[derive(Debug, Clone)]
pub struct Adjusted {
    /// Mean of the covariate over all pieces.
    pub covariate_mean: f64,
    /// The common slope.
    pub slope: Term,
    /// Residual standard deviation.
    pub sd: f64,
    /// Residual degrees of freedom.
    pub df: f64,
    /// Each group's mean at `covariate_mean`, the control first.
    pub means: Vec<Term>,
    /// Each other group less the control.
    pub differences: Vec<AdjustedDifference>,
    /// F and p of "no group differs".
    pub groups: (f64, f64),
    /// F and p of "the slope is common"; `None` without degrees of freedom to look.
    pub common_slope: Option<(f64, f64)>,
}

/// F of the terms that a larger model has beyond a smaller one, and p.
fn beyond(larger: &Regression, smaller: &Regression) -> (f64, f64) {
    let df = smaller.residual_df - larger.residual_df;
    if larger.residual_ss == 0.0 {
        return (f64::INFINITY, 0.0);
    }
    let gain = (smaller.residual_ss - larger.residual_ss).max(0.0);
    let f = gain / df / (larger.residual_ss / larger.residual_df);
    (f, f_sf(f, df, larger.residual_df))
}

/// A column per group but the first: 1 (or the covariate) for its own pieces, else 0.
fn columns(groups: &[Group<'_>], value: impl Fn(f64) -> f64) -> Vec<Vec<f64>> {
    let column = |own: usize| -> Vec<f64> {
        let part = |(index, g): (usize, &Group<'_>)| {
            let value = &value;
            g.x.iter()
                .map(move |x| if index == own { value(*x) } else { 0.0 })
                .collect::<Vec<_>>()
        };
        groups.iter().enumerate().flat_map(part).collect()
    };
    (1..groups.len()).map(column).collect()
}

/// Compares groups with the first of them, adjusted for the covariate.
///
/// # Formula
/// ```text
/// y = μ + group_i + β (x − x̄) + ε;  adjusted mean: μ + group_i
/// ```
/// # Source
/// Fisher, Statistical Methods for Research Workers (1932), analysis of covariance.
///
/// # Errors
/// [`Refusal::NoComparison`] below two groups, [`Refusal::Unmatched`], [`Refusal::TooFew`],
/// [`Refusal::Collinear`] when the covariate does not vary within groups.
pub fn adjusted(groups: &[Group<'_>], confidence: f64) -> Result<Adjusted, Refusal> {
    open_unit(confidence, "confidence")?;
    if groups.len() < 2 {
        return Err(Refusal::NoComparison);
    }
    if groups.iter().any(|g| g.x.len() != g.y.len()) {
        return Err(Refusal::Unmatched);
    }
    let x: Vec<f64> = groups.iter().flat_map(|g| g.x.iter().copied()).collect();
    let y: Vec<f64> = groups.iter().flat_map(|g| g.y.iter().copied()).collect();
    let centre = mean(&x).value();
    let centred: Vec<f64> = x.iter().map(|v| v - centre).collect();
    let membership = columns(groups, |_| 1.0);
    let with = |extra: &[Vec<f64>]| -> Result<Regression, Refusal> {
        let mut design = membership.clone();
        design.push(centred.clone());
        design.extend_from_slice(extra);
        regression::fit(&design, &y, true)
    };
    let model = with(&[])?;
    let without_groups = regression::fit(std::slice::from_ref(&centred), &y, true)?;
    let own_slopes = with(&columns(groups, |v| v - centre)).ok();
    let slope = model.term(groups.len(), confidence)?;
    Ok(Adjusted {
        covariate_mean: centre,
        slope,
        sd: model.sd(),
        df: model.residual_df,
        means: (0..groups.len())
            .map(|g| group_mean(&model, g, confidence))
            .collect::<Result<_, _>>()?,
        differences: differences(&model, groups.len(), confidence)?,
        groups: beyond(&model, &without_groups),
        common_slope: own_slopes.map(|larger| beyond(&larger, &model)),
    })
}

fn group_mean(model: &Regression, group: usize, confidence: f64) -> Result<Term, Refusal> {
    let last = model.coefficients.len() - 1;
    let pick = |i: usize| {
        if i == 0 || (i == group && i < last) {
            1.0
        } else {
            0.0
        }
    };
    let weights: Vec<f64> = (0..=last).map(pick).collect();
    model.combination(&weights, confidence)
}

fn differences(
    model: &Regression,
    groups: usize,
    confidence: f64,
) -> Result<Vec<AdjustedDifference>, Refusal> {
    let mut law = Equicoordinate::new(&vec![0.0; groups - 1], Sides::Two, model.residual_df)?;
    let critical = if groups == 2 {
        student::two_sided_quantile(confidence, model.residual_df)
    } else {
        law.critical(1.0 - confidence, model.residual_df)?
    };
    let one = |group: usize| -> Result<AdjustedDifference, Refusal> {
        let plain = model.term(group, confidence)?;
        let simultaneous = Interval::around(plain.estimate, critical * plain.se);
        Ok(AdjustedDifference {
            plain,
            simultaneous,
        })
    };
    (1..groups).map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Without any relation to the covariate the adjusted difference is the plain one.
    #[test]
    fn a_balanced_covariate_changes_no_difference() {
        let x = [-1.0, 0.0, 1.0];
        let (a, b) = (
            Group {
                y: &[1.0, 2.0, 3.5],
                x: &x,
            },
            Group {
                y: &[6.0, 5.0, 7.0],
                x: &x,
            },
        );
        let found = adjusted(&[a, b], 0.95).unwrap();
        let plain = 6.0 - 6.5 / 3.0;
        assert!((found.differences[0].plain.estimate - plain).abs() < 1e-12);
        assert_eq!(
            found.differences[0].plain.interval,
            found.differences[0].simultaneous
        );
    }

    #[test]
    fn awkward_input_has_a_name() {
        let flat = Group {
            y: &[1.0, 2.0, 3.0],
            x: &[5.0; 3],
        };
        assert_eq!(
            adjusted(&[flat, flat], 0.95).unwrap_err(),
            Refusal::Collinear
        );
        assert_eq!(adjusted(&[flat], 0.95).unwrap_err(), Refusal::NoComparison);
    }
}
