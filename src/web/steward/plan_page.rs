//! What the plan's page shows: the form with its rows and choices, the count, the warnings, what the
//! design can see, and what earlier amendments changed.

use super::plan_outlook::Outlook;
use crate::report::chart::marks::{LineKind, Shape};
use crate::study::plan::check::Count;
use crate::study::plan::difference::{Difference, differences};
use crate::study::plan::form;
use crate::study::plan::{
    DryingKind, EndOfTest, Environment, ModulusBy, OutlierRule, Response, RetestSets, SameBatch,
    Shape as PieceShape, SizesAt, Spreads, TestKind,
};
use crate::study::property::COMPARED;
use crate::study::reading::MoistureState;
use crate::study::record::StudyRecord;
use crate::study::typed::Typed;
use crate::study::when;
use crate::web::form::Form;
use crate::web::page::Chrome;
use askama::Template;

/// Blank rows at the end of each table.
const BLANK_ROWS: usize = 2;
/// Rows shown at most, whatever was sent.
const MOST_ROWS: usize = 60;

type Choices = Vec<(&'static str, &'static str)>;

#[derive(Template)]
#[template(path = "steward/plan_edit.html")]
pub(super) struct PlanPage {
    chrome: Chrome,
    slug: String,
    title: String,
    form: Form,
    version: u32,
    is_sealed: bool,
    is_knowing_results: bool,
    was_checked: bool,
    dimension_rows: usize,
    stage_rows: usize,
    condition_rows: usize,
    shapes: Choices,
    tests: Choices,
    sections: Choices,
    moduli: Choices,
    ends: Choices,
    states: Choices,
    dryings: Choices,
    environments: Choices,
    spreads: Choices,
    rules: Choices,
    primaries: Vec<(String, String)>,
    covariates: Vec<(String, String)>,
    retests: Choices,
    batches: Choices,
    pieces: String,
    outlook: Option<Outlook>,
    amendments: Vec<Amendment>,
}

/// How the page is to be shown.
#[derive(Default)]
pub(super) struct Look {
    outlook: Option<Outlook>,
    was_checked: bool,
    /// The table that gets more rows.
    more: Option<String>,
}

impl Look {
    /// As it is first opened.
    pub(super) fn shown(outlook: Option<Outlook>) -> Self {
        Self {
            outlook,
            ..Self::default()
        }
    }

    /// After "Check".
    pub(super) fn checked(outlook: Outlook) -> Self {
        Self {
            outlook: Some(outlook),
            was_checked: true,
            more: None,
        }
    }

    /// With more rows in one table.
    pub(super) fn more(table: &str) -> Self {
        Self {
            more: Some(table.to_owned()),
            ..Self::default()
        }
    }

    /// With faults.
    pub(super) fn refused() -> Self {
        Self::default()
    }
}

/// An amendment, ready to print.
struct Amendment {
    version: u32,
    at: String,
    reason: String,
    is_knowing_results: bool,
    changes: Vec<Difference>,
}

/// The page.
pub(super) fn page(chrome: Chrome, record: &StudyRecord, form: Form, look: Look) -> PlanPage {
    let (form, [dimension_rows, stage_rows, condition_rows]) = with_blank_rows(form, &look);
    PlanPage {
        chrome: chrome.titled(format!("Plan of {}", record.title)),
        slug: record.slug.clone(),
        title: record.title.clone(),
        version: record.plan().map_or(0, |held| held.version),
        is_sealed: record.seal.is_some(),
        is_knowing_results: record.consignments.iter().any(|c| !c.is_blind()),
        was_checked: look.was_checked,
        dimension_rows,
        stage_rows,
        condition_rows,
        shapes: PieceShape::ALL.map(|c| (c.key(), c.label())).into(),
        tests: std::iter::once(("", "its load only, or load over section"))
            .chain(TestKind::ALL.map(|c| (c.key(), c.label())))
            .collect(),
        sections: SizesAt::ALL.map(|c| (c.key(), c.label())).into(),
        moduli: ModulusBy::ALL.map(|c| (c.key(), c.label())).into(),
        ends: EndOfTest::ALL.map(|c| (c.key(), c.label())).into(),
        states: MoistureState::ALL.map(|c| (c.key(), c.label())).into(),
        dryings: DryingKind::ALL.map(|c| (c.key(), c.label())).into(),
        environments: Environment::ALL.map(|c| (c.key(), c.label())).into(),
        spreads: Spreads::ALL.map(|c| (c.key(), c.label())).into(),
        rules: OutlierRule::ALL.map(|c| (c.key(), c.label())).into(),
        primaries: primaries(form.typed()),
        covariates: covariates(form.typed()),
        retests: retests(),
        batches: SameBatch::ALL.map(|c| (c.key(), c.label())).into(),
        pieces: pieces(form::count(form.typed())),
        outlook: look.outlook,
        amendments: amendments(record),
        form,
    }
}

