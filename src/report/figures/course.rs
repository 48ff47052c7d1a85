//! The stages together: the mean of each condition at each stage with its interval, and the fitted line.

use crate::analysis::digits::{fixed, plain};
use crate::analysis::findings::Findings;
use crate::analysis::groups::GroupFinding;
use crate::analysis::names;
use crate::analysis::over_time::{OverTime, YEAR_DAYS};
use crate::analysis::piece::Group;
use crate::report::chart::scatter::{Scatter, Set, Spot};
use crate::report::chart::ticks::Tick;
use crate::report::figures::{Figure, file_stem, responses, strips};
use crate::report::format::{group_decimals, unit};
use crate::study::plan::{Condition, Plan, Response};

/// Stages, the start among them, from which a course is drawn.
const FEWEST: usize = 3;

/// One figure for each response with three stages or more, the start among them.
pub(super) fn figures(plan: &Plan, findings: &Findings) -> Vec<Figure> {
    let all = responses(findings).into_iter();
    all.filter_map(|response| figure(plan, findings, response))
        .collect()
}

fn figure(plan: &Plan, findings: &Findings, response: &Response) -> Option<Figure> {
    let sets = plan.conditions.iter();
    let sets = sets.map(|condition| set(plan, findings, response, condition));
    let sets: Vec<Set> = sets.collect();
    let most = sets.iter().map(|set| set.spots.len()).max()?;
    if most < FEWEST {
        return None;
    }
    let (title, stem) = (
        format!("{} over the stages", names::capital(&response.label())),
        file_stem(response),
    );
    let last = findings.standing.stages.last().copied().unwrap_or(0);
    let told = |set: &Set| {
        let spots: Vec<&str> = set.spots.iter().map(|spot| spot.name.as_str()).collect();
        format!("{}.", spots.join("; "))
    };
    let scatter = Scatter {
        id: format!("figure-course-{stem}"),
        title: title.clone(),
        description: sets.iter().map(told).collect::<Vec<_>>().join(" "),
        across: "days since the first pieces went out".to_owned(),
        upwards: format!("{}, {}", response.label(), unit(response)),
        x_ends: (0.0, f64::from(last)),
        x_ticks: ticks(&findings.standing.stages),
        level: (!response.needs_breaking()).then_some(0.0),
        band: None,
        sets,
    };
    let confidence = plain(plan.confidence_percent);
    Some(Figure {
        file: format!("figure-course-{stem}.svg"),
        caption: format!(
            "Means of the sets, each with its own {confidence} % interval; they describe the sets and compare \
             nothing. Thin: the fitted straight line, or, where there is none, from stage to stage."
        ),
        chart: scatter.chart()?,
        title,
        is_primary: false,
        is_inline: true,
        table: None,
        behind: format!("#sets-{stem}"),
    })
}

fn ticks(stages: &[u32]) -> Vec<Tick> {
    let days = std::iter::once(0).chain(stages.iter().copied());
    let tick = |days: u32| Tick {
        value: f64::from(days),
        text: days.to_string(),
    };
    days.map(tick).collect()
}

fn set(plan: &Plan, findings: &Findings, response: &Response, condition: &Condition) -> Set {
    let here = |g: &&GroupFinding| g.response == *response;
    let own = |g: &&GroupFinding| match &g.group {
        Group::Cell { condition: key, .. } => *key == condition.key,
        // Every condition begins with the same baseline set.
        Group::Baseline => response.needs_breaking(),
        Group::LateReference => false,
    };
    let mut spots: Vec<Spot> = findings
        .groups
        .iter()
        .filter(here)
        .filter(own)
        .map(|group| spot(response, group, &condition.name))
        .collect();
    if spots.len() == 1 && spots.first().is_some_and(|spot| spot.x == 0.0) {
        spots.clear();
    }
    spots.sort_by(|a, b| a.x.total_cmp(&b.x));
    let group = Group::cell(&condition.key, 0);
    let control = if condition.is_storage_control {
        " (storage control)"
    } else {
        ""
    };
    let line = fitted(findings, response, condition).unwrap_or_default();
    Set {
        name: format!("{}{control}", condition.name),
        style: strips::style(plan, &group),
        is_joined: line.is_empty(),
        line,
        spots,
    }
}

fn spot(response: &Response, group: &GroupFinding, condition: &str) -> Spot {
    let digits = group_decimals(group.sd, group.mean);
    let days = group.group.stage_days().unwrap_or(0);
    let interval = group
        .interval
        .map(|(lower, upper)| format!(" ({} to {})", fixed(lower, digits), fixed(upper, digits)));
    Spot {
        x: f64::from(days),
        y: group.mean,
        ends: group.interval,
        name: format!(
            "{condition}, {days} days: {} {}{}",
            fixed(group.mean, digits),
            unit(response),
            interval.unwrap_or_default()
        ),
        tag: String::new(),
    }
}

/// The fitted line, when the findings give its start: the rate relative to the start tells it.
fn fitted(
    findings: &Findings,
    response: &Response,
    condition: &Condition,
) -> Option<Vec<(f64, f64)>> {
    let is_own = |o: &&OverTime| o.response == *response && o.condition == condition.key;
    let found = findings.over_time.iter().find(is_own)?;
    let line = found.line.as_ref()?;
    let relative = line.percent_per_year?.estimate / 100.0;
    let start = line.per_year.estimate / relative;
    let last = f64::from(*found.stages.last()?);
    let at = |days: f64| (days, start + line.per_year.estimate * days / YEAR_DAYS);
    start.is_finite().then(|| vec![at(0.0), at(last)])
}
