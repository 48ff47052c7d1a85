//! Each piece from before to after: one figure for mass and one for each dimension.

use crate::analysis::digits::{fixed, significant};
use crate::analysis::findings::Findings;
use crate::analysis::groups::GroupFinding;
use crate::analysis::names;
use crate::analysis::piece::{Pair, Piece, PieceName};
use crate::report::chart::pairs::{Pairs, Panel};
use crate::report::figures::{Figure, file_stem, responses, strips};
use crate::report::tables::set_name;
use crate::study::plan::{Plan, Response};
use crate::study::reading::Quantity;

/// Most pieces that a figure draws; more are in the files only.
const MOST: usize = 80;

/// One figure for each quantity that was read before and after.
pub(super) fn figures(plan: &Plan, findings: &Findings) -> Vec<Figure> {
    let changes = responses(findings).into_iter();
    let changes = changes.filter_map(|response| Some((response, quantity(response)?)));
    changes
        .filter_map(|(response, quantity)| figure(plan, findings, response, &quantity))
        .collect()
}

fn quantity(response: &Response) -> Option<Quantity> {
    match response {
        Response::MassChange => Some(Quantity::Mass),
        Response::LengthChange(name) => Some(Quantity::Length(name.clone())),
        _ => None,
    }
}

fn figure(
    plan: &Plan,
    findings: &Findings,
    response: &Response,
    quantity: &Quantity,
) -> Option<Figure> {
    let groups = findings.groups.iter();
    let groups = groups.filter(|g| g.response == *response && g.group.stage_days().is_some());
    let groups: Vec<&GroupFinding> = groups.collect();
    let told: usize = groups.iter().map(|g| g.values.len()).sum();
    if told > MOST {
        return None;
    }
    let (title, stem) = (title(quantity), file_stem(response));
    let panels: Vec<Panel> = groups
        .iter()
        .map(|group| panel(plan, findings, group, quantity))
        .collect();
    let pairs = Pairs {
        id: format!("figure-lines-{stem}"),
        title: title.clone(),
        description: groups
            .iter()
            .map(|g| told_of(g))
            .collect::<Vec<_>>()
            .join(" "),
        axis: "change in % of the value before".to_owned(),
        panels,
    };
    let piece = &plan.form.piece_name;
    Some(Figure {
        file: format!("figure-lines-{stem}.svg"),
        caption: format!(
            "Each line is one {piece}, from its own value before (dashed: no change) to after; stroke at the \
             right: mean of the set."
        ),
        chart: pairs.chart()?,
        title,
        is_primary: false,
        is_inline: true,
        table: None,
        behind: "#every-piece".to_owned(),
    })
}

fn title(quantity: &Quantity) -> String {
    format!("{} from before to after", names::capital(quantity.label()))
}

fn pieces<'f>(
    findings: &'f Findings,
    group: &'f GroupFinding,
    quantity: &'f Quantity,
) -> impl Iterator<Item = (&'f Piece, &'f Pair, f64)> {
    let of = |specimen: &PieceName| {
        findings
            .specimens
            .iter()
            .find(|piece| piece.code == *specimen)
    };
    let values = group.values.iter();
    values.filter_map(move |value| {
        let piece = of(&value.specimen)?;
        Some((piece, piece.pair(quantity)?, value.value))
    })
}

fn panel(plan: &Plan, findings: &Findings, group: &GroupFinding, quantity: &Quantity) -> Panel {
    let line = |(piece, pair, change): (&Piece, &Pair, f64)| {
        let [before, after] = both(pair, quantity);
        let unit = quantity.si_unit().symbol();
        let change = (change, fixed(change, 2));
        let name = format!("{}: {before} → {after} {unit}, {} %", piece.code, change.1);
        (change.0, name)
    };
    let days = group.group.stage_days().unwrap_or_default();
    Panel {
        name: group.name.clone(),
        under: names::counted(usize::try_from(days).unwrap_or_default(), "day"),
        style: strips::style(plan, &group.group),
        lines: pieces(findings, group, quantity).map(line).collect(),
        mean: Some(group.mean),
    }
}

/// Before and after as they are read, in g or mm.
fn both(pair: &Pair, quantity: &Quantity) -> [String; 2] {
    let digits = if *quantity == Quantity::Mass { 5 } else { 4 };
    [&pair.before, &pair.after].map(|read| {
        let mean = read.as_ref().map(|read| significant(read.mean, digits));
        mean.unwrap_or_else(|| "–".to_owned())
    })
}

fn told_of(group: &GroupFinding) -> String {
    format!(
        "{}: {} from {} to {} %, mean {} %.",
        names::capital(&set_name(
            &group.group,
            &group.name,
            group.is_storage_control
        )),
        names::counted(group.n, "piece"),
        fixed(group.min, 2),
        fixed(group.max, 2),
        fixed(group.mean, 2),
    )
}
