//! The figure of every specimen for one response at one stage: which rows, which marks, which words.

use crate::analysis::arm::Special;
use crate::analysis::comparison::Member;
use crate::analysis::digits::{fixed, plain, significant};
use crate::analysis::family::{Against, Family};
use crate::analysis::findings::Findings;
use crate::analysis::groups::{GroupFinding, ValueFinding};
use crate::analysis::names;
use crate::analysis::piece::{Fate, Group, Piece, ValueKind};
use crate::report::chart::marks::{self, Shape, Style};
use crate::report::chart::strip::{Apart, Mark, Reference, Row, Strip};
use crate::report::chart::{self};
use crate::report::figures::{Figure, file_stem};
use crate::report::format::{group_decimals, unit};
use crate::study::plan::{Plan, Response};

/// Longest name of a row, in characters; a longer one would run into what stands at its right.
const NAME: usize = 34;

/// One response at one stage, with everything needed to draw it.
pub(super) struct View<'f> {
    plan: &'f Plan,
    findings: &'f Findings,
    response: &'f Response,
    stage_days: u32,
    families: Vec<&'f Family>,
}

impl<'f> View<'f> {
    pub(super) fn new(
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

    pub(super) fn figure(&self) -> Option<Figure> {
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
            is_inline: true,
            table: None,
            behind: format!("#sets-{}", file_stem(self.response)),
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
                name: self.mark_name(value),
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
            name: row_name(&group.name, group.is_storage_control),
            remark: self.remark(group),
            style: self.style(&group.group),
            values,
            apart: self.apart(&group.group),
            mean: Some(group.mean),
            interval,
        }
    }

    /// `KT-0419: 411 N`, with what the value says.
    fn mark_name(&self, value: &ValueFinding) -> String {
        let said = match value.kind {
            ValueKind::Valid => "",
            ValueKind::LowerBound => " or more",
            ValueKind::TotalLoss => ", total loss",
        };
        let flagged = if value.is_flagged { ", flagged" } else { "" };
        format!(
            "{}: {} {}{said}{flagged}",
            value.specimen,
            self.shown(value.value),
            unit(self.response)
        )
    }

    fn shown(&self, value: f64) -> String {
        significant(value, if self.response.needs_breaking() { 4 } else { 3 })
    }

    /// The load of a test that does not count.
    fn load(&self, piece: &Piece) -> Option<f64> {
        match self.response {
            Response::MaxLoad => piece.max_load_n,
            Response::Strength => {
                let both = piece.max_load_n.zip(piece.stress_area());
                both.map(|(n, mm2)| n / mm2)
            }
            Response::Read(property) => piece.property(*property).map(|found| found.value),
            Response::MassChange | Response::LengthChange(_) => None,
        }
    }

    fn pieces(&self, group: &Group) -> impl Iterator<Item = &'f Piece> {
        let all = self.findings.specimens.iter();
        all.filter(move |piece| piece.group == *group)
    }

    /// Invalid tests that left a load: shown, not counted.
    fn invalid(&self, group: &Group) -> Vec<Mark> {
        let mark = |piece: &Piece| {
            let value = self.load(piece).filter(|_| piece.fate == Fate::Invalid)?;
            let unit = unit(self.response);
            Some(Mark {
                name: format!("{}: {} {unit}, invalid test", piece.code, self.shown(value)),
                value,
                special: Some(Shape::Cross),
                is_flagged: false,
            })
        };
        self.pieces(group).filter_map(mark).collect()
    }

    /// Pieces without a value of this response, and what came of them.
    fn apart(&self, group: &Group) -> Vec<Apart> {
        let is_breaking = self.response.needs_breaking();
        let one = |piece: &Piece| {
            let is_drawn = piece.fate == Fate::Invalid && self.load(piece).is_some();
            if is_drawn || piece.value(self.response).is_some() {
                return None;
            }
            let shape = match piece.fate {
                Fate::Invalid if is_breaking => Shape::Cross,
                _ => Shape::Open,
            };
            let is_gone = matches!(piece.fate, Fate::Lost | Fate::Destroyed);
            let why = if is_breaking || is_gone {
                piece.fate.label()
            } else {
                "no change known"
            };
            let name = format!("{}: {why}", piece.code);
            Some(Apart { name, shape })
        };
        self.pieces(group).filter_map(one).collect()
    }

    fn style(&self, group: &Group) -> Style {
        style(self.plan, group)
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
        if strip.rows.iter().any(|row| !row.apart.is_empty()) {
            parts.push("At the left, apart: pieces without a value.".to_owned());
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
fn row_name(name: &str, is_storage_control: bool) -> String {
    let full = if is_storage_control {
        format!("{name} (storage control)")
    } else {
        name.to_owned()
    };
    chart::shortened(&full, NAME)
}

/// Colour and shape of a group, the same in every figure.
pub(super) fn style(plan: &Plan, group: &Group) -> Style {
    match group {
        Group::Baseline | Group::LateReference => marks::START,
        Group::Cell { .. } if group.is_storage_control(plan) => marks::STORAGE,
        Group::Cell { condition, .. } => {
            let mut exposed = plan.conditions.iter().filter(|c| !c.is_storage_control);
            marks::exposed(exposed.position(|c| c.key == *condition).unwrap_or(0))
        }
    }
}
