//! The steward's way from the pieces on the bench to the seal: the allocation, the report of a study
//! entered after the fact, the seal with its line and file, the stewards.

use overwinter::study::allocation::{self, Place};
use overwinter::study::code::Code;
use overwinter::study::entry::{Actor, Chain, Entry, Envelope};
use overwinter::study::ids::{AccountId, EntryId, InstrumentId};
use overwinter::study::plan::sha256_hex;
use overwinter::study::reading::{Instrument, MoistureState, Occasion, Quantity, Reading};
use overwinter::study::specimen::Made;
use overwinter::study::units::{AsTyped, Dimension, Unit};

use crate::house::{Person, Sheet, TestServer};
use crate::steward_plan::{opened, opened_with, plan_sheet, record};

const ALLOCATION: &str = "/desk/fleece-pegs/allocation";
const GROUPING: &str = "/desk/fleece-pegs/grouping";
const SEAL: &str = "/desk/fleece-pegs/seal";
const PLAN: &str = "/desk/fleece-pegs/plan";
const FILE: &str = "/studies/fleece-pegs/plan.json";

/// Writes an entry as the steward of the study.
async fn say(server: &TestServer, name: &str, entry: Entry) {
    let account = server.app.store.find_account(name).await.unwrap().unwrap();
    let envelope = Envelope {
        id: EntryId(server.app.clock.new_id()),
        chain: Chain::Study(record(server).await.id),
        actor: Actor::Account(AccountId(account.id)),
        device: "test".to_owned(),
        device_seq: 0,
        taken_at: server.app.clock.now(),
        time_zone: "UTC".to_owned(),
        note: None,
        entry,
    };
    server
        .app
        .journal
        .submit(envelope)
        .await
        .expect("it is taken");
}

/// So many pieces of two builds.
async fn make(server: &TestServer, count: usize) -> Vec<Code> {
    let mark = record(server).await.mark.clone();
    let codes: Vec<Code> = Code::run(&mark, 0)
        .take(count)
        .map(|(_, code)| code)
        .collect();
    let made = codes.iter().enumerate().map(|(n, code)| Made {
        code: code.clone(),
        lot: "bag 1".to_owned(),
        build: format!("shot {}", 1 + n % 2),
        order: u32::try_from(n / 2).unwrap() + 1,
    });
    let pieces = made.collect();
    say(server, "ada", Entry::SpecimensMade { pieces }).await;
    codes
}

/// Weighs pieces twice each, half a milligram to either side.
async fn weigh(server: &TestServer, codes: &[Code]) {
    let balance = InstrumentId(server.app.clock.new_id());
    let instrument = Instrument {
        id: balance,
        name: "balance".to_owned(),
        dimension: Dimension::Mass,
        readability: 0.001,
        uncertainty: None,
    };
    say(server, "ada", Entry::InstrumentAdded { instrument }).await;
    for (n, code) in codes.iter().enumerate() {
        for repeat in 1..=2 {
            let value = 8.0 + 0.01 * f64::from(u32::try_from(n).unwrap());
            let reading = Reading {
                specimen: code.clone(),
                quantity: Quantity::Mass,
                occasion: Occasion::Before,
                repeat,
                state: MoistureState::Conditioned,
                value: value + 0.001 * f64::from(repeat),
                typed: AsTyped {
                    text: value.to_string(),
                    unit: Unit::Gram,
                },
                instrument: balance,
                is_confirmed_doubt: false,
            };
            say(server, "ada", Entry::ReadingTaken { reading }).await;
        }
    }
}

/// A study with its plan of 12 exposed, 6 baseline and 4 spare pieces.
async fn planned(server: &TestServer) -> Person {
    let ada = opened(server, "ada").await;
    plan_sheet(&ada)
        .await
        .send(&ada, PLAN)
        .await
        .redirects_to(PLAN);
    ada
}

async fn drawn(server: &TestServer) -> Person {
    let ada = planned(server).await;
    let codes = make(server, 22).await;
    weigh(server, &codes).await;
    let page = ada.open(ALLOCATION).await;
    let form = Sheet::of(page.ok(), &format!("form[action='{ALLOCATION}']"));
    form.send(&ada, ALLOCATION).await.redirects_to(ALLOCATION);
    ada
}

async fn sealed(server: &TestServer) -> Person {
    let ada = drawn(server).await;
    let page = ada.open(SEAL).await;
    let form = Sheet::of(page.ok(), &format!("form[action='{SEAL}']"));
    let form = form.with("confirmed", "yes");
    form.send(&ada, SEAL).await.redirects_to(SEAL);
    ada
}

