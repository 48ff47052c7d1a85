//! The plan that the rows of a file show, where no whole plan comes with it.

use std::collections::{BTreeMap, BTreeSet};

use crate::study::plan::form::default_margin;
use crate::study::plan::{
    Condition, Covariate, DimensionPlan, EndOfTest, Environment, Holder, MassPlan, Material,
    OutlierRule, Plan, Response, Shape, SpecimenForm, Spreads, Stage,
};
use crate::study::reading::{MoistureState, Occasion, Quantity};
use crate::tidy::cell::quoted;
use crate::tidy::header::Columns;
use crate::tidy::problem::Problems;
use crate::tidy::row::{Role, Row};
use crate::tidy::wishes::Wishes;

/// Whether the piece belongs to a condition at a stage.
#[must_use]
pub fn has_stage(row: &Row) -> bool {
    !matches!(row.role, Some(Role::Baseline | Role::LateReference))
}

/// The plan that the rows show.
pub(super) fn shown(
    rows: &[Row],
    columns: &Columns,
    wishes: &Wishes,
    problems: &mut Problems,
) -> Option<Plan> {
    let stages = stages(rows, problems);
    let last = stages.last().map(|stage| stage.days);
    let baseline = rows
        .iter()
        .filter(|row| row.role == Some(Role::Baseline))
        .count();
    let quantities = columns.quantities();
    let named = |of: fn(&Row) -> &String| -> Vec<String> {
        let names = rows.iter().map(of).filter(|name| !name.is_empty());
        let names: BTreeSet<&String> = names.collect();
        names.into_iter().cloned().collect()
    };
    Some(Plan {
        lots: named(|row| &row.lot),
        builds: named(|row| &row.build),
        mass: MassPlan {
            readings: u8::from(quantities.contains(&Quantity::Mass)),
            nominal_g: None,
            readability_g: wishes.balance_readability_g,
            margin_percent: default_margin(&Response::MassChange),
        },
        dimensions: quantities.into_iter().filter_map(dimension).collect(),
        conditions: conditions(rows, &stages, wishes, problems),
        stages,
        baseline: u32::try_from(baseline).unwrap_or(u32::MAX),
        reference_state: usual_state(rows),
        primary_stage_days: last.unwrap_or_default(),
        compares_storage_with_baseline: baseline > 0,
        compares_exposed_with_baseline: baseline > 0,
        ..usual(first_response(columns, problems)?)
    })
}

fn stages(rows: &[Row], problems: &mut Problems) -> Vec<Stage> {
    let days: BTreeSet<u32> = rows.iter().filter_map(|row| row.stage_days).collect();
    if days.is_empty() && rows.iter().any(has_stage) {
        problems.file(
            "No piece has a stage; expected a column stage_days with the planned days, or the option \
             --stage-days.",
        );
    }
    let stage = |days| Stage {
        days,
        window_days: 0,
    };
    days.into_iter().map(stage).collect()
}

fn dimension(quantity: Quantity) -> Option<DimensionPlan> {
    match quantity {
        Quantity::Length(name) => Some(DimensionPlan {
            name,
            places: 1,
            nominal_mm: None,
        }),
        Quantity::Mass => None,
    }
}

/// What holds when neither rows nor wishes say otherwise.
fn usual(primary: Response) -> Plan {
    Plan {
        question: String::new(),
        material: Material {
            name: String::new(),
            maker: String::new(),
            colour: String::new(),
            density_g_cm3: None,
        },
        lots: Vec::new(),
        builds: Vec::new(),
        form: form(),
        mass: MassPlan {
            readings: 0,
            nominal_g: None,
            readability_g: None,
            margin_percent: default_margin(&Response::MassChange),
        },
        dimensions: Vec::new(),
        conditions: Vec::new(),
        stages: Vec::new(),
        baseline: 0,
        spares: 0,
        reference_state: MoistureState::Conditioned,
        state_protocol: String::new(),
        drying: None,
        margin_percent: default_margin(&primary),
        primary,
        primary_stage_days: 0,
        compares_storage_with_baseline: false,
        compares_exposed_with_baseline: false,
        margin_reason: String::new(),
        confidence_percent: 95.0,
        spreads: Spreads::Separate,
        outlier_rule: OutlierRule::None,
        covariate: Covariate::None,
        asks_weibull: false,
        retests: None,
        retention_percent: None,
        expected_cv_percent: 5.0,
        few_holders_reason: String::new(),
        exceptions_rule: String::new(),
    }
}

fn form() -> SpecimenForm {
    SpecimenForm {
        shape: Shape::LoadOnly,
        piece_name: "piece".to_owned(),
        end_of_test: EndOfTest::Break,
        end_figure: None,
        loading_direction: String::new(),
        fixture: String::new(),
        method: None,
    }
}

