//! Which figure for which finding: every response and stage that is in, the deciding one first.

use crate::analysis::arm::Special;
use crate::analysis::comparison::Member;
use crate::analysis::digits::{fixed, plain};
use crate::analysis::family::{Against, Family};
use crate::analysis::findings::Findings;
use crate::analysis::groups::GroupFinding;
use crate::analysis::names;
use crate::analysis::piece::{Fate, Group, Piece, ValueKind};
use crate::report::chart::Chart;
use crate::report::chart::marks::{self, Shape, Style};
use crate::report::chart::strip::{Mark, Reference, Row, Strip};
use crate::report::format::{group_decimals, unit};
use crate::study::plan::{Plan, Response};

/// Longest name of a row, in characters; a longer one would run into what stands at its right.
const NAME: usize = 34;

/// Most bytes of figures that a page draws itself, to stay under 100 kB; further figures are files.
const INLINE_BYTES: usize = 40_000;

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
}

/// One response at one stage, with everything needed to draw it.
struct View<'f> {
    plan: &'f Plan,
    findings: &'f Findings,
    response: &'f Response,
    stage_days: u32,
    families: Vec<&'f Family>,
}

/// Every figure, the deciding one first.
#[must_use]
pub fn figures(plan: &Plan, findings: &Findings) -> Vec<Figure> {
    let mut shown: Vec<&Response> = Vec::new();
    for group in &findings.groups {
        if !shown.contains(&&group.response) {
            shown.push(&group.response);
        }
    }
    let mut found: Vec<Figure> = shown
        .into_iter()
        .flat_map(|response| {
            let stages = findings.standing.stages_in.iter();
            stages.filter_map(move |days| View::new(plan, findings, response, *days).figure())
        })
        .collect();
    found.sort_by_key(|figure| !figure.is_primary);
    let mut drawn = 0;
    for figure in &mut found {
        drawn += about_bytes(&figure.chart);
        figure.is_inline = drawn <= INLINE_BYTES;
    }
    found
}

/// About how many bytes a figure takes: a point some 14, anything else some 130, its words as they are.
fn about_bytes(chart: &Chart) -> usize {
    let points: usize = chart.series.iter().map(|s| s.points.len()).sum();
    let others = chart.lines.len() + chart.bars.len() * 2 + chart.labels.len() + chart.series.len();
    points * 14 + others * 130 + chart.description.len() + 500
}

impl<'f> View<'f> {
    fn new(
        plan: &'f Plan,
        findings: &'f Findings,
        response: &'f Response,
        stage_days: u32,
    ) -> Self {
        let primary = findings.primary.iter().map(|primary| &primary.family);
        let here = |f: &&Family| f.response == *response && f.stage_days == stage_days;
        let mut families: Vec<&Family> = primary.chain(&findings.secondary).filter(here).collect();
        // One reference a figure: the first asked, which is the storage control when there is one.
        let against = families.first().map(|f| f.against);
        families.retain(|f| Some(f.against) == against);
        Self {
            plan,
            findings,
            response,
            stage_days,
            families,
        }
    }

    fn is_primary(&self) -> bool {
        self.families.iter().any(|f| f.is_simultaneous)
    }