#[tokio::test]
async fn the_allocation_is_drawn_once_and_again_only_with_a_reason() {
    let server = TestServer::start().await;
    let ada = planned(&server).await;
    assert!(
        ada.open(ALLOCATION)
            .await
            .ok()
            .body()
            .contains("Register the pieces first")
    );
    make(&server, 17).await;
    let page = ada.open(ALLOCATION).await;
    let form = Sheet::of(&page, &format!("form[action='{ALLOCATION}']"));
    let few = form.send(&ada, ALLOCATION).await;
    assert!(
        few.refused()
            .body()
            .contains("needs 18 pieces, but only 17")
    );

    let server = TestServer::start().await;
    let ada = drawn(&server).await;
    let study = record(&server).await;
    let first = study.draws[0].drawn.clone();
    let page = ada.open(ALLOCATION).await;
    assert_eq!(page.texts("section").len(), 1);
    let groups = page.texts("section:first-of-type table:first-of-type tbody tr th");
    assert_eq!(
        groups[..4],
        [
            "baseline set",
            "indoors, 365 days",
            "rain barrel, 365 days",
            "spares"
        ]
    );
    assert!(page.body().contains(&first.seed));
    assert!(page.body().contains("The table below gives the same list."));
    // A stranger repeats it from what the page shows.
    let seed = allocation::seed_from_hex(&first.seed).unwrap();
    let again = allocation::draw(&study.plans[0].plan, &allocation::candidates(&study), &seed);
    assert_eq!(again.unwrap(), first.rows);
    for build in ["shot 1", "shot 2"] {
        let baseline = first.rows.iter().filter(|row| row.place == Place::Baseline);
        let own = baseline.filter(|row| study.specimen(&row.specimen).unwrap().build == build);
        assert_eq!(own.count(), 3, "half of the baseline set is of {build}");
    }

    let form = Sheet::of(&page, &format!("form[action='{ALLOCATION}']"));
    assert!(
        !form
            .send(&ada, ALLOCATION)
            .await
            .refused()
            .fault("reason")
            .is_empty()
    );
    let form = form.with("reason", "A piece was dropped.");
    for _ in 0..2 {
        form.send(&ada, ALLOCATION).await.redirects_to(ALLOCATION);
    }
    let study = record(&server).await;
    assert_eq!(study.draws.len(), 2, "sent twice, drawn once");
    assert_ne!(study.draws[1].drawn.seed, first.seed);
    let page = ada.open(ALLOCATION).await;
    assert_eq!(page.texts("section").len(), 2);
    assert!(page.body().contains(&first.seed), "both stay visible");
    assert!(page.body().contains("A piece was dropped."));
}

#[tokio::test]
async fn the_seal_waits_for_the_allocation_and_freezes_both() {
    let server = TestServer::start().await;
    let ada = planned(&server).await;
    let page = ada.open(SEAL).await;
    assert!(page.ok().body().contains("Draw the allocation first"));
    assert!(page.texts(&format!("form[action='{SEAL}']")).is_empty());
    let early = ada
        .submit(SEAL, &[("confirmed", "yes"), ("version", "1")])
        .await;
    early.refused();
    server.stranger().open(FILE).await.is(404);

    let server = TestServer::start().await;
    let ada = drawn(&server).await;
    let form = Sheet::of(&ada.open(SEAL).await, &format!("form[action='{SEAL}']"));
    let unread = form.send(&ada, SEAL).await;
    assert!(unread.refused().body().contains("Read the plan"));
    ada.open(FILE).await.is(404);
    // The plan is written again meanwhile: neither the form's hash nor the draw fits any more.
    let plan = Sheet::of(&ada.open(PLAN).await, "form.plan").with("margin", "12");
    let plan = plan.with("margin_reason", "Twice as strong as it need be.");
    plan.send(&ada, PLAN).await.redirects_to(PLAN);
    let stale = form.with("confirmed", "yes").send(&ada, SEAL).await;
    assert!(stale.refused().body().contains("written again"));
    assert!(stale.body().contains("Draw it for the plan as it is now"));
    assert!(record(&server).await.seal.is_none());
}

