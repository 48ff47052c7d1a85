//! What a doubter asks about the conduct: who knew what, with what it was measured, how sure one reading is,
//! which holders the pieces shared, and how often something was changed.

use crate::analysis::digits::{fixed, plain, significant};
use crate::analysis::findings::Findings;
use crate::analysis::groups::GroupFinding;
use crate::analysis::names;
use crate::report::format::{day, group_decimals, unit};
use crate::report::tables::{Table, TableRow, set_name};
use crate::study::consignment::Label;
use crate::study::plan::Plan;
use crate::study::reading::{Instrument, InstrumentCheck, Occasion};
use crate::study::record::StudyRecord;
use crate::study::units::Dimension;

/// The tables of the conduct.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConductPart {
    /// Who was blind to what.
    pub blind: Table,
    /// The instruments with their checks.
    pub instruments: Option<Table>,
    /// How sure one change is.
    pub uncertainty: Option<Table>,
    /// What cannot be said about the uncertainty.
    pub unknown: String,
}

/// What the record tells.
#[must_use]
pub fn part(record: &StudyRecord, plan: &Plan, findings: &Findings) -> ConductPart {
    let has_loads = findings.groups.iter().any(|g| g.response.needs_breaking());
    ConductPart {
        blind: blind(record, findings),
        instruments: instruments(record),
        uncertainty: uncertainty(plan, findings),
        unknown: if has_loads {
            "The uncertainty of the load readings themselves (the machine's class) is the lab's to state; what \
             is on record here is the known check load of each session. Scatter between pieces is in every \
             interval; an error common to all pieces of a session is not, but mostly cancels in a comparison \
             within one session."
                .to_owned()
        } else {
            String::new()
        },
    }
}

fn row(name: &str, cells: &[&str]) -> TableRow {
    TableRow {
        name: name.to_owned(),
        cells: cells.iter().map(|cell| (*cell).to_owned()).collect(),
    }
}

fn table(caption: &str, head: &[&str], rows: Vec<TableRow>) -> Table {
    Table {
        caption: caption.to_owned(),
        head: head.iter().map(|name| (*name).to_owned()).collect(),
        rows,
        is_numbers: false,
    }
}

fn blind(record: &StudyRecord, findings: &Findings) -> Table {
    let rows = vec![
        row("Reading before exposure", &[&before(record)]),
        row("Choosing places", &[&places(record)]),
        row(
            "Putting out, looking after, taking in",
            &["not blind: codes and places were known"],
        ),
        row(
            "Reading after exposure",
            &["not blind: the codes were in plain sight, and places can be looked up by them"],
        ),
        row("Breaking", &[&breaking(record)]),
        row("Choosing the analysis", &[&analysis(record, findings)]),
    ];
    table("Who knew what.", &["Step", "Known then"], rows)
}

fn before(record: &StudyRecord) -> String {
    let drawn = record.draws.last().filter(|draw| draw.drawn.draw > 0);
    let told = record.current_readings();
    let told: Vec<_> = told
        .filter(|r| r.reading.occasion == Occasion::Before)
        .collect();
    let Some(drawn) = drawn.filter(|_| !told.is_empty()) else {
        return "no draw on record to compare with".to_owned();
    };
    let late = told.iter().filter(|r| r.taken_at > drawn.at).count();
    match late {
        0 => "nobody's place: every reading was taken before the places were drawn".to_owned(),
        n => format!(
            "{n} of {} readings were taken after the places were drawn",
            told.len()
        ),
    }
}

fn places(record: &StudyRecord) -> String {
    match record.draws.last() {
        None => "no allocation is on record".to_owned(),
        Some(last) if last.drawn.draw == 0 => "reported, not drawn".to_owned(),
        Some(_) => match record.draws.len() {
            1 => "drawn by lot, once, from a seed on record".to_owned(),
            n => format!(
                "drawn by lot from a seed on record, {} times",
                names::count(n)
            ),
        },
    }
}

fn breaking(record: &StudyRecord) -> String {
    let open = record.consignments.iter().filter(|c| !c.is_blind());
    let labels: Vec<Label> = open
        .flat_map(|c| &c.pieces)
        .map(|piece| piece.label)
        .collect();
    if labels.is_empty() {
        return "nothing was broken yet".to_owned();
    }
    let of = |label: Label| labels.iter().filter(|own| **own == label).count();
    let counts = [
        (of(Label::Removed), "with its label removed"),
        (of(Label::Covered), "with its label covered"),
        (of(Label::Visible), "with its label visible"),
    ];
    let counts: Vec<String> = counts
        .into_iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, how)| format!("{n} {how}"))
        .collect();
    format!(
        "blind codes in random order; condition and stage unknown; {}",
        names::listed(&counts)
    )
}

