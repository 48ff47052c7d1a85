//! Results out of a spreadsheet: a pasted block or a file is understood, shown with what storing it would
//! change, and stored row by row; units and slips are asked about, and nothing is stored twice.

use crate::house::ready::{DAYS, Ready, Wanted, at_the_lab};
use crate::house::sheet::Sheet;
use crate::house::{Person, Shown, TestServer};
use overwinter::study::break_test::Outcome;
use overwinter::study::record::{Standing, TestRecord};
use overwinter::study::units::Unit;
use reqwest::Method;
use reqwest::multipart::{Form, Part};
use rust_xlsxwriter::Workbook;

struct Lab {
    server: TestServer,
    ready: Ready,
    tester: Person,
    path: String,
    codes: Vec<String>,
}

const STORE: &str = "form[action$='/grid/store']";

impl Lab {
    async fn set_up() -> Self {
        let server = TestServer::start().await;
        let ready = Wanted::small().ready(&server, "ada").await;
        let contents = format!("stage-{DAYS}");
        let desk = ready.pack(&contents, &ready.of_stage(DAYS)).await;
        let way_in = ready.link(&desk).await;
        let (tester, path) = at_the_lab(&server, &way_in).await;
        let codes = tester.open(&path).await.ok().texts(".row-head .code");
        let entry = server.app.clock.new_id().to_string();
        let set_up = [
            ("entry", entry.as_str()),
            ("machine", "hook scale"),
            ("fixture", "ring and pin"),
            ("unit", "N"),
            ("tested_on", "2026-03-02"),
        ];
        let page = format!("{path}/set-up");
        tester.submit(&page, &set_up).await.is(303);
        Self {
            server,
            ready,
            tester,
            path,
            codes,
        }
    }

    /// Sends a block, and a file where there is one; a tester's page tells no secret.
    async fn look(&self, block: &str, file: Option<(&str, Vec<u8>)>) -> Shown {
        let mut form = Form::new().text("block", block.to_owned());
        if let Some((name, bytes)) = file {
            form = form.part("file", Part::bytes(bytes).file_name(name.to_owned()));
        }
        let request = self
            .tester
            .request(Method::POST, &format!("{}/grid", self.path))
            .header("sec-fetch-site", "same-origin");
        let shown = self.tester.send(request.multipart(form)).await;
        self.blind(&shown);
        shown
    }

    fn blind(&self, shown: &Shown) {
        let body = shown.body();
        let secrets = self.ready.secrets();
        // A stage's days may stand in an entry's id by chance; the crawler looks for them elsewhere.
        let names = secrets.iter().filter(|one| one.len() > 4);
        let told: Vec<&String> = names.filter(|one| body.contains(*one)).collect();
        assert!(told.is_empty(), "{told:?} in {body}");
    }

    async fn store(&self, sheet: &Sheet) -> Shown {
        let page = format!("{}/grid/store", self.path);
        let shown = sheet.send(&self.tester, &page).await;
        self.blind(&shown);
        shown
    }

    async fn tests(&self) -> Vec<TestRecord> {
        let found = self.server.app.store.study_record(&self.ready.slug).await;
        let record = found.unwrap().unwrap();
        let tests = record.consignments[0].tests.iter();
        let counts = tests.filter(|test| test.standing == Standing::Current);
        counts.cloned().collect()
    }

    /// Rows of these loads for the first pieces, under this name of the loads' column.
    fn block(&self, load: &str, loads: &[&str]) -> String {
        let rows = self.codes.iter().zip(loads);
        let rows = rows.map(|(code, load)| format!("{code}\t{load}\tunbent\tseen\n"));
        format!(
            "Piece\t{load}\tHow it failed\tRemark\n{}",
            rows.collect::<String>()
        )
    }
}

