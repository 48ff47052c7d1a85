//! The page of findings: everything ready to print, in the order of the page. An edition's page is made
//! here, that of a single file in [`super::file_page`].

use askama::Template;
use chrono::{DateTime, Utc};

use crate::analysis::accounting::Accounting;
use crate::analysis::findings::Findings;
use crate::analysis::names;
use crate::analysis::sentence::Sentence;
use crate::analysis::words::circumstance::Topic;
use crate::report::about::AboutPart;
use crate::report::alternatives::{self, Alternative};
use crate::report::answer::{Answer, Mark, answers};
use crate::report::changes::ChangesPart;
use crate::report::chart::Chart;
use crate::report::chart::marks::{LineKind, Shape};
use crate::report::climate::ClimatePart;
use crate::report::conduct::{self, ConductPart};
use crate::report::design::{self, DesignPart};
use crate::report::deviations::{self, Deviation, deviations};
use crate::report::figures::literature::{self, LiteraturePart};
use crate::report::figures::{self, Figures};
use crate::report::format::{bytes, day, minute};
use crate::report::method::{Part, method};
use crate::report::photograph::{self, PairOfPiece};
use crate::report::runs::{Run, runs};
use crate::report::tables::beside::{self, BesidePart};
use crate::report::tables::{self, Table, comparisons, stages};
use crate::study::licence::Licence;
use crate::study::plan::Plan;
use crate::study::record::StudyRecord;
use crate::study::witness::Witness;

/// Most pieces that the page itself lists; more are in the file only.
const MOST_LISTED: usize = 120;

/// What an edition says about itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Meta {
    /// Its number, from 1.
    pub number: u32,
    /// When it is published.
    pub at: DateTime<Utc>,
    /// Where the current edition of this study stands, relative to this page.
    pub current_href: String,
    /// Version of the program that computed it.
    pub program: String,
    /// The licence of the data, when one was chosen.
    pub licence: Option<Licence>,
    /// The server's own address, `https://example.org`, when it knows it.
    pub origin: Option<String>,
}

impl Meta {
    /// The edition's whole address.
    #[must_use]
    pub fn address(&self, record: &StudyRecord) -> Option<String> {
        let origin = self.origin.as_ref()?;
        Some(format!(
            "{origin}/studies/{}/editions/{}/",
            record.slug, self.number
        ))
    }
}

/// A file of the edition, as the page offers it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offered {
    /// Its name.
    pub path: String,
    /// What is in it.
    pub what: String,
    /// Its size.
    pub size: String,
    /// The same figure as a picture, where it is one.
    pub picture: Option<String>,
}

/// The page.
#[derive(Debug, Template)]
#[template(path = "public/edition.html")]
pub struct EditionPage {
    pub(super) title: String,
    pub(super) question: String,
    pub(super) source: Source,
    pub(super) stylesheet: String,
    pub(super) interim: Option<String>,
    pub(super) answer: Vec<Answer>,
    pub(super) no_answer: String,
    pub(super) beside: Vec<Vec<Run>>,
    pub(super) conduct: Vec<String>,
    pub(super) figures: Figures,
    pub(super) primary: Option<Table>,
    pub(super) countings: Vec<Alternative>,
    pub(super) variants: Vec<Alternative>,
    pub(super) other: Option<BesidePart>,
    pub(super) groups: Vec<SetTable>,
    pub(super) holders: Option<Table>,
    pub(super) stages_told: Vec<String>,
    pub(super) stages: Vec<Table>,
    pub(super) brittle: Option<Table>,
    pub(super) brittle_note: String,
    pub(super) secondary: Vec<Table>,
    pub(super) without_interval: Vec<String>,
    pub(super) made: String,
    pub(super) conduct_part: Option<ConductPart>,
    pub(super) counted: Option<Table>,
    pub(super) literature: Option<LiteraturePart>,
    pub(super) apart: super::fit::Apart,
    pub(super) accounting: Table,
    pub(super) specimens: Option<Table>,
    pub(super) method: Vec<Part>,
    pub(super) designs: Vec<DesignPart>,
    pub(super) climate: Option<ClimatePart>,
    pub(super) deviations: Vec<Deviation>,
    pub(super) limits: Vec<String>,
    pub(super) program: String,
    /// What an edition says of itself; a file's page has none.
    pub(super) about: Option<AboutPart>,
    /// What differs from the edition before.
    pub(super) changes: Option<ChangesPart>,
}

