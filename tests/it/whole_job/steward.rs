//! The steward's part, page by page.

use super::example::{CONDITIONS, Example};
use super::{Job, SLUG};
use crate::house::{Sheet, Visit};
use std::collections::BTreeMap;

pub fn desk(page: &str) -> String {
    format!("/desk/{SLUG}/{page}")
}

pub async fn opens_and_plans(visit: &mut Visit, example: &Example) {
    visit.follow("Open a new study").await;
    visit
        .send("main form", |form| {
            form.with("title", "Shelf clips").with("time_zone", "UTC")
        })
        .await
        .done();
    assert_eq!(visit.path(), format!("/desk/{SLUG}"));
    visit.follow("Plan").await;
    visit.send("form.plan", |form| plan(form, example)).await;
    assert!(
        visit
            .page()
            .refused()
            .fault("few_holders_reason")
            .contains("three holders"),
        "one holder a condition needs its reason"
    );
    visit
        .send("form.plan", |form| {
            form.with("few_holders_reason", "A published example without holders.")
        })
        .await
        .done();
    assert_eq!(visit.path(), desk("plan"));
}

fn plan(form: Sheet, example: &Example) -> Sheet {
    let mut form = form
        .with(
            "question",
            "Do the clips carry less after a day in the wet?",
        )
        .with("material", "a made-up moulded blend")
        .with("lots", "sack 1")
        .with("builds", "shot 1\nshot 2")
        .with("piece_name", "clip")
        .with("loading_direction", "pulled at the lip")
        .with("fixture", "held in a slotted plate")
        .with("mass_readings", "1")
        .with("drying", "none")
        .with("mass_nominal", "8,4")
        .with_row("dimension_name", 0, "width")
        .with_row("dimension_places", 0, "1")
        .with_row("dimension_nominal", 0, "9")
        .with_row("stage_days", 0, "1")
        .with_row("stage_window", 0, "1")
        .with("baseline", "0")
        .with("spares", "0")
        .without("compares_storage_with_baseline")
        .without("compares_exposed_with_baseline")
        .with("spreads", "pooled");
    let places = ["indoor", "indoor", "fresh_water"];
    for (row, loads) in example.loads.iter().enumerate() {
        form = form
            .with_row("condition_name", row, CONDITIONS[row])
            .with_row("condition_environment", row, places[row])
            .with_row("condition_holders", row, "1")
            .with_row("condition_replicates", row, &loads.len().to_string());
    }
    form
}

pub async fn adds_instruments(visit: &mut Visit) {
    for (name, dimension, step, unit) in [
        ("bench balance", "mass", "0.01", "g"),
        ("blue calliper", "length", "0.01", "mm"),
    ] {
        visit.go(&desk("instruments")).await;
        visit
            .send("main form", |form| {
                form.with("name", name)
                    .with("dimension", dimension)
                    .with("readability", step)
                    .with("unit", unit)
            })
            .await
            .done();
        assert!(visit.page().texts("tbody th").contains(&name.to_owned()));
    }
}

/// Registers one piece more than the plan needs, and rejects that one for a defect.
pub async fn registers(visit: &mut Visit, job: &Job) {
    for (build, count) in [("shot 1", 8), ("shot 2", job.example.pieces() + 1 - 8)] {
        visit
            .go(&desk("specimens"))
            .await
            .follow("Register a batch")
            .await;
        visit
            .send("main form", |form| {
                form.with("build", build)
                    .with("count", &count.to_string())
                    .with("first", "1")
            })
            .await
            .done();
    }
    let codes = codes(visit);
    assert_eq!(codes.len(), job.example.pieces() + 1);
    let flawed = codes.last().expect("a piece").clone();
    visit.follow(&flawed).await;
    let reject = format!("form[action$='/{flawed}/reject']");
    visit.send(&reject, |form| form).await;
    visit.page().refused().fault("reason");
    visit
        .send(&reject, |form| form.with("reason", "the lip is not filled"))
        .await
        .done();
}

/// The codes on the page of the specimens.
fn codes(visit: &Visit) -> Vec<String> {
    visit.page().texts("tbody th a.code")
}

pub async fn allocates(visit: &mut Visit, job: &mut Job) {
    visit.go(&desk("allocation")).await;
    visit.send("main form", |form| form).await.done();
    visit.go(&desk("specimens")).await;
    let places = visit.page().texts("tbody td.words");
    job.places = codes(visit).into_iter().zip(places).collect();
    for (condition, loads) in CONDITIONS.iter().zip(&job.example.loads) {
        let inside = job
            .places
            .iter()
            .filter(|(_, place)| place.contains(condition));
        let codes: Vec<&String> = inside.map(|(code, _)| code).collect();
        assert_eq!(codes.len(), loads.len(), "{condition}: {:?}", job.places);
        let pairs = codes.into_iter().cloned().zip(loads.iter().copied());
        job.loads.extend(pairs);
    }
    assert_eq!(
        job.loads.len(),
        job.example.pieces(),
        "no piece twice, none over"
    );
}

/// Seals, notes a witness, and keeps the line of the seal.
pub async fn seals(visit: &mut Visit) -> String {
    visit.go(&desk("seal")).await;
    let seal = "form[action$='/seal']";
    visit.send(seal, |form| form).await;
    visit.page().refused().fault("confirmed");
    visit
        .send(seal, |form| form.with("confirmed", "yes"))
        .await
        .done();
    let line = visit.page().text(".witness");
    assert!(line.starts_with("overwinter journal "), "{line}");
    visit
        .send("form[action$='/witness']", |form| {
            form.with("place", "a printed line on the society's notice board")
        })
        .await
        .done();
    line
}

