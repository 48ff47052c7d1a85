//! Whatever is typed into a form, the answer is a page with words, never a fault of ours, and what
//! was typed comes back exactly. A new form is added to `forms`.

use crate::house::{Person, TestServer};
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

/// A form: where it goes, its fields, and which of them are never shown again.
struct Form {
    path: &'static str,
    fields: &'static [&'static str],
    never_shown: &'static [&'static str],
}

fn forms() -> [Form; 3] {
    let form = |path, fields, never_shown| Form {
        path,
        fields,
        never_shown,
    };
    [
        form("/sign-in", &["name", "password", "next"], &["password"]),
        form(
            "/first-run",
            &["code", "display_name", "name", "password"],
            &["password"],
        ),
        form(
            "/account/password",
            &["password", "new_password"],
            &["password", "new_password"],
        ),
    ]
}

/// Values that have broken forms before.
pub fn hostile() -> Vec<String> {
    let mut values: Vec<String> = [
        "",
        " ",
        "NaN",
        "inf",
        "-inf",
        "∞",
        "-1",
        "1e400",
        "0x10",
        "1,5",
        "12 pounds",
        "a\0b",
        "\0",
        "\u{202e}desrever",
        "\u{feff}",
        "\r\n",
        "'; drop table account; --",
        "<script>alert(1)",
        "\"><img src=x>",
        "{{ 7*7 }}",
        "../../etc/passwd",
        "%00",
        "%",
        "&",
        "💥",
        "e\u{301}",
        "00000000-0000-0000-0000-000000000000",
    ]
    .map(str::to_owned)
    .to_vec();
    values.push("9".repeat(400));
    values.push("z".repeat(1024 * 1024));
    values
}

/// The first run stays open and the account keeps its session, so that each form is really read.
async fn sender(server: &TestServer, form: &Form) -> Person {
    match form.path {
        "/account/password" => server.steward("ada").await,
        _ => server.stranger(),
    }
}

#[tokio::test]
async fn every_field_of_every_form_bears_every_hostile_value() {
    for form in forms() {
        let server = TestServer::start().await;
        let person = sender(&server, &form).await;
        for field in form.fields {
            for value in hostile() {
                // Past whatever slows guessing.
                server.app.clock.advance(chrono::TimeDelta::hours(1));
                let fields: Vec<_> = form.fields.iter().map(|name| (*name, "x")).collect();
                let mut fields = fields;
                fields
                    .iter_mut()
                    .filter(|(name, _)| name == field)
                    .for_each(|f| f.1 = &value);
                // The same field twice: the first counts, the second does no harm.
                fields.push((field, "y"));
                let shown = person.submit(form.path, &fields).await;
                shown.refused();
                if !form.never_shown.contains(field) {
                    let back = shown.attribute(&format!("[name={field}]"), "value");
                    // The HTML standard's parser turns NUL into U+FFFD and folds line ends
                    // (13.2.5 and 13.2.3.5); the bytes on the wire are as typed.
                    let parsed = value.replace('\0', "\u{fffd}").replace("\r\n", "\n");
                    assert_eq!(back, parsed, "{} {field}", form.path);
                }
            }
        }
    }
}

#[test]
fn random_forms_never_break_the_server() {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let server = runtime.block_on(TestServer::start());
    let person = server.stranger();
    let names = prop::sample::select(vec![
        "name",
        "password",
        "code",
        "next",
        "display_name",
        "x",
    ]);
    let fields = prop::collection::vec((names, any::<String>()), 0..8);
    let path = prop::sample::select(vec!["/sign-in", "/first-run"]);
    let mut runner = TestRunner::new(Config {
        cases: 150,
        failure_persistence: None,
        ..Config::default()
    });
    let outcome = runner.run(&(path, fields), |(path, fields)| {
        server.app.clock.advance(chrono::TimeDelta::hours(1));
        let fields: Vec<_> = fields
            .iter()
            .map(|(name, value)| (*name, value.as_str()))
            .collect();
        let shown = runtime.block_on(person.submit(path, &fields));
        prop_assert!(
            shown.status.is_client_error(),
            "{path} {fields:?}: {}",
            shown.status
        );
        prop_assert!(!shown.texts("[role=alert]").is_empty());
        Ok(())
    });
    outcome.expect("no form breaks it");
}
