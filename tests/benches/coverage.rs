//! How often the simultaneous intervals hold together, and how often a verdict is untrue, in drawn
//! studies of three conditions against a storage control.
//!
//! `cargo bench --bench coverage -- 10000` prints the four tables of `tests/benches/coverage.md`; the
//! number is that of the studies per line (1000 without it), and a table's name (`pieces`, `holders`,
//! `adjusted`, `bootstraps`) after it prints that one alone. The seeds are fixed, one for each line.

use overwinter::stats::family::Family;
use overwinter::stats::outcome::Outcome;
use overwinter::stats::ratio::Ratio;
use overwinter::stats::refusal::Refusal;
use overwinter::stats::rng::Rng;
use overwinter::stats::sample::{Spread, Summary};
use overwinter::stats::{adjusted_ratio, bootstrap, covariate, many_ratio, many_to_one, mixed};

/// True ratios of the three conditions to the storage control.
const TRUTH: [f64; 3] = [1.0, 0.9, 0.7];

/// True mean of the storage control.
const MEAN: f64 = 1000.0;

/// Margin of the verdicts.
const MARGIN: f64 = 0.1;

const CONFIDENCE: f64 = 0.95;

/// Shares of the studies in which something held.
#[derive(Default, Clone, Copy)]
struct Share {
    hits: f64,
    of: f64,
}

impl Share {
    fn count(&mut self, hit: bool) {
        self.hits += f64::from(hit);
        self.of += 1.0;
    }

    fn shown(self) -> String {
        if self.of == 0.0 {
            "–".into()
        } else {
            format!("{:.3}", self.hits / self.of)
        }
    }
}