/// Each set of one response by itself.
#[derive(Debug)]
pub(super) struct SetTable {
    /// Where links lead.
    pub(super) id: String,
    /// The response.
    pub(super) heading: String,
    pub(super) table: Table,
}

/// Where the findings come from, and what the page therefore says of itself.
#[derive(Debug)]
pub(super) enum Source {
    /// A study on a server, frozen as an edition.
    Edition(Frozen),
    /// A file, analysed without a server.
    File(FromFile),
}

/// What only an edition has.
#[derive(Debug)]
pub(super) struct Frozen {
    pub(super) number: u32,
    pub(super) published: String,
    pub(super) current_href: String,
    pub(super) seal: Seal,
    /// Photographs that go with it, on a page of their own.
    pub(super) photographs: usize,
    /// One pair of pictures for each condition, on this page.
    pub(super) pairs: Vec<PairOfPiece>,
    pub(super) files: Vec<Offered>,
    pub(super) entries: u64,
    pub(super) head: String,
}

/// What only a page of a file has.
#[derive(Debug)]
pub(super) struct FromFile {
    pub(super) name: String,
    pub(super) sha256: String,
}

/// What the seal proves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seal {
    /// The hash, when the plan is sealed.
    pub sha256: Option<String>,
    /// When, by this server's own word.
    pub at: String,
    /// Outside witnesses.
    pub witnesses: Vec<String>,
}

impl EditionPage {
    /// The edition's number; 0 for a file.
    pub(super) fn number(&self) -> u32 {
        match &self.source {
            Source::Edition(edition) => edition.number,
            Source::File(_) => 0,
        }
    }
}

/// A figure as a file of its own.
#[derive(Debug, Template)]
#[template(path = "public/figure.svg")]
pub struct FigureFile<'f> {
    /// The geometry.
    pub chart: &'f Chart,
}

/// The page of a study's findings.
#[must_use]
pub fn page(
    record: &StudyRecord,
    plan: &Plan,
    findings: &Findings,
    meta: &Meta,
    figures: Figures,
    climate: Option<ClimatePart>,
    files: Vec<Offered>,
) -> EditionPage {
    let frozen = Frozen {
        number: meta.number,
        published: day(meta.at, &record.time_zone),
        current_href: meta.current_href.clone(),
        seal: seal(record),
        photographs: record.public_photographs().count(),
        pairs: photograph::one_of_each(record),
        files,
        entries: record.entries,
        head: Witness::line(&record.id.to_string(), record.entries, &record.head),
    };
    EditionPage {
        title: record.title.clone(),
        stylesheet: "edition.css".to_owned(),
        method: method(record, plan, findings),
        climate,
        deviations: deviations(record, findings),
        counted: Some(deviations::counted(record, findings)),
        literature: literature::part(record),
        conduct_part: Some(conduct::part(record, plan, findings)),
        limits: limits(record, plan),
        program: meta.program.clone(),
        ..common(plan, findings, figures, Source::Edition(frozen))
    }
}

/// What every page of findings has.
pub(super) fn common(
    plan: &Plan,
    findings: &Findings,
    figures: Figures,
    source: Source,
) -> EditionPage {
    let few = findings.specimens.len() <= MOST_LISTED;
    let primary = findings.primary.as_ref();
    let (secondary, without_interval) = comparisons::secondary(findings);
    EditionPage {
        title: findings.study.title.clone(),
        question: plan.question.clone(),
        source,
        stylesheet: String::new(),
        interim: findings.standing.interim(),
        answer: answers(findings),
        no_answer: no_answer(findings),
        beside: notes(findings, is_beside).iter().map(runs).collect(),
        conduct: notes(findings, |t| matches!(t, Topic::Session | Topic::Blinding))
            .iter()
            .map(ToString::to_string)
            .collect(),
        figures,
        primary: primary.map(comparisons::primary),
        countings: primary.map(alternatives::countings).unwrap_or_default(),
        variants: primary.map(alternatives::variants).unwrap_or_default(),
        other: primary
            .zip(findings.beside.as_ref())
            .map(|(primary, found)| beside::part(plan, &primary.family, found)),
        groups: set_tables(plan, findings),
        holders: conduct::holders(findings),
        stages_told: stages::told(findings),
        stages: stages::over_time(findings),
        brittle: stages::brittle(&findings.brittle),
        brittle_note: brittle_note(findings),
        secondary,
        without_interval,
        made: made(&findings.accounting),
        conduct_part: None,
        literature: None,
        apart: super::fit::Apart::default(),
        counted: None,
        accounting: tables::accounting(&findings.accounting),
        specimens: few.then(|| tables::specimens(plan, findings)),
        method: Vec::new(),
        designs: designs(findings),
        climate: None,
        deviations: Vec::new(),
        limits: Vec::new(),
        program: String::new(),
        about: None,
        changes: None,
    }
}

