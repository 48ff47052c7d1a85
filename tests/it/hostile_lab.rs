//! The forms of the lab's face and of the steward's consignments under hostile values: each field in
//! turn holds each value, the answer is never a fault of ours, and what was refused comes back as it
//! was typed, with words.

use crate::hostile_forms::hostile;
use crate::house::ready::{DAYS, Ready, Wanted, at_the_lab};
use crate::house::{Person, Shown, TestServer};
use overwinter::study::break_test::Looks;
use overwinter::study::consignment::Arrival;
use overwinter::study::entry::Entry;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

/// A form: where it goes, and its fields with values that pass.
struct Form {
    path: String,
    fields: Vec<(String, String)>,
}

fn form(path: String, fields: &[(&str, &str)]) -> Form {
    let owned = |(name, value): &(&str, &str)| ((*name).to_owned(), (*value).to_owned());
    Form {
        path,
        fields: fields.iter().map(owned).collect(),
    }
}

/// A parcel as it was opened, one piece short.
const RECEIPT: [(&str, &str); 5] = [
    ("at", "2026-03-02T09:30"),
    ("count", "8"),
    ("seal", "intact"),
    ("seal_number", "S-481"),
    ("note", "wet"),
];

struct World {
    server: TestServer,
    ready: Ready,
    tester: Person,
    desk: String,
    lab: String,
    codes: Vec<String>,
}

impl World {
    /// A stage packed, its session set, its first piece tested.
    async fn begun() -> Self {
        let server = TestServer::start().await;
        let ready = Wanted::small().ready(&server, "ada").await;
        let desk = ready
            .pack(&format!("stage-{DAYS}"), &ready.of_stage(DAYS))
            .await;
        let way_in = ready.link(&desk).await;
        let (tester, lab) = at_the_lab(&server, &way_in).await;
        let codes = tester.open(&lab).await.texts(".row-head .code");
        let world = Self {
            server,
            ready,
            tester,
            desk,
            lab,
            codes,
        };
        world.send(&world.tester, &world.set_up()).await.is(303);
        world.send(&world.tester, &world.row(0)).await.is(303);
        world
    }

    fn set_up(&self) -> Form {
        let fields = [
            ("machine", "frame"),
            ("fixture", "pin"),
            ("speed", "20"),
            ("room", "21"),
            ("humidity", "48"),
            ("unit", "N"),
            ("tested_on", "2026-03-02"),
            ("check", "200"),
            ("opening", "200"),
            ("closing", "200"),
            ("drift", "1"),
        ];
        form(format!("{}/set-up", self.lab), &fields)
    }

    fn row(&self, n: usize) -> Form {
        let fields = [
            ("load", "312"),
            ("outcome", "valid"),
            ("mode", "opened"),
            ("looks", "exposed"),
            ("reason", "a remark"),
        ];
        form(format!("{}/tests/{}", self.lab, self.codes[n]), &fields)
    }

    fn lab_forms(&self) -> Vec<Form> {
        let (state, remark) = (
            format!("state-{}", self.codes[3]),
            format!("remark-{}", self.codes[3]),
        );
        let box_fields = [
            (state.as_str(), "remark"),
            (remark.as_str(), "bent"),
            ("act", "as_marked"),
        ];
        let correct = format!("{}/tests/{}/correct", self.lab, self.codes[0]);
        let correction = [
            ("supersedes", "01890000-0000-7000-8000-000000000000"),
            ("load", "313"),
            ("outcome", "valid"),
            ("mode", "opened"),
            ("reason", "misread"),
        ];
        let looks = format!("looks-{}", self.codes[3]);
        let grid = [
            ("code-0", self.codes[2].as_str()),
            ("load-0", "312"),
            ("unit-0", "kgf"),
            ("outcome-0", "valid"),
            ("mode-0", "opened"),
            ("looks-0", "exposed"),
            ("reason-0", "a remark"),
            ("order-0", "yes"),
        ];
        vec![
            form(format!("{}/grid/store", self.lab), &grid),
            form(format!("{}/box", self.lab), &box_fields),
            self.set_up(),
            form(format!("{}/parcel", self.lab), &RECEIPT),
            form(
                format!("{}/parcel/settle", self.lab),
                &[("about", "count"), ("words", "counted twice")],
            ),
            self.row(1),
            form(correct, &correction),
            form(
                format!("{}/finish", self.lab),
                &[(&looks, "exposed"), ("act", "finish")],
            ),
        ]
    }