#[tokio::test]
async fn the_sealed_file_has_the_hash_of_the_seal_and_its_line_finds_the_entry() {
    let server = TestServer::start().await;
    let ada = sealed(&server).await;
    let study = record(&server).await;
    let seal = study.seal.clone().unwrap();
    let file = ada.open(FILE).await;
    assert_eq!(sha256_hex(&file.ok().bytes), seal.sha256);
    assert_eq!(file.header("content-type"), "application/json");
    server.stranger().open(FILE).await.is(404);
    let page = ada.open(SEAL).await;
    let line = page.text("#line");
    assert!(line.contains(&seal.entry_hash) && line.ends_with(&seal.sha256));
    let witness = overwinter::store::verify::Witness::find_all(&line);
    assert_eq!(witness[0].hash, seal.entry_hash);
    assert_eq!(u64::try_from(witness[0].seq).unwrap(), study.entries);
    assert!(page.body().contains("nowhere yet"));

    let posting = "/desk/fleece-pegs/witness";
    let form = Sheet::of(&page, &format!("form[action='{posting}']"));
    assert!(
        !form
            .send(&ada, posting)
            .await
            .refused()
            .fault("place")
            .is_empty()
    );
    let form = form.with("place", "mail to my sister, 1 March 2026");
    for _ in 0..2 {
        form.send(&ada, posting).await.redirects_to(SEAL);
    }
    assert_eq!(record(&server).await.witnesses.len(), 1);
    assert!(ada.open(SEAL).await.body().contains("mail to my sister"));

    let form = Sheet::of(
        &ada.open("/desk/fleece-pegs").await,
        "form[action$='make-public']",
    );
    form.send(&ada, "/desk/fleece-pegs/make-public")
        .await
        .is(303);
    let public = server.stranger().open(FILE).await;
    assert_eq!(public.ok().bytes, file.bytes);
}

#[tokio::test]
async fn after_the_seal_the_plan_is_amended_with_a_reason_and_nothing_is_drawn() {
    let server = TestServer::start().await;
    let ada = sealed(&server).await;
    assert!(
        ada.open(ALLOCATION)
            .await
            .body()
            .contains("The plan is sealed")
    );
    let draw = ada.submit(ALLOCATION, &[("reason", "again")]).await;
    assert!(draw.refused().body().contains("sealed"));
    let sheet = Sheet::of(&ada.open(PLAN).await, "form.plan");
    let sheet = sheet.with_row("condition_place", 1, "hung 20 cm deep");
    assert!(
        !sheet
            .send(&ada, PLAN)
            .await
            .refused()
            .fault("reason")
            .is_empty()
    );
    let sheet = sheet.with("reason", "The barrel leaked.");
    sheet.send(&ada, PLAN).await.redirects_to(PLAN);
    let page = ada.open(PLAN).await;
    assert!(page.body().contains("The barrel leaked."));
    assert_eq!(page.text("tbody th[scope=row]:not(td)").len().min(1), 1);
    assert!(page.body().contains("condition “rain barrel”: place"));
    let study = record(&server).await;
    assert_eq!(study.amendments().count(), 1);
    assert_eq!(study.seal.as_ref().unwrap().plan_version, 1);
    let file = ada.open(FILE).await;
    assert_eq!(sha256_hex(&file.bytes), study.seal.as_ref().unwrap().sha256);
    // What pieces stand in cannot be taken away.
    let sheet = Sheet::of(&page, "form.plan").with("reason", "x");
    let sheet = sheet.with_row("condition_holders", 1, "by the shed");
    let sheet = sheet.with("few_holders_reason", "x");
    let refused = sheet.send(&ada, PLAN).await;
    assert!(
        refused
            .refused()
            .body()
            .contains("cannot be removed any more")
    );
}

