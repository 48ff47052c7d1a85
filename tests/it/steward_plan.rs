//! The steward's way from opening a study to its seal, over HTTP.

use overwinter::commands::demo;
use overwinter::study::plan::{Holder, Plan, check};
use overwinter::study::record::StudyRecord;
use std::sync::Arc;

use crate::house::{Person, Sheet, TestServer};

/// The hidden id of the entry that a page's form would write.
pub fn entry_of(page: &crate::house::Shown) -> String {
    page.attribute("input[name=entry]", "value")
}

pub async fn record(server: &TestServer) -> Arc<StudyRecord> {
    let found = server.app.store.study_record("fleece-pegs").await;
    found.expect("it is read").expect("it is there")
}

/// A steward with a study of this title, just opened.
pub async fn opened(server: &TestServer, name: &str) -> Person {
    opened_with(server, name, &[]).await
}

/// The same, with more fields in the form.
pub async fn opened_with(server: &TestServer, name: &str, more: &[(&str, &str)]) -> Person {
    let steward = server.steward(name).await;
    let page = steward.open("/desk/new").await;
    let form = Sheet::of(page.ok(), "form[action='/desk/new']")
        .with("title", "Fleece pegs")
        .with("time_zone", "europe/oslo");
    let form = more
        .iter()
        .fold(form, |form, (name, value)| form.with(name, value));
    let sent = form.send(&steward, "/desk/new").await;
    sent.redirects_to("/desk/fleece-pegs");
    steward
}

#[tokio::test]
async fn a_study_is_opened_once_however_often_it_is_sent_and_leads_to_its_plan() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    assert_eq!(ada.open("/").await.attribute("main a", "href"), "/desk");
    let desk = ada.open("/desk").await;
    assert_eq!(desk.ok().attribute("main a.button", "href"), "/desk/new");
    let entry = entry_of(&ada.open("/desk/new").await);
    let fields = [
        ("entry", entry.as_str()),
        ("title", "Fleece pegs"),
        ("time_zone", "UTC"),
    ];
    for _ in 0..2 {
        let sent = ada.submit("/desk/new", &fields).await;
        sent.redirects_to("/desk/fleece-pegs");
    }
    assert_eq!(ada.open("/desk").await.texts(".list li").len(), 1);
    let study = ada.open("/desk/fleece-pegs").await;
    let next = study.ok().attribute(".next a.button", "href");
    assert_eq!(next, "/desk/fleece-pegs/plan");
    assert!(study.texts(".steps .done").is_empty());
}

#[tokio::test]
async fn what_is_wrong_about_a_new_study_stands_beside_its_field() {
    let server = TestServer::start().await;
    let ada = opened(&server, "ada").await;
    let again = [("title", "Fleece pegs"), ("time_zone", "UTC")];
    let taken = ada.submit("/desk/new", &again).await;
    assert!(taken.refused().fault("slug").contains("Another study"));
    for (field, value) in [
        ("title", "a\0b"),
        ("slug", "new"),
        ("slug", "a/b"),
        ("time_zone", "Middle Earth"),
        ("title", ""),
    ] {
        let mut fields = vec![("title", "Pegs"), ("slug", "pegs"), ("time_zone", "UTC")];
        fields.retain(|(name, _)| *name != field);
        fields.push((field, value));
        fields.push((field, "second"));
        let shown = ada.submit("/desk/new", &fields).await;
        assert!(!shown.refused().fault(field).is_empty());
        let focus = shown.attribute("[autofocus]", "name");
        assert_eq!(focus, field);
    }
    let bob = server.steward("bob").await;
    bob.open("/desk/fleece-pegs").await.is(404);
    let entry = entry_of(&bob.open("/desk/new").await);
    let fields = [
        ("entry", entry.as_str()),
        ("title", "Fleece pegs"),
        ("time_zone", "UTC"),
    ];
    bob.submit("/desk/new", &fields).await.refused();
}

