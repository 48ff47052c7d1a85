//! The machine's files on the lab's page: sent, understood, put right, matched by blind code, kept with
//! their bytes untouched, compared with what was typed, and read again by nobody else.

use crate::house::ready::{DAYS, Ready, Wanted, at_the_lab};
use crate::house::{Person, Shown, TestServer};
use overwinter::study::curve::KeptCurve;
use reqwest::Method;
use reqwest::multipart::{Form, Part};

/// A packed stage of nine pieces, its session set, and its tester.
struct Lab {
    server: TestServer,
    ready: Ready,
    tester: Person,
    path: String,
    codes: Vec<String>,
}

impl Lab {
    async fn set_up() -> Self {
        let server = TestServer::start().await;
        let ready = Wanted::small().ready(&server, "ada").await;
        let desk = ready
            .pack(&format!("stage-{DAYS}"), &ready.of_stage(DAYS))
            .await;
        let way_in = ready.link(&desk).await;
        let (tester, path) = at_the_lab(&server, &way_in).await;
        let codes = tester.open(&path).await.ok().texts(".row-head .code");
        let lab = Self {
            server,
            ready,
            tester,
            path,
            codes,
        };
        let set_up = [
            ("machine", "frame 3"),
            ("fixture", "ring and pin"),
            ("unit", "N"),
            ("tested_on", "2026-03-02"),
        ];
        lab.form("set-up", &set_up).await.is(303);
        lab
    }

    async fn form(&self, page: &str, fields: &[(&str, &str)]) -> Shown {
        let entry = self.server.app.clock.new_id().to_string();
        let mut all = vec![("entry", entry.as_str())];
        all.extend_from_slice(fields);
        self.tester
            .submit(&format!("{}/{page}", self.path), &all)
            .await
    }

    async fn send(&self, files: &[(&str, Vec<u8>)]) -> Shown {
        send(&self.tester, &self.path, files).await
    }

    /// The page of the file whose link has these words.
    async fn file(&self, name: &str) -> (String, Shown) {
        let list = self.tester.open(&format!("{}/curves", self.path)).await;
        let links = crate::house::visit::links(&list);
        let found = links.into_iter().find(|(words, _)| words == name);
        let (_, path) = found.unwrap_or_else(|| panic!("no {name} in {}", list.body()));
        let page = self.tester.open(&path).await;
        page.ok();
        (path, page)
    }

    async fn kept(&self) -> Vec<KeptCurve> {
        let record = self.server.app.store.study_record(&self.ready.slug).await;
        let consignment = record.unwrap().unwrap().consignments[0].id;
        self.server.app.store.curves_of(consignment).await.unwrap()
    }
}

/// Presses the button below the curves that raise no question.
pub async fn keep_shown(tester: &Person, path: &str) -> Shown {
    let page = format!("{path}/curves/keep");
    let shown = tester.open(&page).await;
    let entry = shown.ok().attribute("[name=entry]", "value");
    let seen = shown.attributes("[name=seen]", "value");
    let mut fields = vec![("entry", entry.as_str())];
    fields.extend(seen.iter().map(|id| ("seen", id.as_str())));
    tester.submit(&page, &fields).await
}

/// Sends files as the form on the page does.
pub async fn send(tester: &Person, path: &str, files: &[(&str, Vec<u8>)]) -> Shown {
    let mut form = Form::new();
    for (name, bytes) in files {
        let part = Part::bytes(bytes.clone()).file_name((*name).to_owned());
        form = form.part("files", part);
    }
    let request = tester
        .request(Method::POST, &format!("{path}/curves"))
        .header("sec-fetch-site", "same-origin");
    tester.send(request.multipart(form)).await
}

/// Sends one file that can be read and whose piece is not known; the path of its page.
pub async fn one_sent(tester: &Person, path: &str) -> String {
    let sent = send(tester, path, &[("hook 7.csv", curve(HEADER, 312.5))]).await;
    sent.is(303);
    let list = tester.open(&format!("{path}/curves")).await;
    let links = crate::house::visit::links(&list);
    let found = links.into_iter().find(|(words, _)| words == "hook 7.csv");
    found.expect("it is on the list").1
}