#[tokio::test]
async fn a_pasted_block_is_shown_stored_row_by_row_and_never_twice() {
    let lab = Lab::set_up().await;
    let block = lab.block("Load", &["312,5", "> 320", "305"]);
    let shown = lab.look(&block, None).await;
    assert_eq!(shown.ok().texts("li.row").len(), 3);
    assert!(lab.tests().await.is_empty(), "nothing is stored by looking");
    let sheet = Sheet::of(&shown, STORE);
    lab.store(&sheet).await.redirects_to(&lab.path);
    let tests = lab.tests().await;
    let loads: Vec<Option<f64>> = tests.iter().map(|test| test.test.max_load_n).collect();
    assert_eq!(loads, [Some(312.5), Some(320.0), Some(305.0)]);
    assert_eq!(tests[1].test.outcome, Outcome::LowerBound);
    lab.store(&sheet).await.is(303);
    assert_eq!(
        lab.tests().await,
        tests,
        "the same rows again change nothing"
    );
    let again = lab.look(&block, None).await;
    assert!(
        again
            .text("li.row")
            .contains("stored already; nothing changes")
    );
    lab.store(&Sheet::of(&again, STORE)).await.is(303);
    assert_eq!(lab.tests().await, tests);
    // Another value replaces the first only with a reason.
    let other = lab.block("Load", &["313,5"]).replace("\tseen", "");
    let other = lab.look(&other, None).await;
    assert!(
        other
            .text("li.row")
            .contains("would replace 312,5 N; needs a reason")
    );
    let sheet = Sheet::of(&other, STORE);
    let refused = lab.store(&sheet).await;
    assert!(refused.refused().fault("reason-0").contains("say why"));
    lab.store(&sheet.with("reason-0", "misread")).await.is(303);
    assert!(
        lab.tests()
            .await
            .iter()
            .any(|test| test.test.max_load_n == Some(313.5))
    );
}

#[tokio::test]
async fn masses_are_told_from_forces_and_slips_are_asked_about() {
    let lab = Lab::set_up().await;
    let block = lab.block("Load [kg]", &["31.2", "30.9", "312", "31.5"]);
    let shown = lab.look(&block, None).await;
    assert!(
        shown
            .ok()
            .fault("unit")
            .contains("kg, g, lb and oz are masses")
    );
    let refused = lab.store(&Sheet::of(&shown, STORE)).await;
    assert!(refused.refused().fault("unit-0").contains("masses"));
    // A mass beside its load stays a question when the rows are looked at again, until a pull is said to be meant.
    let beside = lab.block("Load", &["31.2 kg"]);
    let shown = lab.look(&beside, None).await;
    let unit = Sheet::of(shown.ok(), "form[action$='/grid']")
        .value("unit")
        .to_owned();
    let again = async |unit: &str| {
        let form = Form::new()
            .text("block", beside.clone())
            .text("unit", unit.to_owned());
        let page = format!("{}/grid", lab.path);
        let request = lab.tester.request(Method::POST, &page);
        let request = request
            .header("sec-fetch-site", "same-origin")
            .multipart(form);
        lab.tester.send(request).await
    };
    let shown = again(&unit).await;
    assert!(shown.ok().fault("unit-0").contains("masses"), "{unit}");
    let shown = again("gf").await;
    assert_eq!(Sheet::of(shown.ok(), STORE).value("unit-0"), "kgf");
    assert!(
        lab.tests().await.is_empty(),
        "a mass is not taken for newtons"
    );
    let block = lab.block("Load [kgf]", &["31.2", "30.9", "312", "31.5"]);
    let shown = lab.look(&block, None).await;
    let asked = lab.store(&Sheet::of(&shown, STORE)).await;
    let question = asked.refused().fault("confirmed-2");
    assert!(
        question.contains("ten times") && question.contains("kgf"),
        "{question}"
    );
    assert!(asked.fault("code-3").contains("Waits for"));
    let tests = lab.tests().await;
    assert_eq!(tests.len(), 2, "the others are stored");
    // 31.2 kgf are 305.967 N (9.80665 N each, exact by definition).
    assert!((tests[0].test.max_load_n.unwrap() - 31.2 * 9.80665).abs() < 1e-9);
    assert_eq!(
        tests[0].test.typed.as_ref().unwrap().unit,
        Unit::KilogramForce
    );
    let right = Sheet::of(&asked, STORE).with("load-2", "31,2");
    lab.store(&right).await.is(303);
    assert_eq!(lab.tests().await.len(), 4);
    // A hook scale that shows grams of pull; one row with a unit of its own.
    let block = format!(
        "{}\t3120 gf\tbroke\n{}\t70 lbf\tbroke\n",
        lab.codes[4], lab.codes[5]
    );
    let shown = lab.look(&block, None).await;
    let asked = lab.store(&Sheet::of(&shown, STORE)).await;
    assert!(asked.refused().fault("confirmed-0").contains("ten times"));
    let sure = Sheet::of(&asked, STORE).with("confirmed-0", "yes");
    lab.store(&sure).await.is(303);
    let tests = lab.tests().await;
    assert!(tests[4].test.is_confirmed_doubt);
    // 70 lbf are 311.3755 N (4.4482216152605 N each).
    assert!((tests[5].test.max_load_n.unwrap() - 311.375_513).abs() < 1e-6);
}