#[tokio::test]
async fn a_study_is_private_until_it_is_opened_and_can_be_closed() {
    let server = TestServer::start().await;
    let ada = opened(&server, "ada").await;
    let page = ada.open("/desk/fleece-pegs").await;
    assert_eq!(page.text(".tag"), "private");
    let entry = entry_of(&page);
    ada.submit("/desk/fleece-pegs/make-public", &[("entry", &entry)])
        .await
        .redirects_to("/desk/fleece-pegs");
    let page = ada.open("/desk/fleece-pegs").await;
    assert_eq!(page.text(".tag"), "public");
    let home = server.stranger().open("/").await;
    assert!(home.body().contains("/studies/fleece-pegs"));
    let entry = entry_of(&page);
    ada.submit("/desk/fleece-pegs/make-private", &[("entry", &entry)])
        .await
        .redirects_to("/desk/fleece-pegs");
    let home = server.stranger().open("/").await;
    assert!(!home.body().contains("/studies/fleece-pegs"));
}

const PLAN: &str = "/desk/fleece-pegs/plan";

/// The plan's form with the least that must be typed, and a second condition.
pub async fn plan_sheet(ada: &Person) -> Sheet {
    let page = ada.open(PLAN).await;
    let sheet = Sheet::of(page.ok(), "form.plan")
        .with("question", "Do the pegs hold?")
        .with("material", "starch-filled biopolyester")
        .with("lots", "bag 1\nbag 2")
        .with("builds", "shot 1\nshot 2")
        .with("piece_name", "peg")
        .with("loading_direction", "pulled at the head")
        .with("fixture", "oak jaws");
    sheet
        .with_row("condition_name", 1, "rain barrel")
        .with_row("condition_environment", 1, "fresh_water")
        .with_row(
            "condition_holders",
            1,
            "by the shed; by the gate; in the yard",
        )
        .with_row("condition_replicates", 1, "6")
}

#[tokio::test]
async fn a_plan_is_checked_without_being_saved_then_saved_and_written_again() {
    let server = TestServer::start().await;
    let ada = opened(&server, "ada").await;
    let sheet = plan_sheet(&ada).await;
    let checked = sheet.clone().with("act", "check").send(&ada, PLAN).await;
    // 2 conditions × 6 × 1 stage + 6 baseline + 4 spares.
    let count = "22 pieces: 12 in conditions, 6 baseline, 4 spare";
    assert_eq!(checked.ok().text("#pieces"), count);
    let seen = checked.text("#count");
    assert!(seen.contains("What this design can see"), "{seen}");
    assert!(record(&server).await.plans.is_empty());
    let again = Sheet::of(&checked, "form.plan");
    assert_eq!(again.value("question"), "Do the pegs hold?");

    for _ in 0..2 {
        sheet.send(&ada, PLAN).await.redirects_to(PLAN);
    }
    let record = record(&server).await;
    assert_eq!(record.plans.len(), 1, "sent twice, saved once");
    let page = ada.open(PLAN).await;
    let unchanged = Sheet::of(&page, "form.plan").send(&ada, PLAN).await;
    assert!(unchanged.refused().body().contains("Nothing differs"));
    let second = Sheet::of(&page, "form.plan").with("spares", "5");
    second.send(&ada, PLAN).await.redirects_to(PLAN);
    let stale = Sheet::of(&page, "form.plan")
        .with("entry", "")
        .with("spares", "9");
    let stale = stale.send(&ada, PLAN).await;
    assert!(
        stale
            .refused()
            .body()
            .contains("written again while this page was open")
    );
    let newest = Sheet::of(&stale, "form.plan");
    assert_eq!(
        (newest.value("spares"), newest.value("version")),
        ("9", "2")
    );
    newest.send(&ada, PLAN).await.redirects_to(PLAN);
    let study = ada.open("/desk/fleece-pegs").await;
    let next = study.attribute(".next a.button", "href");
    assert_eq!(next, "/desk/fleece-pegs/specimens");
    assert!(study.text(".steps li").contains("version 3"));
}

