//! Several groups against one, as ratios of means with simultaneous Fieller sets.
//!
//! The interval with separate spreads decides the verdicts of a page.

use crate::stats::dist::equicoordinate::{Equicoordinate, Sides};
use crate::stats::family::Family;
use crate::stats::ratio::{Ratio, Relative};
use crate::stats::refusal::{Refusal, open_unit};

/// What one ratio starts from.
#[derive(Debug, Clone, Copy)]
struct Contrast {
    relative: Relative,
    df: f64,
    lambda: f64,
}

fn contrast(family: &Family, index: usize) -> Result<Contrast, Refusal> {
    let control = family.control();
    let group = family.others().get(index).ok_or(Refusal::NoComparison)?;
    let relative = Relative::new(
        (group.mean, family.mean_variance(group)),
        (control.mean, family.mean_variance(control)),
    )?;
    let total = relative.variance_at(relative.ratio);
    if total <= 0.0 {
        return Err(Refusal::ZeroSpread);
    }
    let lambda = relative.ratio.abs() * (relative.denominator / total).sqrt();
    let df = family.df_of_contrast(group, relative.numerator / total);
    Ok(Contrast {
        relative,
        df,
        lambda: lambda.min(1.0),
    })
}

/// Ratios to the control with simultaneous two-sided sets, in the order of the family.
///
/// # Formula
/// ```text
/// L_i = x̄_i − ρ_i x̄₀,  v(L_i) = v_i + ρ_i² v₀,  λ_i = |ρ̂_i| √(v₀ / v(L_i))      (plugged in)
/// pooled: ν = Σ(n − 1);  separate: ν_i = v(L_i)² / (v_i²/(n_i−1) + ρ̂_i⁴ v₀²/(n₀−1))
/// { θ : (x̄_i − θ x̄₀)² ≤ c_i² (v_i + θ² v₀) },   P(max_j |T_j| > c_i) = 1 − confidence
/// ```
/// # Source
/// Dilba, Bretz, Guiard & Hothorn, Methods Inf. Med. 43 (2004) 465; separate spreads after Hasler &
/// Hothorn, Biom. J. 50 (2008) 793.
///
/// # Errors
/// The inner ones concern one comparison ([`Refusal::ZeroSpread`] also when all values of a group
/// are zero, [`Refusal::ZeroDenominator`]); the outer ones the family. A comparison that is
/// refused stays in the family, uncorrelated, which can only widen the others' intervals.
pub fn ratios(family: &Family, confidence: f64) -> Result<Vec<Result<Ratio, Refusal>>, Refusal> {
    open_unit(confidence, "confidence")?;
    let contrasts: Vec<Result<Contrast, Refusal>> = (0..family.others().len())
        .map(|i| contrast(family, i))
        .collect();
    let lambdas: Vec<f64> = contrasts
        .iter()
        .map(|c| c.as_ref().map_or(0.0, |c| c.lambda))
        .collect();
    let largest = contrasts.iter().flatten().map(|c| c.df).fold(1.0, f64::max);
    let mut law = Equicoordinate::new(&lambdas, Sides::Two, largest)?;
    let mut one = |c: Contrast| -> Result<Ratio, Refusal> {
        let critical = law.critical(1.0 - confidence, c.df)?;
        let (g, set) = c.relative.set(critical);
        Ok(Ratio {
            ratio: c.relative.ratio,
            df: c.df,
            critical,
            g,
            set,
        })
    };
    Ok(contrasts
        .into_iter()
        .map(|c| c.and_then(&mut one))
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::ratio::fieller;
    use crate::stats::sample::Spread;

    const B: [f64; 5] = [58.1, 61.9, 60.4, 57.2, 62.4];
    const X: [f64; 5] = [51.3, 48.0, 54.6, 47.5, 53.6];
    const C: [f64; 5] = [59.5, 56.8, 61.0, 58.2, 60.5];

    #[test]
    fn a_family_of_one_is_fieller() {
        for spread in [Spread::Pooled, Spread::Separate] {
            let found = ratios(&Family::of(&B, &[X], spread).unwrap(), 0.95).unwrap()[0].unwrap();
            let plain = fieller(&X, &B, spread, 0.95).unwrap();
            assert!((found.critical / plain.critical - 1.0).abs() < 1e-9);
            let (a, b) = (found.set.bounded().unwrap(), plain.set.bounded().unwrap());
            assert!((a.lower - b.lower).abs() < 1e-10 && (a.upper - b.upper).abs() < 1e-10);
        }
    }

    #[test]
    fn units_and_sign_cancel_and_a_larger_family_widens() {
        for spread in [Spread::Pooled, Spread::Separate] {
            let plain = ratios(&Family::of(&B, &[X, C], spread).unwrap(), 0.95).unwrap();
            let turn = |g: [f64; 5]| g.map(|v| -0.3 * v);
            let turned = Family::of(&turn(B), &[turn(X), turn(C)], spread).unwrap();
            let turned = ratios(&turned, 0.95).unwrap();
            let single = ratios(&Family::of(&B, &[C], spread).unwrap(), 0.95).unwrap();
            let (a, b) = (
                plain[1].unwrap().set.bounded().unwrap(),
                turned[1].unwrap().set,
            );
            assert!((a.lower - b.bounded().unwrap().lower).abs() < 1e-10);
            assert!(single[0].unwrap().set.bounded().unwrap().width() < a.width());
        }
    }

    #[test]
    fn a_total_loss_is_refused_beside_the_others() {
        let family = Family::of(&B, &[[0.0; 5], X], Spread::Separate).unwrap();
        let found = ratios(&family, 0.95).unwrap();
        assert_eq!(found[0], Err(Refusal::ZeroSpread));
        assert!(found[1].is_ok());
    }
}
