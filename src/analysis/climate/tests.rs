//! Doses against the handbook's check values, and what gaps, edges and moves do to them.

use chrono::TimeDelta;
use chrono_tz::Tz;

use super::timeline::{Sample, Timeline};
use super::*;

fn start() -> DateTime<Utc> {
    "2026-01-01T00:00:00Z".parse().unwrap()
}

/// Values one step apart, each standing for the step after it.
fn steps(values: &[f64], step: TimeDelta) -> Vec<Sample> {
    let sample = |(n, value): (usize, &f64)| {
        let from = start() + step * i32::try_from(n).unwrap();
        Sample {
            from,
            until: from + step,
            value: *value,
        }
    };
    values.iter().enumerate().map(sample).collect()
}

fn dose_of(given: &[(Measurand, Vec<Sample>)], days: f64) -> Dose {
    let samples = |measurand: Measurand| {
        let found = given.iter().find(|(other, _)| *other == measurand);
        found
            .map(|(_, samples)| samples.clone())
            .unwrap_or_default()
    };
    let until = start() + TimeDelta::seconds((days * 86_400.0) as i64);
    dose::of(samples, &[(start(), until)], Tz::UTC, 19.5).unwrap()
}

fn close(a: f64, b: f64, by: f64) {
    assert!((a - b).abs() <= by, "{a} is not {b}");
}

/// Trade handbook §3.12: days (12, 4), (10, −2), (3, −5), (−1, −9): thawing 12, freezing 6 °C·d, one
/// freeze–thaw day.
#[test]
fn days_of_extremes_give_the_handbooks_degree_days() {
    let day = TimeDelta::days(1);
    let high = steps(&[12.0, 10.0, 3.0, -1.0], day);
    let low = steps(&[4.0, -2.0, -5.0, -9.0], day);
    let given = [
        (Measurand::HighTemperature, high),
        (Measurand::LowTemperature, low),
    ];
    let found = dose_of(&given, 4.0).temperature.unwrap();
    assert_eq!((found.thawing, found.freezing), (12.0, 6.0));
    assert_eq!((found.freeze_thaw_days, found.cycles), (1, None));
    assert_eq!((found.spread.min, found.spread.max), (-9.0, 12.0));
    close(found.spread.mean, 1.5, 1e-12);
    assert_eq!(found.spread.completeness_percent, 100.0);
}

/// Trade handbook §3.12: the series of cycles (2), and the mean kinetic temperature of 5, 10, 20 and
/// 30 °C at equal times (21.092 °C; arithmetic 16.25).
#[test]
fn readings_give_the_handbooks_cycles_and_kinetic_temperature() {
    let hour = TimeDelta::hours(1);
    let cycles = [
        3.0, 1.0, -1.0, -3.0, -2.5, -1.0, 0.5, 2.0, -0.5, -2.3, -1.0, -2.4, 0.0, 1.0, -1.9, 0.4,
    ];
    let given = [(Measurand::Temperature, steps(&cycles, hour))];
    let found = dose_of(&given, 16.0 / 24.0).temperature.unwrap();
    assert_eq!(found.cycles, Some(2));
    let given = [(
        Measurand::Temperature,
        steps(&[5.0, 10.0, 20.0, 30.0], hour),
    )];
    let found = dose_of(&given, 4.0 / 24.0).temperature.unwrap();
    close(found.kinetic.unwrap(), 21.092, 5e-4);
    close(found.spread.mean, 16.25, 1e-12);
    assert_eq!(found.hours_above, Some(2.0));
}

/// Trade handbook §3.13: 50 W/m² for 8 hours a day over 30 days is 43.2 MJ/m²; 1 kWh/m² is 3.6 MJ/m².
#[test]
fn irradiance_adds_up_to_the_handbooks_radiant_exposure() {
    let hours: Vec<f64> = (0..30 * 24)
        .map(|n| if n % 24 < 8 { 50.0 } else { 0.0 })
        .collect();
    let given = [(Measurand::Irradiance, steps(&hours, TimeDelta::hours(1)))];
    let found = dose_of(&given, 30.0).radiant.unwrap();
    close(found.sum, 43.2, 1e-9);
    assert_eq!(found.completeness_percent, 100.0);
    let read_as = crate::study::environment::ReadAs::KilowattHourPerSquareMetre;
    assert_eq!(read_as.to_kept(1.0), 3.6);
}

/// Haynes, J. Pharm. Sci. 60 (1971) 927; the values of tests/reference/25_mean_kinetic_temperature.json
/// (mkt_02), whose gas constant gives the same ΔH/R = 10 000 K.
#[test]
fn the_kinetic_temperature_of_the_reference_case() {
    let given = [(
        Measurand::Temperature,
        steps(&[20.0, 22.0, 25.0, 30.0], TimeDelta::hours(6)),
    )];
    let found = dose_of(&given, 1.0).temperature.unwrap();
    close(found.kinetic.unwrap(), 25.031_677_033_788_913, 1e-9);
    // One day whose mean is 24.25 °C, as the reference's arithmetic mean.
    close(found.thawing, 24.25, 1e-9);
}

#[test]
fn a_gap_is_told_and_nothing_is_counted_across_it() {
    let hour = TimeDelta::hours(1);
    let mut samples = steps(&[-3.0, -3.0, 9.9, 9.9, 1.0, 1.0], hour);
    samples.drain(2..4);
    let found = dose_of(&[(Measurand::Temperature, samples)], 6.0 / 24.0);
    let gap = (start() + hour * 2, start() + hour * 4);
    assert_eq!(found.gaps, [gap]);
    let temperature = found.temperature.unwrap();
    close(
        temperature.spread.completeness_percent,
        100.0 * 4.0 / 6.0,
        1e-9,
    );
    assert_eq!(
        temperature.cycles,
        Some(0),
        "frozen before it, thawed after it"
    );
    close(temperature.spread.mean, -1.0, 1e-12);
}

#[test]
fn a_sum_at_the_edge_counts_for_its_share_and_a_reading_for_its_time() {
    let hour = TimeDelta::hours(1);
    let rain = Timeline {
        samples: steps(&[2.0, 4.0, 6.0], hour),
        is_sum: true,
    };
    let half = TimeDelta::minutes(30);
    let inside = rain.within(start() + half, start() + hour * 2 + half);
    let sums: Vec<f64> = inside.iter().map(|sample| sample.value).collect();
    assert_eq!(sums, [1.0, 4.0, 3.0]);
    let warmth = Timeline {
        is_sum: false,
        ..rain
    };
    let inside = warmth.within(start() + half, start() + hour);
    assert_eq!((inside[0].value, inside[0].seconds()), (2.0, 1800.0));
}
