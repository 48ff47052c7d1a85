//! How it was done, written from the plan and the records; what happened while the pieces were out is in
//! [`exposure`].

mod exposure;

use crate::analysis::beside::robustness::{RESAMPLES, Robustness, SPLITS};
use crate::analysis::digits::plain;
use crate::analysis::findings::Findings;
use crate::analysis::names;
use crate::analysis::sessions::SessionFinding;
use crate::analysis::words::{self, circumstance};
use crate::report::format::day;
use crate::report::instruments;
use crate::study::consignment::Contents;
use crate::study::plan::words as plan_words;
use crate::study::plan::{Condition, Covariate, EndOfTest, OutlierRule, Plan};
use crate::study::record::StudyRecord;

/// One paragraph or list of the method.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Its heading.
    pub heading: String,
    /// Its sentences, one a paragraph.
    pub paragraphs: Vec<String>,
}

pub(super) fn part(heading: &str, paragraphs: Vec<String>) -> Part {
    Part {
        heading: heading.to_owned(),
        paragraphs: paragraphs
            .into_iter()
            .filter(|text| !text.is_empty())
            .collect(),
    }
}

/// The whole method.
#[must_use]
pub fn method(record: &StudyRecord, plan: &Plan, findings: &Findings) -> Vec<Part> {
    let parts = [
        part("Specimens", specimens(plan)),
        part(
            "Where they were",
            plan.conditions.iter().map(place).collect(),
        ),
        part(
            "When, and what was done meanwhile",
            exposure::told(record, plan, findings),
        ),
        part("Weighing and measuring", measuring(record, plan)),
        part("Who went where", allocation(record)),
        part("Breaking", findings.sessions.iter().map(session).collect()),
        part(
            "Instruments of the lab",
            instruments::of(&findings.sessions)
                .into_iter()
                .chain(instruments::limits(findings))
                .collect(),
        ),
        part("From numbers to words", analysis(plan, findings)),
    ];
    parts
        .into_iter()
        .filter(|part| !part.paragraphs.is_empty())
        .collect()
}

fn specimens(plan: &Plan) -> Vec<String> {
    let material = &plan.material;
    let details: Vec<String> = [&material.maker, &material.colour]
        .into_iter()
        .filter(|text| !text.is_empty())
        .cloned()
        .collect();
    let details = if details.is_empty() {
        String::new()
    } else {
        format!(" ({})", details.join(", "))
    };
    let what = format!(
        "Each specimen is a {} of {}{details}, {}; lots: {}; builds: {}.",
        plan.form.piece_name,
        material.name,
        plan.form.shape.label(),
        plan.lots.join(", "),
        plan.builds.join(", "),
    );
    vec![what, end_of_test(plan)]
}

fn end_of_test(plan: &Plan) -> String {
    let form = &plan.form;
    let figure = form.end_figure.map(plain).unwrap_or_default();
    let end = match form.end_of_test {
        EndOfTest::Break => "A test ends when the piece breaks".to_owned(),
        EndOfTest::Drop => {
            format!("A test ends when the load has dropped by {figure} % from its peak")
        }
        EndOfTest::Opening => format!("A test ends when the piece has opened by {figure} mm"),
        EndOfTest::RigLimit => format!("A test ends at the limit of the rig, {figure} N"),
    };
    format!(
        "{end}. Loading direction: {}. Fixture: {}.{}",
        form.loading_direction,
        form.fixture,
        form.method
            .map(|method| format!(" Test: {}.", method.in_words()))
            .unwrap_or_default()
    )
}

pub(super) fn place(condition: &Condition) -> String {
    let role = if condition.is_storage_control {
        " (storage control)"
    } else {
        ""
    };
    let holders: Vec<&str> = condition.holders.iter().map(|h| h.name.as_str()).collect();
    let shared = match holders.as_slice() {
        [one] => format!("one holder ({one})"),
        several => format!("{} holders ({})", several.len(), several.join(", ")),
    };
    let place = if condition.place.is_empty() {
        String::new()
    } else {
        format!(", {}", condition.place)
    };
    let kind = condition.environment.label();
    let renewed = condition.renew_days.map_or_else(String::new, |days| {
        let every = names::counted(usize::try_from(days).unwrap_or(0), "day");
        format!("; water or medium renewed or topped up every {every}")
    });
    format!(
        "{}{role}: {kind}{place}; {shared}{renewed}.",
        names::capital(&condition.name)
    )
}

fn measuring(record: &StudyRecord, plan: &Plan) -> Vec<String> {
    let mut read = Vec::new();
    if plan.mass.readings > 0 {
        let times = names::counted(usize::from(plan.mass.readings), "weighing");
        read.push(format!("mass ({times} each time)"));
    }
    for dimension in &plan.dimensions {
        let places = names::counted(usize::from(dimension.places), "place");
        read.push(format!("{} (at {places})", dimension.name));
    }
    let what = if read.is_empty() {
        "No mass and no dimension was to be read.".to_owned()
    } else {
        format!(
            "Read before and after exposure: {}. Changes are formed piece by piece, and only between \
             readings in the same state ({}).",
            names::listed(&read),
            plan.reference_state.label()
        )
    };
    let instruments: Vec<String> = record
        .instruments
        .iter()
        .map(|it| {
            let certificate = it
                .uncertainty
                .map(|u| format!(", certificate ±{}", plain(u)));
            let unit = match it.dimension {
                crate::study::units::Dimension::Mass => "g",
                crate::study::units::Dimension::Length => "mm",
                crate::study::units::Dimension::Force => "N",
            };
            let step = plain(it.readability);
            format!(
                "{} (steps of {step} {unit}{})",
                it.name,
                certificate.unwrap_or_default()
            )
        })
        .collect();
    let with = if instruments.is_empty() {
        String::new()
    } else {
        format!("Instruments: {}.", instruments.join("; "))
    };
    vec![
        what,
        plan.state_protocol.clone(),
        plan_words::drying(plan),
        with,
    ]
}

