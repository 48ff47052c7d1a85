//! Whatever is typed into a form of a study's desk: its opening, plan, allocation, seal, stewards,
//! editions, is read and answered in words. The forms are taken off the pages themselves, so that
//! a new one is met without a line here.

use crate::house::desk::{Desk, PIECES, small_plan};
use crate::house::visit::links;
use crate::house::{Person, Sheet, Shown, told};
use overwinter::web::routes;
use reqwest::Method;
use scraper::{Html, Selector};
use std::collections::{BTreeMap, BTreeSet};

/// Values that break forms: numbers that are none, text that deceives, markup.
const HOSTILE: [&str; 14] = [
    "",
    " ",
    "NaN",
    "∞",
    "-1",
    "0",
    "1e400",
    "99999999999999999999",
    "12 pounds",
    "a\0b",
    "\u{202e}desrever",
    "<script>alert(1)</script>",
    "00000000-0000-0000-0000-000000000000",
    "99999-13-45T99:99",
];

/// The name in the table of the POST route that an address belongs to.
fn route_name(path: &str) -> Option<&'static str> {
    let is_it = |route: &routes::Route| {
        let (shape, given) = (route.path.split('/'), path.split('/'));
        route.method == Method::POST
            && route.path.split('/').count() == path.split('/').count()
            && shape.zip(given).all(|(s, g)| s.starts_with('{') || s == g)
    };
    // An address without braces is the closer one.
    let mut found: Vec<_> = routes::table().into_iter().filter(is_it).collect();
    found.sort_by_key(|route| route.path.matches('{').count());
    found.first().map(|route| route.name)
}

/// Every form that posts, on every page of the desk that can be reached: where it goes and what
/// stands in it, one for each route.
async fn forms_of_the_desk(person: &Person) -> BTreeMap<&'static str, (String, Sheet)> {
    let mut forms = BTreeMap::new();
    let mut seen = BTreeSet::new();
    let mut waiting = vec!["/desk".to_owned()];
    while let Some(path) = waiting.pop() {
        if seen.len() > 150 || !seen.insert(path.clone()) {
            continue;
        }
        let page = person.open(&path).await;
        if page.status != 200 || !page.header("content-type").starts_with("text/html") {
            continue;
        }
        for (name, action) in posts(&page) {
            let sheet = Sheet::of(&page, &format!("form[method=post][action='{action}']"));
            forms.entry(name).or_insert((action, sheet));
        }
        let to_desk = |href: &String| href.starts_with("/desk");
        waiting.extend(
            links(&page)
                .into_iter()
                .map(|(_, href)| href)
                .filter(to_desk),
        );
    }
    forms
}

fn posts(page: &Shown) -> Vec<(&'static str, String)> {
    let html = Html::parse_document(&page.body());
    let posting = Selector::parse("form[method=post][action]").expect("a selector");
    let action = |form: scraper::ElementRef<'_>| {
        let action = form.value().attr("action")?.to_owned();
        Some((route_name(&action)?, action))
    };
    html.select(&posting).filter_map(action).collect()
}

/// Sends every hostile value in every field of these routes' forms; the names of the forms met.
async fn besiege(person: &Person, wanted: &[&'static str]) {
    let forms = forms_of_the_desk(person).await;
    let huge = "z".repeat(1024 * 1024);
    for &name in wanted {
        let (action, sheet) = forms
            .get(name)
            .unwrap_or_else(|| panic!("no page has the form {name}: {:?}", forms.keys()));
        let mut fields = sheet.names();
        fields.push("nobody-asked-for-this".to_owned());
        for field in &fields {
            for value in HOSTILE.iter().copied().chain([huge.as_str()]) {
                // The same field twice: the first counts, the second does no harm.
                let typed = sheet.clone().with(field, value).and(field, "y");
                let shown = typed.send(person, action).await;
                answers_in_words(&shown, &format!("{name} {field}={value:.30}"));
                if shown.status == 422 {
                    comes_back(&shown, field, value, name);
                }
            }
        }
    }
}

fn answers_in_words(shown: &Shown, what: &str) {
    let status = shown.status.as_u16();
    assert!(
        matches!(status, 303 | 403 | 404 | 409 | 422),
        "{what}: {status}"
    );
    if status == 422 {
        assert!(
            !shown.texts("[role=alert]").is_empty(),
            "{what}: no word of why"
        );
    }
}

/// A text field that stands once on the page again holds what was typed.
fn comes_back(shown: &Shown, field: &str, value: &str, name: &str) {
    let input = format!("input#f-{field}[type=text]");
    if shown.texts(&input).len() != 1 {
        return;
    }
    // The HTML standard's parser turns NUL into U+FFFD (13.2.5).
    let parsed = value.replace('\0', "\u{fffd}");
    assert_eq!(shown.attribute(&input, "value"), parsed, "{name} {field}");
}

#[tokio::test]
async fn the_forms_before_the_seal_bear_every_hostile_value() {
    let desk = Desk::planned(small_plan()).await.with_pieces(PIECES).await;
    let desk = desk.measured_but(&[]).await;
    // The plan's own form is besieged in `steward_plan`.
    besiege(&desk.steward, &["study-open", "steward-invite"]).await;
    besiege(&desk.steward, &["make-public"]).await;
    besiege(&desk.steward, &["make-private"]).await;
    besiege(&desk.steward, &["draw"]).await;
    // Who stands alone cannot leave, and has no form for it.
    desk.server.with_account("ada").await;
    desk.submit("stewards", &[("name", "ada")]).await.is(303);
    besiege(&desk.steward, &["steward-remove"]).await;
}

#[tokio::test]
async fn the_forms_of_a_study_told_afterwards_bear_every_hostile_value() {
    let desk = Desk::after_the_fact(small_plan()).await;
    let desk = desk.with_pieces(PIECES).await.measured_but(&[]).await;
    besiege(&desk.steward, &["grouping"]).await;
}

#[tokio::test]
async fn the_seal_bears_every_hostile_value() {
    let desk = Desk::planned(small_plan()).await.with_pieces(PIECES).await;
    let desk = desk.measured_but(&[]).await.drawn().await;
    besiege(&desk.steward, &["seal-save"]).await;
    // Sent as it stands on the page, with the box ticked, it seals: the siege did not break it.
    if desk.record().await.seal.is_none() {
        let forms = forms_of_the_desk(&desk.steward).await;
        let (action, sheet) = forms.get("seal-save").expect("the form");
        let sealed = sheet.clone().with("confirmed", "yes");
        sealed.send(&desk.steward, action).await.is(303);
    }
    besiege(&desk.steward, &["witness", "plan-save"]).await;
}

#[tokio::test]
async fn the_editions_bear_every_hostile_value() {
    let (_server, steward) = told::served().await;
    besiege(&steward, &["edition-withdraw"]).await;
    // Its form holds nothing but the entry, and each edition takes a second to make.
    let forms = forms_of_the_desk(&steward).await;
    let (action, sheet) = &forms["edition-publish"];
    for value in ["", "NaN", "a\0b", "00000000-0000-0000-0000-000000000000"] {
        let shown = sheet
            .clone()
            .with("entry", value)
            .send(&steward, action)
            .await;
        answers_in_words(&shown, &format!("edition-publish entry={value}"));
        let shown = sheet
            .clone()
            .with("licence", value)
            .send(&steward, action)
            .await;
        shown.refused();
        answers_in_words(&shown, &format!("edition-publish licence={value}"));
    }
}
