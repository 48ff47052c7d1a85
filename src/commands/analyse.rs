//! `overwinter analyse`: the whole report from one file, without a server; or an edition's archive checked.

#[doc(hidden)]
pub mod archive;
mod compare;

use std::io::{IsTerminal, Read, Write};
use std::path::{Path, PathBuf};

use clap::builder::PossibleValuesParser;

use crate::analysis::analyse_dataset_in_full;
use crate::analysis::names::counted;
use crate::error::Failure;
use crate::report::file_page::{FileNote, file_page};
use crate::report::package::file_archive;
use crate::report::terminal::{Look, summary};
use crate::study::plan::{EndOfTest, OutlierRule, Plan, Shape, Spreads};
use crate::study::reading::MoistureState;
use crate::tidy::columns::described;
use crate::tidy::wishes::{Request, Wishes};
use crate::tidy::{self, Tidy};
use crate::unpack;

/// Most bytes of a file or an archive.
const MOST_BYTES: u64 = 64_000_000;
/// Most bytes of a plan file.
const MOST_PLAN_BYTES: u64 = 1_000_000;

/// Analyse a file with one line for each piece; needs no server
///
/// The file is CSV: columns parted by commas, semicolons or tabs, decimals by a point or a comma, in
/// UTF-8. The answer comes first, in words; then every comparison, every set, what happened to all
/// pieces, and what a design of this size can see. Nothing is sent anywhere.
///
/// The file may also be an edition's archive (data.zip): then everything is computed anew from its tables and
/// compared with its findings.
///
/// Ends with 0 when there is a report (whatever its verdict) or an archive is found identical, 1 when something
/// cannot be read or written, 2 when the command line is wrong, 3 when the file or the plan is: then every
/// problem is told with line, column and what was expected, and nothing else is written; 4 when an archive's
/// findings are not what its tables give: then it is told where.
#[derive(Debug, clap::Args)]
#[command(after_long_help = after_help())]
pub(super) struct Args {
    /// The file, CSV or an edition's archive; `-` reads standard input
    #[arg(value_name = "SPECIMENS.CSV|DATA.ZIP")]
    file: PathBuf,
    /// A plan: a small one in TOML (keys below), or an edition's plan.json
    #[arg(long, value_name = "FILE")]
    plan: Option<PathBuf>,
    /// Print all findings as JSON instead of the summary
    #[arg(long)]
    json: bool,
    /// Write the report with its figures as one page that needs nothing beside it
    #[arg(long, value_name = "OUT.HTML")]
    html: Option<PathBuf>,
    /// Write table, plan, findings and a script that recomputes them as one archive, like an edition's
    #[arg(long, value_name = "OUT.ZIP")]
    archive: Option<PathBuf>,
    #[command(flatten)]
    options: Options,
}

/// Options that go before the plan.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Plan (each goes before the plan file)")]
struct Options {
    /// Title of the report
    #[arg(long, value_name = "TEXT")]
    title: Option<String>,
    /// What a piece is called, in the singular
    #[arg(long, value_name = "WORD")]
    piece: Option<String>,
    /// The response that decides: max_load, strength, mass_change, width_change …
    #[arg(long, value_name = "RESPONSE")]
    primary: Option<String>,
    /// The stage that decides; the last by default
    #[arg(long, value_name = "DAYS")]
    stage: Option<u32>,
    /// The days of all pieces, where the file has no column for them
    #[arg(long, value_name = "DAYS")]
    stage_days: Option<u32>,
    /// The condition that is the storage control, where the role column does not tell
    #[arg(long, value_name = "CONDITION")]
    storage_control: Option<String>,
    /// The largest change that does not matter, in %: 10 for loads, 0.5 for changes by default
    #[arg(long, value_name = "PERCENT")]
    margin: Option<f64>,
    /// Confidence of the simultaneous intervals, in %; 95 by default
    #[arg(long, value_name = "PERCENT")]
    confidence: Option<f64>,
    /// Whether each group keeps its own spread
    #[arg(long, value_name = "WAY", value_parser = keys(Spreads::ALL.map(Spreads::key)))]
    spreads: Option<String>,
    /// Which values are flagged; none is ever dropped
    #[arg(long, value_name = "RULE", value_parser = keys(OutlierRule::ALL.map(OutlierRule::key)))]
    outliers: Option<String>,
    /// A reading from before exposure that adjusts the comparison: mass, width … or none
    #[arg(long, value_name = "READING")]
    covariate: Option<String>,
    /// Weibull shape and characteristic load of each set, for brittle pieces
    #[arg(long)]
    weibull: bool,
    /// With three stages or more: how long until so much of the start is left, in %
    #[arg(long, value_name = "PERCENT")]
    retention: Option<f64>,
    /// The moisture state in which pieces are compared
    #[arg(long, value_name = "STATE", value_parser = keys(MoistureState::ALL.map(MoistureState::key)))]
    state: Option<String>,
    /// Shape of the test region, for strengths
    #[arg(long, value_name = "SHAPE", value_parser = keys(Shape::ALL.map(Shape::key)))]
    shape: Option<String>,
    /// What ends a test
    #[arg(long, value_name = "END", value_parser = keys(EndOfTest::ALL.map(EndOfTest::key)))]
    end_of_test: Option<String>,
    /// Scatter expected between like pieces, in %; 5 by default
    #[arg(long, value_name = "PERCENT")]
    cv: Option<f64>,
    /// Smallest step of the balance, in g: no interval of a mass change gets narrower than it allows
    #[arg(long, value_name = "GRAMS")]
    balance_step: Option<f64>,
    /// Smallest step of the calliper, in mm
    #[arg(long, value_name = "MM")]
    calliper_step: Option<f64>,
}

