//! Do values look normal? Shapiro–Wilk and Anderson–Darling. Looked at, never used to choose a
//! method; below ten values neither has power to speak of.
#![expect(
    clippy::indexing_slicing,
    reason = "indices run over one ordered sample"
)]

use crate::stats::dist::normal;
use crate::stats::refusal::Refusal;
use crate::stats::sample::Sample;

/// A test of normality.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normality {
    /// W or A².
    pub statistic: f64,
    /// Probability of a statistic as extreme when the values are normal.
    pub p: f64,
}

/// A polynomial with the constant first.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Royston's weights a₁ … of the upper half, largest first.
fn weights(n: usize) -> Vec<f64> {
    const FIRST: [f64; 6] = [0.0, 0.221_157, -0.147_981, -2.071_19, 4.434_685, -2.706_056];
    const SECOND: [f64; 6] = [
        0.0, 0.042_981, -0.293_762, -1.752_461, 5.682_633, -3.582_633,
    ];
    if n == 3 {
        return vec![0.5_f64.sqrt()];
    }
    let size = n as f64;
    let half = n / 2;
    let scores: Vec<f64> = (1..=half)
        .map(|i| -normal::quantile((i as f64 - 0.375) / (size + 0.25)))
        .collect();
    let squares = 2.0 * scores.iter().map(|m| m * m).sum::<f64>();
    let root = 1.0 / size.sqrt();
    let mut exact = vec![scores[0] / squares.sqrt() + polynomial(&FIRST, root)];
    if n > 5 {
        exact.push(scores[1] / squares.sqrt() + polynomial(&SECOND, root));
    }
    let left: f64 = squares - 2.0 * scores.iter().take(exact.len()).map(|m| m * m).sum::<f64>();
    let share = 1.0 - 2.0 * exact.iter().map(|a| a * a).sum::<f64>();
    let factor = (left / share).sqrt();
    let rest = scores
        .iter()
        .skip(exact.len())
        .map(|m| m / factor)
        .collect::<Vec<f64>>();
    exact.extend(rest);
    exact
}

/// Royston's normalising transformation of 1 − W.
fn shapiro_p(w: f64, n: usize) -> f64 {
    let size = n as f64;
    if n == 3 {
        let least = 0.75_f64.sqrt().asin();
        return (6.0 / std::f64::consts::PI * (w.sqrt().asin() - least)).clamp(0.0, 1.0);
    }
    let y = (1.0 - w).ln();
    let (value, mean, sd) = if n <= 11 {
        let gamma = polynomial(&[-2.273, 0.459], size);
        if y >= gamma {
            return 0.0;
        }
        let mean = polynomial(&[0.544, -0.399_78, 0.025_054, -6.714e-4], size);
        let sd = polynomial(&[1.3822, -0.778_57, 0.062_767, -0.002_032_2], size);
        (-(gamma - y).ln(), mean, sd.exp())
    } else {
        let x = size.ln();
        let mean = polynomial(&[-1.5861, -0.310_82, -0.083_751, 0.003_891_5], x);
        (
            y,
            mean,
            polynomial(&[-0.4803, -0.082_676, 0.003_030_2], x).exp(),
        )
    };
    normal::sf((value - mean) / sd)
}

/// The Shapiro–Wilk test for 3 to 5000 values.
///
/// # Source
/// Shapiro & Wilk, Biometrika 52 (1965) 591; weights and p-value: Royston, Appl. Stat. 44 (1995)
/// 547, algorithm AS R94 (p good to about two figures by its own account).
///
/// # Errors
/// [`Refusal::TooFew`] below three values, [`Refusal::OutOfRange`] above 5000,
/// [`Refusal::ZeroSpread`].
pub fn shapiro_wilk(values: &[f64]) -> Result<Normality, Refusal> {
    let sample = Sample::at_least(3, values)?;
    let n = sample.len();
    if n > 5000 {
        return Err(Refusal::OutOfRange {
            what: "number of values",
        });
    }
    if sample.sum_of_squares() == 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let ordered = sample.sorted();
    let contrast: f64 = weights(n)
        .iter()
        .enumerate()
        .map(|(i, a)| a * (ordered[n - 1 - i] - ordered[i]))
        .sum();
    let w = (contrast * contrast / sample.sum_of_squares()).min(1.0);
    Ok(Normality {
        statistic: w,
        p: shapiro_p(w, n),
    })
}

