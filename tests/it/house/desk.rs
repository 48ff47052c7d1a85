//! A running server with a small study on its steward's desk: two conditions, two stages, eleven
//! pieces; and the steps that lead to where a test begins.

use chrono::TimeDelta;

use super::{PASSWORD, Person, Shown, TestServer};
use overwinter::clock::hex;
use overwinter::commands::demo::plan::plan;
use overwinter::commands::demo::script::Script;
use overwinter::config::Config;
use overwinter::study::allocation::{self, Allocated, Candidate, Place};
use overwinter::study::code::Code;
use overwinter::study::custody::PutOut;
use overwinter::study::entry::{Entry, StudyStarted};
use overwinter::study::ids::{AccountId, InstrumentId};
use overwinter::study::plan::{Plan, sha256_hex};
use overwinter::study::reading::{Instrument, MoistureState, Occasion, Quantity, Reading};
use overwinter::study::record::{SpecimenRecord, StudyRecord};
use overwinter::study::specimen::Made;
use overwinter::study::units::{AsTyped, Dimension, Unit};
use std::sync::Arc;

/// The study's address.
pub const SLUG: &str = "garden-clips";
/// How many pieces the plan needs: two conditions, two stages, two each, two baseline, one spare.
pub const PIECES: usize = 11;

/// The server, the study and its steward.
pub struct Desk {
    pub server: TestServer,
    pub script: Script,
    pub steward: Person,
    pub plan: Plan,
    pub balance: InstrumentId,
    pub calliper: InstrumentId,
}

/// The demo's plan with its storage control and its rain barrel alone, two pieces each.
pub fn small_plan() -> Plan {
    let mut plan = plan();
    plan.conditions.retain(|c| c.key == "c1" || c.key == "c3");
    for condition in &mut plan.conditions {
        condition.replicates = vec![2, 2];
    }
    (plan.baseline, plan.spares) = (2, 1);
    plan
}

impl Desk {
    /// A study with its plan and two instruments.
    pub async fn planned(plan: Plan) -> Self {
        Self::started(plan, false).await
    }

    /// The same, entered after the fact.
    pub async fn after_the_fact(plan: Plan) -> Self {
        Self::started(plan, true).await
    }

    async fn started(plan: Plan, is_after_the_fact: bool) -> Self {
        Self::on(TestServer::start().await, plan, is_after_the_fact).await
    }

    async fn on(server: TestServer, plan: Plan, is_after_the_fact: bool) -> Self {
        let steward = server.with_account("runa").await;
        let account = server.app.store.find_account("runa").await.expect("reads");
        let started = StudyStarted {
            slug: SLUG.to_owned(),
            mark: "GT".to_owned(),
            title: "Garden clips".to_owned(),
            time_zone: "Europe/Oslo".to_owned(),
            steward: AccountId(account.expect("is there").id),
            is_after_the_fact,
        };
        let parts = (server.app.store.clone(), server.app.journal.clone());
        let script = Script::open(parts, server.app.clock.clone(), started).await;
        let script = script.expect("a study");
        let written = Entry::PlanWritten {
            plan: Box::new(plan.clone()),
        };
        script.say(written).await.expect("a plan");
        steward.sign_in("runa", PASSWORD).await.is(303);
        let balance = instrument(&script, "green balance", Dimension::Mass, 0.001).await;
        let calliper = instrument(&script, "old calliper", Dimension::Length, 0.01).await;
        Self {
            server,
            script,
            steward,
            plan,
            balance,
            calliper,
        }
    }

    /// As many pieces on the bench.
    pub async fn with_pieces(self, count: usize) -> Self {
        let pieces = Code::run("GT", 0).take(count).zip(1..);
        let made = pieces.map(|((_, code), order)| Made {
            code,
            lot: self.plan.lots[0].clone(),
            build: self.plan.builds[0].clone(),
            order,
        });
        let pieces = made.collect();
        let entry = Entry::SpecimensMade { pieces };
        self.script.say(entry).await.expect("pieces");
        self
    }

    /// Every piece weighed and measured, all but those in `but` (places in the order of making).
    pub async fn measured_but(self, but: &[usize]) -> Self {
        for (n, piece) in self.record().await.specimens.iter().enumerate() {
            if but.contains(&n) {
                continue;
            }
            let wobble = [0.0, 0.004, -0.006, 0.011, -0.009][n % 5];
            self.read(&piece.code, Quantity::Mass, Occasion::Before, 8.4 + wobble)
                .await;
            for (name, size) in [("width", 9.0), ("thickness", 6.0)] {
                let quantity = Quantity::Length(name.to_owned());
                self.read(&piece.code, quantity, Occasion::Before, size + wobble)
                    .await;
            }
        }
        self
    }

    /// One reading, written to the journal past the pages.
    pub async fn read(&self, code: &Code, quantity: Quantity, occasion: Occasion, value: f64) {
        let is_mass = quantity == Quantity::Mass;
        let unit = if is_mass {
            Unit::Gram
        } else {
            Unit::Millimetre
        };
        let reading = Reading {
            specimen: code.clone(),
            quantity,
            occasion,
            repeat: 1,
            state: MoistureState::Conditioned,
            value,
            typed: AsTyped {
                text: format!("{value:.3}"),
                unit,
            },
            instrument: if is_mass { self.balance } else { self.calliper },
            is_confirmed_doubt: false,
        };
        let entry = Entry::ReadingTaken { reading };
        self.script.say(entry).await.expect("a reading");
    }