#[tokio::test]
async fn files_come_as_csv_or_sheet_and_what_is_neither_is_named() {
    let lab = Lab::set_up().await;
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (column, name) in ["Blind code", "Fmax N", "Failure", "Note"]
        .iter()
        .enumerate()
    {
        sheet
            .write_string(0, u16::try_from(column).unwrap(), *name)
            .unwrap();
    }
    sheet.write_string(1, 0, &lab.codes[0]).unwrap();
    sheet.write_string(1, 2, "dropped").unwrap();
    sheet.write_string(1, 3, "fell off the bench").unwrap();
    let bytes = book.save_to_buffer().unwrap();
    let shown = lab.look("", Some(("results.xlsx", bytes))).await;
    let sheet = Sheet::of(shown.ok(), STORE);
    let refused = lab.store(&sheet).await;
    assert!(!refused.refused().fault("outcome-0").is_empty());
    lab.store(&sheet.with("outcome-0", "invalid")).await.is(303);
    // A word that is not understood is never taken for valid, nor one for a number dropped.
    let odd = format!(
        "Code;Load N;Valid?;Failure\n{};heavy;void;broke\n",
        lab.codes[1]
    );
    let shown = lab.look(&odd, None).await;
    assert!(shown.ok().fault("outcome-0").contains("“void”"));
    let sheet = Sheet::of(&shown, STORE);
    assert_eq!(
        (sheet.value("load-0"), sheet.value("outcome-0")),
        ("heavy", "")
    );
    let refused = lab.store(&sheet).await;
    let told = ["load-0", "outcome-0"].map(|field| refused.refused().fault(field));
    assert!(told.iter().all(|fault| !fault.is_empty()), "{told:?}");
    let tests = lab.tests().await;
    assert_eq!(tests[0].test.outcome, Outcome::Invalid);
    assert_eq!(tests[0].note.as_deref(), Some("fell off the bench"));
    let csv = format!("{};301;broke\n", lab.codes[1]);
    let shown = lab.look("", Some(("x.csv", csv.into_bytes()))).await;
    lab.store(&Sheet::of(shown.ok(), STORE)).await.is(303);
    assert_eq!(lab.tests().await.len(), 2);
    for (name, bytes) in [
        ("a.xlsx", b"PK\x03\x04 and more".to_vec()),
        ("b.csv", vec![0xff, 0xfe, 0, 1]),
        ("c.csv", "a;".repeat(200).into_bytes()),
        ("d.csv", b"\n\n".to_vec()),
    ] {
        lab.look("", Some((name, bytes))).await.refused();
    }
    for block in ["", "\t\t\n", "\"", "KT;1\0;x", "Piece\tLoad\n"] {
        let status = lab.look(block, None).await.status;
        assert!(matches!(status.as_u16(), 200 | 422), "{block:?}: {status}");
    }
    let strange = [
        ("code-0", "KT"),
        ("code-99999999", "x"),
        ("load-0", "-1"),
        ("entry-0", "no"),
    ];
    let page = format!("{}/grid/store", lab.path);
    lab.tester.submit(&page, &strange).await.refused();
    assert_eq!(lab.tests().await.len(), 2);
}
