//! The steward's measuring rounds.

use super::Job;
use super::steward::desk;
use crate::house::Visit;

/// Masses, then widths: one with a decimal comma, one doubtful and then corrected, one left out.
pub async fn measures(visit: &mut Visit, job: &mut Job) {
    begins_a_round(visit, "mass").await;
    let mut masses = Vec::new();
    while let Some(code) = due(visit) {
        let value = match masses.len() {
            3 => "8,43".to_owned(),
            n => format!("8.{}", 38 + n % 7),
        };
        if masses.len() == 5 {
            types_a_slip_and_corrects_it(visit, &code).await;
        } else {
            reads(visit, &value).await.done();
        }
        masses.push(code);
    }
    assert_eq!(
        masses.len(),
        job.example.pieces(),
        "the rejected piece is not asked for"
    );

    begins_a_round(visit, "width").await;
    job.unread = masses[7].clone();
    let mut widths = Vec::new();
    while let Some(code) = due(visit).filter(|code| !widths.contains(code)) {
        if code == job.unread {
            visit.follow(&format!("Skip {code}")).await;
        } else {
            reads(visit, &format!("9.0{}", widths.len() % 5))
                .await
                .done();
        }
        widths.push(code);
    }
    assert_eq!(widths.len(), job.example.pieces());
}

async fn begins_a_round(visit: &mut Visit, quantity: &str) {
    visit.go(&desk("round")).await.follow(quantity).await;
    visit.send("main form", |form| form).await.done();
}

/// The piece that the round asks for; `None` when every piece has its readings.
fn due(visit: &Visit) -> Option<String> {
    let code = visit.page().attribute("#f-code", "value");
    (!code.is_empty()).then_some(code)
}

async fn reads<'v>(visit: &'v mut Visit, value: &str) -> &'v mut Visit {
    visit
        .send("form[data-round]", |form| form.with("value", value))
        .await
}

/// A point in the wrong place is asked about once, kept as confirmed, and corrected with a reason.
async fn types_a_slip_and_corrects_it(visit: &mut Visit, code: &str) {
    reads(visit, "84.1").await;
    let asked = visit.page().refused().text("#e-confirmed");
    assert!(asked.contains("10 times"), "{asked}");
    visit
        .send("form[data-round]", |form| form.with("confirmed", "yes"))
        .await
        .done();
    visit.follow(&format!("Correct {code}")).await;
    visit
        .send("main form", |form| form.with("value", "8.41"))
        .await;
    visit.page().refused().fault("reason");
    visit
        .send("main form", |form| {
            form.with("reason", "the point was typed one place too far right")
        })
        .await
        .done();
    let told = visit.page().texts(".history li").join("\n");
    for words in [
        "84.1 g",
        "8.41 g",
        "asked about, confirmed",
        "one place too far right",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    begins_a_round(visit, "mass").await;
}

pub async fn measures_again(visit: &mut Visit, job: &Job) {
    for (quantity, value) in [("mass", "8.41"), ("width", "9.02")] {
        begins_a_round(visit, quantity).await;
        let mut done = 0;
        while due(visit).is_some() {
            reads(visit, value).await.done();
            done += 1;
        }
        assert_eq!(done, job.example.pieces(), "{quantity}");
    }
}
