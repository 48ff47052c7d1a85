//! Rows and wishes → the plan by which they are analysed. With an edition's whole plan that one holds,
//! and the rows must fit it; otherwise the plan is what the rows show.

use std::collections::{BTreeMap, BTreeSet};

use crate::study::plan::form::default_margin;
use crate::study::plan::{
    Condition, Covariate, DimensionPlan, EndOfTest, Environment, Holder, MassPlan, Material,
    OutlierRule, Plan, Response, Shape, SpecimenForm, Spreads, Stage,
};
use crate::study::reading::{MoistureState, Occasion, Quantity};
use crate::tidy::cell::quoted;
use crate::tidy::columns::Columns;
use crate::tidy::problem::Problems;
use crate::tidy::row::{Role, Row};
use crate::tidy::wishes::{self, Request, Wishes};

/// The plan, as far as one can be made; what is wrong is told.
pub fn plan(
    rows: &[Row],
    columns: &Columns,
    request: &Request,
    problems: &mut Problems,
) -> Option<Plan> {
    let mut plan = match &request.plan {
        Some(whole) => {
            fits(rows, whole, problems);
            whole.clone()
        }
        None => shown(rows, columns, &request.wishes, problems)?,
    };
    decide(
        &mut plan,
        columns,
        &request.wishes,
        request.plan.is_some(),
        problems,
    );
    can_be_asked(&plan, columns, problems);
    Some(plan)
}

/// Rows that a whole plan does not know.
fn fits(rows: &[Row], plan: &Plan, problems: &mut Problems) {
    let names: Vec<String> = plan.conditions.iter().map(|c| quoted(&c.name)).collect();
    let stages: Vec<String> = plan.stages.iter().map(|s| s.days.to_string()).collect();
    for row in rows.iter().filter(|row| has_stage(row)) {
        let name = row.condition.as_deref().unwrap_or_default();
        let Some(condition) = plan.conditions.iter().find(|c| c.name == name) else {
            let told = format!(
                "The plan has no condition {}; expected one of {}.",
                quoted(name),
                names.join(", ")
            );
            problems.line(row.line, told);
            continue;
        };
        if row
            .stage_days
            .is_some_and(|days| plan.stage(days).is_none())
        {
            let told = format!(
                "The plan has no stage of these days; expected one of {}.",
                stages.join(", ")
            );
            problems.line(row.line, told);
        }
        let is_known = |name: &String| condition.holders.iter().any(|h| h.name == *name);
        if let Some(name) = row.holder.as_ref().filter(|name| !is_known(name)) {
            let holders: Vec<String> = condition.holders.iter().map(|h| quoted(&h.name)).collect();
            let told = format!(
                "The plan has no holder {} in {}; expected one of {}.",
                quoted(name),
                quoted(&condition.name),
                holders.join(", ")
            );
            problems.line(row.line, told);
        }
    }
}

/// Whether the piece belongs to a condition at a stage.
#[must_use]
pub fn has_stage(row: &Row) -> bool {
    !matches!(row.role, Some(Role::Baseline | Role::LateReference))
}