    fn groups(&self) -> Vec<&'f GroupFinding> {
        let here = |g: &&GroupFinding| {
            let at_stage = g
                .group
                .stage_days()
                .is_none_or(|days| days == self.stage_days);
            g.response == *self.response && at_stage && self.is_wanted(g)
        };
        self.findings.groups.iter().filter(here).collect()
    }

    /// Groups without a stage belong to loads only: nothing of them was read twice.
    fn is_wanted(&self, group: &GroupFinding) -> bool {
        group.group.stage_days().is_some() || self.response.needs_breaking()
    }

    fn member(&self, group: &Group) -> Option<&'f Member> {
        let mut members = self.families.iter().flat_map(|f| &f.members);
        members.find(|m| m.exposed.group == *group)
    }

    fn figure(&self) -> Option<Figure> {
        let groups = self.groups();
        if !groups.iter().any(|g| g.group.stage_days().is_some()) {
            return None;
        }
        let rows: Vec<Row> = groups.iter().map(|group| self.row(group)).collect();
        let title = format!(
            "{} after {} days",
            names::capital(&self.response.label()),
            self.stage_days
        );
        let stem = file_stem(self.response);
        let is_last = self.stage_days == self.plan.primary_stage_days;
        let stem = if is_last {
            stem
        } else {
            format!("{stem}-{}-days", self.stage_days)
        };
        let strip = Strip {
            id: format!("figure-{stem}"),
            title: title.clone(),
            description: groups
                .iter()
                .map(|g| self.describe(g))
                .collect::<Vec<_>>()
                .join(" "),
            axis: format!("{}, {}", self.response.label(), unit(self.response)),
            reference: self.reference(&groups),
            rows,
        };
        Some(Figure {
            file: format!("figure-{stem}.svg"),
            caption: self.caption(&strip),
            chart: strip.chart()?,
            title,
            is_primary: self.is_primary(),
            is_inline: false,
        })
    }

    fn reference(&self, groups: &[&GroupFinding]) -> Option<Reference> {
        let member = self.families.iter().flat_map(|f| &f.members).next()?;
        let mean = member.reference.mean?;
        let first_row = groups
            .iter()
            .position(|g| g.group == member.reference.group)?;
        let margin = self.margin();
        let half = if self.is_change() {
            margin
        } else {
            mean.abs() * margin / 100.0
        };
        let name = || {
            let of = match self.families.first().map(|f| f.against) {
                Some(Against::Baseline) => "the mean at the start",
                Some(Against::LateReference) => "the mean of the late reference",
                _ => "the mean of those kept indoors",
            };
            format!("% of {of}")
        };
        Some(Reference {
            mean,
            lower: mean - half,
            upper: mean + half,
            percent_axis: (!self.is_change()).then(name),
            first_row,
        })
    }

    fn is_change(&self) -> bool {
        !self.response.needs_breaking()
    }

    /// The margin that decides, in %; 0 where nothing is decided, so that no band invites a verdict.
    fn margin(&self) -> f64 {
        if self.is_primary() {
            self.plan.margin_percent
        } else {
            0.0
        }
    }

    fn row(&self, group: &GroupFinding) -> Row {
        let mut values: Vec<Mark> = group
            .values
            .iter()
            .map(|value| Mark {
                value: value.value,
                special: match value.kind {
                    ValueKind::LowerBound => Some(Shape::AtLeast),
                    ValueKind::Valid | ValueKind::TotalLoss => None,
                },
                is_flagged: value.is_flagged,
            })
            .collect();
        values.extend(self.invalid(&group.group));
        let interval = self.member(&group.group).and_then(|m| self.interval(m));
        Row {
            name: shortened(&group.name, group.is_storage_control),
            remark: self.remark(group),
            style: self.style(&group.group),
            values,
            mean: Some(group.mean),
            interval,
        }
    }

    /// Invalid tests that left a load: shown, not counted.
    fn invalid(&self, group: &Group) -> Vec<Mark> {
        let here = |p: &&Piece| p.group == *group && p.fate == Fate::Invalid;
        let load = |p: &Piece| match self.response {
            Response::MaxLoad => p.max_load_n,
            Response::Strength => p.max_load_n.zip(p.stress_area()).map(|(n, mm2)| n / mm2),
            Response::Read(property) => p.property(*property).map(|found| found.value),
            Response::MassChange | Response::LengthChange(_) => None,
        };
        let pieces = self.findings.specimens.iter().filter(here).filter_map(load);
        let mark = |value| Mark {
            value,
            special: Some(Shape::Cross),
            is_flagged: false,
        };
        pieces.map(mark).collect()
    }

    fn style(&self, group: &Group) -> Style {
        match group {
            Group::Baseline | Group::LateReference => marks::START,
            Group::Cell { .. } if group.is_storage_control(self.plan) => marks::STORAGE,
            Group::Cell { condition, .. } => {
                let mut exposed = self
                    .plan
                    .conditions
                    .iter()
                    .filter(|c| !c.is_storage_control);
                marks::exposed(exposed.position(|c| c.key == *condition).unwrap_or(0))
            }
        }
    }

    /// The interval in the response's unit: the ratio's limits times the mean compared with, or the
    /// difference's limits added to it.
    fn interval(&self, member: &Member) -> Option<(f64, f64, f64)> {
        let effect = member.effect?;
        let mean = member.reference.mean?;
        let place = |percent: f64| {
            if self.is_change() {
                mean + percent
            } else {
                mean * (1.0 + percent / 100.0)
            }
        };
        Some((
            place(effect.lower_percent),
            place(effect.estimate_percent),
            place(effect.upper_percent),
        ))
    }

    fn remark(&self, group: &GroupFinding) -> String {
        let special = self
            .member(&group.group)
            .map_or(Special::default(), |m| m.exposed.special);
        let here = |fate: Fate| {
            let of = |p: &&Piece| p.group == group.group && p.fate == fate;
            self.findings.specimens.iter().filter(of).count()
        };
        let mut parts = vec![format!("n = {}", group.n)];
        let counts = [
            (special.lost, "not found"),
            (here(Fate::TotalLoss), "total loss"),
            (here(Fate::Invalid), "invalid"),
        ];
        if self.response.needs_breaking() {
            let told = counts.into_iter().filter(|(n, _)| *n > 0);
            parts.extend(told.map(|(n, what)| format!("{n} {what}")));
        }
        parts.join(", ")
    }

    fn describe(&self, group: &GroupFinding) -> String {
        let digits = group_decimals(group.sd, group.mean);
        let unit = unit(self.response);
        let show = |value: f64| fixed(value, digits);
        let interval = self
            .member(&group.group)
            .and_then(|m| self.interval(m))
            .map(|i| format!("; interval {} to {} {unit}", show(i.0), show(i.2)));
        format!(
            "{}: {}, values from {} to {} {unit}, mean {} {unit}{}.",
            names::capital(&group.name),
            self.remark(group),
            show(group.min),
            show(group.max),
            show(group.mean),
            interval.unwrap_or_default(),
        )
    }

    fn caption(&self, strip: &Strip) -> String {
        let piece = &self.plan.form.piece_name;
        let mut parts = vec![format!(
            "Each mark is one {piece}. Upright stroke: mean of the group."
        )];
        let confidence = plain(self.plan.confidence_percent);
        if self.is_primary() {
            parts.push(format!(
                "Bar below the marks: the {confidence} % interval that decides, drawn from the mean of \
                 those compared with; all bars hold together."
            ));
        } else if strip.rows.iter().any(|row| row.interval.is_some()) {
            parts.push(format!(
                "Bar below the marks: {confidence} % interval against those compared with, not adjusted; \
                 it decides nothing."
            ));
        }
        let margin = plain(self.margin());
        if strip.reference.is_some() && self.margin() > 0.0 {
            parts.push(format!("Grey: within ±{margin} % of no change (dashed)."));
        } else if strip.reference.is_some() {
            parts.push("Dashed: no change.".to_owned());
        }
        let has = |shape: Shape| {
            strip
                .rows
                .iter()
                .flat_map(|row| &row.values)
                .any(|m| m.special == Some(shape))
        };
        if has(Shape::Cross) {
            parts.push("Cross: invalid test, not counted.".to_owned());
        }
        if has(Shape::AtLeast) {
            parts.push("Open arrow: carried at least this.".to_owned());
        }
        if strip
            .rows
            .iter()
            .flat_map(|row| &row.values)
            .any(|m| m.is_flagged)
        {
            parts.push("Ring: flagged by the outlier rule, counted.".to_owned());
        }
        parts.join(" ")
    }
}

/// A name that leaves room for what stands beside it.
fn shortened(name: &str, is_storage_control: bool) -> String {
    let full = if is_storage_control {
        format!("{name} (storage control)")
    } else {
        name.to_owned()
    };
    if full.chars().count() <= NAME {
        return full;
    }
    let cut: String = full.chars().take(NAME - 1).collect();
    format!("{}…", cut.trim_end())
}

/// A file name of small letters, digits and dashes.
fn file_stem(response: &Response) -> String {
    let plain = |c: char| {
        if c.is_ascii_alphanumeric() {
            c.to_ascii_lowercase()
        } else {
            '-'
        }
    };
    response.key().chars().map(plain).collect()
}
