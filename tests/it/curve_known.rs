//! Synthetic curves whose modulus, yield, strength and energies follow from a formula, with noise,
//! slack, drift and quantisation at several rates, read back within stated bounds.
//!
//! The curve (our own; closed forms by integration): straight with the modulus E up to half the
//! strength S, then a parabola that reaches S with slope zero, then either a break there, or a straight
//! decline after the yield, then a break.

use overwinter::mechanics::curve::{Curve, Frame};
use overwinter::mechanics::evaluate::end::Ending;
use overwinter::mechanics::evaluate::{Landmarks, Rule, landmarks};
use overwinter::mechanics::machine_file::assemble::Drawn;
use overwinter::mechanics::modulus::Range;
use overwinter::mechanics::tension::{TensilePiece, Tension, tension};
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// Section and lengths of all pieces here: 10 × 4 mm, 50 mm between the grips.
const AREA: f64 = 40.0;
const GRIPS: f64 = 50.0;

#[derive(Debug, Clone)]
struct Law {
    modulus_mpa: f64,
    strength_mpa: f64,
    /// Strain from the yield to the break; 0 for a brittle piece.
    drawn_out: f64,
    /// What of the strength is lost by the break.
    decline: f64,
}

impl Law {
    fn straight_to(&self) -> f64 {
        0.5 * self.strength_mpa / self.modulus_mpa
    }

    /// The parabola meets the straight part with its slope and is level at S: its length is S/E.
    fn top(&self) -> f64 {
        self.straight_to() + self.strength_mpa / self.modulus_mpa
    }

    fn end(&self) -> f64 {
        self.top() + self.drawn_out
    }

    fn stress(&self, strain: f64) -> f64 {
        let (first, top) = (self.straight_to(), self.top());
        match strain {
            _ if strain <= first => self.modulus_mpa * strain,
            _ if strain <= top => {
                let rest = (top - strain) / (top - first);
                self.strength_mpa * (1.0 - 0.5 * rest * rest)
            }
            _ => self.strength_mpa * (1.0 - self.decline * (strain - top) / self.drawn_out),
        }
    }

    /// ∫σ dε to the top: ½·½S·½S/E + (S/E)(S − S/6).
    fn energy_to_top(&self) -> f64 {
        let s_over_e = self.strength_mpa / self.modulus_mpa;
        self.strength_mpa * s_over_e * (1.0 / 8.0 + 5.0 / 6.0)
    }

    fn energy_to_end(&self) -> f64 {
        self.energy_to_top() + self.strength_mpa * self.drawn_out * (1.0 - 0.5 * self.decline)
    }
}

#[derive(Debug, Clone)]
struct Record {
    /// Points up to the break.
    points: usize,
    /// Standard deviation of the noise, share of the maximum load.
    noise: f64,
    /// Step of the display, share of the maximum load; 0 for none.
    step: f64,
    /// Slack before the piece carries load, share of the travel to the top.
    slack: f64,
    /// How far the zero has drifted by the end, share of the maximum load.
    drift: f64,
    seed: u64,
}

fn law() -> impl Strategy<Value = Law> {
    (
        500.0..5000.0f64,
        20.0..80.0f64,
        0.0..0.4f64,
        any::<bool>(),
        0.05..0.3f64,
    )
        .prop_map(
            |(modulus_mpa, strength_mpa, drawn_out, is_brittle, decline)| Law {
                modulus_mpa,
                strength_mpa,
                drawn_out: if is_brittle { 0.0 } else { 0.05 + drawn_out },
                decline,
            },
        )
}

fn record() -> impl Strategy<Value = Record> {
    let noise = prop_oneof![Just(0.0), 0.0..0.003f64];
    let step = prop_oneof![Just(0.0), 0.0001..0.004f64];
    let points = prop_oneof![Just(150usize), Just(400), Just(1000), Just(3000)];
    (
        points,
        noise,
        step,
        0.0..0.3f64,
        -0.003..0.003f64,
        any::<u64>(),
    )
        .prop_map(|(points, noise, step, slack, drift, seed)| Record {
            points,
            noise,
            step,
            slack,
            drift,
            seed,
        })
}

