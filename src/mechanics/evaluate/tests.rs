//! Curves drawn by hand; those with a closed form are in `tests/it/curve_known.rs`.

use super::*;
use crate::mechanics::curve::Frame;
use crate::mechanics::machine_file::assemble::Drawn;

fn curve(points: &[(f64, f64)]) -> Curve {
    let drawn = Drawn {
        lines: (1..).take(points.len()).collect(),
        travel_mm: Some(points.iter().map(|(x, _)| *x).collect()),
        load_n: Some(points.iter().map(|(_, f)| *f).collect()),
        ..Drawn::default()
    };
    Curve::new(drawn, Frame::default()).unwrap()
}

/// A ramp of 200 points to 200 N over 2 mm, changed by `shape`.
fn ramp(count: u32, shape: impl Fn(u32) -> f64) -> Curve {
    let points: Vec<(f64, f64)> = (0..count)
        .map(|i| (f64::from(i) * 0.01, shape(i)))
        .collect();
    curve(&points)
}

fn read(curve: &Curve) -> Landmarks {
    landmarks(curve, &Rule::default())
}

/// Trade handbook 3.5: 3.681 J in all, 3.211 J to the maximum.
#[test]
fn worked_example_of_the_handbook() {
    let points = [
        (0.0, 0.0),
        (0.5, 600.0),
        (1.0, 1180.0),
        (1.5, 1720.0),
        (2.0, 2180.0),
        (2.4, 2400.0),
        (2.6, 2300.0),
    ];
    let found = read(&curve(&points));
    assert_eq!((found.maximum.load_n, found.maximum.at), (2400.0, 5));
    assert!((found.maximum.energy_j.unwrap() - 3.211).abs() < 1e-12);
    assert_eq!(found.end.at, 6);
    assert!((found.end.energy_j.unwrap() - 3.681).abs() < 1e-12);
}

#[test]
fn a_brittle_break_has_no_yield() {
    let found = read(&ramp(260, |i| if i < 201 { f64::from(i) } else { 0.3 }));
    assert_eq!(
        (found.maximum.at, found.end.at, found.ending),
        (200, 200, Ending::Broke)
    );
    assert_eq!(found.yielding, None);
    assert!(found.findings.is_empty(), "{:?}", found.findings);
}

#[test]
fn a_yield_before_the_break_is_found() {
    let shape = |i: u32| match i {
        0..200 => f64::from(i),
        200..600 => 200.0 - 0.1 * f64::from(i - 200),
        _ => 0.0,
    };
    let found = read(&ramp(640, shape));
    assert_eq!(found.yielding.unwrap().at, 200);
    assert_eq!((found.end.at, found.ending), (599, Ending::Broke));
}

#[test]
fn a_slip_that_recovers_is_neither_break_nor_yield() {
    let shape = |i: u32| match i {
        0..100 => f64::from(i),
        100..300 => f64::from(i) - 30.0,
        _ => 0.0,
    };
    let found = read(&ramp(340, shape));
    assert_eq!(found.maximum.at, 299);
    assert_eq!(found.yielding, None);
    assert!(
        matches!(found.findings[..], [Finding::Slip(percent)] if (percent - 29.0 / 2.69).abs() < 0.1),
        "{:?}",
        found.findings
    );
}

#[test]
fn what_is_odd_is_named() {
    let has = |curve: &Curve, wanted: fn(&Finding) -> bool| {
        let found = read(curve).findings;
        assert!(found.iter().any(wanted), "{found:?}");
    };
    let cut = ramp(200, f64::from);
    has(&cut, |f| matches!(f, Finding::EndsAtHighest));
    let loaded = ramp(260, |i| if i < 201 { 20.0 + f64::from(i) } else { 0.0 });
    has(&loaded, |f| matches!(f, Finding::StartsLoaded(_)));
    let slack = ramp(360, |i| {
        if i < 301 {
            f64::from(i).max(100.0) - 100.0
        } else {
            0.0
        }
    });
    has(
        &slack,
        |f| matches!(f, Finding::Slack(mm) if (mm - 1.0).abs() < 1e-9),
    );
    let teeth = ramp(460, |i| {
        if i < 401 {
            f64::from(i) - 30.0 * f64::from(i / 70)
        } else {
            0.0
        }
    });
    has(&teeth, |f| matches!(f, Finding::SawTeeth(5)));
    let opened = ramp(900, |i| {
        if i < 201 {
            f64::from(i)
        } else {
            300.0 - 0.5 * f64::from(i)
        }
        .max(0.0)
    });
    has(&opened, |f| matches!(f, Finding::Opened));
    let moved = ramp(300, |i| if i < 201 { f64::from(i) } else { 12.0 });
    has(
        &moved,
        |f| matches!(f, Finding::ZeroMoved(n) if (n - 12.0).abs() < 1e-9),
    );
    let spiked = ramp(260, |i| match i {
        90 => 900.0,
        0..201 => f64::from(i),
        _ => 0.0,
    });
    has(&spiked, |f| matches!(f, Finding::Spikes(1)));
    assert_eq!(read(&spiked).maximum.load_n, 200.0);
    let mut gauged = ramp(260, |i| if i < 201 { f64::from(i) } else { 0.0 });
    assert!(read(&gauged).findings.is_empty());
    gauged.is_gauge_missing = true;
    has(&gauged, |f| matches!(f, Finding::GaugeMissing));
    let few = ramp(7, |i| {
        [0.0, 50.0, 100.0, 150.0, 200.0, 1.0, 0.0][i as usize]
    });
    has(&few, |f| matches!(f, Finding::Sparse(5)));
}

#[test]
fn the_tester_says_where_the_test_ended() {
    let steady = ramp(300, |i| if i < 201 { f64::from(i) } else { 150.0 });
    let rule = Rule {
        end_at: Some(100),
        ..Rule::default()
    };
    let found = landmarks(&steady, &rule);
    assert_eq!(
        (found.end.at, found.maximum.at, found.ending),
        (100, 100, Ending::Said)
    );
    let beyond = Rule {
        end_at: Some(usize::MAX),
        ..Rule::default()
    };
    assert_eq!(landmarks(&steady, &beyond).end.at, 299);
}

#[test]
fn an_extensometer_taken_off_is_noticed() {
    let strain: Vec<f64> = (0..300).map(|i| f64::from(i) * 1e-4).collect();
    assert_eq!(strain_until(&strain, 299), 299);
    let mut off = strain.clone();
    off[150..].fill(0.0);
    assert_eq!(strain_until(&off, 299), 149);
    let mut still = strain.clone();
    let last = still[149];
    still[150..].fill(last);
    assert_eq!(strain_until(&still, 299), 149);
    let mut gone = strain;
    gone[150..].fill(f64::NAN);
    assert_eq!(strain_until(&gone, 299), 149);
}