/// A table of the form: what its button is called, its columns, and what stands in a blank row.
struct Table {
    called: &'static str,
    columns: &'static [(&'static str, &'static str)],
}

const TABLES: [Table; 3] = [
    Table {
        called: "dimension",
        columns: &[
            ("dimension_name", ""),
            ("dimension_places", "3"),
            ("dimension_nominal", ""),
        ],
    },
    Table {
        called: "stage",
        columns: &[("stage_days", ""), ("stage_window", "7")],
    },
    // Three holders and six pieces are the least that warns of nothing (trade practice, no source).
    Table {
        called: "condition",
        columns: &[
            ("condition_name", ""),
            ("condition_key", ""),
            ("condition_environment", "outdoor"),
            ("condition_place", ""),
            ("condition_holders", "3"),
            ("condition_replicates", "6"),
            ("condition_renew", ""),
        ],
    },
];

/// The form with two blank rows or more at the end of each table, and how many rows each has.
fn with_blank_rows(form: Form, look: &Look) -> (Form, [usize; 3]) {
    let mut counts = [0; 3];
    let form = form.completed(|typed| {
        for (table, count) in TABLES.iter().zip(&mut counts) {
            let is_more_wanted = look.more.as_deref() == Some(table.called);
            *count = add_blank_rows(typed, table, is_more_wanted);
        }
    });
    (form, counts)
}

fn add_blank_rows(typed: &mut Typed, table: &Table, is_more_wanted: bool) -> usize {
    let first = table.columns.first().map_or("", |(name, _)| *name);
    let values = typed.all(first);
    let sent = values.len();
    let filled = values.iter().rposition(|text| !text.is_empty());
    let least = filled.map_or(0, |last| last + 1) + BLANK_ROWS;
    let more = if is_more_wanted { BLANK_ROWS } else { 0 };
    let shown = (sent + more).max(least).min(MOST_ROWS);
    for (name, blank) in table.columns {
        for row in typed.all(name).len()..shown {
            typed.add(name, if row < sent { "" } else { blank });
        }
    }
    shown
}

/// The names of the dimensions as typed, each once.
fn dimension_names(typed: &Typed) -> Vec<&str> {
    let mut names = typed.all("dimension_name");
    names.truncate(MOST_ROWS);
    names.retain(|name| !name.is_empty());
    names.dedup();
    names
}

/// The responses that the pieces' readings allow, and whatever stands in the field now.
fn primaries(typed: &Typed) -> Vec<(String, String)> {
    let lengths = dimension_names(typed).into_iter().map(str::to_owned);
    let mut offered = vec![Response::MaxLoad, Response::Strength, Response::MassChange];
    offered.extend(lengths.map(Response::LengthChange));
    offered.extend(COMPARED.map(Response::Read));
    let pair = |response: Response| (response.key(), response.label());
    with_present(
        offered.into_iter().map(pair).collect(),
        typed.text("primary"),
    )
}

fn retests() -> Choices {
    let sets = RetestSets::ALL.map(|c| (c.key(), c.label()));
    std::iter::once(("none", "of no piece"))
        .chain(sets)
        .collect()
}

fn covariates(typed: &Typed) -> Vec<(String, String)> {
    let mut offered = vec![
        ("none".to_owned(), "none".to_owned()),
        ("mass".to_owned(), "mass before exposure".to_owned()),
    ];
    let pair = |name: &str| (format!("length:{name}"), format!("{name} before exposure"));
    offered.extend(dimension_names(typed).into_iter().map(pair));
    with_present(offered, typed.text("covariate"))
}

/// The choices, with the present one kept even when it is not offered any more: what was typed
/// comes back, and saving it says what is wrong.
fn with_present(mut offered: Vec<(String, String)>, present: &str) -> Vec<(String, String)> {
    if !present.is_empty() && offered.iter().all(|(key, _)| key != present) {
        offered.push((present.to_owned(), present.to_owned()));
    }
    offered
}

/// As `plan.js` writes it while the form is filled in.
fn pieces(count: Count) -> String {
    format!(
        "{} pieces: {} in conditions, {} baseline, {} spare",
        count.total(),
        count.exposed,
        count.baseline,
        count.spares
    )
}

/// Every amendment with what it changed against the version before it, newest first.
fn amendments(record: &StudyRecord) -> Vec<Amendment> {
    let pairs = record.plans.iter().zip(record.plans.iter().skip(1));
    let amended = pairs.filter_map(|(before, after)| {
        let reason = after.amendment_reason.clone()?;
        Some(Amendment {
            version: after.version,
            at: when::in_words(after.at, &record.time_zone),
            reason,
            is_knowing_results: after.is_knowing_results,
            changes: differences(&before.plan, &after.plan),
        })
    });
    let mut amendments: Vec<Amendment> = amended.collect();
    amendments.reverse();
    amendments
}
