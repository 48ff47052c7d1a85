//! Power of t tests and of the two one-sided tests, and the numbers of pieces they need.
//!
//! What a design with several conditions can see by the rule that gives the verdict is computed in
//! [`super::design`]; here are the classical two-group answers.

use crate::stats::dist::scale::LogScale;
use crate::stats::dist::{noncentral_t, normal, student};
use crate::stats::interval::Interval;
use crate::stats::numeric::{quadrature, root};
use crate::stats::refusal::{Refusal, open_unit, positive};

/// Largest group size that a search looks at.
const MOST: usize = 1_000_000;

/// One- or two-sided test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tails {
    /// Rejects in the direction of the effect only.
    One,
    /// Rejects in both directions; both count towards the power.
    Two,
}

/// Power of a t test with `df` degrees of freedom and noncentrality `ncp` ≥ 0.
fn power_at(ncp: f64, df: f64, alpha: f64, tails: Tails) -> Result<f64, Refusal> {
    open_unit(alpha, "error rate")?;
    match tails {
        Tails::One => noncentral_t::sf(student::upper_quantile(alpha, df), df, ncp),
        Tails::Two => {
            let t = student::upper_quantile(0.5 * alpha, df);
            Ok((noncentral_t::sf(t, df, ncp)? + noncentral_t::cdf(-t, df, ncp)?).min(1.0))
        }
    }
}

/// Sizes of two groups.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sizes {
    /// First group.
    pub first: usize,
    /// Second group.
    pub second: usize,
}

impl Sizes {
    /// √(n₁n₂/(n₁+n₂)) and n₁+n₂−2.
    fn unit_and_df(self) -> Result<(f64, f64), Refusal> {
        let total = self.first + self.second;
        if self.first < 1 || self.second < 1 || total < 3 {
            return Err(Refusal::TooFew {
                needed: 3,
                got: total,
            });
        }
        let (a, b) = (self.first as f64, self.second as f64);
        Ok(((a * b / (a + b)).sqrt(), a + b - 2.0))
    }
}

/// Power of the pooled two-sample t test for a difference of `effect` standard deviations.
///
/// # Formula
/// ```text
/// δ = effect · √(n₁n₂/(n₁+n₂)),  power = P(|T'(ν, δ)| > t(1−α/2; ν))
/// ```
/// # Source
/// Johnson & Welch, Biometrika 31 (1940) 362.
///
/// # Errors
/// [`Refusal::TooFew`], [`Refusal::OutOfRange`].
pub fn two_sample(effect: f64, sizes: Sizes, alpha: f64, tails: Tails) -> Result<f64, Refusal> {
    let (unit, df) = sizes.unit_and_df()?;
    power_at(effect.abs() * unit, df, alpha, tails)
}

/// Power of the one-sample (or paired) t test for a mean of `effect` standard deviations.
///
/// # Errors
/// [`Refusal::TooFew`], [`Refusal::OutOfRange`].
pub fn one_sample(effect: f64, n: usize, alpha: f64, tails: Tails) -> Result<f64, Refusal> {
    if n < 2 {
        return Err(Refusal::TooFew { needed: 2, got: n });
    }
    let n = n as f64;
    power_at(effect.abs() * n.sqrt(), n - 1.0, alpha, tails)
}

/// A group size found by a search.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Needed {
    /// The smallest sizes that reach the target.
    pub sizes: Sizes,
    /// The power they reach.
    pub power: f64,
    /// The power with one piece fewer in the first group; `None` when that is no design.
    pub one_fewer: Option<f64>,
}

/// The smallest first group of two or more, the second being `ratio` times as large (rounded up),
/// whose power reaches `target`.
///
/// # Errors
/// [`Refusal::OutOfRange`]; [`Refusal::NoConvergence`] when a million pieces are not enough.
pub fn needed_sizes(
    effect: f64,
    ratio: f64,
    target: f64,
    alpha: f64,
    tails: Tails,
) -> Result<Needed, Refusal> {
    open_unit(target, "power")?;
    positive(ratio, "ratio of group sizes")?;
    let sizes = |n: usize| {
        let second = (ratio * n as f64 - 1e-9).ceil().max(1.0) as usize;
        Sizes { first: n, second }
    };
    let power = |n: usize| two_sample(effect, sizes(n), alpha, tails);
    let n = smallest(2, target, power)?;
    let one_fewer = if n > 2 { Some(power(n - 1)?) } else { None };
    Ok(Needed {
        sizes: sizes(n),
        power: power(n)?,
        one_fewer,
    })
}

