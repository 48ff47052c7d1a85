//! Curves that are not linear in their parameters: uptake, decay.

use crate::stats::dist::student;
use crate::stats::interval::Interval;
use crate::stats::numeric::least_squares;
use crate::stats::refusal::{Refusal, open_unit};
use crate::stats::sample::check;

/// A curve: value and slopes by parameter at one x.
pub trait Curve {
    /// The value and its derivative by each parameter.
    fn at(&self, parameters: &[f64], x: f64) -> (f64, Vec<f64>);
}

impl<F: Fn(&[f64], f64) -> (f64, Vec<f64>)> Curve for F {
    fn at(&self, parameters: &[f64], x: f64) -> (f64, Vec<f64>) {
        self(parameters, x)
    }
}

/// The curves of the trade.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Model {
    /// a (1 − e^(−k x)): uptake towards a.
    Rise,
    /// a e^(−k x): loss of the first order.
    Decay,
    /// c + a e^(−k x): loss of the first order towards a rest c.
    DecayToRest,
    /// a x^b.
    Power,
}

impl Curve for Model {
    fn at(&self, parameters: &[f64], x: f64) -> (f64, Vec<f64>) {
        match (self, parameters) {
            (Self::Rise, [a, k]) => {
                let (gone, left) = (-(-k * x).exp_m1(), (-k * x).exp());
                (a * gone, vec![gone, a * x * left])
            }
            (Self::Decay, [a, k]) => {
                let left = (-k * x).exp();
                (a * left, vec![left, -a * x * left])
            }
            (Self::DecayToRest, [c, a, k]) => {
                let left = (-k * x).exp();
                (c + a * left, vec![1.0, left, -a * x * left])
            }
            (Self::Power, [a, b]) => {
                let power = x.powf(*b);
                (a * power, vec![power, a * power * x.ln()])
            }
            // A wrong number of parameters shows as a refusal of the fit.
            _ => (f64::NAN, vec![]),
        }
    }
}

/// A fitted curve.
#[derive(Debug, Clone)]
pub struct NonlinearFit {
    /// The parameters.
    pub parameters: Vec<f64>,
    /// Their standard errors, by linearisation at the minimum.
    pub errors: Vec<f64>,
    /// Covariance of the parameters.
    pub covariance: Vec<Vec<f64>>,
    /// Σ residual².
    pub residual_ss: f64,
    /// Values less parameters.
    pub df: f64,
}

impl NonlinearFit {
    /// Residual standard deviation.
    pub fn sd(&self) -> f64 {
        (self.residual_ss / self.df).sqrt()
    }

    /// t-interval of one parameter, by linearisation.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`].
    pub fn interval(&self, parameter: usize, confidence: f64) -> Result<Interval, Refusal> {
        open_unit(confidence, "confidence")?;
        match (self.parameters.get(parameter), self.errors.get(parameter)) {
            (Some(value), Some(se)) => {
                let t = student::two_sided_quantile(confidence, self.df);
                Ok(Interval::around(*value, t * se))
            }
            _ => Err(Refusal::OutOfRange { what: "parameter" }),
        }
    }
}

/// Half-life ln 2 / k and its standard error from a rate and its error; `None` for a rate not above
/// zero.
pub fn half_life(rate: f64, error: f64) -> Option<(f64, f64)> {
    let ln2 = std::f64::consts::LN_2;
    (rate > 0.0).then(|| (ln2 / rate, ln2 / (rate * rate) * error))
}

/// The fit at one set of parameters.
struct State {
    residuals: Vec<f64>,
    /// One column per parameter.
    slopes: Vec<Vec<f64>>,
    squares: f64,
}

impl State {
    /// `None` where the curve is not finite.
    fn at(curve: &impl Curve, parameters: &[f64], x: &[f64], y: &[f64]) -> Option<Self> {
        let mut residuals = Vec::with_capacity(x.len());
        let mut slopes = vec![Vec::with_capacity(x.len()); parameters.len()];
        for (&x, &y) in x.iter().zip(y) {
            let (value, by) = curve.at(parameters, x);
            let finite = value.is_finite() && by.iter().all(|s| s.is_finite());
            if !finite || by.len() != parameters.len() {
                return None;
            }
            residuals.push(y - value);
            slopes
                .iter_mut()
                .zip(by)
                .for_each(|(column, slope)| column.push(slope));
        }
        let squares: f64 = residuals.iter().map(|r| r * r).sum();
        squares.is_finite().then_some(Self {
            residuals,
            slopes,
            squares,
        })
    }

