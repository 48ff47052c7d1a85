//! Whether a typed load looks like a slip: a shifted point, or kilograms- or pounds-force taken for
//! newtons. It is asked about once and never refused. Only the loads of the same consignment are
//! looked at, whatever their groups, so the question tells nothing about a group.

use crate::study::units::{Unit, in_digits};

/// Loads needed before distance from the others says anything. The factors of the usual slips are asked about from
/// the second load on, however far the others scatter.
const FEW: usize = 4;
/// How far from the middle is far, in robust standard deviations.
const FAR: f64 = 4.0;
/// How near to a factor counts as that factor: pieces of one consignment scatter that much.
const NEAR: f64 = 0.15;

/// The usual slips, as what the load is multiplied by. Ten stands for 9.80665 as well: within the
/// scatter of pieces the two cannot be told apart.
const SLIPS: [(f64, &str); 2] = [
    (
        10.0,
        "ten times (a point in the wrong place, or kilograms-force and newtons mixed up?)",
    ),
    (
        4.448_221_615_260_5,
        "4.45 times (pounds-force and newtons mixed up?)",
    ),
];

/// The question to ask about a load in N, or `None` when it looks like the others.
///
/// # Formula
/// ```text
/// far: |x − median| > 4 · 1.4826 · median |xᵢ − median|   (at least 1 % of the median for the spread)
/// ```
/// # Source
/// The factor 1.4826 makes the median absolute deviation estimate σ under a normal distribution
/// (Hampel 1974); the limit of 4 is common practice, no source.
#[must_use]
pub fn question(load_n: f64, others_n: &[f64], unit: Unit) -> Option<String> {
    let middle = median(others_n.to_vec())?;
    if middle <= 0.0 || load_n <= 0.0 {
        return None;
    }
    let distances = others_n
        .iter()
        .map(|other| (other - middle).abs())
        .collect();
    let spread = (1.4826 * median(distances)?).max(0.01 * middle);
    let is_judged = others_n.len() >= FEW;
    let is_far = (load_n - middle).abs() > FAR * spread;
    let shown = |newtons: f64| {
        format!(
            "{} {}",
            in_digits(newtons / unit.to_si(1.0), 4),
            unit.symbol()
        )
    };
    let start = format!("The loads typed so far lie around {}; ", shown(middle));
    match slip(load_n / middle) {
        Some(slip) => Some(format!("{start}{} {slip}.", slip_start(load_n, middle))),
        None if is_judged && is_far => Some(format!("{start}{} is far from them.", shown(load_n))),
        None => None,
    }
}

fn slip_start(load_n: f64, middle: f64) -> &'static str {
    if load_n > middle {
        "this is about"
    } else {
        "they are about"
    }
}

/// The slip whose factor is nearest, in either direction.
fn slip(ratio: f64) -> Option<&'static str> {
    let off = |factor: f64| {
        let up = (ratio / factor - 1.0).abs();
        up.min((ratio * factor - 1.0).abs())
    };
    let near = SLIPS.iter().filter(|(factor, _)| off(*factor) <= NEAR);
    near.min_by(|a, b| off(a.0).total_cmp(&off(b.0)))
        .map(|(_, words)| *words)
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    let upper = *values.get(half)?;
    if values.len() % 2 == 1 {
        return Some(upper);
    }
    values
        .get(half.checked_sub(1)?)
        .map(|lower| (lower + upper) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOADS: [f64; 6] = [402.0, 418.0, 411.0, 395.0, 352.0, 289.0];

    #[test]
    fn a_shifted_point_and_a_wrong_unit_are_asked_about() {
        for (load, word) in [
            (4100.0, "ten times"),
            (40.6, "ten times"),
            (403.0 * 9.80665, "ten times"),
            (403.0 / 4.448_221_6, "4.45 times"),
        ] {
            let asked = question(load, &LOADS, Unit::Newton).expect("a question");
            assert!(asked.contains(word), "{load}: {asked}");
        }
        assert!(
            question(4020.0, &LOADS[..1], Unit::Newton).is_some(),
            "from the second piece on"
        );
    }

    #[test]
    fn an_ordinary_load_is_not_asked_about() {
        for load in [310.0, 352.0, 420.0] {
            assert_eq!(question(load, &LOADS, Unit::Newton), None, "{load}");
        }
        assert_eq!(
            question(4000.0, &[], Unit::Newton),
            None,
            "the first piece has no others"
        );
        assert_eq!(
            question(200.0, &LOADS[..2], Unit::Newton),
            None,
            "two say little"
        );
    }

    /// Loads that scatter by a fifth: four of their standard deviations reach down to less than a quarter.
    #[test]
    fn a_slip_is_asked_about_among_loads_that_scatter_much() {
        let scattered = [300.0, 360.0, 250.0, 410.0, 330.0, 240.0, 390.0];
        for factor in [10.0, 9.80665, 4.448_221_615] {
            for load in [330.0 * factor, 330.0 / factor] {
                assert!(question(load, &scattered, Unit::Newton).is_some(), "{load}");
            }
        }
        assert_eq!(question(150.0, &scattered, Unit::Newton), None);
    }

    #[test]
    fn equal_loads_do_not_make_every_other_one_doubtful() {
        assert_eq!(question(303.0, &[300.0; 5], Unit::Newton), None);
        assert!(question(330.0, &[300.0; 5], Unit::Newton).is_some());
    }

    #[test]
    fn the_question_is_put_in_the_unit_that_is_typed() {
        let asked = question(KGF * 410.0, &[KGF * 40.0, KGF * 41.0], Unit::KilogramForce);
        assert!(asked.is_some_and(|asked| asked.contains("40.5 kgf")));
    }

    const KGF: f64 = 9.806_65;
}