    fn desk_forms(&self) -> Vec<Form> {
        let link = self.lab.trim_start_matches("/lab/");
        let piece = self.ready.baseline()[0].to_string();
        let label = format!("label-{piece}");
        let new = [
            ("contents", "baseline"),
            ("lab", "Fjord Testing"),
            ("label", "removed"),
            ("piece", piece.as_str()),
            (label.as_str(), "covered"),
        ];
        let parcel = [("state", "held"), ("at", "2026-03-02"), ("note", "customs")];
        vec![
            form(format!("/desk/{}/consignments/new", self.ready.slug), &new),
            form(format!("{}/parcel", self.desk), &parcel),
            form(
                format!("{}/arrival", self.desk),
                &[("act", "seal"), ("number", "S-481")],
            ),
            form(
                format!("{}/arrival", self.desk),
                &[
                    ("act", "settle"),
                    ("about", "count"),
                    ("words", "sent after"),
                ],
            ),
            form(
                format!("{}/arrival", self.desk),
                &[("act", "lab"), ("same_as", "")],
            ),
            form(format!("{}/links", self.desk), &[("days", "60")]),
            form(
                format!("{}/links/{link}/extend", self.desk),
                &[("until", "2026-06-01")],
            ),
            form(
                format!("{}/reopen", self.desk),
                &[("reason", "a wrong scale")],
            ),
        ]
    }

    /// Declares it finished past the forms, which have all been sent by then.
    async fn finish(&self) {
        let record = self.server.app.store.study_record(&self.ready.slug).await;
        let record = record.unwrap().unwrap();
        let one = &record.consignments[0];
        let say = async |entry| self.ready.script.say(entry).await.expect("it is taken");
        for piece in &one.pieces {
            let (consignment, blind) = (one.id, piece.blind.clone());
            if one.test_of(&blind).is_none() {
                let arrival = Arrival::Missing;
                say(Entry::Arrived {
                    consignment,
                    blind,
                    arrival,
                })
                .await;
            } else {
                let looks = Looks::CannotTell;
                say(Entry::Guessed {
                    consignment,
                    blind,
                    looks,
                })
                .await;
            }
        }
        say(Entry::Finished {
            consignment: one.id,
        })
        .await;
    }

    async fn send(&self, person: &Person, form: &Form) -> Shown {
        let entry = self.server.app.clock.new_id().to_string();
        let fields = form
            .fields
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str()));
        let mut fields: Vec<_> = fields.collect();
        fields.push(("entry", &entry));
        person.submit(&form.path, &fields).await
    }
}

/// The answer is one of the few that a form may give, and a refusal has words and the typed value.
fn judge(shown: &Shown, form: &Form, field: &str, value: &str) {
    let status = shown.status.as_u16();
    let told = value.chars().take(40).collect::<String>();
    assert!(
        matches!(status, 200 | 303 | 409 | 422),
        "{} {field}={told:?}: {status}",
        form.path
    );
    if status == 303 {
        return;
    }
    let words = shown.texts(".fault, [role=alert], #f-link").join(" ");
    assert!(
        status != 422 || !words.is_empty(),
        "{} {field}={told:?}: no words",
        form.path
    );
    let typed = shown.texts(&format!("input[type=text][name=\"{field}\"]"));
    if status == 422 && !typed.is_empty() {
        let back = every_value(shown, field);
        // The HTML standard's parser turns NUL into U+FFFD and folds line ends (13.2.5, 13.2.3.5).
        let parsed = value.replace('\0', "\u{fffd}").replace("\r\n", "\n");
        assert!(
            back.contains(&parsed),
            "{} {field}={told:?} is lost",
            form.path
        );
    }
}