    /// Whether every parameter kept some of the influence it had before the step.
    fn alive(&self, before: &Self) -> bool {
        let kept = |(now, before): (f64, f64)| now > FADED * before;
        self.lengths().into_iter().zip(before.lengths()).all(kept)
    }

    /// Lengths of the slope columns.
    fn lengths(&self) -> Vec<f64> {
        self.slopes
            .iter()
            .map(|c| c.iter().map(|v| v * v).sum::<f64>().sqrt())
            .collect()
    }

    /// The step that minimises |residuals − slopes·step|² + damping·|scale·step|².
    fn step(&self, damping: f64, scale: &[f64]) -> Result<Vec<f64>, Refusal> {
        let count = self.slopes.len();
        let mut columns = self.slopes.clone();
        let mut right = self.residuals.clone();
        for (own, (column, scale)) in columns.iter_mut().zip(scale).enumerate() {
            let weight = damping.sqrt() * scale;
            column.extend((0..count).map(|i| if i == own { weight } else { 0.0 }));
        }
        right.extend(std::iter::repeat_n(0.0, count));
        Ok(least_squares::solve(&columns, &right)?.coefficients)
    }
}

/// A step by which a parameter loses so much of its influence is not taken: the curve looks flat from
/// there and the way back is lost.
const FADED: f64 = 1e-3;

/// Most damped steps of a fit; fewer with thousands of values.
const MOST: usize = 20_000;

/// An undamped step that changes no parameter by more than this share of itself is near enough.
const NEAR: f64 = 1e-4;

/// Fits a curve by least squares from starting values.
///
/// Levenberg and Marquardt's damped steps, then undamped ones to the last figures, each solved in
/// twofold precision. NIST's nonlinear sets are met from both of their starting points.
///
/// # Source
/// Marquardt, J. Soc. Ind. Appl. Math. 11 (1963) 431; data: NIST StRD, nonlinear regression.
///
/// # Errors
/// [`Refusal::TooFew`] for no more values than parameters, [`Refusal::Unmatched`],
/// [`Refusal::Collinear`] when the parameters cannot be told apart, [`Refusal::NoConvergence`].
pub fn fit(
    curve: &impl Curve,
    x: &[f64],
    y: &[f64],
    start: &[f64],
) -> Result<NonlinearFit, Refusal> {
    check(x)?;
    check(y)?;
    if x.len() != y.len() {
        return Err(Refusal::Unmatched);
    }
    if start.is_empty() || x.len() <= start.len() {
        return Err(Refusal::TooFew {
            needed: start.len() + 1,
            got: x.len(),
        });
    }
    let budget = (2_000_000 / x.len()).clamp(100, MOST);
    let near = descend(curve, x, y, start, (Scaling::Largest, budget.min(1000)));
    polish(
        curve,
        x,
        y,
        near.or_else(|_| descend(curve, x, y, start, (Scaling::Current, budget)))?,
    )
}

/// What the damping of a parameter is measured by.
#[derive(Clone, Copy, PartialEq)]
enum Scaling {
    /// The most influence it had so far: a parameter that loses influence does not run away.
    Largest,
    /// The influence it has now: creeps along curved valleys in which the other one is stuck.
    Current,
}

/// Damped steps until an undamped one would be small.
fn descend(
    curve: &impl Curve,
    x: &[f64],
    y: &[f64],
    start: &[f64],
    (scaling, budget): (Scaling, usize),
) -> Result<Vec<f64>, Refusal> {
    let failed = Refusal::NoConvergence {
        what: "nonlinear fit",
    };
    let mut parameters = start.to_vec();
    let mut state = State::at(curve, &parameters, x, y).ok_or(failed)?;
    let mut scale = state.lengths();
    let mut damping = 1e-3;
    for _ in 0..budget {
        // The undamped step tells how far the minimum still is.
        let plain = state.step(0.0, &scale);
        if plain.is_ok_and(|step| share_moved(&parameters, &step) < NEAR) {
            return Ok(parameters);
        }
        let step = state.step(damping, &scale)?;
        let moved: Vec<f64> = parameters.iter().zip(&step).map(|(p, s)| p + s).collect();
        match State::at(curve, &moved, x, y) {
            Some(better) if better.squares < state.squares && better.alive(&state) => {
                (parameters, state) = (moved, better);
                for (used, now) in scale.iter_mut().zip(state.lengths()) {
                    *used = if scaling == Scaling::Largest {
                        used.max(now)
                    } else {
                        now
                    };
                }
                damping = (0.1 * damping).max(1e-15);
            }
            _ => damping *= 10.0,
        }
        if damping > 1e30 {
            break;
        }
    }
    Err(failed)
}