/// A brittle test as a machine draws it, breaking at this load.
pub fn curve(header: &str, load_n: f64) -> Vec<u8> {
    let mut text = format!("{header}\n");
    for rank in 0..=100 {
        let share = f64::from(rank) / 100.0;
        let (travel, load) = (4.0 * share, load_n * share);
        text.push_str(&format!("{travel:.3};{load:.3}\n").replace('.', ","));
    }
    text.push_str("4,04;0,1\n4,08;0,1\n4,12;0,1\n");
    text.into_bytes()
}

const HEADER: &str = "Weg [mm];Kraft [N]";

#[tokio::test]
async fn a_file_finds_its_piece_is_seen_and_kept_and_its_bytes_come_back() {
    let lab = Lab::set_up().await;
    let code = &lab.codes[0];
    let name = format!("{}.csv", code.to_lowercase());
    let bytes = curve(HEADER, 312.5);
    lab.send(&[(&name, bytes.clone())])
        .await
        .redirects_to(&format!("{}/curves", lab.path));
    assert!(
        lab.kept().await.is_empty(),
        "nothing is kept before it was seen"
    );
    let (path, page) = lab.file(&name).await;
    assert!(
        page.body()
            .contains("cells parted by semicolon, decimal comma"),
        "{}",
        page.body()
    );
    assert_eq!(page.attribute("#f-piece-0 [selected]", "value"), *code);
    assert!(
        page.text("table.properties").contains("312.5 N"),
        "{}",
        page.text("table.properties")
    );
    let plot = lab.tester.open(&page.attribute("img.plot", "src")).await;
    assert_eq!(plot.ok().header("content-type"), "image/svg+xml");
    assert!(plot.body().contains("<polyline"));
    let piece = [("act", "keep"), ("piece-0", code.as_str())];
    lab.form(path.trim_start_matches(&format!("{}/", lab.path)), &piece)
        .await
        .is(303);
    let kept = lab.kept().await;
    assert_eq!((kept.len(), kept[0].max_load_n), (1, 312.5));
    assert_eq!(kept[0].blind.as_str(), code);
    // ∫ of a triangle: ½ · 312.5 N · 4 mm.
    assert!((kept[0].energy_to_max_j.unwrap() - 0.625).abs() < 1e-9);
    let original = lab.tester.open(&format!("{path}/original")).await;
    assert_eq!(original.ok().bytes, bytes);
    assert!(
        original
            .header("content-disposition")
            .starts_with("attachment")
    );
    // The load stands in the row, and is the tester's to store.
    let grid = lab.tester.open(&lab.path).await;
    assert_eq!(grid.attribute("#f-load-1", "value"), "312.5");
    let again = lab.send(&[("other name.csv", bytes)]).await;
    again.is(303);
    assert_eq!(
        lab.file(&name).await.0,
        path,
        "the same bytes are the same file"
    );
}

#[tokio::test]
async fn a_wrong_guess_is_put_right_and_remembered_for_this_lab() {
    let lab = Lab::set_up().await;
    let bytes = |load| curve("a;b", load);
    lab.send(&[("one.csv", bytes(20.0))]).await.is(303);
    let (path, page) = lab.file("one.csv").await;
    assert!(page.text("table.properties").contains("20 N"));
    assert!(page.body().contains("guessed from its numbers") || page.body().contains("assumed"));
    let page_of = |path: &str| {
        path.trim_start_matches(&format!("{}/", lab.path))
            .to_owned()
    };
    let right = [
        ("act", "read"),
        ("role-0", "travel"),
        ("unit-0", "cm"),
        ("role-1", "load"),
        ("unit-1", "kgf"),
        ("direction", "as_drawn"),
    ];
    lab.form(&page_of(&path), &right).await.redirects_to(&path);
    let page = lab.tester.open(&path).await;
    // 20 kgf are 196.133 N.
    assert!(
        page.text("table.properties").contains("196.1 N")
            && page.text("table.properties").contains("40 mm"),
        "{}",
        page.text("table.properties")
    );
    lab.send(&[("two.csv", bytes(30.0))]).await.is(303);
    let (_, page) = lab.file("two.csv").await;
    assert!(
        page.text("table.properties").contains("294.2 N"),
        "{}",
        page.text("table.properties")
    );
    assert_eq!(
        page.attribute("#f-direction [selected]", "value"),
        "as_drawn"
    );
    // A file of another layout is not read so.
    lab.send(&[("three.csv", curve(HEADER, 30.0))])
        .await
        .is(303);
    let (_, page) = lab.file("three.csv").await;
    assert!(
        page.text("table.properties").contains("30 N"),
        "{}",
        page.text("table.properties")
    );
}

