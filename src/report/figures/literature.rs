//! What others published, drawn beside the study's own on one scale: what was left, in % of the start.

use crate::analysis::comparison::Member;
use crate::analysis::digits::{fixed, plain};
use crate::analysis::family::{Against, Family};
use crate::analysis::findings::Findings;
use crate::analysis::groups::GroupFinding;
use crate::report::chart::marks::{self, Shape};
use crate::report::chart::scatter::{Scatter, Set, Spot};
use crate::report::figures::{Figure, strips};
use crate::report::tables::{Table, TableRow};
use crate::study::literature::{CitedFigure, Property};
use crate::study::plan::{Plan, Response};
use crate::study::record::StudyRecord;

/// What others published.
#[derive(Debug, Clone, PartialEq)]
pub struct LiteraturePart {
    /// Every published figure.
    pub table: Table,
    /// The citations, numbered as in the figures.
    pub sources: Vec<CitedSource>,
}

/// A citation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CitedSource {
    /// In words.
    pub citation: String,
    /// Where to read it.
    pub address: Option<String>,
}

/// The section; `None` when no published figure is on record.
#[must_use]
pub fn part(record: &StudyRecord) -> Option<LiteraturePart> {
    let cited = cited(record);
    if cited.is_empty() {
        return None;
    }
    let sources = cited.iter().map(|figure| CitedSource {
        citation: figure.citation.clone(),
        address: figure.address(),
    });
    Some(LiteraturePart {
        table: table(&cited),
        sources: sources.collect(),
    })
}

/// One figure for each property that the study has as well.
#[must_use]
pub fn figures(record: &StudyRecord, plan: &Plan, findings: &Findings) -> Vec<Figure> {
    let cited = cited(record);
    let properties = [Property::Strength, Property::Mass];
    let drawn = properties.into_iter().filter_map(|property| {
        let own = own(plan, findings, property);
        figure(property, &cited, own)
    });
    drawn.collect()
}

fn cited(record: &StudyRecord) -> Vec<&CitedFigure> {
    record.current_cited().map(|cited| &cited.figure).collect()
}

/// The study's own values of a property, set by set; `reference` says of what they are a share.
struct Own {
    sets: Vec<Set>,
    reference: &'static str,
}

fn own(plan: &Plan, findings: &Findings, property: Property) -> Own {
    match property {
        Property::Mass => masses(plan, findings),
        _ => loads(plan, findings),
    }
}

/// Shares of the baseline set where there is one, else of those compared with at the same stage.
fn loads(plan: &Plan, findings: &Findings) -> Own {
    let response = if findings.standing.primary.needs_breaking() {
        findings.standing.primary.clone()
    } else {
        Response::MaxLoad
    };
    let primary = findings.primary.iter().map(|primary| &primary.family);
    let families = findings.secondary.iter().chain(primary);
    let families: Vec<&Family> = families.filter(|f| f.response == response).collect();
    let has_start = families.iter().any(|f| f.against == Against::Baseline);
    let (against, reference) = if has_start {
        (Against::Baseline, "own values: of the baseline set")
    } else {
        (
            Against::StorageControl,
            "own values: of the storage control at the same stage",
        )
    };
    let mut sets: Vec<Set> = Vec::new();
    for family in families.into_iter().filter(|f| f.against == against) {
        for member in &family.members {
            put(plan, &mut sets, member, family.stage_days);
        }
    }
    Own { sets, reference }
}

fn put(plan: &Plan, sets: &mut Vec<Set>, member: &Member, days: u32) {
    let Some(effect) = member.effect else {
        return;
    };
    let percent = |change: f64| 100.0 + change;
    let spot = own_spot(
        &member.name,
        f64::from(days),
        percent(effect.estimate_percent),
        Some((percent(effect.lower_percent), percent(effect.upper_percent))),
    );
    add(
        sets,
        &member.name,
        strips::style(plan, &member.exposed.group),
        spot,
    );
}

fn own_spot(name: &str, days: f64, y: f64, ends: Option<(f64, f64)>) -> Spot {
    let interval = ends.map(|(a, b)| format!(" ({} to {} %)", fixed(a, 1), fixed(b, 1)));
    let interval = interval.unwrap_or_default();
    Spot {
        x: days,
        y,
        ends,
        name: format!("{name}, {} days: {} %{interval}", plain(days), fixed(y, 1)),
        tag: String::new(),
    }
}