/// The largest change of a parameter, as a share of itself.
fn share_moved(parameters: &[f64], step: &[f64]) -> f64 {
    let share = |(p, s): (&f64, &f64)| s.abs() / p.abs().max(f64::MIN_POSITIVE);
    parameters.iter().zip(step).map(share).fold(0.0, f64::max)
}

/// Undamped steps to the last figures: near the minimum the sum of squares is too flat to steer by.
fn polish(
    curve: &impl Curve,
    x: &[f64],
    y: &[f64],
    parameters: Vec<f64>,
) -> Result<NonlinearFit, Refusal> {
    let failed = Refusal::NoConvergence {
        what: "nonlinear fit",
    };
    let mut parameters = parameters;
    let mut last = f64::INFINITY;
    for _ in 0..60 {
        let state = State::at(curve, &parameters, x, y).ok_or(failed)?;
        let step = state.step(0.0, &state.lengths())?;
        let moved = share_moved(&parameters, &step);
        if moved < 1e-14 || moved >= last {
            return if moved < 1e-9 {
                finish(parameters, &state, x.len())
            } else {
                Err(failed)
            };
        }
        parameters.iter_mut().zip(&step).for_each(|(p, s)| *p += s);
        last = moved;
    }
    Err(failed)
}

fn finish(parameters: Vec<f64>, state: &State, n: usize) -> Result<NonlinearFit, Refusal> {
    let inverse = least_squares::solve(&state.slopes, &state.residuals)?.inverse;
    let df = (n - parameters.len()) as f64;
    let variance = state.squares / df;
    let covariance: Vec<Vec<f64>> = inverse
        .iter()
        .map(|row| row.iter().map(|v| v * variance).collect())
        .collect();
    let error = |(i, row): (usize, &Vec<f64>)| row.get(i).copied().unwrap_or_default().sqrt();
    let errors = covariance.iter().enumerate().map(error).collect();
    Ok(NonlinearFit {
        parameters,
        errors,
        covariance,
        residual_ss: state.squares,
        df,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const X: [f64; 6] = [0.0, 10.0, 20.0, 40.0, 80.0, 120.0];

    #[test]
    fn exact_curves_are_found_again() {
        for (model, truth, start) in [
            (Model::Rise, vec![3.0, 0.02], vec![1.0, 0.1]),
            (Model::Decay, vec![1500.0, 0.004], vec![900.0, 0.02]),
            (
                Model::DecayToRest,
                vec![600.0, 900.0, 0.03],
                vec![300.0, 500.0, 0.01],
            ),
        ] {
            let noise = [0.3, -0.2, 0.1, 0.2, -0.4, 0.1];
            let y: Vec<f64> = X
                .iter()
                .zip(noise)
                .map(|(x, e)| model.at(&truth, *x).0 * (1.0 + 1e-9 * e))
                .collect();
            let found = fit(&model, &X, &y, &start).unwrap();
            for (got, want) in found.parameters.iter().zip(&truth) {
                assert!((got / want - 1.0).abs() < 1e-7, "{model:?}: {got} {want}");
            }
        }
    }

    /// NIST StRD BoxBOD (Box, Hunter & Hunter 1978, p. 483–487), of the highest difficulty; data and
    /// certified values from memory, checked with other software.
    #[test]
    fn box_bod_from_both_starting_points() {
        let x = [1.0, 2.0, 3.0, 5.0, 7.0, 10.0];
        let y = [109.0, 149.0, 149.0, 191.0, 213.0, 224.0];
        for start in [[1.0, 1.0], [100.0, 0.75]] {
            let found = fit(&Model::Rise, &x, &y, &start).unwrap();
            assert!((found.parameters[0] / 213.809_408_89 - 1.0).abs() < 1e-9);
            assert!((found.parameters[1] / 0.547_237_485_42 - 1.0).abs() < 1e-9);
            assert!((found.residual_ss / 1_168.008_876_6 - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn awkward_input_has_a_name() {
        assert!(fit(&Model::Decay, &X, &[1.0; 6], &[1.0]).is_err());
        assert!(fit(&Model::Decay, &X[..2], &[1.0; 2], &[1.0, 1.0]).is_err());
        let flat = fit(
            &Model::Rise,
            &[0.0; 6],
            &[1.0, 2.0, 1.0, 2.0, 1.0, 2.0],
            &[1.0, 1.0],
        );
        assert!(flat.is_err());
        assert_eq!(half_life(-0.1, 0.1), None);
    }
}