#[tokio::test]
async fn a_typed_load_and_a_curve_that_disagree_are_asked_about() {
    let lab = Lab::set_up().await;
    let (first, second) = (&lab.codes[0], &lab.codes[1]);
    let row = [("load", "300"), ("outcome", "valid"), ("mode", "break")];
    lab.form(&format!("tests/{first}"), &row).await.is(303);
    lab.send(&[
        ("x.csv", curve(HEADER, 312.5)),
        ("y.csv", curve(HEADER, 250.0)),
    ])
    .await
    .is(303);
    let (path, _) = lab.file("x.csv").await;
    let page_of = |path: &str| {
        path.trim_start_matches(&format!("{}/", lab.path))
            .to_owned()
    };
    let keep = [("act", "keep"), ("piece-0", first.as_str())];
    let asked = lab.form(&page_of(&path), &keep).await;
    let question = asked.refused().fault("confirmed-0");
    assert!(
        question.contains("312.5 N") && question.contains("300 N"),
        "{question}"
    );
    assert!(lab.kept().await.is_empty());
    let sure = [
        ("act", "keep"),
        ("piece-0", first.as_str()),
        ("confirmed-0", "yes"),
    ];
    lab.form(&page_of(&path), &sure).await.is(303);
    assert!(lab.kept().await[0].is_confirmed_doubt);
    // The other way round: the curve first, then the typed load.
    let (path, _) = lab.file("y.csv").await;
    let keep = [("act", "keep"), ("piece-0", second.as_str())];
    lab.form(&page_of(&path), &keep).await.is(303);
    let row = [("load", "256"), ("outcome", "valid"), ("mode", "break")];
    let asked = lab.form(&format!("tests/{second}"), &row).await;
    assert!(asked.refused().body().contains("has its maximum at 250 N"));
    let row = [("load", "251"), ("outcome", "valid"), ("mode", "break")];
    lab.form(&format!("tests/{second}"), &row).await.is(303);
}

#[tokio::test]
async fn the_tester_says_where_the_test_ended_with_a_reason() {
    let lab = Lab::set_up().await;
    let code = &lab.codes[2];
    lab.send(&[("z.csv", curve(HEADER, 100.0))]).await.is(303);
    let (path, _) = lab.file("z.csv").await;
    let page = path
        .trim_start_matches(&format!("{}/", lab.path))
        .to_owned();
    let keep = |end: &'static str, reason: &'static str| {
        let code = code.clone();
        let (lab, page) = (&lab, page.clone());
        async move {
            let fields = [
                ("act", "keep"),
                ("piece-0", code.as_str()),
                ("end-0", end),
                ("reason-0", reason),
            ];
            lab.form(&page, &fields).await
        }
    };
    assert_eq!(
        keep("52", "").await.refused().fault("reason-0"),
        "Say why the test ended there."
    );
    assert!(
        keep("9999", "x")
            .await
            .refused()
            .fault("end-0")
            .contains("from 2 to 105")
    );
    assert!(
        keep("soon", "x")
            .await
            .refused()
            .fault("end-0")
            .contains("from 2 to 105")
    );
    keep("52", "the ring opened").await.is(303);
    let kept = lab.kept().await;
    assert_eq!(
        (kept[0].ended_at_line, kept[0].max_load_n),
        (Some(52), 50.0)
    );
    // The reason stands with the curve, and the end in its picture.
    let (_, seen) = lab.file("z.csv").await;
    let said = format!("Kept for {code}. The test ended at line 52, as you said: the ring opened");
    assert!(seen.text("main").contains(&said), "{}", seen.text("main"));
    let plot = lab.tester.open(&seen.attribute("img.plot", "src")).await;
    assert!(
        plot.ok()
            .body()
            .contains("end of the test, as the tester said")
    );
    // Another end takes its place; both are on record, one counts.
    keep("62", "looked again").await.is(303);
    let kept = lab.kept().await;
    assert_eq!((kept.len(), kept[0].max_load_n), (1, 60.0));
}