/// A plain generator: the noise needs to be the same on each run, not good.
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Sum of twelve uniform draws less six: mean 0, deviation 1, none beyond ±6.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// The curve as a machine would have drawn it: slack, the test, ten points after the break.
fn draw(law: &Law, record: &Record) -> Curve {
    let mut dice = Dice(record.seed);
    let height = law.strength_mpa * AREA;
    let slack = record.slack * law.top() * GRIPS;
    let whole = slack + law.end() * GRIPS;
    let (mut travel, mut load) = (Vec::new(), Vec::new());
    for rank in 0..record.points + 10 {
        let x = whole * rank as f64 / (record.points - 1) as f64;
        let strain = (x - slack) / GRIPS;
        let true_load = if rank >= record.points {
            0.0
        } else {
            AREA * law.stress(strain.clamp(0.0, law.end()))
        };
        let share = rank as f64 / record.points as f64;
        let mut shown = true_load + height * (record.drift * share + record.noise * dice.normal());
        if record.step > 0.0 {
            let step = record.step * height;
            shown = (shown / step).round() * step;
        }
        travel.push(x);
        load.push(shown);
    }
    let drawn = Drawn {
        lines: (1..).take(load.len()).collect(),
        load_n: Some(load),
        travel_mm: Some(travel),
        ..Drawn::default()
    };
    Curve::new(drawn, Frame::default()).expect("a curve")
}

fn evaluated(curve: &Curve) -> (Landmarks, Tension) {
    let marks = landmarks(curve, &Rule::default());
    let piece = TensilePiece {
        area_mm2: AREA,
        grips_mm: Some(GRIPS),
        gauge_mm: Some(GRIPS),
    };
    let found = tension(curve, &marks, &piece, Range::default()).expect("a section");
    (marks, found)
}

fn runner(cases: u32) -> TestRunner {
    let config = Config {
        cases,
        failure_persistence: None,
        ..Config::default()
    };
    TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha))
}

/// Without noise, drift and steps all is read as closely as the points lie.
#[test]
fn clean_curves_give_back_what_they_were_drawn_from() {
    let plain = |(law, record): (Law, Record)| {
        let record = Record {
            noise: 0.0,
            step: 0.0,
            drift: 0.0,
            ..record
        };
        let (marks, found) = evaluated(&draw(&law, &record));
        let spacing = (law.end() + record.slack * law.top()) / (record.points - 1) as f64;
        let near = |got: f64, want: f64, by: f64| (got - want).abs() <= by * want.abs();
        // Between two points the parabola sinks from its top by at most ½ (spacing·E/S)².
        let bend = spacing * law.modulus_mpa / law.strength_mpa;
        prop_assert!(near(
            found.maximum.stress_mpa,
            law.strength_mpa,
            1e-9 + 0.5 * bend * bend
        ));
        prop_assert_eq!(marks.end.at, record.points - 1);
        prop_assert_eq!(marks.ending, Ending::Broke);
        prop_assert_eq!(marks.yielding.is_some(), law.drawn_out > 0.0);
        let whole = law.energy_to_end() * AREA * GRIPS / 1000.0;
        prop_assert!(
            near(marks.end.energy_j.unwrap(), whole, 1e-4 + bend * bend),
            "{whole}"
        );
        if spacing < 0.0002 && law.straight_to() > 0.0025 {
            let modulus = found.modulus.unwrap().0;
            prop_assert!(
                near(modulus.chord_mpa, law.modulus_mpa, 0.005),
                "{modulus:?}"
            );
            prop_assert!(near(
                modulus.regression_mpa.unwrap(),
                law.modulus_mpa,
                0.005
            ));
        }
        let strain = found.end.strain.unwrap().0;
        prop_assert!(near(strain, law.end(), 0.01), "{strain}");
        Ok(())
    };
    runner(1500).run(&(law(), record()), plain).unwrap();
}

