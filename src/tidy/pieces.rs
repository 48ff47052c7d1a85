//! Rows and a plan → pieces, as the analysis takes them from anywhere.

use crate::analysis::change;
use crate::analysis::piece::{Fate, Group, Measured, Pair, Piece, UnknowingTest};
use crate::study::plan::Plan;
use crate::study::reading::{Occasion, Quantity};
use crate::study::specimen::Recovery;
use crate::tidy::row::{Role, Row};
use crate::tidy::wishes::Wishes;

/// The pieces, in the order of the rows.
#[must_use]
pub fn pieces(rows: &[Row], plan: &Plan, wishes: &Wishes) -> Vec<Piece> {
    rows.iter()
        .filter_map(|row| Some(piece(row, group(row, plan)?, plan, wishes)))
        .collect()
}

fn group(row: &Row, plan: &Plan) -> Option<Group> {
    match row.role {
        Some(Role::Baseline) => Some(Group::Baseline),
        Some(Role::LateReference) => Some(Group::LateReference),
        Some(Role::StorageControl | Role::Exposed) | None => {
            let name = row.condition.as_deref()?;
            let condition = plan.conditions.iter().find(|c| c.name == name)?;
            Some(Group::cell(&condition.key, row.stage_days?))
        }
    }
}

fn piece(row: &Row, group: Group, plan: &Plan, wishes: &Wishes) -> Piece {
    let is_exposed = group.stage_days().is_some();
    let pairs: Vec<Pair> = plan
        .quantities()
        .into_iter()
        .filter_map(|quantity| pair(row, quantity, plan, wishes))
        .collect();
    let is_tested = matches!(
        row.fate,
        Fate::Valid | Fate::LowerBound | Fate::Invalid | Fate::TotalLoss
    );
    // Without a column, all that were tested were tested in one session.
    let one_session = is_tested.then_some(1);
    let session = row.more.session.and_then(|n| usize::try_from(n).ok());
    Piece {
        code: row.specimen.clone(),
        holder: holder(row, &group, plan),
        group,
        lot: row.lot.clone(),
        build: row.build.clone(),
        order: row.more.order,
        was_put_out: row.more.put_out.unwrap_or(is_exposed),
        days_out: row.more.days_out,
        recovery: row.more.recovery.or(is_exposed.then(|| recovery(row.fate))),
        identity: row.more.identity,
        is_nameless: row.more.is_nameless,
        fate: row.fate,
        mode: row.more.mode,
        failure: row.more.failure.clone(),
        reason: row.reason.clone(),
        max_load_n: row.max_load_n,
        unknowing: row.more.unknowing.map(|test| UnknowingTest {
            fate: test.fate,
            max_load_n: test.max_load_n,
        }),
        tested_on: row.tested_on,
        session: session.or(one_session),
        section_mm2: change::section_mm2(plan, &pairs),
        stress_area_mm2: change::stress_area_mm2(plan, &pairs),
        properties: row.more.properties.clone(),
        pairs,
        flags: row.more.flags.clone(),
    }
}

fn holder(row: &Row, group: &Group, plan: &Plan) -> Option<String> {
    let Group::Cell { condition, .. } = group else {
        return None;
    };
    let name = row.holder.as_deref()?;
    let condition = plan.condition(condition)?;
    let found = condition.holders.iter().find(|h| h.name == name)?;
    Some(found.key.clone())
}

/// How a piece came back, where the file does not say.
fn recovery(fate: Fate) -> Recovery {
    match fate {
        Fate::Lost => Recovery::NotFound,
        Fate::Destroyed => Recovery::Accident,
        Fate::InError => Recovery::InError,
        Fate::TotalLoss => Recovery::Damaged,
        Fate::Valid | Fate::LowerBound | Fate::Invalid | Fate::NotTested | Fate::LostOnTheWay => {
            Recovery::Whole
        }
    }
}

fn pair(row: &Row, quantity: Quantity, plan: &Plan, wishes: &Wishes) -> Option<Pair> {
    let measured = |occasion: Occasion| {
        let key = (quantity.clone(), occasion);
        let mean = *row.readings.get(&key)?;
        Some(Measured {
            mean,
            readings: 1,
            state: row
                .states
                .get(&key)
                .copied()
                .unwrap_or(plan.reference_state),
            readability: wishes.readability(&quantity),
            uncertainty: None,
            instrument: None,
        })
    };
    let (before, after) = (measured(Occasion::Before), measured(Occasion::After));
    if before.is_none() && after.is_none() {
        return None;
    }
    let resolution = row.resolutions.get(&quantity).copied();
    let mut pair = change::pair(plan, quantity, before, after);
    pair.resolution_percent = resolution.or(pair.resolution_percent);
    Some(pair)
}