fn add(sets: &mut Vec<Set>, name: &str, style: marks::Style, spot: Spot) {
    match sets.iter_mut().find(|set| set.name == name) {
        Some(known) => known.spots.push(spot),
        None => sets.push(Set {
            name: name.to_owned(),
            style,
            spots: vec![spot],
            line: Vec::new(),
            is_joined: false,
        }),
    }
}

/// Mass of the pieces in % of their own mass before.
fn masses(plan: &Plan, findings: &Findings) -> Own {
    let here = |g: &&GroupFinding| g.response == Response::MassChange;
    let mut sets = Vec::new();
    for group in findings.groups.iter().filter(here) {
        let Some(days) = group.group.stage_days() else {
            continue;
        };
        let ends = group
            .interval
            .map(|(lower, upper)| (100.0 + lower, 100.0 + upper));
        let spot = own_spot(&group.name, f64::from(days), 100.0 + group.mean, ends);
        add(
            &mut sets,
            &group.name,
            strips::style(plan, &group.group),
            spot,
        );
    }
    Own {
        sets,
        reference: "own values: of each piece’s own mass before",
    }
}

fn figure(property: Property, cited: &[&CitedFigure], own: Own) -> Option<Figure> {
    let numbered = cited.iter().zip(1..);
    let spots: Vec<Spot> = numbered
        .filter(|(figure, _)| figure.property == property)
        .map(|(figure, number)| published(figure, number))
        .collect();
    if spots.is_empty() || own.sets.is_empty() {
        return None;
    }
    let mut sets = own.sets;
    sets.push(Set {
        name: "published by others, numbers as in the list".to_owned(),
        style: marks::STORAGE.shaped(Shape::Open),
        spots,
        line: Vec::new(),
        is_joined: false,
    });
    let all = || sets.iter().flat_map(|set| &set.spots);
    let last = all().map(|spot| spot.x).fold(1.0, f64::max);
    let told: Vec<&str> = all().map(|spot| spot.name.as_str()).collect();
    let title = format!("What was left of {}, here and elsewhere", property.label());
    let scatter = Scatter {
        id: format!("figure-literature-{}", property.key()),
        title: title.clone(),
        description: told.join("; "),
        across: "days".to_owned(),
        upwards: "left, in % of the start".to_owned(),
        x_ends: (0.0, last * 1.05),
        level: Some(100.0),
        sets: sets.clone(),
        ..Scatter::default()
    };
    Some(Figure {
        file: format!("figure-literature-{}.svg", property.key()),
        caption: format!(
            "Filled: this study, with its intervals ({}). Open: published elsewhere, other materials, shapes \
             and methods; they decide nothing here. Dashed: nothing lost.",
            own.reference
        ),
        chart: scatter.chart()?,
        title,
        is_primary: false,
        is_inline: true,
        table: None,
        behind: "#cited".to_owned(),
    })
}

fn published(figure: &CitedFigure, number: usize) -> Spot {
    Spot {
        x: figure.days,
        y: figure.retention_percent,
        ends: figure.lower_percent.zip(figure.upper_percent),
        name: format!(
            "[{number}] {}, {}, {} days: {} %",
            figure.material,
            figure.environment.label(),
            plain(figure.days),
            plain(figure.retention_percent)
        ),
        tag: number.to_string(),
    }
}

fn table(cited: &[&CitedFigure]) -> Table {
    let row = |(figure, number): (&&CitedFigure, usize)| {
        let ends = figure.lower_percent.zip(figure.upper_percent);
        let ends = ends.map(|(a, b)| format!(" ({} to {})", plain(a), plain(b)));
        TableRow {
            name: number.to_string(),
            cells: vec![
                figure.material.clone(),
                figure.environment.label().to_owned(),
                figure.property.label().to_owned(),
                plain(figure.days),
                format!(
                    "{}{}",
                    plain(figure.retention_percent),
                    ends.unwrap_or_default()
                ),
            ],
        }
    };
    Table {
        caption: "Entered by the steward with their citation; not checked by this program."
            .to_owned(),
        head: ["No.", "Material", "Place", "Property", "Days", "Left, %"]
            .map(str::to_owned)
            .to_vec(),
        rows: cited.iter().zip(1..).map(row).collect(),
        is_numbers: false,
    }
}