#[tokio::test]
async fn rows_are_added_on_demand_and_there_are_always_two_blank_ones() {
    let server = TestServer::start().await;
    let ada = opened(&server, "ada").await;
    let first = ada.open(PLAN).await;
    assert_eq!(
        first.texts("[name=stage_days]").len(),
        3,
        "one and two blank ones"
    );
    let sheet = Sheet::of(&first, "form.plan")
        .with_row("condition_name", 2, "bed soil")
        .with("question", "half typed");
    let more = sheet.with("act", "condition").send(&ada, PLAN).await;
    assert_eq!(more.ok().texts("[name=condition_name]").len(), 5);
    assert_eq!(more.attribute("#f-condition_name-3", "value"), "bed soil");
    assert_eq!(
        Sheet::of(&more, "form.plan").value("question"),
        "half typed"
    );
    assert!(more.texts("[role=alert]").is_empty());
    assert_eq!(more.texts("[name=stage_days]").len(), 3);
}

#[tokio::test]
async fn a_mistake_in_the_plan_stands_beside_its_field_and_takes_the_focus() {
    let server = TestServer::start().await;
    let ada = opened(&server, "ada").await;
    let sheet = plan_sheet(&ada).await;
    for (field, row, value, at) in [
        ("question", None, "", "question"),
        ("question", None, "a\u{202e}b", "question"),
        ("density", None, "1e400", "density"),
        ("shape", None, "round", "dimension_name-1"),
        ("margin", None, "15", "margin_reason"),
        ("confidence", None, "∞", "confidence"),
        ("primary", None, "length_change:width", "primary"),
        ("condition_name", Some(1), "a\0b", "condition_name-2"),
        ("condition_holders", Some(1), "1", "few_holders_reason"),
        (
            "condition_replicates",
            Some(1),
            "-6",
            "condition_replicates-2",
        ),
        ("condition_place", Some(2), "a\0b", "condition_place-3"),
        ("stage_days", Some(0), "99999999999", "stage_days-1"),
    ] {
        let sheet = match row {
            Some(row) => sheet.clone().with_row(field, row, value),
            None => sheet.clone().with(field, value),
        };
        let shown = sheet.send(&ada, PLAN).await;
        assert!(!shown.refused().fault(at).is_empty(), "{field} {value:?}");
        assert_eq!(shown.attribute("[autofocus]", "id"), format!("f-{at}"));
    }
    let plans = &record(&server).await.plans;
    assert!(plans.is_empty());
}

#[tokio::test]
async fn nothing_typed_into_the_plan_is_a_fault_of_ours_and_it_all_comes_back() {
    let server = TestServer::start().await;
    let ada = opened(&server, "ada").await;
    let sheet = plan_sheet(&ada).await;
    let long = "z".repeat(1024 * 1024);
    let hostile = [
        "",
        "NaN",
        "1e400",
        "-1",
        "a\0b",
        "\u{202e}x",
        "'; drop table plan; --",
        "<script>",
        &long,
    ];
    for field in sheet.names() {
        for value in hostile {
            let sheet = sheet.clone().with(&field, value).with("act", "check");
            let shown = sheet.send(&ada, PLAN).await;
            assert!(matches!(shown.status.as_u16(), 200 | 422), "{field}");
            if !matches!(
                field.as_str(),
                "entry" | "version" | "act" | "condition_control" | "condition_environment"
            ) && !field.starts_with("compares")
                && field != "drying_before"
            {
                let back = Sheet::of(&shown, "form.plan");
                let parsed = value.replace('\0', "\u{fffd}");
                let is_choice = shown.texts(&format!("select[name={field}]")).len() == 1;
                let is_kept = back.value(&field) == parsed;
                assert!(is_kept || is_choice, "{field} {value:.20}");
            }
        }
    }
}