#[tokio::test]
async fn what_is_no_curve_is_named_and_the_others_are_taken() {
    let lab = Lab::set_up().await;
    let files = [
        ("notes.txt", b"nothing but words".to_vec()),
        ("sheet.xlsx", b"PK\x03\x04 and more".to_vec()),
        ("photo.jpg", vec![0xFF, 0xD8, 0xFF, 0, 1, 2, 3, 0, 0, 9]),
        ("empty.csv", Vec::new()),
        ("../../good.csv", curve(HEADER, 88.0)),
    ];
    let answer = lab.send(&files).await;
    let said = answer.refused().text(".notice.fault");
    for name in ["notes.txt", "sheet.xlsx", "photo.jpg", "empty.csv"] {
        assert!(said.contains(name), "{said}");
    }
    assert!(!said.contains("good.csv"));
    lab.file("good.csv").await;
    lab.send(&[]).await.refused();
    // Two curves for one piece, none chosen, and a piece of another consignment.
    let (path, _) = lab.file("good.csv").await;
    let page = path
        .trim_start_matches(&format!("{}/", lab.path))
        .to_owned();
    for piece in ["", "KT", "none"] {
        lab.form(&page, &[("act", "keep"), ("piece-0", piece)])
            .await
            .refused();
    }
    assert!(lab.kept().await.is_empty());
}

/// A sheet (.xlsx) by a library that shares nothing with the reader: brittle tests, each breaking at a load.
fn workbook(sheets: &[(&str, &[(String, f64)])]) -> Vec<u8> {
    let mut book = rust_xlsxwriter::Workbook::new();
    for (name, curves) in sheets {
        let sheet = book.add_worksheet();
        sheet.set_name(*name).unwrap();
        for (at, (label, load_n)) in (0_u16..).step_by(2).zip(curves.iter()) {
            sheet.write_string(0, at, label).unwrap();
            sheet.write_string(1, at, "Travel [mm]").unwrap();
            sheet.write_string(1, at + 1, "Load [N]").unwrap();
            for rank in 0..=100_u32 {
                let share = f64::from(rank) / 100.0;
                let load = if rank > 97 {
                    0.1
                } else {
                    load_n * share / 0.97
                };
                sheet.write_number(rank + 2, at, 4.0 * share).unwrap();
                sheet.write_number(rank + 2, at + 1, load).unwrap();
            }
        }
    }
    book.save_to_buffer().unwrap()
}

#[tokio::test]
async fn sheets_with_curves_side_by_side_and_one_to_a_sheet_are_kept_byte_for_byte() {
    let lab = Lab::set_up().await;
    let code = |n: usize| lab.codes[n].clone();
    let beside = workbook(&[("Tests", &[(code(0), 312.5), (code(1), 250.0)])]);
    let apart = workbook(&[
        (lab.codes[2].as_str(), &[(String::new(), 200.0)]),
        (lab.codes[3].as_str(), &[(String::new(), 150.0)]),
    ]);
    let files = [
        ("beside.xlsx", beside.clone()),
        ("apart.xlsx", apart.clone()),
    ];
    lab.send(&files).await.is(303);
    for (name, bytes, codes) in [
        ("beside.xlsx", &beside, [0, 1]),
        ("apart.xlsx", &apart, [2, 3]),
    ] {
        let (path, page) = lab.file(name).await;
        let chosen = page.texts("[id^=f-piece-] [selected]");
        let expected = codes.map(code);
        assert_eq!(chosen, expected, "{name}: {}", page.text("main"));
        let fields = [
            ("act", "keep"),
            ("piece-0", expected[0].as_str()),
            ("piece-1", expected[1].as_str()),
        ];
        let at = path.trim_start_matches(&format!("{}/", lab.path));
        lab.form(at, &fields).await.is(303);
        let original = lab.tester.open(&format!("{path}/original")).await;
        assert_eq!(&original.ok().bytes, bytes, "{name}");
    }
    let kept = lab.kept().await;
    let load = |n: usize| {
        let mut own = kept
            .iter()
            .filter(|curve| curve.blind.as_str() == lab.codes[n]);
        own.next().expect("its curve").max_load_n
    };
    let loads = [load(0), load(1), load(2), load(3)];
    let expected = [312.5, 250.0, 200.0, 150.0];
    let is_near = |(got, want): (&f64, &f64)| (got - want).abs() < 1e-9;
    assert!(loads.iter().zip(&expected).all(is_near), "{loads:?}");
}