/// With all that a real record has: strength within its noise, drift and step; energy within twice
/// the drift and step, and what noise averages to; the break to the point; yield named rightly.
#[test]
fn noisy_drifting_coarse_curves_stay_within_their_bounds() {
    let real = |(law, record): (Law, Record)| {
        let (marks, found) = evaluated(&draw(&law, &record));
        let near = |got: f64, want: f64, by: f64| (got - want).abs() <= by * want.abs();
        let fuzz = 6.0 * record.noise + record.drift.abs() + 0.5 * record.step;
        let spacing = (law.end() + record.slack * law.top()) / (record.points - 1) as f64;
        let bend = spacing * law.modulus_mpa / law.strength_mpa;
        let bound = fuzz + 0.5 * bend * bend + 1e-9;
        prop_assert!(near(found.maximum.stress_mpa, law.strength_mpa, bound));
        prop_assert_eq!(marks.end.at, record.points - 1, "{:?}", marks.ending);
        prop_assert_eq!(marks.ending, Ending::Broke);
        prop_assert_eq!(
            marks.yielding.is_some(),
            law.drawn_out > 0.0,
            "{:?}",
            marks.yielding
        );
        let whole = law.energy_to_end() * AREA * GRIPS / 1000.0;
        let by = 2.0 * (record.drift.abs() + 0.5 * record.step) * (1.0 + record.slack)
            + 12.0 * record.noise / (record.points as f64).sqrt()
            + bend * bend
            + 1e-4;
        prop_assert!(near(marks.end.energy_j.unwrap(), whole, by));
        let strain = found.end.strain.unwrap().0;
        prop_assert!(
            (strain - law.end()).abs() <= 0.01 * law.end() + 2.0 * fuzz * law.top(),
            "{strain}"
        );
        Ok(())
    };
    runner(1500).run(&(law(), record()), real).unwrap();
}

/// The modulus by regression, where at least twenty points lie between the two strains: within 2 %
/// and five standard errors of a slope from that many points.
#[test]
fn the_modulus_is_found_through_noise() {
    let checked = std::cell::Cell::new(0);
    let real = |(law, record): (Law, Record)| {
        if law.straight_to() < 0.0026 {
            return Ok(());
        }
        let (_, found) = evaluated(&draw(&law, &record));
        let Some((modulus, _)) = found.modulus.filter(|(modulus, _)| modulus.points >= 20) else {
            return Ok(());
        };
        checked.set(checked.get() + 1);
        let noise = (record.noise.powi(2) + record.step.powi(2) / 12.0).sqrt() * law.strength_mpa;
        // Slope over n points spread evenly over Δε = 0.002: se = σ √12 / (Δε √n).
        let error = noise * 12f64.sqrt() / (0.002 * (modulus.points as f64).sqrt());
        let drift = record.drift.abs() * law.strength_mpa / law.end();
        let by = 0.02 * law.modulus_mpa + 5.0 * error + drift;
        let got = modulus.regression_mpa.unwrap();
        prop_assert!(
            (got - law.modulus_mpa).abs() <= by,
            "{got} for {}",
            law.modulus_mpa
        );
        Ok(())
    };
    runner(1500).run(&(law(), record()), real).unwrap();
    let checked = checked.get();
    assert!(checked > 200, "only {checked} curves had enough points");
}

/// The same curve drawn downwards, in other units of length of record, or shifted along its axis
/// gives the same answers.
#[test]
fn what_must_not_matter_does_not() {
    let laws = |(law, record): (Law, Record)| {
        let curve = draw(&law, &record);
        let (marks, _) = evaluated(&curve);
        let drawn = |load: Vec<f64>, travel: Vec<f64>| Drawn {
            lines: curve.lines.clone(),
            load_n: Some(load),
            travel_mm: Some(travel),
            ..Drawn::default()
        };
        let travel = curve.travel_mm.clone().unwrap();
        let down = drawn(
            curve.load_n.iter().map(|n| -n).collect(),
            travel.iter().map(|mm| -mm).collect(),
        );
        let (turned, _) = evaluated(&Curve::new(down, Frame::default()).unwrap());
        prop_assert_eq!(turned.maximum.load_n, marks.maximum.load_n);
        prop_assert_eq!(
            (turned.end.at, turned.yielding),
            (marks.end.at, marks.yielding)
        );
        let shifted = drawn(
            curve.load_n.clone(),
            travel.iter().map(|mm| mm + 7.0).collect(),
        );
        let (shifted, _) = evaluated(&Curve::new(shifted, Frame::default()).unwrap());
        prop_assert_eq!(shifted.end.at, marks.end.at);
        let moved = shifted.end.extension_mm.unwrap() - marks.end.extension_mm.unwrap();
        prop_assert!(moved.abs() < 1e-9);
        let doubled = drawn(curve.load_n.iter().map(|n| 2.0 * n).collect(), travel);
        let (doubled, _) = evaluated(&Curve::new(doubled, Frame::default()).unwrap());
        prop_assert_eq!(doubled.maximum.load_n, 2.0 * marks.maximum.load_n);
        prop_assert_eq!(doubled.end.at, marks.end.at);
        Ok(())
    };
    runner(1000).run(&(law(), record()), laws).unwrap();
}