/// The Anderson–Darling test of normality, mean and standard deviation estimated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AndersonDarling {
    /// A².
    pub a2: f64,
    /// A² (1 + 0.75/n + 2.25/n²).
    pub a2_star: f64,
    /// From the approximation of D'Agostino and Stephens; 3.7e-24 stands for anything smaller.
    pub p: f64,
}

/// Tests normality by the distance between the cumulated values and the fitted curve.
///
/// # Formula
/// ```text
/// A² = −n − Σ (2i−1)/n · [ln Φ(z_i) + ln(1 − Φ(z_(n+1−i)))]
/// ```
/// # Source
/// Anderson & Darling (1952); p: D'Agostino & Stephens, Goodness-of-Fit Techniques (1986), table 4.9.
///
/// # Errors
/// [`Refusal::TooFew`] below three values, [`Refusal::ZeroSpread`].
pub fn anderson_darling(values: &[f64]) -> Result<AndersonDarling, Refusal> {
    let sample = Sample::at_least(3, values)?;
    let n = sample.len() as f64;
    let sd = (sample.sum_of_squares() / (n - 1.0)).sqrt();
    if sd == 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let scores: Vec<f64> = sample
        .sorted()
        .iter()
        .map(|v| (v - sample.mean()) / sd)
        .collect();
    let term = |(i, (low, high)): (usize, (&f64, &f64))| {
        (2.0 * i as f64 + 1.0) / n * (normal::ln_cdf(*low) + normal::ln_cdf(-high))
    };
    let a2 = -n
        - scores
            .iter()
            .zip(scores.iter().rev())
            .enumerate()
            .map(term)
            .sum::<f64>();
    let a = a2 * (1.0 + 0.75 / n + 2.25 / (n * n));
    let p = if a < 0.2 {
        -(-13.436 + a * (101.14 - 223.73 * a)).exp_m1()
    } else if a < 0.34 {
        -(-8.318 + a * (42.796 - 59.938 * a)).exp_m1()
    } else if a < 0.6 {
        (0.9177 - a * (4.279 + 1.38 * a)).exp()
    } else if a < 10.0 {
        (1.2937 - a * (5.709 - 0.0186 * a)).exp()
    } else {
        3.7e-24
    };
    Ok(AndersonDarling { a2, a2_star: a, p })
}

#[cfg(test)]
mod tests {
    use super::*;

    const WEIGHTS: [f64; 11] = [
        148.0, 154.0, 158.0, 160.0, 161.0, 162.0, 166.0, 170.0, 182.0, 195.0, 236.0,
    ];

    /// Shapiro & Wilk (1965), example of eleven weights: W = 0.79.
    #[test]
    fn published_example() {
        assert!((shapiro_wilk(&WEIGHTS).unwrap().statistic - 0.79).abs() < 0.005);
    }

    #[test]
    fn unchanged_by_shift_scale_and_reflection() {
        let plain = shapiro_wilk(&WEIGHTS).unwrap();
        let plain_ad = anderson_darling(&WEIGHTS).unwrap();
        let moved = WEIGHTS.map(|v| 5.0 - 0.01 * v);
        assert!((shapiro_wilk(&moved).unwrap().statistic - plain.statistic).abs() < 1e-12);
        assert!((anderson_darling(&moved).unwrap().a2 - plain_ad.a2).abs() < 1e-11);
    }

    #[test]
    fn awkward_input_has_a_name() {
        assert_eq!(shapiro_wilk(&[2.0; 6]), Err(Refusal::ZeroSpread));
        assert!(matches!(
            shapiro_wilk(&[1.0, 2.0]),
            Err(Refusal::TooFew { .. })
        ));
        assert_eq!(anderson_darling(&[2.0; 6]), Err(Refusal::ZeroSpread));
        let p = shapiro_wilk(&[0.0, 0.0, 0.0, 0.0, 0.0, 1.0]).unwrap().p;
        assert!((0.0..0.001).contains(&p));
    }
}