    /// The allocation drawn.
    pub async fn drawn(self) -> Self {
        let record = self.record().await;
        let candidates: Vec<Candidate> = record.specimens.iter().map(candidate).collect();
        let seed = [5; 32];
        let rows = allocation::draw(&self.plan, &candidates, &seed).expect("enough pieces");
        let drawn = Allocated {
            draw: 1,
            plan_version: 1,
            seed: hex(&seed),
            method: allocation::METHOD.to_owned(),
            candidates_sha256: allocation::candidates_sha256(&candidates),
            rows,
        };
        // What was put out long ago was not drawn here: its grouping is reported.
        let entry = if record.is_after_the_fact {
            Entry::GroupingReported { rows: drawn.rows }
        } else {
            Entry::AllocationDrawn(drawn)
        };
        self.script.say(entry).await.expect("a draw");
        self
    }

    /// The plan sealed.
    pub async fn sealed(self) -> Self {
        let plan_sha256 = sha256_hex(&self.plan.to_bytes().expect("bytes"));
        let entry = Entry::Sealed {
            plan_version: 1,
            plan_sha256,
        };
        self.script.say(entry).await.expect("a seal");
        self
    }

    /// Measured, drawn, sealed: ready to go out.
    pub async fn ready() -> Self {
        Self::ready_with(|_| {}).await
    }

    /// The same on a server with other settings.
    pub async fn ready_with(change: impl FnOnce(&mut Config)) -> Self {
        let server = TestServer::start_with(change).await;
        let desk = Self::on(server, small_plan(), false).await;
        let desk = desk.with_pieces(PIECES).await;
        desk.measured_but(&[]).await.drawn().await.sealed().await
    }

    /// Every piece of a condition put out now.
    pub async fn put_out(&self, key: &str) {
        let mut specimens = Vec::new();
        for stage in &self.plan.stages {
            specimens.extend(self.placed(key, stage.days).await);
        }
        let out = PutOut {
            specimens,
            at: self.server.app.clock.now(),
            is_confirmed_doubt: false,
        };
        self.script.say(Entry::PutOut(out)).await.expect("out");
    }

    /// Everything on record.
    pub async fn record(&self) -> Arc<StudyRecord> {
        let record = self.server.app.store.study_record(SLUG).await;
        record.expect("reads").expect("the study is there")
    }

    /// The pieces that are for a condition at a stage.
    pub async fn placed(&self, key: &str, days: u32) -> Vec<Code> {
        let record = self.record().await;
        let is_meant = |piece: &&SpecimenRecord| match &piece.place {
            Some(Place::Exposed {
                condition,
                stage_days,
                ..
            }) => condition == key && *stage_days == days,
            _ => false,
        };
        let meant = record.specimens.iter().filter(is_meant);
        meant.map(|piece| piece.code.clone()).collect()
    }

    /// Days pass; the steward signs in again.
    pub async fn wait(&self, days: i64) {
        self.server.app.clock.advance(TimeDelta::days(days));
        self.steward.sign_in("runa", PASSWORD).await.is(303);
    }

    /// A page of the study's desk.
    pub async fn open(&self, page: &str) -> Shown {
        self.steward.open(&format!("/desk/{SLUG}/{page}")).await
    }

    /// A form of the study's desk, with a fresh entry.
    pub async fn submit(&self, page: &str, fields: &[(&str, &str)]) -> Shown {
        let entry = self.server.app.clock.new_id().to_string();
        self.submit_as(&entry, page, fields).await
    }

    /// A form of the study's desk as one entry.
    pub async fn submit_as(&self, entry: &str, page: &str, fields: &[(&str, &str)]) -> Shown {
        let mut all = vec![("entry", entry)];
        all.extend_from_slice(fields);
        let path = format!("/desk/{SLUG}/{page}");
        self.steward.submit(&path, &all).await
    }

    /// The settings of a round of masses before exposure, with what is typed.
    pub async fn round(&self, more: &[(&str, &str)]) -> Shown {
        let balance = self.balance.to_string();
        let mut fields = vec![
            ("quantity", "mass"),
            ("occasion", "before"),
            ("instrument", balance.as_str()),
            ("unit", "g"),
            ("state", "conditioned"),
        ];
        fields.retain(|(name, _)| more.iter().all(|(other, _)| other != name));
        fields.extend_from_slice(more);
        self.submit("round", &fields).await
    }
}

async fn instrument(
    script: &Script,
    name: &str,
    dimension: Dimension,
    readability: f64,
) -> InstrumentId {
    let id = InstrumentId(script.clock.new_id());
    let instrument = Instrument {
        id,
        name: name.to_owned(),
        dimension,
        readability,
        uncertainty: None,
    };
    let added = script.say(Entry::InstrumentAdded { instrument }).await;
    added.expect("an instrument");
    id
}

fn candidate(piece: &SpecimenRecord) -> Candidate {
    Candidate {
        code: piece.code.clone(),
        build: piece.build.clone(),
        mass_g: None,
    }
}
