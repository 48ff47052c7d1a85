//! How long the full findings of a study take, resampling included, on one core.
//!
//! `cargo bench --bench analysis_speed`. Aims: a study of 30 pieces in 5 ms, 10 000 pieces in 8 conditions
//! and 4 stages in 250 ms. The pieces are invented (normal loads, 5 % scatter, fixed seed).

use std::collections::{BTreeMap, BTreeSet};

use divan::{Bencher, black_box};
use overwinter::analysis::analyse_dataset;
use overwinter::analysis::context::Context;
use overwinter::analysis::findings::Provenance;
use overwinter::analysis::gather::{Apart, Dataset};
use overwinter::analysis::piece::{Fate, Group, Measured, Pair, Piece, PieceName};
use overwinter::analysis::rule;
use overwinter::analysis::words::verdict::MarginSet;
use overwinter::stats::rng::Rng;
use overwinter::study::plan::form::{blank, parse};
use overwinter::study::plan::{Condition, Plan};
use overwinter::study::reading::{MoistureState, Quantity};

fn main() {
    divan::main();
}

/// Conditions (the storage control among them), stages in days, pieces in each set, holders in each
/// condition, pieces in the baseline set, whether Weibull distributions are asked for.
struct Size {
    conditions: usize,
    stages: &'static [u32],
    pieces: usize,
    holders: usize,
    baseline: usize,
    asks_weibull: bool,
}

const SMALL: Size = Size {
    conditions: 4,
    stages: &[365],
    pieces: 6,
    holders: 1,
    baseline: 6,
    asks_weibull: false,
};

const SMALL_IN_HOLDERS: Size = Size {
    holders: 3,
    ..SMALL
};

const LARGE: Size = Size {
    conditions: 8,
    stages: &[90, 180, 365, 730],
    pieces: 312,
    holders: 1,
    baseline: 16,
    asks_weibull: false,
};

const LARGE_IN_HOLDERS: Size = Size {
    holders: 6,
    ..LARGE
};

#[expect(
    clippy::panic,
    reason = "a plan that cannot be read would time nothing"
)]
fn plan(size: &Size) -> Plan {
    let mut form = blank();
    for (field, text) in [
        ("question", "Do the pegs hold?"),
        ("material", "polylactide"),
        ("lots", "spool 1"),
        ("builds", "plate 1"),
        ("piece_name", "peg"),
        ("loading_direction", "pulled at the head"),
        ("fixture", "oak jaws"),
        ("few_holders_reason", "a benchmark"),
    ] {
        form.set(field, text);
    }
    for (at, days) in size.stages.iter().enumerate() {
        if at == 0 {
            form.set("stage_days", days.to_string());
        } else {
            form.add("stage_days", days.to_string());
            form.add("stage_window", "7");
        }
    }
    form.set("condition_replicates", size.pieces.to_string());
    form.set("condition_holders", size.holders.to_string());
    for n in 1..size.conditions {
        form.add("condition_key", "");
        form.add("condition_name", format!("place {n}"));
        form.add("condition_environment", "outdoor");
        form.add("condition_place", "");
        form.add("condition_holders", size.holders.to_string());
        form.add("condition_replicates", size.pieces.to_string());
    }
    form.set("baseline", size.baseline.to_string());
    if size.asks_weibull {
        form.set("asks_weibull", "yes");
    }
    match parse(&form, None) {
        Ok(plan) => plan,
        Err(faults) => panic!("{faults:?}"),
    }
}

fn read(mean: f64) -> Option<Measured> {
    Some(Measured {
        mean,
        readings: 2,
        state: MoistureState::Conditioned,
        readability: Some(0.001),
        uncertainty: None,
        instrument: Some(0),
    })
}

