//! The tester's part, through the lab link and nothing else.

use super::Job;
use crate::house::{ChildServer, Sheet, Visit};
use std::collections::BTreeMap;

/// The piece whose load is first typed with two digits changed round.
const SLIP: (f64, &str) = (9.84, "9.48");

/// From the box to the receipt, whose text is given back.
pub async fn works(
    server: &ChildServer,
    link: &str,
    key: &BTreeMap<String, String>,
    job: &Job,
) -> String {
    let mut visit = Visit::begin(server.stranger(), &server.base, link).await;
    let home = visit.path().to_owned();
    assert!(
        !visit.page().texts(".cautions").is_empty(),
        "cautions first"
    );
    visit.follow("Tick off").await;
    visit
        .send("main form", |form| form.with("act", "all_whole"))
        .await
        .done();
    visit.follow("Set up the session").await;
    visit.send("main form", set_up).await.done();

    let listed = visit.page().texts(".row-head .code");
    let mut order = Vec::new();
    while let Some(blind) = next(&visit) {
        let load = job.loads[&key[&blind]];
        let typed = if load == SLIP.0 {
            SLIP.1.to_owned()
        } else {
            load.to_string()
        };
        breaks(&mut visit, &blind, &typed).await;
        order.push(blind);
    }
    assert_eq!(order, listed, "each row in its turn");
    visit.go(&home).await;
    corrects(&mut visit, key, job).await;
    adds_the_closing_check(&mut visit, &home).await;
    finishes(&mut visit, &order).await;
    visit.page().ok();
    let told = visit.page().texts("tbody tr").join("\n");
    assert!(told.contains("replaced: 9.48 N"), "{told}");
    visit.follow("Save as a text file").await;
    let receipt = visit.page().ok().body();
    nothing_leaks(&[&receipt], job);
    receipt
}

fn set_up(form: Sheet) -> Sheet {
    form.with("machine", "column rig, 500 N cell")
        .with("fixture", "slotted plate")
        .with("speed", "10")
        .with("room", "21,5")
        .with("humidity", "48")
        .with("unit", "N")
        .with("check", "10")
        .with("opening", "10.01")
}

/// The first piece that has a form still.
fn next(visit: &Visit) -> Option<String> {
    let forms = visit.page().texts("li.row form .away");
    forms.into_iter().next()
}

/// Types a row; a load that is asked about is confirmed.
async fn breaks(visit: &mut Visit, blind: &str, load: &str) {
    let row = format!("form[action$='/tests/{blind}']");
    visit
        .send(&row, |form| form.with("load", load).with("mode", "break"))
        .await;
    if visit.page().status.as_u16() == 422 {
        let asked = visit.page().texts(&format!("#row-{blind} .ask .fault"));
        assert_eq!(asked.len(), 1, "{}", visit.page().body());
        visit.send(&row, |form| form.and("confirmed", "yes")).await;
    }
    visit.done();
}

async fn corrects(visit: &mut Visit, key: &BTreeMap<String, String>, job: &Job) {
    let is_slip = |(_, code): &(&String, &String)| job.loads[*code] == SLIP.0;
    let (blind, _) = key.iter().find(is_slip).expect("the piece is there");
    visit.follow(&format!("Correct {blind}")).await;
    let right = SLIP.0.to_string();
    visit
        .send("main form", |form| form.with("load", &right))
        .await;
    visit.page().refused();
    visit
        .send("main form", |form| {
            form.with("reason", "two digits changed round")
        })
        .await
        .done();
}

async fn adds_the_closing_check(visit: &mut Visit, home: &str) {
    visit.go(home).await.follow("add the closing check").await;
    visit
        .send("main form", |form| form.with("closing", "9.99"))
        .await
        .done();
}

/// The guesses are asked for; then it is declared finished.
async fn finishes(visit: &mut Visit, order: &[String]) {
    visit.follow("Finish").await;
    visit
        .send("main form", |form| form.with("act", "finish"))
        .await;
    visit.page().refused();
    visit
        .send("main form", |form| {
            let guess = |form: Sheet, (at, blind): (usize, &String)| {
                let looks = ["indoors", "exposed", "cannot_tell"][at % 3];
                form.with(&format!("looks-{blind}"), looks)
            };
            order
                .iter()
                .enumerate()
                .fold(form, guess)
                .with("act", "finish")
        })
        .await
        .done();
    assert!(visit.path().ends_with("/receipt"), "{}", visit.path());
}

/// What the tester holds names no condition and none of the steward's codes.
fn nothing_leaks(texts: &[&str], job: &Job) {
    for text in texts {
        let words = job.places.keys().map(String::as_str);
        for word in words.chain(super::example::CONDITIONS) {
            assert!(!text.contains(word), "{word} reached the tester");
        }
    }
}
