//! The corpus of invented machine files in `tests/fixtures/curves`: each is read to the loads that
//! were put into it, and no change of its bytes makes the reader fail otherwise than in words.

use overwinter::mechanics::curve::{Curve, Frame};
use overwinter::mechanics::evaluate::{Rule, landmarks};
use overwinter::mechanics::machine_file::{Hints, read};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

struct Expected {
    label: String,
    points: usize,
    max_load_n: f64,
    travel_mm: Option<f64>,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/curves")
}

fn expected() -> BTreeMap<String, Vec<Expected>> {
    let text = std::fs::read_to_string(folder().join("expected.csv")).expect("the list");
    let mut found: BTreeMap<String, Vec<Expected>> = BTreeMap::new();
    for line in text.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        found
            .entry(cells[0].to_owned())
            .or_default()
            .push(Expected {
                label: cells[1].to_owned(),
                points: cells[2].parse().expect("a count"),
                max_load_n: cells[3].parse().expect("a load"),
                travel_mm: cells[4].parse().ok(),
            });
    }
    found
}

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(folder().join(name)).expect("a fixture")
}

#[test]
fn every_file_of_the_corpus_gives_the_loads_that_were_put_into_it() {
    let expected = expected();
    assert!(expected.len() >= 40, "{} files", expected.len());
    let mut wrong = Vec::new();
    for (name, curves) in &expected {
        wrong.extend(
            differences(name, curves)
                .into_iter()
                .map(|what| format!("{name}: {what}")),
        );
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

fn differences(name: &str, expected: &[Expected]) -> Vec<String> {
    let file = match read(&bytes(name), &Hints::default()) {
        Ok(file) => file,
        Err(why) => return vec![why.to_string()],
    };
    let drawn = file.curves();
    if drawn.len() != expected.len() {
        return vec![format!("{} curves", drawn.len())];
    }
    let mut wrong = Vec::new();
    for (drawn, expected) in drawn.into_iter().zip(expected) {
        let label = drawn.label.clone().unwrap_or_default();
        let curve = match Curve::new(drawn, Frame::default()) {
            Ok(curve) => curve,
            Err(why) => return vec![why.to_string()],
        };
        let marks = landmarks(&curve, &Rule::default());
        let travel = curve
            .travel_mm
            .as_ref()
            .map(|mm| mm[marks.maximum.at] - mm[0]);
        let near = |got: f64, want: f64| (got - want).abs() <= 1e-6 * want.abs().max(1.0);
        let so = (expected.label.is_empty() || label == expected.label)
            && curve.len() == expected.points
            && near(marks.maximum.load_n, expected.max_load_n)
            && travel.is_some() == expected.travel_mm.is_some()
            && travel
                .zip(expected.travel_mm)
                .is_none_or(|(got, want)| near(got, want));
        if !so {
            wrong.push(format!(
                "{label}: {} points, {} N, {travel:?} mm",
                curve.len(),
                marks.maximum.load_n
            ));
        }
    }
    wrong
}

/// The list and the folder hold the same files, so that none is left untested.
#[test]
fn no_file_of_the_corpus_is_left_out() {
    let listed: BTreeSet<String> = expected().into_keys().collect();
    let there: BTreeSet<String> = std::fs::read_dir(folder())
        .expect("the folder")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .filter(|name| name != "expected.csv" && name != "README.md")
        .collect();
    assert_eq!(listed, there);
}

/// Reads whatever there is, and evaluates whatever comes out.
fn survive(bytes: &[u8]) {
    let Ok(file) = read(bytes, &Hints::default()) else {
        return;
    };
    assert!(!file.layout().is_empty());
    for drawn in file.curves() {
        if let Ok(curve) = Curve::new(drawn, Frame::default()) {
            let marks = landmarks(&curve, &Rule::default());
            assert!(marks.maximum.at <= marks.end.at && marks.end.at < curve.len());
            for finding in &marks.findings {
                assert!(!finding.to_string().is_empty());
            }
        }
    }
}

/// A generator that gives the same bytes on every run.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 >> 16).expect("48 bits fit")
    }
}

/// Pieces of what machines write, to be strewn in.
const STREWN: [&[u8]; 16] = [
    b";",
    b",",
    b"\t",
    b"\n",
    b"\r\n",
    b"\"",
    b"1e308",
    b"-1e308",
    b"NaN",
    b"\xFF\xFE",
    b"\xC3",
    b"\0",
    b"9999999999999999999999",
    b"[kN]",
    b"\xE2\x88\x92",
    b"0,0,0,0",
];

fn maul(bytes: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut mauled = bytes.to_vec();
    for _ in 0..1 + dice.next() % 8 {
        let at = dice.next() % (mauled.len() + 1);
        match dice.next() % 5 {
            0 => mauled.truncate(at),
            1 => {
                let part = STREWN[dice.next() % STREWN.len()];
                mauled.splice(at..at, part.iter().copied());
            }
            2 if at < mauled.len() => mauled[at] = dice.next().to_le_bytes()[0],
            3 => {
                let to = (at + dice.next() % 200).min(mauled.len());
                let part: Vec<u8> = mauled[at..to].to_vec();
                mauled.splice(at..at, part);
            }
            _ => {
                let to = (at + dice.next() % 40).min(mauled.len());
                mauled.drain(at..to);
            }
        }
    }
    mauled
}

#[test]
fn mauled_files_are_read_or_refused_in_words() {
    let mut dice = Dice(0x9E37_79B9_7F4A_7C15);
    for name in expected().keys() {
        let whole = bytes(name);
        for _ in 0..40 {
            survive(&maul(&whole, &mut dice));
        }
    }
}
