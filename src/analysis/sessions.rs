//! The test sessions that are unblinded: where, when, on what, how steady the machine was, and how
//! blind the tester was.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

use crate::analysis::guess::{self, Guesses};
use crate::analysis::instruments::{self, InstrumentFinding};
use crate::study::break_test::TestSession;
use crate::study::consignment::{Contents, Label};
use crate::study::plan::Plan;
use crate::study::record::{ConsignmentRecord, StudyRecord};

/// One unblinded consignment as the lab tested it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SessionFinding {
    /// From 1, in the order in which consignments were packed.
    pub number: usize,
    /// The lab.
    pub lab: String,
    /// Which pieces.
    pub contents: Contents,
    /// How many pieces were packed.
    pub pieces: usize,
    /// What the tester set; `None` when nothing was set.
    pub set_up: Option<SetUp>,
    /// Drift of the check load from opening to closing, in %; `None` when it was not logged.
    pub drift_percent: Option<f64>,
    /// Its limit, in %.
    pub drift_limit_percent: Option<f64>,
    /// Pieces whose label the tester could see.
    pub labels_visible: usize,
    /// When the tester declared it finished.
    pub finished_at: Option<DateTime<Utc>>,
    /// When it was unblinded.
    pub unblinded_at: Option<DateTime<Utc>>,
    /// The reason, when it was unblinded before it was finished.
    pub early_reason: Option<String>,
    /// Why it was opened again, each time.
    pub reopened: Vec<String>,
    /// What the tester guessed, when the tester was asked.
    pub guesses: Option<Guesses>,
    /// The days of its tests, each once.
    #[serde(default)]
    pub days: Vec<NaiveDate>,
    /// What of the lab's record its results rest on.
    #[serde(default)]
    pub instruments: Vec<InstrumentFinding>,
}

/// What is set once for a session.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetUp {
    /// Day of the tests.
    pub tested_on: NaiveDate,
    /// Machine or rig.
    pub machine: String,
    /// Fixture or grips.
    pub fixture: String,
    /// Speed in mm/min; `None` for a load applied by hand.
    pub speed_mm_min: Option<f64>,
    /// Room temperature in °C.
    pub room_c: Option<f64>,
    /// Room relative humidity in %.
    pub room_rh_percent: Option<f64>,
    /// The method; empty when not given.
    #[serde(default)]
    pub method: String,
    /// How the pieces were conditioned; empty when not given.
    #[serde(default)]
    pub conditioning: String,
}

impl SessionFinding {
    /// Whether the check load drifted beyond its limit.
    #[must_use]
    pub fn is_drift_beyond(&self) -> bool {
        let both = self.drift_percent.zip(self.drift_limit_percent);
        both.is_some_and(|(drift, limit)| drift.abs() > limit)
    }
}

/// Every unblinded session.
#[must_use]
pub fn sessions(record: &StudyRecord, plan: &Plan) -> Vec<SessionFinding> {
    let open = record.consignments.iter().filter(|c| !c.is_blind());
    let numbered = open.enumerate();
    numbered
        .map(|(at, c)| session(record, plan, at + 1, c))
        .collect()
}

fn session(
    record: &StudyRecord,
    plan: &Plan,
    number: usize,
    consignment: &ConsignmentRecord,
) -> SessionFinding {
    let logged = consignment.session.as_ref();
    let drifted = most_drifted(consignment);
    let sessions = consignment.used_sessions();
    let mut days: Vec<NaiveDate> = sessions.iter().map(|s| s.tested_on).collect();
    days.sort_unstable();
    days.dedup();
    let is_visible = |label: Label| label == Label::Visible;
    SessionFinding {
        number,
        lab: consignment.lab.clone(),
        contents: consignment.contents,
        pieces: consignment.pieces.len(),
        set_up: logged.map(|s| SetUp {
            tested_on: s.tested_on,
            machine: s.machine.clone(),
            fixture: s.fixture.clone(),
            speed_mm_min: s.speed_mm_min,
            room_c: s.room_c,
            room_rh_percent: s.room_rh_percent,
            method: s.used.method.clone(),
            conditioning: s.used.conditioning.clone(),
        }),
        drift_percent: drifted.and_then(TestSession::drift_percent),
        drift_limit_percent: drifted.and_then(|s| s.drift_limit_percent),
        labels_visible: consignment
            .pieces
            .iter()
            .filter(|p| is_visible(p.label))
            .count(),
        finished_at: consignment.finished_at,
        unblinded_at: consignment.unblinded_at,
        early_reason: consignment.early_reason.clone(),
        reopened: consignment.reopened.clone(),
        guesses: guess::guesses(record, plan, consignment),
        days,
        instruments: instruments::instruments(record, consignment),
    }
}

/// The session whose check load drifted most; one without a closing check load stands for all, since
/// nothing is known of its drift.
fn most_drifted(consignment: &ConsignmentRecord) -> Option<&TestSession> {
    let sessions = consignment.used_sessions().into_iter();
    let size = |session: &TestSession| session.drift_percent().map_or(f64::INFINITY, f64::abs);
    sessions.max_by(|a, b| size(a).total_cmp(&size(b)))
}