/// A table's name and what prints it.
type Table = (&'static str, fn(usize));

fn main() {
    let studies = std::env::args()
        .find_map(|a| a.parse::<usize>().ok())
        .unwrap_or(1000);
    println!("{studies} studies per line, true ratios {TRUTH:?}, margin ±10 %, 95 %.");
    println!(
        "Monte Carlo error of a share near .95: {:.4}\n",
        (0.0475 / studies as f64).sqrt()
    );
    let tables: [Table; 4] = [
        ("pieces", pieces),
        ("holders", holders),
        ("adjusted", adjusted),
        ("bootstraps", bootstraps),
    ];
    let is_named = |name: &str| std::env::args().any(|a| a == name);
    let is_all = !tables.iter().any(|(name, _)| is_named(name));
    for (name, table) in tables {
        if is_all || is_named(name) {
            println!("\n{name}\n");
            table(studies);
        }
    }
}

/// A spread as seen in practice: of the storage control and of each condition, percent of `MEAN`.
struct Scatter {
    name: &'static str,
    control: f64,
    exposed: [f64; 3],
}

const SCATTERS: [Scatter; 4] = [
    Scatter {
        name: "equal (5 %)",
        control: 5.0,
        exposed: [5.0; 3],
    },
    Scatter {
        name: "storage control larger (6 against 2)",
        control: 6.0,
        exposed: [2.0; 3],
    },
    Scatter {
        name: "one condition ×3 (2, 2, 2, 6)",
        control: 2.0,
        exposed: [2.0, 2.0, 6.0],
    },
    Scatter {
        name: "all conditions ×2 (3 against 6)",
        control: 3.0,
        exposed: [6.0; 3],
    },
];

/// Table 1: every piece in a holder of its own, or no difference between holders.
fn pieces(studies: usize) {
    println!(
        "| spread | n | ratio, pooled | ratio, separate | difference, pooled | difference, separate | untrue verdict, pooled | untrue verdict, separate |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    for (line, scatter) in SCATTERS.iter().enumerate() {
        for n in [3, 6, 12] {
            let mut rng = Rng::new(1000 + 100 * line as u64 + n as u64);
            let mut shares = [[Share::default(); 3]; 2];
            for _ in 0..studies {
                let mut group = |mean: f64, percent: f64| -> Vec<f64> {
                    (0..n)
                        .map(|_| mean + MEAN / 100.0 * percent * rng.normal())
                        .collect()
                };
                let control = group(MEAN, scatter.control);
                let others: Vec<Vec<f64>> = TRUTH
                    .iter()
                    .zip(scatter.exposed)
                    .map(|(ratio, percent)| group(ratio * MEAN, percent))
                    .collect();
                for (spread, share) in [Spread::Pooled, Spread::Separate].iter().zip(&mut shares) {
                    judge(&control, &others, *spread, share);
                }
            }
            let [pooled, separate] = shares.map(|s| s.map(Share::shown));
            let [rp, dp, wp] = pooled;
            let [rs, ds, ws] = separate;
            println!(
                "| {} | {n} | {rp} | {rs} | {dp} | {ds} | {wp} | {ws} |",
                scatter.name
            );
        }
    }
}

/// Counts whether ratios hold, differences hold, and a verdict is untrue.
fn judge(control: &[f64], others: &[Vec<f64>], spread: Spread, share: &mut [Share; 3]) {
    let Ok(family) = Family::of(control, others, spread) else {
        return;
    };
    let [ratios_hold, differences_hold, untrue] = share;
    if let Ok(found) = many_ratio::ratios(&family, CONFIDENCE) {
        ratios_hold.count(all_hold(&found));
        untrue.count(any_untrue(&found));
    }
    if let Ok(found) = many_to_one::differences(&family, CONFIDENCE) {
        let holds = |(ratio, d): (&f64, &Result<many_to_one::Difference, Refusal>)| {
            d.as_ref()
                .is_ok_and(|d| d.interval.contains((ratio - 1.0) * MEAN))
        };
        differences_hold.count(TRUTH.iter().zip(&found).all(holds));
    }
}

/// Whether every set contains the truth; an unbounded set that does counts as holding.
fn all_hold(found: &[Result<Ratio, Refusal>]) -> bool {
    all_hold_at(found, TRUTH)
}

fn all_hold_at(found: &[Result<Ratio, Refusal>], truth: [f64; 3]) -> bool {
    use overwinter::stats::ratio::RatioSet;
    let holds = |(truth, ratio): (&f64, &Result<Ratio, Refusal>)| match ratio.map(|r| r.set) {
        Ok(RatioSet::Bounded(interval)) => interval.contains(*truth),
        Ok(RatioSet::Outside { at_most, at_least }) => *truth <= at_most || *truth >= at_least,
        Ok(RatioSet::WholeLine) => true,
        Err(_) => false,
    };
    truth.iter().zip(found).all(holds)
}

/// Whether some verdict says what is not so.
fn any_untrue(found: &[Result<Ratio, Refusal>]) -> bool {
    any_untrue_at(found, TRUTH)
}

fn any_untrue_at(found: &[Result<Ratio, Refusal>], truth: [f64; 3]) -> bool {
    let untrue = |(truth, ratio): (&f64, &Result<Ratio, Refusal>)| {
        ratio.is_ok_and(|r| Outcome::of(&r.set, MARGIN).is_wrong(*truth, MARGIN))
    };
    truth.iter().zip(found).any(untrue)
}

/// Holders and pieces per group in table 2.
const HELD: [(usize, usize); 10] = [
    (1, 3),
    (1, 6),
    (1, 12),
    (2, 6),
    (2, 12),
    (3, 3),
    (3, 6),
    (3, 12),
    (6, 6),
    (6, 12),
];

/// Table 2: pieces of a group in one to six holders that differ.
fn holders(studies: usize) {
    println!(
        "| holders per group | pieces per group | share of the variance between holders | pieces as if independent (separate) | holder means (pooled between holders) | mixed model | variance between holders estimated as 0 | untrue verdict, pieces | untrue verdict, holder means |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    for (count, pieces) in HELD {
        for correlation in [0.0, 0.2, 0.5] {
            let seed =
                5000 + 1000 * pieces as u64 + 100 * count as u64 + (10.0 * correlation) as u64;
            let mut rng = Rng::new(seed);
            let mut shares = [Share::default(); 6];
            for _ in 0..studies {
                let study = holder_study(&mut rng, count, pieces / count, correlation);
                judge_holders(&study, &mut shares);
            }
            let shown = shares.map(Share::shown).join(" | ");
            println!("| {count} | {pieces} | {correlation} | {shown} |");
        }
    }
}

/// Groups of holders of pieces, the storage control first; scatter 5 % in all.
fn holder_study(
    rng: &mut Rng,
    holders: usize,
    pieces: usize,
    correlation: f64,
) -> Vec<Vec<Vec<f64>>> {
    let (between, within) = (correlation.sqrt(), (1.0 - correlation).sqrt());
    let sd = 0.05 * MEAN;
    let mut holder = |ratio: f64| -> Vec<f64> {
        let level = ratio * MEAN + sd * between * rng.normal();
        (0..pieces)
            .map(|_| level + sd * within * rng.normal())
            .collect()
    };
    let ratios = std::iter::once(1.0).chain(TRUTH);
    ratios
        .map(|ratio| (0..holders).map(|_| holder(ratio)).collect())
        .collect()
}

fn judge_holders(study: &[Vec<Vec<f64>>], shares: &mut [Share; 6]) {
    let [pieces, means, model, zero, untrue_pieces, untrue_means] = shares;
    let all: Vec<Vec<f64>> = study.iter().map(|g| g.concat()).collect();
    if let Some((control, others)) = all.split_first()
        && let Ok(family) = Family::of(control, others, Spread::Separate)
        && let Ok(found) = many_ratio::ratios(&family, CONFIDENCE)
    {
        pieces.count(all_hold(&found));
        untrue_pieces.count(any_untrue(&found));
    }
    if let Ok(found) = by_holder_means(study) {
        means.count(all_hold(&found));
        untrue_means.count(any_untrue(&found));
    }
    if let Ok(fitted) = mixed::with_holders(study) {
        zero.count(fitted.fit.between.iter().all(|v| *v == 0.0));
        if let Ok(found) = fitted.ratios(CONFIDENCE) {
            model.count(all_hold(&found));
        }
    }
}

/// The rule of the verdict with several holders: holder means, one variance between them.
fn by_holder_means(study: &[Vec<Vec<f64>>]) -> Result<Vec<Result<Ratio, Refusal>>, Refusal> {
    let mean = |h: &Vec<f64>| h.iter().sum::<f64>() / h.len() as f64;
    let group = |g: &Vec<Vec<f64>>| Summary::of(&g.iter().map(mean).collect::<Vec<f64>>());
    let mut summaries: Vec<Summary> = study.iter().map(group).collect::<Result<_, _>>()?;
    let control = summaries.remove(0);
    many_ratio::ratios(
        &Family::of_summaries(control, summaries, Spread::Pooled)?,
        CONFIDENCE,
    )
}

/// Slope of the covariate of table 3, whose standard deviation is 1: 3 % of `MEAN`.
const SLOPE: f64 = 0.03 * MEAN;

/// Table 3: adjusted for a covariate with one slope for all groups.
fn adjusted(studies: usize) {
    println!(
        "| spread | n | adjusted, pooled | adjusted, separate | unadjusted, separate | width adjusted / unadjusted | untrue verdict, adjusted separate |"
    );
    println!("|---|---|---|---|---|---|---|");
    for (line, scatter) in SCATTERS.iter().enumerate() {
        for n in [3, 6, 12] {
            let mut rng = Rng::new(20_000 + 100 * line as u64 + n as u64);
            let mut shares = [Share::default(); 4];
            let mut widths = (0.0, 0.0);
            for _ in 0..studies {
                judge_adjusted(
                    &covariate_study(&mut rng, scatter, n),
                    &mut shares,
                    &mut widths,
                );
            }
            let [pooled, separate, plain, untrue] = shares.map(Share::shown);
            println!(
                "| {} | {n} | {pooled} | {separate} | {plain} | {:.2} | {untrue} |",
                scatter.name,
                widths.0 / widths.1
            );
        }
    }
}

/// Response and covariate of each group, the storage control first.
type Covaried = Vec<(Vec<f64>, Vec<f64>)>;

fn covariate_study(rng: &mut Rng, scatter: &Scatter, n: usize) -> Covaried {
    let mut group = |ratio: f64, percent: f64| -> (Vec<f64>, Vec<f64>) {
        let one = |_| {
            let x = rng.normal();
            // One slope for all groups; what it leaves over has the group's own spread.
            let explained = SLOPE * x;
            let left = MEAN / 100.0 * percent * rng.normal();
            (ratio * MEAN + explained + left, x)
        };
        (0..n).map(one).unzip()
    };
    let all = std::iter::once((1.0, scatter.control)).chain(TRUTH.into_iter().zip(scatter.exposed));
    all.map(|(ratio, percent)| group(ratio, percent)).collect()
}

fn judge_adjusted(study: &Covaried, shares: &mut [Share; 4], widths: &mut (f64, f64)) {
    let groups: Vec<covariate::Group<'_>> = study
        .iter()
        .map(|(y, x)| covariate::Group { y, x })
        .collect();
    let [pooled, separate, plain, untrue] = shares;
    // The adjusted ratio is that at the mean of the covariate of the pieces at hand.
    let covariates = || study.iter().flat_map(|(_, x)| x);
    let at = SLOPE * covariates().sum::<f64>() / covariates().count() as f64;
    let truth = TRUTH.map(|ratio| (ratio * MEAN + at) / (MEAN + at));
    let ask = |spread| adjusted_ratio::fit(&groups, spread, CONFIDENCE).and_then(|f| f.ratios());
    if let Ok(found) = ask(Spread::Pooled) {
        pooled.count(all_hold_at(&found, truth));
    }
    if let Ok(found) = ask(Spread::Separate) {
        separate.count(all_hold_at(&found, truth));
        untrue.count(any_untrue_at(&found, truth));
        widths.0 += width(&found);
    }
    let values: Vec<&Vec<f64>> = study.iter().map(|(y, _)| y).collect();
    if let Some((control, others)) = values.split_first()
        && let Ok(family) = Family::of(control, others, Spread::Separate)
        && let Ok(found) = many_ratio::ratios(&family, CONFIDENCE)
    {
        plain.count(all_hold(&found));
        widths.1 += width(&found);
    }
}

fn width(found: &[Result<Ratio, Refusal>]) -> f64 {
    let one = |r: &Result<Ratio, Refusal>| r.ok().and_then(|r| r.set.bounded());
    found.iter().filter_map(one).map(|i| i.width()).sum()
}

/// Table 4: one BCa bootstrap interval of a ratio, two equal groups.
fn bootstraps(studies: usize) {
    println!("| n | BCa bootstrap, 95 % | Fieller, separate, 95 % |");
    println!("|---|---|---|");
    for n in [4, 6, 8, 10, 15, 20, 30] {
        let mut rng = Rng::new(30_000 + n as u64);
        let (mut boot, mut fieller) = (Share::default(), Share::default());
        for _ in 0..studies {
            let mut group =
                || -> Vec<f64> { (0..n).map(|_| MEAN * (1.0 + 0.05 * rng.normal())).collect() };
            let (a, b) = (group(), group());
            let both = [a.as_slice(), b.as_slice()];
            let found = bootstrap::bca(&both, bootstrap::ratio_of_means, CONFIDENCE, 2000, 1);
            if let Ok(found) = found {
                boot.count(found.bca.contains(1.0));
            }
            let plain = overwinter::stats::ratio::fieller(&a, &b, Spread::Separate, CONFIDENCE);
            if let Some(ends) = plain.ok().and_then(|r| r.set.bounded()) {
                fieller.count(ends.contains(1.0));
            }
        }
        println!("| {n} | {} | {} |", boot.shown(), fieller.shown());
    }
}