/// A weakness, the plan made weak in that way, and the words for it.
type Weakness = (&'static str, fn(&mut Plan), &'static str, &'static str);

/// Each weakness of a design is said at its own field, and a design without any is not warned about.
/// What is weak: common practice, no source; outdoor season: the significance text of ASTM G7.
#[test]
fn each_weakness_of_a_design_is_said_and_nothing_else() {
    let mut sound = demo::plan::pegs();
    for condition in &mut sound.conditions {
        let three = (1..=3).map(|n| Holder {
            key: format!("{}h{n}", condition.key),
            name: format!("{} {n}", condition.name),
        });
        condition.holders = three.collect();
        condition.replicates = vec![6; sound.stages.len()];
    }
    sound.spares = 12;
    let said = check::warnings(&sound);
    assert!(said.is_empty(), "{said:?}");
    let weaknesses: [Weakness; 10] = [
        (
            "no rule for when a wet piece is dry",
            |p| p.drying = None,
            "drying",
            "come back wet",
        ),
        (
            "no baseline",
            |p| p.baseline = 0,
            "baseline",
            "no baseline set",
        ),
        ("no spares", |p| p.spares = 1, "spares", "spare"),
        (
            "no storage control",
            |p| {
                p.conditions
                    .iter_mut()
                    .for_each(|c| c.is_storage_control = false)
            },
            "condition_control",
            "ageing indoors and exposure cannot be told apart",
        ),
        (
            "no storage control at a stage",
            |p| *p.conditions[0].replicates.last_mut().unwrap() = 0,
            "condition_control",
            "at 365 days",
        ),
        (
            "one holder",
            |p| p.conditions[1].holders.truncate(1),
            "condition_holders-2",
            "share one holder",
        ),
        (
            "two holders",
            |p| p.conditions[1].holders.truncate(2),
            "condition_holders-2",
            "with 2 holders",
        ),
        (
            "few pieces",
            |p| p.conditions[2].replicates[0] = 4,
            "condition_replicates-3",
            "4 pieces at a stage are few",
        ),
        (
            // A twentieth of 0.5 % of 8.4 g is 2.1 mg.
            "a coarse balance",
            |p| p.mass.readability_g = Some(0.01),
            "mass_readability",
            "0.0021 g",
        ),
        (
            "no masses",
            |p| p.mass.readings = 0,
            "mass_readings",
            "not weighed",
        ),
    ];
    for (name, weaken, field, words) in weaknesses {
        let mut plan = sound.clone();
        weaken(&mut plan);
        let said = check::warnings(&plan);
        assert_eq!(said.len(), 1, "{name}: {said:?}");
        assert_eq!(said[0].field, field, "{name}");
        assert!(said[0].sentence.contains(words), "{name}: {said:?}");
    }
    let mut short = sound.clone();
    short.stages.last_mut().unwrap().days = 300;
    let said = check::warnings(&short);
    let season = said.iter().all(|w| w.sentence.contains("less than a year"));
    assert!(season && !said.is_empty(), "{said:?}");
}

/// practice.md §3.5: what the design can see is told by the rule that decides, drawn by the server as a
/// curve and a table, and in red words where 'unchanged' is hardly within reach.
#[tokio::test]
async fn a_checked_plan_shows_what_it_can_see_by_its_own_rule() {
    let server = TestServer::start().await;
    let ada = opened(&server, "ada").await;
    let sheet = plan_sheet(&ada)
        .await
        .with_row("condition_holders", 0, "1")
        .with_row("condition_holders", 1, "1")
        .with("few_holders_reason", "There is one barrel.")
        .with("act", "check");
    // Computed behind the page's back: asked again until it is there.
    let seen = async |cv: &str| {
        for _ in 0..90 {
            let page = sheet.clone().with("expected_cv", cv).send(&ada, PLAN).await;
            if !page.ok().text("#count").contains("still being computed") {
                return page;
            }
        }
        panic!("what the plan can see never came")
    };
    let good = seen("2").await;
    let words = good.text("#count");
    assert!(
        words.contains("By the rule that decides: 1 condition"),
        "{words}"
    );
    assert_eq!(good.texts("#count svg.chart > title").len(), 2);
    assert!(good.texts("#count p.few").is_empty());
    // Six sizes at three growths; the plan's own six is among them.
    assert_eq!(good.texts("#count details tbody tr").len(), 18);
    let poor = seen("25").await;
    assert!(poor.text("#count p.few").contains("hardly within reach"));
}