fn analysis(record: &StudyRecord, findings: &Findings) -> String {
    let first = findings
        .sessions
        .iter()
        .filter_map(|s| s.unblinded_at)
        .min();
    let knowing = record.amendments().filter(|v| v.is_knowing_results).count();
    let sealed = record.seal.as_ref().map(|seal| seal.at);
    let when = match (sealed, first) {
        (None, _) => "the plan is not sealed".to_owned(),
        (Some(seal), Some(first)) if seal < first => format!(
            "sealed on {}, before any result was unblinded ({})",
            day(seal, &record.time_zone),
            day(first, &record.time_zone)
        ),
        (Some(seal), _) => format!("sealed on {}", day(seal, &record.time_zone)),
    };
    match knowing {
        0 => when,
        n => format!(
            "{when}; {} made knowing results",
            names::counted(n, "amendment")
        ),
    }
}

/// The unit in which an instrument's figures are kept.
fn si(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::Mass => "g",
        Dimension::Length => "mm",
        Dimension::Force => "N",
    }
}

fn instruments(record: &StudyRecord) -> Option<Table> {
    let line = |it: &Instrument| {
        let unit = si(it.dimension);
        let own: Vec<&InstrumentCheck> = record
            .checks
            .iter()
            .map(|check| &check.check)
            .filter(|check| check.instrument == it.id)
            .collect();
        let worst = own
            .iter()
            .map(|c| c.off())
            .max_by(|a, b| a.abs().total_cmp(&b.abs()));
        let beyond = own.iter().filter(|c| c.is_beyond(it.readability)).count();
        let checks = match (own.len(), worst) {
            (n, Some(worst)) => format!(
                "{}, at most {} {unit} off{}",
                names::counted(n, "check"),
                significant(worst, 2),
                if beyond > 0 {
                    format!("; {beyond} beyond three steps")
                } else {
                    String::new()
                }
            ),
            _ => "none on record".to_owned(),
        };
        let certificate = it.uncertainty.map_or_else(
            || "not on record".to_owned(),
            |u| format!("±{} {unit}", plain(u)),
        );
        let step = format!("{} {unit}", plain(it.readability));
        row(&it.name, &[&step, &certificate, &checks])
    };
    let rows: Vec<TableRow> = record.instruments.iter().map(line).collect();
    (!rows.is_empty()).then(|| {
        table(
            "What was measured with. Certificate: expanded uncertainty of one reading (k = 2). Checks: a \
             known weight or gauge, read before or after a round.",
            &["Instrument", "Step", "Certificate", "Checks"],
            rows,
        )
    })
}

/// For changes: what the instruments alone leave open.
fn uncertainty(plan: &Plan, findings: &Findings) -> Option<Table> {
    let mut rows: Vec<TableRow> = Vec::new();
    for group in &findings.groups {
        let name = names::capital(&group.response.label());
        let Some(own) = group.resolution_percent else {
            continue;
        };
        if rows.iter().any(|row| row.name == name) {
            continue;
        }
        let here = findings
            .groups
            .iter()
            .filter(|g| g.response == group.response);
        let most = here
            .filter_map(|g| g.resolution_percent)
            .fold(own, f64::max);
        let spread = spread(findings, group);
        rows.push(row(
            &name,
            &[&format!("±{} %", significant(most, 2)), &spread],
        ));
    }
    let margin = plain(plan.mass.margin_percent);
    (!rows.is_empty()).then(|| {
        table(
            &format!(
                "How sure the change of one piece is, from the instruments alone (k = 2), beside the scatter \
                 between pieces. No interval is narrower than the first. The plan asks to see a change of mass \
                 of {margin} %."
            ),
            &["Change", "Instruments, one piece", "Standard deviations of the sets"],
            rows,
        )
    })
}

fn spread(findings: &Findings, group: &GroupFinding) -> String {
    let here = findings
        .groups
        .iter()
        .filter(|g| g.response == group.response);
    let sds: Vec<f64> = here.filter_map(|g| g.sd).collect();
    let least = sds.iter().copied().reduce(f64::min);
    let most = sds.iter().copied().reduce(f64::max);
    match least.zip(most) {
        Some((least, most)) => format!("{} to {} %", significant(least, 2), significant(most, 2)),
        None => "–".to_owned(),
    }
}

/// The holders of the sets that decide (or of the last stage that is in), each with its own mean.
#[must_use]
pub fn holders(findings: &Findings) -> Option<Table> {
    let standing = &findings.standing;
    let response = &standing.primary;
    let days = match standing.is_final {
        true => Some(standing.primary_stage_days),
        false => standing.stages_in.last().copied(),
    };
    let here = findings.groups.iter();
    let here = here.filter(|g| g.response == *response && g.group.stage_days() == days);
    let mut rows = Vec::new();
    for group in here {
        let digits = group_decimals(group.sd, group.mean);
        for holder in &group.holders {
            rows.push(row(
                &set_name(&group.group, &group.name, group.is_storage_control),
                &[
                    &holder.name,
                    &holder.n.to_string(),
                    &fixed(holder.mean, digits),
                ],
            ));
        }
    }
    let mean = format!("Mean, {}", unit(response));
    (!rows.is_empty()).then(|| {
        table(
            &format!(
                "{}, holder by holder: pieces of one holder shared whatever happened to it.",
                names::capital(&response.label())
            ),
            &["Set", "Holder", "n", &mean],
            rows,
        )
    })
}