fn keys<const N: usize>(keys: [&'static str; N]) -> PossibleValuesParser {
    PossibleValuesParser::new(keys)
}

/// What stands under the options.
fn after_help() -> String {
    format!(
        "{}\n\n{}\n\nExamples:\n  \
         overwinter analyse specimens.csv\n  \
         overwinter analyse specimens.csv --margin 15 --html report.html\n  \
         overwinter analyse specimens.csv --plan plan.json --json > findings.json\n  \
         overwinter analyse data.zip",
        described(),
        PLAN_HELP
    )
}

const PLAN_HELP: &str = "\
Keys of a plan in TOML, all of them optional:
  title, question, piece, material = \"…\"
  primary = \"max_load\"            primary_stage_days = 365     stage_days = 365
  storage_control = \"drawer\"      margin_percent = 10          margin_reason = \"…\"
  confidence_percent = 95         spreads = \"separate\"         outlier_rule = \"none\"
  covariate = \"mass\"              reference_state = \"conditioned\"
  asks_weibull = true             retention_percent = 80
  shape = \"load_only\"             end_of_test = \"break\"        expected_cv_percent = 5
  balance_readability_g = 0.001   calliper_readability_mm = 0.01
  compares_storage_with_baseline = true    compares_exposed_with_baseline = true
  conditions = [\"drawer\", \"roof\"]  (their order)
  stages_in = [180]               (stages whose results are all in)
  [environments]
  roof = \"outdoor\"   (indoor, outdoor, fresh_water, salt_water, soil, compost, oven, other)";

impl Options {
    fn wishes(self) -> Result<Wishes, Failure> {
        let key = |text: Option<String>| text.unwrap_or_default();
        Ok(Wishes {
            title: self.title,
            piece: self.piece,
            primary: self.primary,
            primary_stage_days: self.stage,
            stage_days: self.stage_days,
            storage_control: self.storage_control,
            margin_percent: self.margin,
            confidence_percent: self.confidence,
            spreads: Spreads::parse(&key(self.spreads)),
            outlier_rule: OutlierRule::parse(&key(self.outliers)),
            covariate: self.covariate,
            asks_weibull: self.weibull.then_some(true),
            retention_percent: self.retention,
            reference_state: MoistureState::parse(&key(self.state)),
            shape: Shape::parse(&key(self.shape)),
            end_of_test: EndOfTest::parse(&key(self.end_of_test)),
            expected_cv_percent: self.cv,
            balance_readability_g: self.balance_step,
            calliper_readability_mm: self.calliper_step,
            ..Wishes::default()
        })
    }
}

/// Reads, analyses, prints.
pub(super) fn run(args: Args) -> Result<(), Failure> {
    let page = args.html.clone();
    for written in [page.as_deref(), args.archive.as_deref()] {
        refuse_to_overwrite(written, &[Some(&args.file), args.plan.as_ref()])?;
    }
    let bytes = bytes_of(&args.file)?;
    let name = args.file.display().to_string();
    if unpack::is_archive(&bytes) {
        if args.plan.is_some() || args.json || page.is_some() || args.archive.is_some() {
            let told = "an archive is compared as it is; unpack it to ask for something else";
            return Err(format!("{name}: {told}").into());
        }
        return print(&archive::check(&name, bytes)?);
    }
    let (plan, file_wishes) = match &args.plan {
        Some(path) => plan_file(path)?,
        None => (None, Wishes::default()),
    };
    let request = Request {
        plan,
        wishes: args.options.wishes()?.over(file_wishes),
        stem: stem(&args.file),
    };
    let tidy = tidy::read(&bytes, &request).map_err(|problems| {
        let count = counted(problems.told.len() + problems.untold, "problem");
        Failure::wrong_data(format!("{name} has {count}:\n{problems}"))
    })?;
    let findings = analyse_dataset_in_full(&tidy.dataset(), &tidy.context());
    let note = file_note(&tidy, &args.file);
    if let Some(path) = &page {
        let html = file_page(&tidy.plan, &findings, &note)?;
        std::fs::write(path, html)
            .map_err(|cause| format!("{} cannot be written: {cause}", path.display()))?;
    }
    if let Some(path) = &args.archive {
        std::fs::write(path, file_archive(&tidy.plan, &findings)?)
            .map_err(|cause| format!("{} cannot be written: {cause}", path.display()))?;
    }
    let text = if args.json {
        serde_json::to_string_pretty(&findings)? + "\n"
    } else {
        summary(&tidy.plan, &findings, &note, look())
    };
    print(&text)?;
    if let Some(path) = page.filter(|_| !args.json) {
        print(&format!("The page is in {}.\n", path.display()))?;
    }
    Ok(())
}

/// Prints; somebody who closes the pipe early has read enough.
pub(super) fn print(text: &str) -> Result<(), Failure> {
    match std::io::stdout().write_all(text.as_bytes()) {
        Err(cause) if cause.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        other => other.map_err(Failure::from),
    }
}

/// How words are set: as wide as the terminal says, coloured only there.
pub(super) fn look() -> Look {
    let columns = std::env::var("COLUMNS").ok().and_then(|n| n.parse().ok());
    let has_colour = std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none();
    Look {
        width: columns.unwrap_or(100).clamp(40, 160),
        has_colour,
    }
}

/// A page written over the data would be a loss.
fn refuse_to_overwrite(page: Option<&Path>, sources: &[Option<&PathBuf>]) -> Result<(), Failure> {
    let Some(page) = page else {
        return Ok(());
    };
    let same = |path: &Path| {
        let real = |p: &Path| std::fs::canonicalize(p).unwrap_or_else(|_| p.to_owned());
        real(path) == real(page)
    };
    if sources.iter().flatten().any(|path| same(path)) {
        let what = "is what is read; give the page another name";
        return Err(format!("{} {what}", page.display()).into());
    }
    Ok(())
}

fn bytes_of(path: &Path) -> Result<Vec<u8>, Failure> {
    let cannot = |cause: std::io::Error| format!("{} cannot be read: {cause}", path.display());
    let mut bytes = Vec::new();
    // One byte more than is read, so that a larger file is told as such.
    let most = MOST_BYTES + 1;
    if path == Path::new("-") {
        std::io::stdin()
            .take(most)
            .read_to_end(&mut bytes)
            .map_err(cannot)?;
    } else {
        let file = std::fs::File::open(path).map_err(cannot)?;
        file.take(most).read_to_end(&mut bytes).map_err(cannot)?;
    }
    Ok(bytes)
}

/// An edition's whole plan, or a small one.
fn plan_file(path: &Path) -> Result<(Option<Plan>, Wishes), Failure> {
    let cannot = |cause: std::io::Error| format!("{} cannot be read: {cause}", path.display());
    let mut text = String::new();
    let file = std::fs::File::open(path).map_err(cannot)?;
    file.take(MOST_PLAN_BYTES)
        .read_to_string(&mut text)
        .map_err(cannot)?;
    let wrong = |cause: String| Failure::wrong_data(format!("{}: {cause}", path.display()));
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    if text.trim_start().starts_with('{') {
        let plan: Plan = serde_json::from_str(text).map_err(|cause| {
            wrong(format!(
                "{cause}; expected a whole plan, such as an edition's plan.json"
            ))
        })?;
        Ok((Some(plan), Wishes::default()))
    } else {
        Ok((None, Wishes::from_toml(text).map_err(wrong)?))
    }
}

fn stem(path: &Path) -> String {
    let stem = path
        .file_stem()
        .map(|stem| stem.to_string_lossy().into_owned());
    stem.filter(|stem| stem != "-")
        .unwrap_or_else(|| "standard input".to_owned())
}

fn file_note(tidy: &Tidy, path: &Path) -> FileNote {
    let about = &tidy.about;
    let mut reading = vec![format!(
        "{}, the columns parted by a {}.",
        counted(about.rows, "piece"),
        about.delimiter
    )];
    if !about.not_read.is_empty() {
        reading.push(format!("Columns not read: {}.", about.not_read.join(", ")));
    }
    let plan = if about.has_whole_plan {
        "The plan is the study's own."
    } else {
        "The plan is made of the file and the options: nobody outside can know what was asked first."
    };
    reading.push(plan.to_owned());
    let name = path
        .file_name()
        .map(|name| name.to_string_lossy().into_owned());
    FileNote {
        name: name
            .filter(|name| name != "-")
            .unwrap_or_else(|| stem(path)),
        sha256: about.sha256.clone(),
        reading,
        program: env!("CARGO_PKG_VERSION").to_owned(),
    }
}