/// The smallest n from `least` with power(n) ≥ target, for a power that grows with n.
fn smallest(
    least: usize,
    target: f64,
    power: impl Fn(usize) -> Result<f64, Refusal>,
) -> Result<usize, Refusal> {
    let (mut low, mut high) = (least, least);
    while power(high)? < target {
        if high >= MOST {
            return Err(Refusal::NoConvergence { what: "group size" });
        }
        low = high + 1;
        high *= 2;
    }
    while low < high {
        let middle = low + (high - low) / 2;
        if power(middle)? < target {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    Ok(high)
}

/// The smallest difference, in standard deviations, that the two-sample t test finds with
/// probability `target`.
///
/// # Errors
/// [`Refusal::TooFew`], [`Refusal::OutOfRange`] (also for a target not above α),
/// [`Refusal::NoConvergence`].
pub fn detectable(sizes: Sizes, target: f64, alpha: f64, tails: Tails) -> Result<f64, Refusal> {
    open_unit(target, "power")?;
    sizes.unit_and_df()?;
    if target <= alpha {
        return Err(Refusal::OutOfRange { what: "power" });
    }
    let mut fault = None;
    let miss = |effect: f64| match two_sample(effect, sizes, alpha, tails) {
        Ok(power) => power - target,
        Err(refusal) => {
            fault = Some(refusal);
            f64::NAN
        }
    };
    let found = root::beyond(miss, 0.0, 1.0, "detectable difference");
    fault.map_or(found, Err)
}

/// Power of the two one-sided tests for a difference of means with a common standard deviation.
///
/// # Formula
/// ```text
/// ∫ f(s) [Φ((U−θ)/σ_d − t s) − Φ((L−θ)/σ_d + t s)]⁺ ds,   σ_d = σ √(1/n₁+1/n₂),  s = χ_ν/√ν
/// ```
/// # Source
/// Owen, Biometrika 52 (1965) 437; Phillips, J. Pharmacokinet. Biopharm. 18 (1990) 137.
///
/// # Errors
/// [`Refusal::TooFew`], [`Refusal::OutOfRange`], [`Refusal::NoConvergence`].
pub fn equivalence(
    truth: f64,
    margins: Interval,
    sd: f64,
    sizes: Sizes,
    alpha: f64,
) -> Result<f64, Refusal> {
    open_unit(2.0 * alpha, "error rate")?;
    positive(sd, "standard deviation")?;
    if margins.lower.is_nan() || margins.lower >= margins.upper || !truth.is_finite() {
        return Err(Refusal::OutOfRange { what: "margin" });
    }
    let (unit, df) = sizes.unit_and_df()?;
    let (low, high) = (
        (margins.lower - truth) / sd * unit,
        (margins.upper - truth) / sd * unit,
    );
    let t = student::upper_quantile(alpha, df);
    let law = LogScale::new(df);
    let inside = |s: f64| {
        if s <= 0.0 {
            return 0.0;
        }
        let density = (law.ln_density(s.ln()) - s.ln()).exp();
        let (below, above) = (high - t * s, low + t * s);
        // The same probability from whichever tail is small.
        let hit = if above > 0.0 {
            normal::sf(above) - normal::sf(below)
        } else {
            normal::cdf(below) - normal::cdf(above)
        };
        density * hit.max(0.0)
    };
    // Beyond the crossing no value of s can lead to equivalence.
    let crossing = (high - low) / (2.0 * t);
    let width = 1.0 / (2.0 * df).sqrt();
    let mut ends = vec![0.0, crossing];
    for place in [
        1.0,
        1.0 - 8.0 * width,
        1.0 - 2.0 * width,
        1.0 + 2.0 * width,
        1.0 + 8.0 * width,
    ] {
        ends.push(place.clamp(0.0, crossing));
    }
    for edge in [high / t, -low / t] {
        ends.extend([edge - 3.0 / t, edge, edge + 3.0 / t].map(|e| e.clamp(0.0, crossing)));
    }
    ends.sort_by(f64::total_cmp);
    ends.dedup();
    quadrature::adaptive(inside, &ends, 1e-11, "power of the equivalence test")
}

/// The smallest equal group size at which [`equivalence`] reaches `target`.
///
/// # Errors
/// As [`equivalence`]; [`Refusal::OutOfRange`] when the truth is not between the margins.
pub fn equivalence_size(
    truth: f64,
    margins: Interval,
    sd: f64,
    target: f64,
    alpha: f64,
) -> Result<(usize, f64), Refusal> {
    open_unit(target, "power")?;
    if !(margins.lower < truth && truth < margins.upper) {
        return Err(Refusal::OutOfRange {
            what: "true difference",
        });
    }
    let power = |n: usize| {
        equivalence(
            truth,
            margins,
            sd,
            Sizes {
                first: n,
                second: n,
            },
            alpha,
        )
    };
    let n = smallest(2, target, power)?;
    Ok((n, power(n)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Our handbook's table (trade.md 7.4): two groups, 5 %, power 80 %, in standard deviations.
    #[test]
    fn handbook_table_of_detectable_differences() {
        for (n, percent_at_cv_10) in [(3, 30.7), (6, 18.0), (10, 13.2), (30, 7.4)] {
            let sizes = Sizes {
                first: n,
                second: n,
            };
            let effect = detectable(sizes, 0.8, 0.05, Tails::Two).unwrap();
            assert!(
                (10.0 * effect - percent_at_cv_10).abs() < 0.051,
                "{n}: {effect}"
            );
        }
    }

    #[test]
    fn power_grows_with_pieces_and_without_effect_is_the_error_rate() {
        let size = |n| Sizes {
            first: n,
            second: n,
        };
        let none = two_sample(0.0, size(5), 0.05, Tails::Two).unwrap();
        assert!((none - 0.05).abs() < 1e-13);
        let few = two_sample(1.0, size(5), 0.05, Tails::Two).unwrap();
        assert!(few < two_sample(1.0, size(6), 0.05, Tails::Two).unwrap());
    }

    #[test]
    fn impossible_wishes_have_names() {
        assert!(
            two_sample(
                1.0,
                Sizes {
                    first: 1,
                    second: 1
                },
                0.05,
                Tails::Two
            )
            .is_err()
        );
        assert!(
            detectable(
                Sizes {
                    first: 4,
                    second: 4
                },
                0.04,
                0.05,
                Tails::Two
            )
            .is_err()
        );
        assert!(needed_sizes(0.0, 1.0, 0.8, 0.05, Tails::Two).is_err());
        let margins = Interval {
            lower: -1.0,
            upper: 1.0,
        };
        assert!(equivalence_size(1.0, margins, 1.0, 0.8, 0.05).is_err());
    }
}
