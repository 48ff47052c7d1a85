//! Values that lie apart: Grubbs' test for one, the generalised extreme studentised deviate for
//! several. They flag, they never drop.

use crate::stats::dist::student;
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::sample::Sample;

/// Whether a value may lie apart on one named side or on either.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// Only the largest, or only the smallest, is suspected.
    One,
    /// Either end.
    Both,
}

/// The critical value of Grubbs' test.
///
/// # Formula
/// ```text
/// G = (n−1)/√n · √(t²/(n−2+t²)),  t with n−2 degrees of freedom and upper tail α/n or α/2n
/// ```
/// # Source
/// Grubbs, Ann. Math. Stat. 21 (1950) 27; Technometrics 11 (1969) 1.
///
/// # Errors
/// [`Refusal::TooFew`] below three values, [`Refusal::OutOfRange`] for α.
pub fn grubbs_critical(n: usize, alpha: f64, direction: Direction) -> Result<f64, Refusal> {
    open_unit(alpha, "error rate")?;
    if n < 3 {
        return Err(Refusal::TooFew { needed: 3, got: n });
    }
    let n = n as f64;
    let share = if direction == Direction::One {
        alpha / n
    } else {
        alpha / (2.0 * n)
    };
    let t = student::upper_quantile(share, n - 2.0);
    Ok((n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt())
}

/// Grubbs' test of one sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grubbs {
    /// Place of the value farthest from the mean, the first of equals.
    pub index: usize,
    /// That value.
    pub value: f64,
    /// Its distance from the mean in standard deviations.
    pub g: f64,
    /// (largest − mean)/s.
    pub g_max: f64,
    /// (mean − smallest)/s.
    pub g_min: f64,
    /// Bonferroni bound of the two-sided p.
    pub p: f64,
    /// Bonferroni bound of the p for the largest value alone.
    pub p_max: f64,
    /// Bonferroni bound of the p for the smallest value alone.
    pub p_min: f64,
}

/// n times the tail of the t that belongs to a deviation G, held at 1.
fn bonferroni(g: f64, n: f64) -> f64 {
    let room = (n - 1.0).powi(2) - n * g * g;
    let t = if room <= 0.0 {
        f64::INFINITY
    } else {
        g * (n * (n - 2.0) / room).sqrt()
    };
    (n * student::sf(t, n - 2.0)).min(1.0)
}

/// Grubbs' test for one value apart.
///
/// # Source
/// Grubbs (1950); p: Bonferroni's inequality on n t tests, exact when it is small.
///
/// # Errors
/// [`Refusal::TooFew`] below three values, [`Refusal::ZeroSpread`].
pub fn grubbs(values: &[f64]) -> Result<Grubbs, Refusal> {
    let sample = Sample::at_least(3, values)?;
    let n = sample.len() as f64;
    let sd = (sample.sum_of_squares() / (n - 1.0)).sqrt();
    if sd == 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let mean = sample.mean();
    let (index, value) = farthest(values, mean);
    let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let least = values.iter().copied().fold(f64::INFINITY, f64::min);
    let (g_max, g_min) = ((most - mean) / sd, (mean - least) / sd);
    let g = (value - mean).abs() / sd;
    Ok(Grubbs {
        index,
        value,
        g,
        g_max,
        g_min,
        p: (2.0 * bonferroni(g, n)).min(1.0),
        p_max: bonferroni(g_max, n),
        p_min: bonferroni(g_min, n),
    })
}

/// Place and value farthest from the centre, the first of equals.
fn farthest(values: &[f64], centre: f64) -> (usize, f64) {
    let mut found = (0, centre);
    for (index, &value) in values.iter().enumerate() {
        if (value - centre).abs() > (found.1 - centre).abs() {
            found = (index, value);
        }
    }
    found
}

/// One step of the generalised extreme studentised deviate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Largest deviation among the values still in, in standard deviations.
    pub r: f64,
    /// Its critical value.
    pub critical: f64,
    /// The value taken out.
    pub value: f64,
    /// Its place in the list as given.
    pub index: usize,
}

/// Which values lie apart, and how that was found.
#[derive(Debug, Clone, PartialEq)]
pub struct ExtremeDeviates {
    /// One step per value that could have been flagged.
    pub steps: Vec<Step>,
    /// How many of the first steps are flagged.
    pub flagged: usize,
}

/// The generalised extreme studentised deviate for up to `most` values apart on either side.
///
/// Works from about 15 values; below about 25 its error rate is approximate.
///
/// # Source
/// Rosner, Technometrics 25 (1983) 165; worked example in NIST/SEMATECH e-Handbook 1.3.5.17.3.
///
/// # Errors
/// [`Refusal::TooFew`] when fewer than three values would remain, [`Refusal::OutOfRange`] for α or
/// `most` of zero, [`Refusal::ZeroSpread`] when the values still in are all equal.
pub fn generalised_esd(
    values: &[f64],
    most: usize,
    alpha: f64,
) -> Result<ExtremeDeviates, Refusal> {
    open_unit(alpha, "error rate")?;
    if most == 0 {
        return Err(Refusal::OutOfRange {
            what: "number of outliers",
        });
    }
    Sample::at_least(most + 2, values)?;
    let mut left: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
    let mut found = ExtremeDeviates {
        steps: Vec::with_capacity(most),
        flagged: 0,
    };
    for step in 1..=most {
        let kept: Vec<f64> = left.iter().map(|v| v.1).collect();
        let sample = Sample::at_least(3, &kept)?;
        let n = sample.len() as f64;
        let sd = (sample.sum_of_squares() / (n - 1.0)).sqrt();
        if sd == 0.0 {
            return Err(Refusal::ZeroSpread);
        }
        let (at, value) = farthest(&kept, sample.mean());
        let r = (value - sample.mean()).abs() / sd;
        let critical = grubbs_critical(sample.len(), alpha, Direction::Both)?;
        let (index, _) = left.remove(at);
        found.steps.push(Step {
            r,
            critical,
            value,
            index,
        });
        if r > critical {
            found.flagged = step;
        }
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Handbook 3.16: critical values one- and two-sided at 5 %.
    #[test]
    fn printed_critical_values() {
        for (n, one, both) in [(3, 1.153, 1.154), (6, 1.822, 1.887), (12, 2.285, 2.412)] {
            assert!((grubbs_critical(n, 0.05, Direction::One).unwrap() - one).abs() < 1.01e-3);
            assert!((grubbs_critical(n, 0.05, Direction::Both).unwrap() - both).abs() < 1.01e-3);
        }
    }

    #[test]
    fn reflection_swaps_the_ends() {
        let x = [1470.0, 1444.0, 1502.0, 1250.0, 1499.0, 1387.0];
        let (a, b) = (grubbs(&x).unwrap(), grubbs(&x.map(|v| -v)).unwrap());
        assert_eq!((a.index, a.g_max), (b.index, b.g_min));
    }

    #[test]
    fn awkward_input_has_a_name() {
        assert_eq!(grubbs(&[1.0; 5]), Err(Refusal::ZeroSpread));
        assert!(grubbs(&[1.0, 2.0]).is_err());
        assert!(generalised_esd(&[1.0, 2.0, 3.0], 2, 0.05).is_err());
        assert_eq!(grubbs(&[0.0, 0.0, 1.0]).map(|g| g.p), Ok(0.0));
    }
}