fn every_value(shown: &Shown, field: &str) -> Vec<String> {
    let wanted = scraper::Selector::parse(&format!("[name=\"{field}\"]")).expect("a selector");
    let page = scraper::Html::parse_document(&shown.body());
    let values = page
        .select(&wanted)
        .filter_map(|element| element.value().attr("value"));
    values.map(str::to_owned).collect()
}

#[tokio::test]
async fn every_field_of_the_lab_and_of_consignments_bears_every_hostile_value() {
    let world = World::begun().await;
    let lab = world
        .lab_forms()
        .into_iter()
        .map(|form| (&world.tester, form));
    let desk = world
        .desk_forms()
        .into_iter()
        .map(|form| (&world.ready.person, form));
    for (person, form) in lab.chain(desk) {
        if form.path.ends_with("/reopen") {
            world.finish().await;
        }
        for n in 0..form.fields.len() {
            for value in hostile() {
                let mut fields = form.fields.clone();
                let field = fields[n].0.clone();
                fields[n].1 = value.clone();
                // The same field twice: the first counts, the second does no harm.
                fields.push((field.clone(), "y".to_owned()));
                let sent = Form {
                    path: form.path.clone(),
                    fields,
                };
                let shown = world.send(person, &sent).await;
                judge(&shown, &form, &field, &value);
            }
        }
    }
}

/// An item of the lab's record, which comes with files: each field in turn holds each value.
#[tokio::test]
async fn every_field_of_an_item_bears_every_hostile_value() {
    let world = World::begun().await;
    let path = format!("{}/equipment/new", world.lab);
    let fields = [
        ("kind", "load_cell"),
        ("name", "cell"),
        ("serial", "17"),
        ("class", "1"),
        ("range_from", "20"),
        ("range_to", "1000"),
        ("calibrated_on", "2026-01-10"),
        ("valid_until", "2027-01-09"),
        ("reason", ""),
    ];
    let whole = form(path, &fields);
    for n in 0..fields.len() {
        for value in hostile() {
            let entry = world.server.app.clock.new_id().to_string();
            let mut sent = fields.to_vec();
            sent[n].1 = &value;
            sent.push(("entry", &entry));
            // A file whose name is as hostile as the field.
            // Control characters, or thousands of others, end a part's header and with it the form.
            let is_short = value.chars().count() < 200;
            let is_name = is_short && !value.chars().any(char::is_control);
            let name = if is_name { value.as_str() } else { "x.pdf" };
            let files = [("paper", name, crate::house::parcel::PDF)];
            let shown = crate::house::parcel::send(&world.tester, &whole.path, &sent, &files).await;
            judge(&shown, &whole, fields[n].0, &value);
        }
    }
    world
        .tester
        .open(&format!("{}/equipment", world.lab))
        .await
        .ok();
}

#[test]
fn random_rows_never_break_the_grid() {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let world = runtime.block_on(World::begun());
    let names = prop::sample::select(vec![
        "load",
        "outcome",
        "mode",
        "looks",
        "reason",
        "confirmed",
        "order",
        "entry",
        "supersedes",
        "x",
    ]);
    let known = prop::sample::select(vec![
        "312",
        "valid",
        "total_loss",
        "opened",
        "exposed",
        "yes",
        "",
    ]);
    let value = prop_oneof![known.prop_map(str::to_owned), any::<String>()];
    let fields = prop::collection::vec((names, value), 0..10);
    let mut runner = TestRunner::new(Config {
        cases: 200,
        failure_persistence: None,
        ..Config::default()
    });
    let outcome = runner.run(&(fields, 0_usize..9), |(fields, n)| {
        let fields: Vec<_> = fields
            .iter()
            .map(|(name, value)| (*name, value.as_str()))
            .collect();
        for page in ["", "/correct"] {
            let path = format!("{}/tests/{}{page}", world.lab, world.codes[n]);
            let shown = runtime.block_on(world.tester.submit(&path, &fields));
            let status = shown.status.as_u16();
            prop_assert!(
                matches!(status, 303 | 409 | 422),
                "{path} {fields:?}: {status}"
            );
        }
        Ok(())
    });
    outcome.expect("no row breaks it");
}
