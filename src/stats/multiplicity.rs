//! Adjusting lists of p-values.

use crate::stats::refusal::Refusal;

/// How a list of p-values is adjusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Adjustment {
    /// Every p times their number. Dunn, J. Am. Stat. Assoc. 56 (1961) 52.
    Bonferroni,
    /// Step-down, never worse than Bonferroni. Holm, Scand. J. Stat. 6 (1979) 65.
    Holm,
    /// Step-up, for independent tests. Hochberg, Biometrika 75 (1988) 800.
    Hochberg,
    /// False discovery rate. Benjamini & Hochberg, J. R. Stat. Soc. B 57 (1995) 289.
    BenjaminiHochberg,
}

/// Adjusted p-values, in the order given.
///
/// # Formula
/// ```text
/// p₍₁₎ ≤ … ≤ p₍ₘ₎
/// Holm: max over j ≤ i of (m−j+1) p₍ⱼ₎    Hochberg: min over j ≥ i of (m−j+1) p₍ⱼ₎
/// Benjamini–Hochberg: min over j ≥ i of m p₍ⱼ₎/j          all held at 1
/// ```
/// # Errors
/// [`Refusal::OutOfRange`] for a value outside [0, 1].
pub fn adjust(p: &[f64], how: Adjustment) -> Result<Vec<f64>, Refusal> {
    if p.iter().any(|v| !(0.0..=1.0).contains(v)) {
        return Err(Refusal::OutOfRange { what: "p-value" });
    }
    let m = p.len() as f64;
    let mut ordered: Vec<(usize, f64)> = p.iter().copied().enumerate().collect();
    ordered.sort_by(|a, b| a.1.total_cmp(&b.1));
    let factor = |rank: usize| match how {
        Adjustment::Bonferroni => m,
        Adjustment::Holm | Adjustment::Hochberg => m - rank as f64,
        Adjustment::BenjaminiHochberg => m / (rank as f64 + 1.0),
    };
    let mut raised: Vec<(usize, f64)> = ordered
        .iter()
        .enumerate()
        .map(|(rank, &(at, v))| (at, (v * factor(rank)).min(1.0)))
        .collect();
    // The adjusted values must rise with the plain ones.
    match how {
        Adjustment::Bonferroni => {}
        Adjustment::Holm => running(raised.iter_mut(), f64::max),
        Adjustment::Hochberg | Adjustment::BenjaminiHochberg => {
            running(raised.iter_mut().rev(), f64::min);
        }
    }
    raised.sort_by_key(|&(at, _)| at);
    Ok(raised.into_iter().map(|(_, v)| v).collect())
}

/// Replaces each value by the extreme of it and those before.
fn running<'a>(
    values: impl Iterator<Item = &'a mut (usize, f64)>,
    extreme: impl Fn(f64, f64) -> f64,
) {
    let mut so_far = None;
    for (_, value) in values {
        *value = so_far.map_or(*value, |s| extreme(s, *value));
        so_far = Some(*value);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The handbook's example (trade.md 7.3): 0.001, 0.012, 0.030, 0.400.
    #[test]
    fn worked_example() {
        let got = adjust(&[0.400, 0.001, 0.030, 0.012], Adjustment::Holm).unwrap();
        for (a, b) in got.iter().zip([0.400, 0.004, 0.060, 0.036]) {
            assert!((a - b).abs() < 1e-15);
        }
    }

    #[test]
    fn nothing_and_nonsense() {
        assert_eq!(adjust(&[], Adjustment::Holm), Ok(vec![]));
        assert!(adjust(&[0.2, f64::NAN], Adjustment::Holm).is_err());
    }
}