pub async fn makes_public(visit: &mut Visit) {
    visit.go(&format!("/desk/{SLUG}")).await;
    visit
        .send("form[action$='/make-public']", |form| form)
        .await
        .done();
    assert_eq!(visit.page().text(".tag"), "public");
}

/// First with the piece that nobody measured, which is refused; then with its waiver, but on a date
/// that is asked about; then as it was.
pub async fn puts_out(visit: &mut Visit, job: &Job) {
    let out = "form[action$='/exposure/out']";
    visit.go(&desk("exposure")).await.follow("Put out").await;
    visit.send(out, |form| form.and("piece", &job.unread)).await;
    let held = visit.page().refused().text("#e-piece");
    assert!(held.contains("cannot go out yet: width"), "{held}");

    visit.follow("waive with a reason").await;
    visit
        .send("form[action$='/waive']", |form| {
            form.and("piece", &job.unread)
        })
        .await;
    visit.page().refused().fault("reason");
    visit
        .send("form[action$='/waive']", |form| {
            form.with("reason", "the calliper's battery was flat")
        })
        .await
        .done();

    visit.go(&desk("exposure/out")).await;
    let everything = visit.page().clone();
    let today = Sheet::of(&everything, out).value("at").to_owned();
    visit
        .send(out, |form| {
            let all = ["c1", "c2", "c3"].map(|key| format!("condition:{key}"));
            let form = all.iter().fold(form, |form, key| form.and("all", key));
            form.with("at", "2020-01-31")
        })
        .await;
    let asked = visit.page().refused().text("#e-confirmed");
    assert!(asked.contains("before the plan was sealed"), "{asked}");
    visit.send(out, |form| form.with("at", &today)).await.done();
    assert_eq!(
        visit.page().texts("table tbody th a").len(),
        CONDITIONS.len()
    );
}

pub async fn takes_in(visit: &mut Visit, job: &Job) {
    visit.go(&desk("exposure")).await.follow("Take in").await;
    visit.follow("1 days, all conditions").await;
    assert_eq!(visit.page().texts(".picks li").len(), job.example.pieces());
    visit
        .send("form[action$='/exposure/in']", |form| form)
        .await
        .done();
    assert!(visit.page().body().contains("Nothing is out."));
}

/// Packs the stage; gives the tester's link, and the key by blind code.
pub async fn consigns(visit: &mut Visit, job: &Job) -> (String, BTreeMap<String, String>) {
    visit
        .go(&desk("consignments"))
        .await
        .follow("Pack a consignment")
        .await;
    visit.follow("stage of 1 days").await;
    visit
        .send("main form", |form| {
            form.with("lab", "Harbour lab").with("label", "removed")
        })
        .await
        .done();
    let home = visit.path().to_owned();
    for (state, note) in [("handed_over", "parcel post"), ("received", "")] {
        visit
            .send("form[action$='/parcel']", |form| {
                form.with("state", state).with("note", note)
            })
            .await
            .done();
    }
    visit.follow("Key for sticking").await;
    let own = visit.page().texts("tbody th.code");
    let blind = visit.page().texts("tbody td.code");
    assert_eq!(own.len(), job.example.pieces());
    let key = blind.into_iter().zip(own).collect();
    visit.go(&home).await.follow("Packing list").await;
    for code in job.loads.keys() {
        assert!(
            !visit.page().body().contains(code),
            "{code} travels with the parcel"
        );
    }
    visit.go(&home).await;
    visit
        .send("form[action$='/links']", |form| form.with("days", "30"))
        .await
        .done();
    (visit.page().text("#f-link"), key)
}

/// The consignment's page: the only one in the list.
async fn consignment(visit: &mut Visit) {
    visit
        .go(&desk("consignments"))
        .await
        .follow("Harbour lab")
        .await;
}

/// Before unblinding there are counts and no value.
pub async fn sees_counts_only(visit: &mut Visit, job: &Job) {
    consignment(visit).await;
    let blind = visit.page().clone();
    visit.go(&desk("analysis")).await;
    for page in [&blind, visit.page()] {
        for load in job.loads.values() {
            assert!(
                !page.ok().body().contains(&load.to_string()),
                "{load} shows"
            );
        }
    }
}

pub async fn unblinds_and_publishes(visit: &mut Visit, job: &Job) {
    consignment(visit).await;
    visit.follow("Unblind").await;
    visit
        .send("form[action$='/unblind']", |form| form)
        .await
        .done();
    let shown = visit.page().texts("tbody td.n");
    for load in job.loads.values() {
        assert!(
            shown.contains(&load.to_string()),
            "{load} is not in {shown:?}"
        );
    }
    visit.go(&desk("analysis")).await;
    assert_eq!(
        visit.page().texts("p.verdict").len(),
        2,
        "one for each condition"
    );
    visit.follow("Publish").await;
    visit
        .send("form[action$='/editions']", |form| {
            form.and("licence", "CC0-1.0")
        })
        .await
        .done();
    visit.follow("Edition 1").await;
    assert_eq!(visit.path(), format!("/studies/{SLUG}/editions/1/"));
}
