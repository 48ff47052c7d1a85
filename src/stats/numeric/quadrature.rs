//! Integrals: adaptive Gauss–Kronrod for bounded intervals, and the two-way trapezoid sum that the
//! scale mixtures of `dist` use.
#![expect(
    clippy::indexing_slicing,
    reason = "fixed node tables, constant indices"
)]

use crate::stats::refusal::Refusal;

/// Nodes of the 10/21-point Gauss–Kronrod pair on [0, 1) (they are symmetric), outermost first.
///
/// # Source
/// Piessens and others, QUADPACK (1983), routine qk21; digits recomputed to 30 places there.
const NODES: [f64; 11] = [
    0.995_657_163_025_808_1,
    0.973_906_528_517_171_7,
    0.930_157_491_355_708_2,
    0.865_063_366_688_984_5,
    0.780_817_726_586_416_9,
    0.679_409_568_299_024_4,
    0.562_757_134_668_604_7,
    0.433_395_394_129_247_2,
    0.294_392_862_701_460_2,
    0.148_874_338_981_631_22,
    0.0,
];

/// Kronrod weights belonging to [`NODES`].
const KRONROD: [f64; 11] = [
    0.011_694_638_867_371_874,
    0.032_558_162_307_964_725,
    0.054_755_896_574_351_995,
    0.075_039_674_810_919_96,
    0.093_125_454_583_697_6,
    0.109_387_158_802_297_64,
    0.123_491_976_262_065_84,
    0.134_709_217_311_473_34,
    0.142_775_938_577_060_09,
    0.147_739_104_901_338_49,
    0.149_445_554_002_916_9,
];

/// Gauss weights of every second node (index 1, 3, 5, 7, 9).
const GAUSS: [f64; 5] = [
    0.066_671_344_308_688_14,
    0.149_451_349_150_580_6,
    0.219_086_362_515_982_04,
    0.269_266_719_309_996_35,
    0.295_524_224_714_752_87,
];

/// Integral and error estimate over one interval.
fn panel(f: &mut impl FnMut(f64) -> f64, a: f64, b: f64) -> (f64, f64) {
    let centre = 0.5 * (a + b);
    let half = 0.5 * (b - a);
    let middle = f(centre);
    let mut fine = KRONROD[10] * middle;
    let mut coarse = 0.0;
    for i in 0..10 {
        let step = half * NODES[i];
        let both = f(centre - step) + f(centre + step);
        fine += KRONROD[i] * both;
        if i % 2 == 1 {
            coarse += GAUSS[i / 2] * both;
        }
    }
    (fine * half, ((fine - coarse) * half).abs())
}

/// Integrates `f` over consecutive intervals with ends `points`, to a relative error `rel`.
///
/// The interval with the largest error estimate is halved until the sum of the estimates is below
/// `rel` times the integral. Put the ends where `f` has kinks or steep parts.
///
/// # Errors
/// [`Refusal::NoConvergence`] after 2000 halvings or when `f` is not finite.
pub fn adaptive(
    mut f: impl FnMut(f64) -> f64,
    points: &[f64],
    rel: f64,
    what: &'static str,
) -> Result<f64, Refusal> {
    let mut panels: Vec<(f64, f64, f64, f64)> = Vec::with_capacity(64);
    for pair in points.windows(2) {
        let (value, error) = panel(&mut f, pair[0], pair[1]);
        panels.push((pair[0], pair[1], value, error));
    }
    for _ in 0..2000 {
        let total: f64 = panels.iter().map(|p| p.2).sum();
        let error: f64 = panels.iter().map(|p| p.3).sum();
        if !total.is_finite() || !error.is_finite() {
            break;
        }
        if error <= rel * total.abs() || error < f64::MIN_POSITIVE {
            return Ok(total);
        }
        let worst = panels
            .iter()
            .enumerate()
            .max_by(|x, y| x.1.3.total_cmp(&y.1.3));
        let Some((index, &(a, b, _, _))) = worst else {
            break;
        };
        let middle = 0.5 * (a + b);
        if middle <= a || middle >= b {
            break;
        }
        let (left, left_error) = panel(&mut f, a, middle);
        let (right, right_error) = panel(&mut f, middle, b);
        panels[index] = (a, middle, left, left_error);
        panels.push((middle, b, right, right_error));
    }
    Err(Refusal::NoConvergence { what })
}

/// Terms smaller than this share of the largest one end a two-way sum.
const NEGLIGIBLE: f64 = 1e-18;

/// Most terms in one direction of a two-way sum.
const LONGEST: i32 = 200_000;

/// Σ term(i) over all integers of a sequence with one hump, walking right from `start`, then left.
///
/// For an analytic integrand on the whole line, step × this sum is the trapezoid rule, whose error
/// falls exponentially with 1/step; the callers choose the step from the width of the strip in
/// which their integrand stays tame and say so.
///
/// # Errors
/// [`Refusal::NoConvergence`] when a direction does not die out, or on a NaN.
pub fn two_way_sum(
    start: i32,
    mut term: impl FnMut(i32) -> f64,
    what: &'static str,
) -> Result<f64, Refusal> {
    let mut largest = 0.0_f64;
    let mut total = 0.0_f64;
    for direction in [1, -1] {
        let mut index = if direction == 1 { start } else { start - 1 };
        let mut last = f64::INFINITY;
        loop {
            let value = term(index);
            if value.is_nan() || (index - start).abs() > LONGEST {
                return Err(Refusal::NoConvergence { what });
            }
            total += value;
            largest = largest.max(value);
            if value <= last && value <= NEGLIGIBLE * largest {
                break;
            }
            last = value;
            index += direction;
        }
    }
    Ok(total)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn integrates_a_polynomial_exactly_and_a_kink_closely() {
        let cubic = adaptive(|x| 4.0 * x * x * x, &[0.0, 1.0], 1e-14, "test").unwrap();
        assert!((cubic - 1.0).abs() < 1e-15);
        let kink = adaptive(|x| (x - 0.3).abs(), &[0.0, 1.0], 1e-12, "test").unwrap();
        assert!((kink - 0.29).abs() < 1e-12);
    }

    #[test]
    fn the_trapezoid_sum_of_a_gaussian_is_exact() {
        let step = 0.5;
        let sum = two_way_sum(7, |i| (-0.5 * (f64::from(i) * step).powi(2)).exp(), "test");
        let area = step * sum.unwrap();
        assert!((area - (2.0 * std::f64::consts::PI).sqrt()).abs() < 1e-14);
    }

    #[test]
    fn nan_is_refused() {
        assert!(adaptive(|_| f64::NAN, &[0.0, 1.0], 1e-9, "test").is_err());
        assert!(two_way_sum(0, |_| f64::NAN, "test").is_err());
    }
}
