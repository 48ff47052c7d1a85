//! Roots of a continuous function between two points of opposite sign.

use crate::stats::refusal::Refusal;

/// Evaluations after which a search is given up; bisection alone needs about 60 for a double.
const MOST: usize = 200;

/// Finds where `f` changes sign between `a` and `b`, to a few units in the last place of the root.
///
/// # Formula
/// Brent's method: inverse quadratic or secant step, bisection whenever a step is not safe.
/// The root stays bracketed, so the answer is never an extrapolation.
///
/// # Source
/// Brent, Algorithms for Minimization without Derivatives (1973), chapter 4.
///
/// # Errors
/// [`Refusal::NoConvergence`] naming `what` when the ends do not differ in sign, when `f` is NaN,
/// or when the budget is used up.
pub fn between(
    f: impl FnMut(f64) -> f64,
    a: f64,
    b: f64,
    what: &'static str,
) -> Result<f64, Refusal> {
    within(f, (a, b), 0.0, what)
}

/// As [`between`], content with an error of `tolerance` in the root.
///
/// # Errors
/// As [`between`].
pub fn within(
    mut f: impl FnMut(f64) -> f64,
    (a, b): (f64, f64),
    tolerance: f64,
    what: &'static str,
) -> Result<f64, Refusal> {
    let (mut a, mut b) = (a, b);
    let (mut fa, mut fb) = (f(a), f(b));
    let failed = Refusal::NoConvergence { what };
    if fa.is_nan() || fb.is_nan() || (fa > 0.0 && fb > 0.0) || (fa < 0.0 && fb < 0.0) {
        return Err(failed);
    }
    let (mut c, mut fc) = (a, fa);
    let mut step = b - a;
    let mut before = step;
    for _ in 0..MOST {
        if fc.abs() < fb.abs() {
            (a, b, c) = (b, c, b);
            (fa, fb, fc) = (fb, fc, fb);
        }
        let half = 0.5 * (c - b);
        let near = 2.0 * f64::EPSILON * b.abs() + f64::MIN_POSITIVE + 0.5 * tolerance;
        if half.abs() <= near || fb == 0.0 {
            return Ok(b);
        }
        match interpolated(a, b, c, [fa, fb, fc], half, before) {
            Some(trial) if before.abs() >= near && fa.abs() > fb.abs() => {
                before = step;
                step = trial;
            }
            _ => {
                step = half;
                before = half;
            }
        }
        (a, fa) = (b, fb);
        b += if step.abs() > near {
            step
        } else {
            near.copysign(half)
        };
        fb = f(b);
        if fb.is_nan() {
            return Err(failed);
        }
        if (fb > 0.0) == (fc > 0.0) {
            (c, fc) = (a, fa);
            step = b - a;
            before = step;
        }
    }
    Err(failed)
}

/// The inverse quadratic (or secant) step from `b`, if it stays well inside the bracket and
/// shrinks faster than the step before the last one.
fn interpolated(
    a: f64,
    b: f64,
    c: f64,
    [fa, fb, fc]: [f64; 3],
    half: f64,
    before: f64,
) -> Option<f64> {
    let s = fb / fa;
    let (mut p, mut q) = if a == c {
        (2.0 * half * s, 1.0 - s)
    } else {
        let (q, r) = (fa / fc, fb / fc);
        let p = s * (2.0 * half * q * (q - r) - (b - a) * (r - 1.0));
        (p, (q - 1.0) * (r - 1.0) * (s - 1.0))
    };
    if p > 0.0 {
        q = -q;
    } else {
        p = -p;
    }
    let near = 2.0 * f64::EPSILON * b.abs();
    let inside = 2.0 * p < (3.0 * half * q - (near * q).abs()).min((before * q).abs());
    (inside && q != 0.0).then(|| p / q)
}

/// Widens a bracket outwards from `from` in growing strides until `f` changes sign, then solves.
///
/// # Errors
/// [`Refusal::NoConvergence`] when no change of sign is met within sixty doublings of `stride`.
pub fn beyond(
    mut f: impl FnMut(f64) -> f64,
    from: f64,
    stride: f64,
    what: &'static str,
) -> Result<f64, Refusal> {
    let mut near = from;
    let f_near = f(near);
    if f_near == 0.0 {
        return Ok(near);
    }
    let mut stride = stride;
    for _ in 0..60 {
        let far = near + stride;
        let value = f(far);
        if (value > 0.0) != (f_near > 0.0) || value == 0.0 {
            return between(f, near, far, what);
        }
        near = far;
        stride *= 2.0;
    }
    Err(Refusal::NoConvergence { what })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_square_root_of_two() {
        let root = between(|x| x * x - 2.0, 0.0, 2.0, "test");
        assert!((root.unwrap() - std::f64::consts::SQRT_2).abs() < 1e-15);
    }

    #[test]
    fn refuses_without_a_change_of_sign() {
        assert!(between(|x| x * x + 1.0, -1.0, 1.0, "test").is_err());
        assert!(between(|_| f64::NAN, -1.0, 1.0, "test").is_err());
        assert!(beyond(|_| 1.0, 0.0, 1.0, "test").is_err());
    }

    #[test]
    fn copes_with_a_step_and_with_a_flat_start() {
        let root = between(|x| if x < 0.3 { -1.0 } else { 1.0 }, 0.0, 1.0, "test").unwrap();
        assert!((root - 0.3).abs() < 1e-15);
        let root = between(|x| (x - 1.0).powi(9), 0.0, 3.0, "test").unwrap();
        assert!((root - 1.0).abs() < 1e-1);
    }
}