/// The plan that the rows show.
fn shown(
    rows: &[Row],
    columns: &Columns,
    wishes: &Wishes,
    problems: &mut Problems,
) -> Option<Plan> {
    let stages: BTreeSet<u32> = rows.iter().filter_map(|row| row.stage_days).collect();
    let last = stages.last().copied();
    if last.is_none() && rows.iter().any(has_stage) {
        problems.file(
            "No piece has a stage; expected a column stage_days with the planned days, or the option \
             --stage-days.",
        );
    }
    let stages: Vec<Stage> = stages
        .into_iter()
        .map(|days| Stage {
            days,
            window_days: 0,
        })
        .collect();
    let conditions = conditions(rows, &stages, wishes, problems);
    let count = |role: Role| rows.iter().filter(|row| row.role == Some(role)).count();
    let dimension = |quantity: Quantity| match quantity {
        Quantity::Length(name) => Some(DimensionPlan {
            name,
            places: 1,
            nominal_mm: None,
        }),
        Quantity::Mass => None,
    };
    let quantities = columns.quantities();
    let named = |of: fn(&Row) -> &String| -> Vec<String> {
        let names = rows.iter().map(of).filter(|name| !name.is_empty());
        let names: BTreeSet<&String> = names.collect();
        names.into_iter().cloned().collect()
    };
    Some(Plan {
        question: String::new(),
        material: Material {
            name: String::new(),
            maker: String::new(),
            colour: String::new(),
            density_g_cm3: None,
        },
        lots: named(|row| &row.lot),
        builds: named(|row| &row.build),
        form: form(),
        mass: MassPlan {
            readings: u8::from(quantities.contains(&Quantity::Mass)),
            nominal_g: None,
            readability_g: wishes.balance_readability_g,
            margin_percent: default_margin(&Response::MassChange),
        },
        dimensions: quantities.into_iter().filter_map(dimension).collect(),
        conditions,
        stages,
        baseline: u32::try_from(count(Role::Baseline)).unwrap_or(u32::MAX),
        spares: 0,
        reference_state: usual_state(rows),
        state_protocol: String::new(),
        drying: None,
        primary: first_response(columns, problems)?,
        primary_stage_days: last.unwrap_or_default(),
        compares_storage_with_baseline: count(Role::Baseline) > 0,
        compares_exposed_with_baseline: count(Role::Baseline) > 0,
        margin_percent: 0.0,
        margin_reason: String::new(),
        confidence_percent: 95.0,
        spreads: Spreads::Separate,
        outlier_rule: OutlierRule::None,
        covariate: Covariate::None,
        asks_weibull: false,
        retention_percent: None,
        expected_cv_percent: 5.0,
        few_holders_reason: String::new(),
        exceptions_rule: String::new(),
    })
}