fn set_tables(plan: &Plan, findings: &Findings) -> Vec<SetTable> {
    let tables = tables::groups(plan, findings);
    let both = figures::responses(findings).into_iter().zip(tables);
    both.map(|(response, table)| SetTable {
        id: format!("sets-{}", figures::file_stem(response)),
        heading: names::capital(&response.label()),
        table,
    })
    .collect()
}

/// What Weibull figures from few pieces are worth: the last of their sentences.
pub(super) fn brittle_note(findings: &Findings) -> String {
    let last = findings.brittle_words.last();
    last.map_or_else(String::new, ToString::to_string)
}

/// What must be read together with the verdicts.
pub(super) fn is_beside(topic: Topic) -> bool {
    !matches!(topic, Topic::Session | Topic::Blinding)
}

pub(super) fn notes(findings: &Findings, is_wanted: impl Fn(Topic) -> bool) -> Vec<Sentence> {
    let wanted = findings.notes.iter().filter(|note| is_wanted(note.topic));
    wanted.map(|note| note.sentence.clone()).collect()
}

pub(super) fn no_answer(findings: &Findings) -> String {
    let days = findings.standing.primary_stage_days;
    if findings.standing.is_final {
        "There is nothing to compare with, so there is no verdict.".to_owned()
    } else {
        format!("The plan decides after {days} days. Until then there are values, and no verdict.")
    }
}

/// `36 pieces were made: 30 allocated, 4 kept as spares, 2 rejected before the allocation.`
pub(super) fn made(accounting: &Accounting) -> String {
    let allocated: usize = accounting.cells.iter().map(|cell| cell.allocated).sum();
    let retests: usize = accounting.cells.iter().map(|cell| cell.retests).sum();
    let mut parts = vec![format!("{allocated} allocated")];
    let others = [
        (accounting.spares, "kept as spares"),
        (retests, "used as spares in the place of invalid tests"),
        (accounting.rejected, "rejected before the allocation"),
        (accounting.unallocated, "not allocated"),
    ];
    let told = others.into_iter().filter(|(n, _)| *n > 0);
    parts.extend(told.map(|(n, what)| format!("{n} {what}")));
    let were = match accounting.made {
        1 => "piece was",
        _ => "pieces were",
    };
    format!(
        "{} {were} made: {}.",
        accounting.made,
        names::listed(&parts)
    )
}

/// What the design could see: two groups, and the plan's own rule where it was computed.
#[must_use]
pub fn designs(findings: &Findings) -> Vec<DesignPart> {
    let rule = findings.rule.as_ref().map(design::rule);
    let found = findings
        .rule_found
        .as_ref()
        .map(|(cv, line)| design::rule_found(findings.unit(), *cv, line));
    let groups = findings.design.as_ref().map(design::two_groups);
    rule.into_iter().chain(found).chain(groups).collect()
}

fn limits(record: &StudyRecord, plan: &Plan) -> Vec<String> {
    let place = |text: &[String]| text.join(", ");
    let mut told = vec![format!(
        "For the pieces tested: {} of {}, from these lots ({}) and builds ({}), in these places, between \
         these dates. Other lots, places and years may differ.",
        names::plural(&plan.form.piece_name),
        plan.material.name,
        place(&plan.lots),
        place(&plan.builds),
    )];
    if record.is_after_the_fact {
        told.push(
            "Dates before the first entry here are as reported; each entry keeps its own date as well."
                .to_owned(),
        );
    }
    told
}

fn seal(record: &StudyRecord) -> Seal {
    let seal = record.seal.as_ref();
    Seal {
        sha256: seal.map(|seal| seal.sha256.clone()),
        at: seal
            .map(|seal| minute(seal.at, &record.time_zone))
            .unwrap_or_default(),
        witnesses: record.witnesses.clone(),
    }
}

/// How a file is offered.
#[must_use]
pub fn offered(path: &str, what: &str, size: usize) -> Offered {
    Offered {
        path: path.to_owned(),
        what: what.to_owned(),
        size: bytes(size),
        picture: None,
    }
}