#[tokio::test]
async fn a_folder_is_kept_at_once_where_nothing_has_to_be_asked() {
    let lab = Lab::set_up().await;
    let names: Vec<String> = lab
        .codes
        .iter()
        .map(|code| format!("run {code}.csv"))
        .collect();
    let loads = (0..).map(|n| 300.0 + f64::from(n));
    let mut files: Vec<(&str, Vec<u8>)> = names
        .iter()
        .zip(loads)
        .map(|(name, load)| (name.as_str(), curve(HEADER, load)))
        .collect();
    files.push(("nobody.csv", curve(HEADER, 290.0)));
    lab.send(&files).await.is(303);
    // They are seen before: each with its piece, its load and its picture.
    let seen = lab.tester.open(&format!("{}/curves/keep", lab.path)).await;
    let mut shown = seen.ok().texts(".curve .code");
    shown.sort();
    let mut codes = lab.codes.clone();
    codes.sort();
    assert_eq!(shown, codes);
    let main = seen.text("main");
    assert!(main.contains("300 N") && main.contains("cells parted by semicolon, decimal comma"));
    let plot = seen.attribute("img.plot", "src");
    assert!(
        lab.tester
            .open(&plot)
            .await
            .ok()
            .body()
            .contains("maximum; break")
    );
    assert!(lab.kept().await.is_empty());
    // A file that was not shown is not kept.
    let first = seen.attribute("[name=seen]", "value");
    lab.form("curves/keep", &[("seen", &first)]).await.is(303);
    assert_eq!(lab.kept().await.len(), 1);
    lab.form("curves/keep", &[]).await.is(303);
    assert_eq!(lab.kept().await.len(), 1, "nor is any while none was");
    keep_shown(&lab.tester, &lab.path).await.is(303);
    let kept = lab.kept().await;
    assert_eq!(kept.len(), lab.codes.len());
    for curve in &kept {
        assert_eq!(curve.file_name, format!("run {}.csv", curve.blind));
    }
    lab.form("curves/keep", &[("seen", &first)]).await.is(303);
    assert_eq!(
        lab.kept().await.len(),
        kept.len(),
        "a second time changes nothing"
    );
    let list = lab.tester.open(&format!("{}/curves", lab.path)).await;
    assert!(
        list.text("main ul").contains("nobody.csv"),
        "it waits to be looked at"
    );
}

#[tokio::test]
async fn another_labs_files_are_not_there_and_after_the_end_nothing_is_taken() {
    let lab = Lab::set_up().await;
    lab.send(&[("x.csv", curve(HEADER, 312.5))]).await.is(303);
    let (path, _) = lab.file("x.csv").await;
    let desk = lab.ready.pack("baseline", &lab.ready.baseline()).await;
    let way_in = lab.ready.link(&desk).await;
    let (other, own) = at_the_lab(&lab.server, &way_in).await;
    let id = path.rsplit('/').next().unwrap();
    let missing = other.open(&format!("{own}/curves/none")).await;
    for page in ["", "/original", "/plots/0"] {
        let shown = other.open(&format!("{own}/curves/{id}{page}")).await;
        assert_eq!(shown.is(404).bytes, missing.bytes);
        lab.server
            .stranger()
            .open(&format!("{path}{page}"))
            .await
            .is(404);
    }
    lab.tester.open(&format!("{path}/plots/7")).await.is(404);
    let mut fields = vec![("act".to_owned(), "finish".to_owned())];
    for code in &lab.codes {
        let load = [
            ("outcome", "invalid"),
            ("mode", "wrong_set_up"),
            ("reason", "spoilt"),
        ];
        lab.form(&format!("tests/{code}"), &load).await.is(303);
        fields.push((format!("looks-{code}"), "cannot_tell".to_owned()));
    }
    lab.form("box", &[("act", "all_whole")]).await.is(303);
    fields.push(("confirmed".to_owned(), "yes".to_owned()));
    let fields: Vec<_> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    lab.form("finish", &fields).await.is(303);
    lab.send(&[("late.csv", curve(HEADER, 1.0))]).await.is(409);
    lab.tester.open(&path).await.ok();
}