/// The response that decides when nobody says which: the load, the mass, the first dimension.
fn first_response(columns: &Columns, problems: &mut Problems) -> Option<Response> {
    if columns.has_load() {
        return Some(Response::MaxLoad);
    }
    let both =
        |q: &Quantity| columns.reads(q, Occasion::Before) && columns.reads(q, Occasion::After);
    let found = columns.quantities().into_iter().find(both);
    if found.is_none() {
        problems.file(
            "There is nothing to compare; expected a column such as max_load_n, or a reading before and \
             after such as mass_before_g and mass_after_g.",
        );
    }
    found.map(|quantity| match quantity {
        Quantity::Mass => Response::MassChange,
        Quantity::Length(name) => Response::LengthChange(name),
    })
}

/// The state that most readings after exposure have; of equals the first in the order of forms.
fn usual_state(rows: &[Row]) -> MoistureState {
    let mut counts: BTreeMap<MoistureState, usize> = BTreeMap::new();
    let states = rows.iter().flat_map(|row| &row.states);
    for (_, state) in states.filter(|((_, occasion), _)| *occasion == Occasion::After) {
        *counts.entry(*state).or_default() += 1;
    }
    let most = counts.values().max().copied();
    let usual = counts.iter().find(|(_, n)| Some(**n) == most);
    usual.map_or(MoistureState::Conditioned, |(state, _)| *state)
}

fn conditions(
    rows: &[Row],
    stages: &[Stage],
    wishes: &Wishes,
    problems: &mut Problems,
) -> Vec<Condition> {
    let mut by_name: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in rows.iter().filter(|row| has_stage(row)) {
        if let Some(name) = row.condition.as_deref() {
            by_name.entry(name).or_default().push(row);
        }
    }
    let control = control(&by_name, wishes, problems);
    let mut names: Vec<&str> = by_name.keys().copied().collect();
    let listed = wishes.conditions.as_deref().unwrap_or_default();
    let listed_at = |name: &str| listed.iter().position(|l| l == name).unwrap_or(usize::MAX);
    names.sort_by_key(|name| (listed_at(name), Some(*name) != control, *name));
    for (key, name) in listed.iter().map(|name| ("conditions", name)).chain(
        wishes
            .environments
            .keys()
            .map(|name| ("environments", name)),
    ) {
        if !by_name.contains_key(name.as_str()) {
            problems.plan(key, format!("The file has no condition {}.", quoted(name)));
        }
    }
    let numbered = names.into_iter().zip(1..);
    numbered
        .map(|(name, number)| {
            let is_control = Some(name) == control;
            let here = by_name.get(name).map_or(&[][..], Vec::as_slice);
            let kind = if is_control {
                Environment::Indoor
            } else {
                Environment::Other
            };
            Condition {
                key: format!("c{number}"),
                name: name.to_owned(),
                environment: wishes.environments.get(name).copied().unwrap_or(kind),
                is_storage_control: is_control,
                place: String::new(),
                renew_days: None,
                holders: holders(number, here),
                replicates: stages.iter().map(|stage| at(here, stage)).collect(),
            }
        })
        .collect()
}

fn at(rows: &[&Row], stage: &Stage) -> u32 {
    let here = |row: &&&Row| row.stage_days == Some(stage.days) && !row.more.is_nameless;
    u32::try_from(rows.iter().filter(here).count()).unwrap_or(u32::MAX)
}

fn holders(condition: usize, rows: &[&Row]) -> Vec<Holder> {
    let names = rows.iter().filter_map(|row| row.holder.as_ref());
    // By length first, so that jar 2 stands before jar 10.
    let names: BTreeSet<(usize, &String)> = names.map(|name| (name.len(), name)).collect();
    let numbered = names.into_iter().zip(1..);
    numbered
        .map(|((_, name), number)| Holder {
            key: format!("c{condition}h{number}"),
            name: name.clone(),
        })
        .collect()
}

/// The name of the storage control: as wished, or as the roles say.
fn control<'r>(
    by_name: &BTreeMap<&'r str, Vec<&Row>>,
    wishes: &Wishes,
    problems: &mut Problems,
) -> Option<&'r str> {
    if let Some(wished) = &wishes.storage_control {
        let found = by_name.keys().find(|name| *name == wished).copied();
        if found.is_none() {
            let names: Vec<String> = by_name.keys().map(|name| quoted(name)).collect();
            let told = format!(
                "The file has no condition {}; expected one of {}.",
                quoted(wished),
                names.join(", ")
            );
            problems.plan("storage_control", told);
        }
        return found;
    }
    let mut controls = Vec::new();
    for (name, rows) in by_name {
        let is_control = |row: &&&Row| row.role == Some(Role::StorageControl);
        let first = rows.iter().find_map(|row| row.role);
        let odd = rows
            .iter()
            .find(|row| row.role.is_some() && row.role != first);
        if let Some(odd) = odd {
            let told = format!(
                "The condition {} has two roles; expected the same on each of its lines.",
                quoted(name)
            );
            problems.line(odd.line, told);
        }
        if rows.iter().any(|row| is_control(&row)) {
            controls.push(*name);
        }
    }
    if controls.len() > 1 {
        let names: Vec<String> = controls.iter().map(|name| quoted(name)).collect();
        problems.file(format!(
            "Several conditions have the role storage_control ({}); expected one.",
            names.join(", ")
        ));
    }
    controls.first().copied()
}