fn form() -> SpecimenForm {
    SpecimenForm {
        shape: Shape::LoadOnly,
        piece_name: "piece".to_owned(),
        end_of_test: EndOfTest::Break,
        end_figure: None,
        loading_direction: String::new(),
        fixture: String::new(),
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

/// What the caller wants otherwise.
fn decide(
    plan: &mut Plan,
    columns: &Columns,
    wishes: &Wishes,
    is_whole: bool,
    problems: &mut Problems,
) {
    pieces(plan, wishes);
    if let Some(text) = &wishes.primary {
        match wishes::response(text) {
            Some(response) => plan.primary = response,
            None => problems.plan(
                "primary",
                format!(
                    "{} is no response; expected max_load, strength, mass_change or <dimension>_change.",
                    quoted(text)
                ),
            ),
        }
    }
    if plan.primary == Response::Strength
        && plan.form.shape == Shape::LoadOnly
        && wishes.shape.is_none()
    {
        plan.form.shape = shape(columns);
    }
    if let Some(text) = &wishes.covariate {
        match wishes::covariate(text) {
            Some(covariate) => plan.covariate = covariate,
            None => problems.plan("covariate", "Expected mass, a dimension, or none."),
        }
    }
    numbers(plan, wishes, is_whole, problems);
    choices(plan, wishes);
}

/// The figures of the decision, each within its bounds.
fn numbers(plan: &mut Plan, wishes: &Wishes, is_whole: bool, problems: &mut Problems) {
    let default = (!is_whole).then(|| default_margin(&plan.primary));
    if let Some(margin) = wishes.margin_percent.or(default) {
        plan.margin_percent = within("margin_percent", margin, 0.001, 90.0, problems);
    }
    if let Some(confidence) = wishes.confidence_percent {
        plan.confidence_percent = within("confidence_percent", confidence, 50.0, 99.9, problems);
    }
    if let Some(cv) = wishes.expected_cv_percent {
        plan.expected_cv_percent = within("expected_cv_percent", cv, 0.01, 100.0, problems);
    }
    if let Some(retention) = wishes.retention_percent {
        let retention = within("retention_percent", retention, 1.0, 99.0, problems);
        plan.retention_percent = Some(retention);
    }
    for (key, step) in [
        ("balance_readability_g", wishes.balance_readability_g),
        ("calliper_readability_mm", wishes.calliper_readability_mm),
    ] {
        if let Some(step) = step {
            within(key, step, 1e-9, 1e3, problems);
        }
    }
}

/// The choices of the decision.
fn choices(plan: &mut Plan, wishes: &Wishes) {
    plan.primary_stage_days = wishes.primary_stage_days.unwrap_or(plan.primary_stage_days);
    plan.asks_weibull = wishes.asks_weibull.unwrap_or(plan.asks_weibull);
    plan.spreads = wishes.spreads.unwrap_or(plan.spreads);
    plan.outlier_rule = wishes.outlier_rule.unwrap_or(plan.outlier_rule);
    plan.reference_state = wishes.reference_state.unwrap_or(plan.reference_state);
    let storage = wishes.compares_storage_with_baseline;
    plan.compares_storage_with_baseline = storage.unwrap_or(plan.compares_storage_with_baseline);
    let exposed = wishes.compares_exposed_with_baseline;
    plan.compares_exposed_with_baseline = exposed.unwrap_or(plan.compares_exposed_with_baseline);
}

fn pieces(plan: &mut Plan, wishes: &Wishes) {
    let set = |field: &mut String, wish: &Option<String>| {
        if let Some(text) = wish {
            field.clone_from(text);
        }
    };
    set(&mut plan.question, &wishes.question);
    set(&mut plan.form.piece_name, &wishes.piece);
    set(&mut plan.material.name, &wishes.material);
    set(&mut plan.margin_reason, &wishes.margin_reason);
    plan.form.shape = wishes.shape.unwrap_or(plan.form.shape);
    plan.form.end_of_test = wishes.end_of_test.unwrap_or(plan.form.end_of_test);
}

/// The shape whose section the file's dimensions give.
fn shape(columns: &Columns) -> Shape {
    let has = |name: &str| columns.reads(&Quantity::Length(name.to_owned()), Occasion::Before);
    if has("width") && has("thickness") {
        Shape::Rectangular
    } else if has("diameter") {
        Shape::Round
    } else {
        Shape::LoadOnly
    }
}

fn within(key: &str, value: f64, from: f64, to: f64, problems: &mut Problems) -> f64 {
    if !(from..=to).contains(&value) {
        problems.plan(
            key,
            format!("{value} is out of range; expected {from} to {to}."),
        );
    }
    value
}

/// Whether the file has what the plan asks.
fn can_be_asked(plan: &Plan, columns: &Columns, problems: &mut Problems) {
    let before = |q: &Quantity| columns.reads(q, Occasion::Before);
    let both = |q: &Quantity| before(q) && columns.reads(q, Occasion::After);
    let section = plan.form.shape.section_dimensions();
    let lacks = |name: &&&str| !before(&Quantity::Length((**name).to_owned()));
    if let Some(missing) = section.iter().find(lacks) {
        let told = format!("This shape needs a column {missing}_before_mm, and there is none.");
        problems.plan("shape", told);
    }
    let sentence = match &plan.primary {
        Response::Strength if plan.form.shape == Shape::LoadOnly => {
            "A strength needs a section; expected width_before_mm and thickness_before_mm, or \
             diameter_before_mm."
        }
        Response::MaxLoad | Response::Strength if !columns.has_load() => {
            "The file has no loads; expected a column such as max_load_n."
        }
        Response::MassChange if !both(&Quantity::Mass) => {
            "The file does not have both masses; expected mass_before_g and mass_after_g."
        }
        Response::LengthChange(name) if !both(&Quantity::Length(name.clone())) => {
            "The file does not have this dimension before and after exposure."
        }
        _ => "",
    };
    if !sentence.is_empty() {
        problems.plan("primary", sentence);
    }
    if plan.stage(plan.primary_stage_days).is_none() && !plan.stages.is_empty() {
        let days: Vec<String> = plan.stages.iter().map(|s| s.days.to_string()).collect();
        let told = format!(
            "There is no such stage; expected one of {}.",
            days.join(", ")
        );
        problems.plan("primary_stage_days", told);
    }
    let Covariate::Before(quantity) = &plan.covariate else {
        return;
    };
    let is_own = match (&plan.primary, quantity) {
        (Response::MassChange, Quantity::Mass) => true,
        (Response::LengthChange(name), Quantity::Length(own)) => name == own,
        _ => false,
    };
    if is_own {
        problems.plan("covariate", "A reading cannot adjust its own change.");
    } else if !before(quantity) {
        let told = "The file has no such reading before exposure.";
        problems.plan("covariate", told);
    }
}