fn piece(number: usize, group: Group, holder: Option<String>, rng: &mut Rng) -> Piece {
    let (before, change) = (5.0 + 0.05 * rng.normal(), 0.2 * rng.normal() - 0.1);
    Piece {
        code: PieceName::new(format!("P{number}")),
        lot: "spool 1".into(),
        build: "plate 1".into(),
        order: 1,
        was_put_out: holder.is_some(),
        holder,
        days_out: None,
        recovery: None,
        identity: None,
        is_nameless: false,
        fate: Fate::Valid,
        mode: None,
        failure: None,
        reason: None,
        max_load_n: Some(1500.0 + 75.0 * rng.normal()),
        unknowing: None,
        tested_on: None,
        session: Some(1),
        pairs: vec![Pair {
            quantity: Quantity::Mass,
            before: read(before),
            after: read(before * (1.0 + change / 100.0)),
            change_percent: Some(change),
            resolution_percent: Some(0.02),
        }],
        section_mm2: None,
        stress_area_mm2: None,
        properties: Vec::new(),
        flags: Vec::new(),
        group,
    }
}

fn pieces(plan: &Plan, size: &Size) -> Vec<Piece> {
    let mut rng = Rng::new(7);
    let mut all = Vec::new();
    for _ in 0..size.baseline {
        all.push(piece(all.len(), Group::Baseline, None, &mut rng));
    }
    let mut cell = |condition: &Condition, days: u32| {
        for n in 0..size.pieces {
            let holder = condition.holders.get(n % condition.holders.len());
            let holder = holder.map(|h| h.key.clone());
            let group = Group::cell(&condition.key, days);
            all.push(piece(all.len(), group, holder, &mut rng));
        }
    };
    for condition in &plan.conditions {
        for stage in &plan.stages {
            cell(condition, stage.days);
        }
    }
    all
}

fn context() -> Context {
    Context {
        provenance: Provenance {
            slug: "pegs".into(),
            title: "Pegs".into(),
            question: "Do the pegs hold?".into(),
            piece_name: "peg".into(),
            plan_version: 1,
            plan_sha256: String::new(),
            entries: 1,
            head: String::new(),
            file_sha256: None,
            is_after_the_fact: false,
        },
        margin: MarginSet::Beforehand,
        has_tests: true,
        sessions: Vec::new(),
        notes: Vec::new(),
    }
}

fn findings(bencher: Bencher<'_, '_>, size: &Size) {
    let plan = plan(size);
    let set = Dataset {
        plan: &plan,
        pieces: pieces(&plan, size),
        open_stages: BTreeSet::from_iter(size.stages.iter().copied()),
        is_baseline_open: true,
        closed: BTreeMap::new(),
        apart: Apart::default(),
    };
    let context = context();
    bencher.bench(|| analyse_dataset(black_box(&set), black_box(&context)));
}

#[divan::bench]
fn thirty_pieces(bencher: Bencher<'_, '_>) {
    findings(bencher, &SMALL);
}

#[divan::bench]
fn thirty_pieces_in_holders(bencher: Bencher<'_, '_>) {
    findings(bencher, &SMALL_IN_HOLDERS);
}

#[divan::bench(sample_count = 20, sample_size = 1)]
fn ten_thousand_pieces(bencher: Bencher<'_, '_>) {
    findings(bencher, &LARGE);
}

#[divan::bench(sample_count = 20, sample_size = 1)]
fn ten_thousand_pieces_in_holders(bencher: Bencher<'_, '_>) {
    findings(bencher, &LARGE_IN_HOLDERS);
}

/// With Weibull distributions of all 33 sets besides, which a plan must ask for.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn ten_thousand_pieces_with_weibull(bencher: Bencher<'_, '_>) {
    let size = Size {
        asks_weibull: true,
        ..LARGE
    };
    findings(bencher, &size);
}

/// What the plan page and an edition ask besides: the design by the rule that decides.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn what_the_design_can_see(bencher: Bencher<'_, '_>) {
    let plan = plan(&SMALL);
    bencher.bench(|| rule::by_the_rule(black_box(&plan)));
}
