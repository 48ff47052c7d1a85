//! How many digits are shown: enough that what is read says the same as what is stored.
//!
//! Bounds get more digits until they read on the same side of no change and of the margin as the
//! stored ones (practice.md §3.9), and never fewer than their own width asks for.

/// No page shows more decimals than this.
const MOST: usize = 9;

/// Decimals with which these numbers may be shown beside these thresholds.
///
/// `resolution` is the width that must stay visible (half the width of an interval), `fewest` the
/// decimals to start from.
#[must_use]
pub fn decimals(shown: &[f64], thresholds: &[f64], resolution: f64, fewest: usize) -> usize {
    let is_enough = |decimals: &usize| {
        let step = 10_f64.powi(-i32::try_from(*decimals).unwrap_or(i32::MAX));
        let is_fine = resolution <= 0.0 || step <= resolution / 2.0;
        is_fine
            && shown
                .iter()
                .all(|value| reads_true(*value, thresholds, *decimals))
    };
    (fewest..=MOST).find(is_enough).unwrap_or(MOST)
}

fn reads_true(value: f64, thresholds: &[f64], decimals: usize) -> bool {
    let read = round(value, decimals);
    thresholds
        .iter()
        .all(|limit| value.total_cmp(limit) == read.total_cmp(limit) || value == *limit)
}

/// The number that a reader reads back when the value is shown with so many decimals.
#[must_use]
pub fn round(value: f64, decimals: usize) -> f64 {
    let read: f64 = format!("{value:.decimals$}").parse().unwrap_or(value);
    // Never a negative zero: it would print a minus sign before nothing.
    read + 0.0
}

/// The number with so many decimals and a true minus sign.
#[must_use]
pub fn fixed(value: f64, decimals: usize) -> String {
    let read = round(value, decimals);
    let sign = if read < 0.0 { "−" } else { "" };
    format!("{sign}{:.decimals$}", read.abs())
}

/// The number with a stated number of significant digits, without an exponent.
#[must_use]
pub fn significant(value: f64, digits: usize) -> String {
    if value == 0.0 || !value.is_finite() {
        return fixed(value, 0);
    }
    let magnitude = value.abs().log10().floor();
    let wanted = digits as f64 - 1.0 - magnitude;
    let decimals = wanted.clamp(0.0, 12.0) as usize;
    fixed(value, decimals)
}

/// A probability as `0.043`, `below 0.001` or `above 0.999`, with more digits where it would else read on another
/// side of a threshold.
#[must_use]
pub fn probability(p: f64, thresholds: &[f64]) -> String {
    if p < 0.001 {
        return "below 0.001".to_owned();
    }
    if p > 0.999 {
        return "above 0.999".to_owned();
    }
    fixed(p, decimals(&[p], thresholds, 0.0, 3))
}

/// A number as people write it: no trailing zeros, true minus sign.
#[must_use]
pub fn plain(value: f64) -> String {
    let text = format!("{}", value + 0.0);
    text.replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_read_on_the_side_where_they_are_stored() {
        // 0.04 % below no change must not read as 0, nor 9.96 % as the margin of 10 %.
        assert_eq!(
            decimals(&[-9.0, -17.0, -0.04], &[0.0, 10.0, -10.0], 8.0, 0),
            2
        );
        assert_eq!(fixed(-0.04, 2), "−0.04");
        assert_eq!(decimals(&[-9.96], &[0.0, 10.0, -10.0], 8.0, 0), 2);
        assert_eq!(decimals(&[-9.94], &[0.0, 10.0, -10.0], 8.0, 0), 1);
        assert_eq!(decimals(&[-24.0, -31.2, -17.4], &[0.0, -10.0], 7.0, 0), 0);
    }

    #[test]
    fn a_narrow_interval_keeps_its_width() {
        assert_eq!(decimals(&[-4.2, -4.5, -3.9], &[0.0], 0.3, 0), 1);
    }

    #[test]
    fn a_bound_on_the_threshold_stays_there() {
        assert_eq!(decimals(&[10.0], &[0.0, 10.0], 5.0, 0), 0);
    }

    #[test]
    fn a_probability_reads_on_its_own_side() {
        assert_eq!(probability(0.043_21, &[0.05]), "0.043");
        assert_eq!(probability(0.049_96, &[0.05]), "0.04996");
        assert_eq!(probability(0.000_4, &[0.05]), "below 0.001");
    }

    #[test]
    fn minus_signs_are_true_and_zero_has_none() {
        assert_eq!(fixed(-1.5, 1), "−1.5");
        assert_eq!(fixed(-0.01, 1), "0.0");
        assert_eq!(plain(-0.0), "0");
        assert_eq!(significant(1234.6, 3), "1235");
        assert_eq!(significant(0.012_34, 2), "0.012");
    }
}