fn allocation(record: &StudyRecord) -> Vec<String> {
    let Some(last) = record.draws.last() else {
        return vec!["No allocation is on record.".to_owned()];
    };
    if last.drawn.draw == 0 {
        return vec!["The grouping is reported, not drawn.".to_owned()];
    }
    vec![format!(
        "Pieces were drawn for their places on {} by the method {}, stratified by build and balanced on \
         mass, from the seed {}. Anybody can repeat the draw.",
        day(last.at, &record.time_zone),
        last.drawn.method,
        last.drawn.seed
    )]
}

fn session(session: &SessionFinding) -> String {
    let what = match session.contents {
        Contents::Baseline => "Baseline set".to_owned(),
        Contents::Stage { days } => format!("Pieces of {days} days"),
    };
    let count = names::counted(session.pieces, "piece");
    let Some(set) = &session.set_up else {
        return format!(
            "{what} ({count}): {}; nothing about the machine is on record.",
            session.lab
        );
    };
    let speed = set.speed_mm_min.map_or_else(
        || "load applied by hand".to_owned(),
        |speed| format!("{} mm/min", plain(speed)),
    );
    let room: Vec<String> = [
        set.room_c.map(|c| format!("{} °C", plain(c))),
        set.room_rh_percent
            .map(|rh| format!("{} % relative humidity", plain(rh))),
    ]
    .into_iter()
    .flatten()
    .collect();
    let room = if room.is_empty() {
        String::new()
    } else {
        format!("; room at {}", room.join(", "))
    };
    let drift = session.drift_percent.map_or_else(
        || "; no check load was logged".to_owned(),
        |drift| {
            format!(
                "; known check load drifted by {} %",
                crate::analysis::digits::fixed(drift, 2)
            )
        },
    );
    let further = instruments::treatment(set);
    format!(
        "{what} ({count}): {}, {}, {}, {}, {speed}{further}{room}{drift}. Under blind codes, in random \
         order.",
        session.lab,
        words::date(set.tested_on),
        set.machine,
        set.fixture
    )
}

pub(super) fn analysis(plan: &Plan, findings: &Findings) -> Vec<String> {
    let confidence = plain(plan.confidence_percent);
    let margin = plain(plan.margin_percent);
    let reason = if plan.margin_reason.is_empty() {
        String::new()
    } else {
        format!(" Why this margin: {}", full_stop(&plan.margin_reason))
    };
    let mut told = vec![format!(
        "Primary: {} after {} days, {confidence} % intervals, margin ±{margin} %. One interval decides: \
         changed when it excludes no change, unchanged when it lies inside the margin, not settled when \
         neither.{reason}",
        plan.primary.label(),
        plan.primary_stage_days
    )];
    if let Some(primary) = &findings.primary {
        let how = if plan.primary.needs_breaking() {
            "The interval is that of the ratio of means (Fieller), simultaneous for all conditions."
        } else {
            "The interval is that of the difference of mean changes, simultaneous for all conditions, and \
             never narrower than the instruments allow."
        };
        told.push(format!(
            "{} {how}",
            circumstance::method(plan, &primary.family)
        ));
    }
    told.extend(
        findings
            .beside
            .as_ref()
            .map(|beside| other_methods(&beside.robustness)),
    );
    if !findings.over_time.is_empty() {
        told.push(
            "Over the stages: straight lines through the values at the planned days, the baseline set at day \
             zero; the rate in % of the line’s own start and the time to a retention by Fieller."
                .to_owned(),
        );
    }
    told.extend(rules(plan));
    told
}

/// The rules of the plan that the analysis kept to; empty where it has none.
pub(super) fn rules(plan: &Plan) -> Vec<String> {
    let mut told = Vec::new();
    let rule = match plan.outlier_rule {
        OutlierRule::None => "No outlier rule was planned.".to_owned(),
        rule => format!(
            "Outlier rule: {}. A flagged value stays in; the result without it is shown beside.",
            rule.label()
        ),
    };
    told.push(rule);
    if let Covariate::Before(quantity) = &plan.covariate {
        told.push(format!(
            "The plan asks to adjust the deciding comparison for {} before exposure (one slope common to \
             all sets; simultaneous by Šidák).",
            quantity.label()
        ));
    }
    told.push(if plan.exceptions_rule.is_empty() {
        String::new()
    } else {
        format!(
            "Rule for invalid tests, missing pieces and early stopping: {}",
            plan.exceptions_rule
        )
    });
    told.push(if plan.few_holders_reason.is_empty() {
        String::new()
    } else {
        let reason = full_stop(&plan.few_holders_reason);
        format!("Why some conditions have fewer than three holders: {reason}")
    });
    told
}

/// How the other methods were carried out, so that a stranger can repeat them.
fn other_methods(found: &Robustness) -> String {
    format!(
        "Beside it, never in its place: all splits of the values between two sets (or {SPLITS} drawn ones, \
         where there are too many), Mann–Whitney with the Hodges–Lehmann shift, and a BCa bootstrap of \
         {RESAMPLES} resamples; everything drawn starts from the seed {}.",
        found.seed
    )
}

/// The text with a full stop at its end.
fn full_stop(text: &str) -> String {
    let text = text.trim();
    if text.ends_with(['.', '!', '?']) {
        text.to_owned()
    } else {
        format!("{text}.")
    }
}
