//! How long a curve of 100 000 points takes to be read and evaluated. The aim is under 30 ms; no test
//! asserts it.
#![expect(clippy::expect_used, reason = "the file is made above, and is whole")]

use overwinter::mechanics::curve::{Curve, Frame};
use overwinter::mechanics::evaluate::{Landmarks, Rule, landmarks};
use overwinter::mechanics::machine_file::{Hints, read};
use std::fmt::Write;

fn main() {
    divan::main();
}

const POINTS: u32 = 100_000;

/// A test as a fast machine writes it: time, load with a little noise, travel.
fn file(is_comma: bool) -> Vec<u8> {
    let mut text = String::from("Prüfzeit;Kraft;Weg\ns;N;mm\n");
    for rank in 0..POINTS {
        let share = f64::from(rank) / f64::from(POINTS);
        let ripple = f64::from(rank.wrapping_mul(2_654_435_761) >> 16) / 65_536.0;
        let load = if share < 0.97 {
            2400.0 * share * (2.0 - share)
        } else {
            0.0
        } + ripple;
        let (time, travel) = (share * 60.0, share * 5.0);
        writeln!(text, "{time:.4};{load:.3};{travel:.5}").expect("a string takes all");
    }
    if is_comma {
        text = text.replace('.', ",");
    }
    text.into_bytes()
}

fn evaluated(bytes: &[u8]) -> Landmarks {
    let file = read(bytes, &Hints::default()).expect("readable");
    let drawn = file.curves().into_iter().next().expect("a curve");
    let curve = Curve::new(drawn, Frame::default()).expect("whole");
    landmarks(&curve, &Rule::default())
}

#[divan::bench(args = [false, true])]
fn read_and_evaluate_100_000_points(bencher: divan::Bencher, is_comma: bool) {
    let bytes = file(is_comma);
    bencher.bench(|| evaluated(&bytes));
}

#[divan::bench]
fn evaluate_100_000_points(bencher: divan::Bencher) {
    let file = read(&file(false), &Hints::default()).expect("readable");
    let drawn = file.curves().into_iter().next().expect("a curve");
    let curve = Curve::new(drawn, Frame::default()).expect("whole");
    bencher.bench(|| landmarks(&curve, &Rule::default()));
}
