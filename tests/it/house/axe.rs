//! Accessibility, checked by an engine that is not ours: axe-core, injected into the page that the
//! browser shows. `tests/axe` (called by `tests/run`) fetches it.
//!
//! A test opens a page and calls
//!
//! ```text
//! use crate::house::axe;
//! browser.goto("/desk").await;
//! axe::finds_nothing(&browser).await;
//! ```
//!
//! Call it for each size; [`contrast`] again when only the colours change. Pages need scripts switched
//! on; what works without them is the same page.

use super::Browser;
use serde_json::{Value, json};
use std::path::Path;
use std::sync::LazyLock;

/// The engine's source.
static SOURCE: LazyLock<String> = LazyLock::new(|| {
    let file = Path::new(env!("CARGO_MANIFEST_DIR"));
    let file = file.join("target/npm/node_modules/axe-core/axe.min.js");
    std::fs::read_to_string(file).expect("axe-core is there: run tests/axe once")
});

/// What is run after the source: the rules of WCAG 2.0 to 2.2, levels A and AA, and the engine's own
/// good practices.
const RUN: &str = "
    const done = arguments[arguments.length - 1];
    axe.run(document, { resultTypes: ['violations'], ...arguments[0] }).then(
        (found) => done({
            passes: found.passes.length,
            violations: found.violations.map((one) =>
                `${one.id}: ${one.help}: ` + one.nodes.map((node) => node.html).join(' | ')),
        }),
        (error) => done({ error: String(error) }),
    );";

/// Asserts that the engine finds no violation on the page that is open.
///
/// # Panics
/// With every violation and the elements that it is about.
pub async fn finds_nothing(browser: &Browser) {
    let found = violations(browser).await;
    assert!(
        found.is_empty(),
        "{}: {} violations:\n{}",
        browser.path().await,
        found.len(),
        found.join("\n")
    );
}

/// The violations on the page that is open, as sentences.
pub async fn violations(browser: &Browser) -> Vec<String> {
    let found = run(browser, json!({})).await;
    let passes = found["passes"].as_u64().unwrap_or_default();
    assert!(passes > 5, "the engine looked at hardly anything: {found}");
    sentences(&found)
}

/// The same of contrast alone: what is left to ask when only the colours have changed.
pub async fn contrast(browser: &Browser) -> Vec<String> {
    let found = run(browser, json!({ "runOnly": ["color-contrast"] })).await;
    sentences(&found)
}

fn sentences(found: &Value) -> Vec<String> {
    let violations = found["violations"].as_array().expect("a list");
    violations.iter().map(|one| one.to_string()).collect()
}

async fn run(browser: &Browser, options: Value) -> Value {
    let there = browser.page.execute("return !!window.axe", Vec::new());
    if there.await.expect("it runs") != Value::Bool(true) {
        let source = format!("{}\nreturn 0;", *SOURCE);
        browser
            .page
            .execute(&source, Vec::new())
            .await
            .expect("the engine loads");
    }
    let found = browser.page.execute_async(RUN, vec![options]);
    let found = found.await.expect("the engine answers");
    assert!(found.get("error").is_none(), "axe-core failed: {found}");
    found
}