#[tokio::test]
async fn a_study_entered_after_the_fact_reports_who_was_where() {
    let server = TestServer::start().await;
    let ada = opened_with(&server, "ada", &[("after_the_fact", "yes")]).await;
    plan_sheet(&ada)
        .await
        .send(&ada, PLAN)
        .await
        .redirects_to(PLAN);
    let codes = make(&server, 6).await;
    let page = ada.open(ALLOCATION).await;
    let form = Sheet::of(page.ok(), &format!("form[action='{GROUPING}']"));
    assert!(form.value("rows").starts_with(codes[0].as_str()));
    let lines = format!(
        "{}, baseline\n{}; Rain Barrel; 365 d; by the gate\n{}\tlate reference\n{}, rain barrel, 30, by the gate\n\
         {}, moon\n{}, baseline\n{}, rain barrel, 365, roof\nXX, baseline\n{}, spare\n",
        codes[0], codes[1], codes[2], codes[3], codes[4], codes[0], codes[5], codes[4]
    );
    let faulty = form.clone().with("rows", &lines).send(&ada, GROUPING).await;
    let said = faulty.refused().fault("rows");
    for line in ["Line 4: ", "Line 5: ", "Line 6: ", "Line 7: ", "Line 8: "] {
        assert!(said.contains(line), "{line} in {said}");
    }
    for line in ["Line 1: ", "Line 2: ", "Line 3: ", "Line 9: "] {
        assert!(!said.contains(line), "{line} in {said}");
    }
    assert_eq!(
        Sheet::of(&faulty, &format!("form[action='{GROUPING}']")).value("rows"),
        lines
    );
    let lines: String = lines
        .lines()
        .take(3)
        .map(|line| format!("{line}\n"))
        .collect();
    let form = form.with("rows", &lines);
    form.send(&ada, GROUPING).await.redirects_to(ALLOCATION);
    let study = record(&server).await;
    let place = |code: &Code| study.specimen(code).unwrap().place.clone();
    assert_eq!(place(&codes[0]), Some(Place::Baseline));
    assert_eq!(place(&codes[2]), Some(Place::LateReference));
    let exposed = Place::Exposed {
        condition: "c2".to_owned(),
        stage_days: 365,
        holder: "c2h2".to_owned(),
    };
    assert_eq!(place(&codes[1]), Some(exposed));
    assert_eq!(place(&codes[3]), None);
    let page = ada.open(ALLOCATION).await;
    assert!(page.body().contains("not drawn by lot"));
    let draw = ada.submit(ALLOCATION, &[]).await;
    assert!(draw.refused().body().contains("reported, not drawn"));
    // It may be sealed without a draw; the page says what that seal is worth.
    let form = Sheet::of(&ada.open(SEAL).await, &format!("form[action='{SEAL}']"));
    let form = form.with("confirmed", "yes");
    form.send(&ada, SEAL).await.redirects_to(SEAL);
}

#[tokio::test]
async fn a_study_that_is_drawn_takes_no_report() {
    let server = TestServer::start().await;
    let ada = drawn(&server).await;
    let code = record(&server).await.specimens[0].code.clone();
    let lines = format!("{code}, baseline");
    let shown = ada.submit(GROUPING, &[("rows", &lines)]).await;
    assert!(
        shown
            .refused()
            .body()
            .contains("Only a study entered after the fact")
    );
}

#[tokio::test]
async fn stewards_are_invited_by_name_and_the_last_one_stays() {
    let server = TestServer::start().await;
    let ada = opened(&server, "ada").await;
    let bob = server.steward("bob").await;
    let stewards = "/desk/fleece-pegs/stewards";
    let remove = "/desk/fleece-pegs/stewards/remove";
    let page = ada.open(stewards).await;
    assert!(page.ok().body().contains("the last one cannot leave"));
    let own = server
        .app
        .store
        .find_account("ada")
        .await
        .unwrap()
        .unwrap()
        .id
        .to_string();
    let last = ada.submit(remove, &[("account", &own)]).await;
    assert!(
        last.refused()
            .body()
            .contains("The last steward cannot leave")
    );
    let form = Sheet::of(&page, &format!("form[action='{stewards}']"));
    for (name, words) in [
        ("", "missing"),
        ("nobody", "Nobody signs in"),
        ("ada", "already"),
        ("a\0b", ""),
    ] {
        let shown = form.clone().with("name", name).send(&ada, stewards).await;
        assert!(shown.refused().fault("name").contains(words), "{name:?}");
    }
    bob.open("/desk/fleece-pegs").await.is(404);
    let form = form.with("name", "Bob");
    for _ in 0..2 {
        form.send(&ada, stewards).await.redirects_to(stewards);
    }
    bob.open("/desk/fleece-pegs").await.ok();
    let page = bob.open(stewards).await;
    assert_eq!(page.texts(".person").len(), 2);
    let leave = Sheet::of(&page, &format!("form[action='{remove}']"));
    let leave = leave.with("account", &own);
    leave.send(&bob, remove).await.redirects_to(stewards);
    ada.open("/desk/fleece-pegs").await.is(404);
    ada.submit(remove, &[("account", "x")]).await.is(404);
    bob.submit(remove, &[("account", "x")]).await.refused();
}
