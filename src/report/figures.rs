//! Which figure for which finding: every specimen by response and stage, each piece from before to after,
//! how many came how far, the course over the stages, and what others published.

mod changes;
mod course;
mod flow;
pub mod literature;
mod strips;

use crate::analysis::findings::Findings;
use crate::report::chart::Chart;
use crate::report::tables::Table;
use crate::study::plan::{Plan, Response};

/// A figure of an edition.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Its file.
    pub file: String,
    /// Heading.
    pub title: String,
    /// What the marks mean.
    pub caption: String,
    /// The geometry.
    pub chart: Chart,
    /// Whether it shows the comparison that decides.
    pub is_primary: bool,
    /// Drawn within the page; otherwise the page shows the figure's own file.
    pub is_inline: bool,
    /// The same as a table, when none stands elsewhere.
    pub table: Option<Table>,
    /// Where on the page the same stands as a table; empty when `table` has it.
    pub behind: String,
}

/// The figures of one response, one a stage.
#[derive(Debug, Clone, PartialEq)]
pub struct View {
    /// From 1; style sheets know it.
    pub number: usize,
    /// What the switch calls it.
    pub label: String,
    /// The stage that decides or the last one first.
    pub figures: Vec<Figure>,
}

/// Every figure of the findings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Figures {
    /// Every specimen, response by response, the deciding one first.
    pub views: Vec<View>,
    /// Each piece from before to after.
    pub changes: Vec<Figure>,
    /// What happened to all the pieces.
    pub flow: Option<Figure>,
    /// The stages together.
    pub courses: Vec<Figure>,
    /// The study's own beside what others published.
    pub literature: Vec<Figure>,
}

impl Figures {
    /// All of them: first the one that decides and one of each other kind.
    pub fn all(&self) -> impl Iterator<Item = &Figure> {
        let shown = self.views.iter().filter_map(|view| view.figures.first());
        let others = self
            .views
            .iter()
            .flat_map(|view| view.figures.iter().skip(1));
        let of_each = shown
            .clone()
            .take(1)
            .chain(&self.flow)
            .chain(self.courses.first());
        let of_each = of_each
            .chain(self.literature.first())
            .chain(self.changes.first());
        let more = shown.skip(1).chain(self.courses.iter().skip(1));
        let more = more.chain(self.literature.iter().skip(1));
        of_each
            .chain(more)
            .chain(self.changes.iter().skip(1))
            .chain(others)
    }

    /// As [`Self::all`], to be changed.
    pub fn all_mut(&mut self) -> Vec<&mut Figure> {
        let (mut of_each, mut more, mut others) = (Vec::new(), Vec::new(), Vec::new());
        for view in &mut self.views {
            let mut figures = view.figures.iter_mut();
            let kind = if of_each.is_empty() {
                &mut of_each
            } else {
                &mut more
            };
            kind.extend(figures.next());
            others.extend(figures);
        }
        of_each.extend(&mut self.flow);
        for kind in [&mut self.courses, &mut self.literature, &mut self.changes] {
            let mut figures = kind.iter_mut();
            of_each.extend(figures.next());
            more.extend(figures);
        }
        of_each.append(&mut more);
        of_each.append(&mut others);
        of_each
    }
}

/// Every figure.
#[must_use]
pub fn figures(plan: &Plan, findings: &Findings) -> Figures {
    Figures {
        views: views(plan, findings),
        changes: changes::figures(plan, findings),
        flow: flow::figure(&findings.accounting),
        courses: course::figures(plan, findings),
        literature: Vec::new(),
    }
}

fn views(plan: &Plan, findings: &Findings) -> Vec<View> {
    let of = |response: &Response| {
        let stages = findings.standing.stages_in.iter().rev();
        let drawn =
            stages.filter_map(|days| strips::View::new(plan, findings, response, *days).figure());
        let mut figures: Vec<Figure> = drawn.collect();
        figures.sort_by_key(|figure| !figure.is_primary);
        (response.label(), figures)
    };
    let mut found: Vec<(String, Vec<Figure>)> = responses(findings).into_iter().map(of).collect();
    found.retain(|(_, figures)| !figures.is_empty());
    found.sort_by_key(|(_, figures)| !figures.iter().any(|figure| figure.is_primary));
    let numbered = found.into_iter().zip(1..);
    let view = |((label, figures), number): ((String, Vec<Figure>), usize)| View {
        number,
        label: crate::analysis::names::capital(&label),
        figures,
    };
    numbered.map(view).collect()
}

/// The responses of which there are values, in the order of the findings.
pub(in crate::report) fn responses(findings: &Findings) -> Vec<&Response> {
    let mut shown: Vec<&Response> = Vec::new();
    for group in &findings.groups {
        if !shown.contains(&&group.response) {
            shown.push(&group.response);
        }
    }
    shown
}

/// A file name of small letters, digits and dashes.
pub(in crate::report) fn file_stem(response: &Response) -> String {
    let plain = |c: char| {
        if c.is_ascii_alphanumeric() {
            c.to_ascii_lowercase()
        } else {
            '-'
        }
    };
    response.key().chars().map(plain).collect()
}
