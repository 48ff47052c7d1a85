//! The lab's instruments in words, as the method section lists them.

use crate::analysis::digits::plain;
use crate::analysis::findings::Findings;
use crate::analysis::instruments::InstrumentFinding;
use crate::analysis::names;
use crate::analysis::property::Limits;
use crate::analysis::sessions::{SessionFinding, SetUp};
use crate::analysis::words;
use crate::study::equipment::class;

/// One sentence for each instrument that results rest on, each once.
#[must_use]
pub fn of(sessions: &[SessionFinding]) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    for session in sessions {
        for one in &session.instruments {
            let sentence = sentence(&session.lab, one);
            if !said.contains(&sentence) {
                said.push(sentence);
            }
        }
    }
    said
}

/// What the uncertainties of the properties rest on, each said once; nothing where none was read off.
#[must_use]
pub fn limits(findings: &Findings) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    if findings
        .specimens
        .iter()
        .all(|piece| piece.properties.is_empty())
    {
        return said;
    }
    for session in &findings.sessions {
        let items = session.instruments.iter();
        let items = items.map(|one| (one.kind, one.name.as_str(), class::percent(&one.class)));
        let limits = Limits::of_items(&items.collect::<Vec<_>>()).in_words();
        let sentence = format!(
            "{}: the uncertainties of what was read off the tests rest on {limits}.",
            session.lab
        );
        if !said.contains(&sentence) {
            said.push(sentence);
        }
    }
    said
}

fn sentence(lab: &str, one: &InstrumentFinding) -> String {
    let unit = one.kind.range_unit().unwrap_or_default();
    let range = match (one.range_from, one.range_to) {
        (Some(from), Some(to)) => Some(format!("{} to {} {unit}", plain(from), plain(to))),
        (Some(from), None) => Some(format!("from {} {unit}", plain(from))),
        (None, Some(to)) => Some(format!("to {} {unit}", plain(to))),
        (None, None) => None,
    };
    let known = [
        (!one.serial.is_empty()).then(|| format!("serial number {}", one.serial)),
        (!one.class.is_empty()).then(|| format!("class {}", one.class)),
        range,
        one.calibrated_on
            .map(|day| format!("calibrated on {}", words::date(day))),
        one.valid_until
            .map(|day| format!("until {}", words::date(day))),
        one.paper_sha256
            .as_ref()
            .map(|sha256| format!("certificate or drawing with the SHA-256 {sha256}")),
    ];
    let known: Vec<String> = known.into_iter().flatten().collect();
    let known = if known.is_empty() {
        "nothing more is on record".to_owned()
    } else {
        known.join(", ")
    };
    let flags = one.flags.iter().map(|flag| {
        let tests = names::counted(flag.tests, "test");
        format!(" Of {tests}: {}.", flag.kind.label())
    });
    let flags: String = flags.collect();
    format!("{lab}: {}, {}: {known}.{flags}", one.name, one.kind.label())
}

/// Method and conditioning of a session, to stand behind its speed.
pub(super) fn treatment(set: &SetUp) -> String {
    let method = (!set.method.is_empty()).then(|| format!(", method: {}", set.method));
    let conditioned =
        (!set.conditioning.is_empty()).then(|| format!(", conditioned: {}", set.conditioning));
    [method, conditioned].into_iter().flatten().collect()
}
