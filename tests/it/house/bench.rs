//! A study with pieces on the bench and readings to be taken, and the readings as a phone sends them
//! to the JSON door.

use chrono::TimeDelta;
use overwinter::clock::{Clock, Token};
use overwinter::commands::demo::plan::plan;
use overwinter::commands::demo::script::Script;
use overwinter::store::{AddAccount, NewAccount, NewSession, Store};
use overwinter::study::code::Code;
use overwinter::study::entry::Entry;
use overwinter::study::ids::InstrumentId;
use overwinter::study::reading::Instrument;
use overwinter::study::specimen::Made;
use overwinter::study::units::Dimension;
use serde_json::{Value, json};
use std::path::Path;

use super::told;

/// What is on the bench, and a signed-in phone.
pub struct Bench {
    pub study: String,
    pub codes: Vec<Code>,
    pub balance: InstrumentId,
    /// The value of the `Cookie` header of a signed-in steward.
    pub cookie: String,
}

/// Lays out a bench with `pieces` specimens in an empty folder; the folder is closed again.
pub async fn laid_out(folder: &Path, pieces: usize) -> Bench {
    let (store, script, writer) = told::begun(folder).await;
    let balance = InstrumentId(script.clock.new_id());
    script
        .say(Entry::PlanWritten {
            plan: Box::new(plan()),
        })
        .await
        .expect("a plan");
    let instrument = Instrument {
        id: balance,
        name: "balance".to_owned(),
        dimension: Dimension::Mass,
        readability: 0.001,
        uncertainty: None,
    };
    script
        .say(Entry::InstrumentAdded { instrument })
        .await
        .expect("a balance");
    let codes: Vec<Code> = Code::run("KT", 0)
        .take(pieces)
        .map(|(_, code)| code)
        .collect();
    let made = codes.iter().zip(1..).map(|(code, order)| Made {
        code: code.clone(),
        lot: "bag 1".to_owned(),
        build: "shot 1".to_owned(),
        order,
    });
    script
        .say(Entry::SpecimensMade {
            pieces: made.collect(),
        })
        .await
        .expect("pieces");
    let cookie = signed_in(&store, &script).await;
    let study = script.study.to_string();
    drop(script);
    writer.await.expect("the writer ends");
    store.close().await.expect("closes");
    Bench {
        study,
        codes,
        balance,
        cookie,
    }
}

/// An account for the script's steward and a session of it, made past the sign-in form so that a
/// server on a failing disk can be asked at once.
async fn signed_in(store: &Store, script: &Script) -> String {
    let now = Clock::system().now();
    let account = script.steward.0;
    let new = NewAccount {
        id: account,
        name: "ragna".to_owned(),
        display_name: "Ragna".to_owned(),
        password_hash: "none".to_owned(),
        made_at: now,
    };
    assert_eq!(
        store.add_account(&new).await.expect("an account"),
        AddAccount::Made
    );
    let token: Token = Clock::system().new_token();
    let session = NewSession {
        token_sha256: token.sha256(),
        account,
        made_at: now,
        expires_at: now + TimeDelta::days(30),
        device: "test".to_owned(),
    };
    store.begin_session(&session).await.expect("a session");
    format!("session={}", token.reveal())
}

impl Bench {
    /// The `n`th reading that can be taken, as a phone sends it; each is another one.
    pub fn reading(&self, n: usize) -> Value {
        let clock = Clock::system();
        let code = &self.codes[n % self.codes.len()];
        let repeat = 1 + n / self.codes.len();
        json!({
            "id": clock.new_id(),
            "study": self.study,
            "device": "phone 7",
            "device_seq": n,
            "taken_at": clock.now(),
            "time_zone": "Europe/Oslo",
            "kind": "reading_taken",
            "body": { "reading": {
                "specimen": code,
                "quantity": "mass",
                "occasion": "before",
                "repeat": repeat,
                "state": "conditioned",
                "value": 8.4,
                "typed": { "text": "8.4", "unit": "g" },
                "instrument": self.balance,
            }},
        })
    }
}

/// Sends entries; the receipts, or `None` when the server did not answer 200.
pub async fn send(base: &str, cookie: &str, entries: &[Value]) -> Option<Vec<Value>> {
    let client = overwinter::outbound::client()
        .no_proxy()
        .build()
        .expect("a client");
    let answer = client
        .post(format!("{base}/entries"))
        .header("cookie", cookie)
        .json(&json!({ "entries": entries }))
        .send()
        .await
        .ok()?;
    if answer.status().as_u16() != 200 {
        return None;
    }
    let body: Value = answer.json().await.ok()?;
    body["receipts"].as_array().cloned()
}
