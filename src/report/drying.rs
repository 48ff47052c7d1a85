//! The drying of one piece as a figure: mass against the square root of time, on which a loss by
//! diffusion begins as a straight line (ASTM D570 plots uptake in this way).

use crate::analysis::digits::fixed;
use crate::report::chart::course::{Course, CourseChart};
use crate::report::chart::ticks::Tick;
use crate::study::drying::Weighing;

/// Days that may stand along the level axis.
const DAYS: [u32; 13] = [0, 1, 2, 4, 7, 14, 28, 56, 112, 224, 365, 730, 1460];
/// Least distance between two of them, as a share of the axis.
const APART: f64 = 0.12;

/// The figure of weighings in the order of their times; `None` with fewer than two.
#[must_use]
pub fn curve(code: &str, weighings: &[Weighing]) -> Option<CourseChart> {
    let (first, last) = (weighings.first()?, weighings.last()?);
    if weighings.len() < 2 {
        return None;
    }
    let days = |weighing: &Weighing| (weighing.at - first.at).num_seconds() as f64 / 86_400.0;
    let line: Vec<(f64, f64)> = weighings
        .iter()
        .map(|weighing| (days(weighing).max(0.0).sqrt(), weighing.mass_g))
        .collect();
    let whole = days(last);
    let decimals = decimals(last.readability_g);
    Course {
        id: "drying".to_owned(),
        title: format!("Mass of {code} while it dries"),
        description: format!(
            "{} weighings over {} days: from {} g to {} g.",
            weighings.len(),
            fixed(whole, 1),
            fixed(first.mass_g, decimals),
            fixed(last.mass_g, decimals)
        ),
        x_name: "days of drying, on a square-root scale".to_owned(),
        y_name: "mass, g".to_owned(),
        x_ends: (0.0, whole.sqrt()),
        x_ticks: day_ticks(whole),
        points: line.clone(),
        runs: vec![line],
        ..Course::default()
    }
    .chart()
}

/// Round numbers of days up to `whole`, none too close to the one before.
fn day_ticks(whole: f64) -> Vec<Tick> {
    let least = whole.sqrt() * APART;
    let mut kept: Vec<Tick> = Vec::new();
    for days in DAYS {
        let value = f64::from(days).sqrt();
        let is_apart = kept
            .last()
            .is_none_or(|before| value - before.value >= least);
        if f64::from(days) <= whole && is_apart {
            kept.push(Tick {
                value,
                text: days.to_string(),
            });
        }
    }
    kept
}

/// Decimals of a balance with such a step; three when it is not known.
#[must_use]
pub fn decimals(step_g: f64) -> usize {
    if step_g <= 0.0 || !step_g.is_finite() {
        return 3;
    }
    (-step_g.log10().floor()).clamp(0.0, 6.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{DateTime, TimeDelta, Utc};

    fn weighing(days: i64, mass_g: f64) -> Weighing {
        let start: DateTime<Utc> = "2026-01-01T00:00:00Z".parse().unwrap();
        Weighing {
            at: start + TimeDelta::days(days),
            mass_g,
            readability_g: 0.001,
        }
    }

    #[test]
    fn a_loss_with_the_square_root_of_time_is_a_straight_line() {
        let weighings: Vec<Weighing> = [0, 1, 4, 9, 16]
            .map(|days| weighing(days, 10.0 - 0.01 * (days as f64).sqrt()))
            .into();
        let chart = curve("GT01", &weighings).unwrap();
        let points = &chart.runs[0];
        let slope = |a: usize, b: usize| (points[b].y - points[a].y) / (points[b].x - points[a].x);
        for n in 2..5 {
            assert!((slope(0, n) - slope(0, 1)).abs() < 1e-3);
        }
        assert!(chart.description.contains("from 10.000 g to 9.960 g"));
        assert_eq!(curve("GT01", &weighings[..1]), None);
    }
}
