//! Every reader of foreign bytes, each as one function that takes any bytes: what the fuzzer calls, and what the
//! test `fuzz_corpus` calls with every file of the corpus. Each may refuse; none may panic, hang or take much memory.
//! Each says whether it could read what it got.

use std::io::{Cursor, Write};

use overwinter::analysis::analyse_dataset;
use overwinter::commands::analyse::archive;
use overwinter::mechanics::machine_file::number::{self as machine_number, Decimal};
use overwinter::study::break_test::TestSession;
use overwinter::study::break_test::form::TypedTest;
use overwinter::study::code::{BlindCode, Code};
use overwinter::study::environment::archive as weather;
use overwinter::study::environment::layout;
use overwinter::study::equipment::Equipment;
use overwinter::study::ids::ConsignmentId;
use overwinter::study::plan::Plan;
use overwinter::study::receipt::ParcelReceipt;
use overwinter::study::typed::Typed;
use overwinter::study::units::{self, Dimension, Unit};
use overwinter::study::witness::Witness;
use overwinter::tidy::wishes::{Request, Wishes};
use overwinter::tidy::{self, raw};
use overwinter::web::foreign;
use overwinter::{picture, study::plan};
use uuid::Uuid;
use zip::write::SimpleFileOptions;

/// A reader: its name, which is that of its target and of its folder in the corpus, and the function.
pub type Reader = (&'static str, fn(&[u8]) -> bool);

/// All of them.
pub const ALL: [Reader; 18] = [
    ("curve_file", curve_file),
    ("curve_said", curve_said),
    ("logger_file", logger_file),
    ("tidy_file", tidy_file),
    ("brought_over", brought_over),
    ("plan_file", plan_file),
    ("photograph", photograph),
    ("workbook", workbook),
    ("pasted_grid", pasted_grid),
    ("multipart", multipart),
    ("number", number),
    ("code", code),
    ("typed_form", typed_form),
    ("entry", entry),
    ("weather_answer", weather_answer),
    ("edition_archive", edition_archive),
    ("edition_readings", edition_readings),
    ("noted_heads", noted_heads),
];

/// The reader of this name.
pub fn by_name(name: &str) -> fn(&[u8]) -> bool {
    let found = ALL.iter().find(|(own, _)| *own == name);
    found
        .unwrap_or_else(|| panic!("no reader is called {name}"))
        .1
}

/// The first line and the rest.
fn parted(bytes: &[u8]) -> (String, &[u8]) {
    let end = bytes
        .iter()
        .position(|byte| *byte == b'\n')
        .unwrap_or(bytes.len());
    let (line, rest) = bytes.split_at(end);
    (
        String::from_utf8_lossy(line).into_owned(),
        rest.get(1..).unwrap_or_default(),
    )
}

/// A machine's file, text or workbook.
fn curve_file(bytes: &[u8]) -> bool {
    foreign::curve_file(bytes, "").is_ok()
}

/// What a tester says of a file in the first line, as a form sends it; below it the file.
fn curve_said(bytes: &[u8]) -> bool {
    let (said, file) = parted(bytes);
    foreign::curve_file(file, &said).is_ok()
}

/// A climate logger's file.
fn logger_file(bytes: &[u8]) -> bool {
    foreign::logger_file(bytes).is_ok()
}

/// A file with one line a piece; a small one is analysed as well.
fn tidy_file(bytes: &[u8]) -> bool {
    let mut is_read = false;
    for storage_control in [None, Some("drawer".to_owned())] {
        let request = Request {
            wishes: Wishes {
                storage_control,
                ..Wishes::default()
            },
            ..Request::default()
        };
        if let Ok(tidy) = tidy::read(bytes, &request) {
            is_read = true;
            if tidy.pieces.len() <= 15 {
                let _ = analyse_dataset(&tidy.dataset(), &tidy.context());
            }
        }
    }
    is_read
}

/// What a person says of a spreadsheet in the first line, as a form sends it; below it the file.
fn brought_over(bytes: &[u8]) -> bool {
    let (said, file) = parted(bytes);
    foreign::brought_over(file, &said).is_ok_and(|(columns, _)| columns > 0)
}

/// A plan: the small one in TOML, or a whole one in JSON.
fn plan_file(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let is_small = Wishes::from_toml(&text).is_ok();
    let Ok(plan) = serde_json::from_str::<Plan>(&text) else {
        return is_small;
    };
    let _ = plan::check::count(&plan);
    let _ = plan::check::warnings(&plan);
    plan.to_bytes().is_ok()
}

/// A photograph.
fn photograph(bytes: &[u8]) -> bool {
    picture::clean(bytes).is_ok()
}

/// A workbook; other bytes are put into one as its first sheet, so that they get past the packing.
fn workbook(bytes: &[u8]) -> bool {
    let packed;
    let book = if bytes.starts_with(b"PK") {
        bytes
    } else {
        packed = as_workbook(bytes);
        &packed
    };
    let is_brought = foreign::brought_over(book, "").is_ok();
    let is_pasted = foreign::pasted(book).is_ok();
    foreign::curve_file(book, "").is_ok() && is_brought && is_pasted
}

/// The smallest workbook (ISO/IEC 29500) around a sheet.
fn as_workbook(sheet: &[u8]) -> Vec<u8> {
    const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    const RELATION: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    const RELATIONS: &str = "http://schemas.openxmlformats.org/package/2006/relationships";
    let relation = |kind: &str, target: &str| {
        format!(
            "<Relationships xmlns=\"{RELATIONS}\"><Relationship Id=\"r1\" Type=\"{RELATION}/{kind}\" \
             Target=\"{target}\"/></Relationships>"
        )
    };
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    let book = format!(
        "<workbook xmlns=\"{MAIN}\" xmlns:r=\"{RELATION}\"><sheets><sheet name=\"a\" sheetId=\"1\" r:id=\"r1\"/>\
         </sheets></workbook>"
    );
    let types = "<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"/>";
    for (name, part) in [
        ("[Content_Types].xml", types.as_bytes()),
        (
            "_rels/.rels",
            relation("officeDocument", "xl/workbook.xml").as_bytes(),
        ),
        ("xl/workbook.xml", book.as_bytes()),
        (
            "xl/_rels/workbook.xml.rels",
            relation("worksheet", "worksheets/a.xml").as_bytes(),
        ),
        ("xl/worksheets/a.xml", sheet),
    ] {
        zip.start_file(name, stored)
            .expect("a part of its own name");
        zip.write_all(part).expect("memory takes it");
    }
    zip.finish().expect("memory takes it").into_inner()
}

/// A block pasted into the tester's grid, or sent as a file.
fn pasted_grid(bytes: &[u8]) -> bool {
    foreign::pasted(bytes).is_ok()
}

/// A form with files; the first line is the boundary.
fn multipart(bytes: &[u8]) -> bool {
    let (line, body) = parted(bytes);
    let told = foreign::form_with_files(body, line.trim().trim_start_matches("--"));
    assert_ne!(told, Err("The form waits for more.".to_owned()));
    told.is_ok()
}

/// A number as people and machines write it.
fn number(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let typed = units::number("", "It", &text);
    if let Ok(number) = &typed {
        assert!(number.is_finite(), "{number}");
    }
    drop(units::whole("", "It", &text, 1, 36_525));
    for decimal in [Decimal::Point, Decimal::Comma] {
        if let Some((number, _)) = machine_number::with_unit(&text, decimal) {
            assert!(number.is_finite(), "{number}");
        }
        let _ = machine_number::parse(&text, decimal);
        let _ = machine_number::is_doubtful(&text, decimal);
        let _ = layout::number(&text, decimal == Decimal::Comma);
    }
    typed.is_ok()
}

/// A code on a label.
fn code(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let (own, blind) = (text.parse::<Code>(), text.parse::<BlindCode>());
    if let Ok(code) = &own {
        assert_eq!(code.as_str().parse().as_ref(), Ok(code));
    }
    if let Ok(code) = &blind {
        assert_eq!(code.as_str().parse().as_ref(), Ok(code));
    }
    own.is_ok() || blind.is_ok()
}

/// A form without files, read as each of those that a tester sends, and as a plan.
fn typed_form(bytes: &[u8]) -> bool {
    let pairs = form_urlencoded::parse(bytes).into_owned().collect();
    let typed = Typed::new(pairs);
    let now = chrono::DateTime::from_timestamp(1_780_000_000, 0).expect("a moment");
    let consignment = ConsignmentId(Uuid::nil());
    let tests = Unit::of(Dimension::Force).map(|unit| TypedTest::parse(&typed, unit, false));
    let is_test = tests.fold(false, |any, test| any | test.is_ok());
    let is_struck = TypedTest::parse(&typed, Unit::Newton, true).is_ok();
    let is_session = TestSession::parse(&typed, consignment, now.date_naive()).is_ok();
    let is_item = Equipment::parse(&typed, now.date_naive()).is_ok();
    let is_receipt = ParcelReceipt::parse(&typed, consignment, ("Europe/Berlin", now)).is_ok();
    let is_plan = plan::form::parse(&typed, None).is_ok();
    is_test || is_struck || is_session || is_item || is_receipt || is_plan
}

/// An entry as a device or a program sends it.
fn entry(bytes: &[u8]) -> bool {
    foreign::entry(bytes).is_ok()
}

/// A weather archive's answer.
fn weather_answer(bytes: &[u8]) -> bool {
    weather::read(bytes).is_ok()
}

/// An edition's archive given to `analyse`.
fn edition_archive(bytes: &[u8]) -> bool {
    archive::check("data.zip", bytes.to_vec()).is_ok()
}

/// The readings of an archive: `readings.csv`, a zero, `instruments.csv`.
fn edition_readings(bytes: &[u8]) -> bool {
    let mut parts = bytes.splitn(2, |byte| *byte == 0);
    let readings = parts.next().unwrap_or_default();
    let request = Request::default();
    let rows = b"specimen,condition,role,stage_days,max_load_n\na,shelf,storage_control,30,5\n";
    let tidy = tidy::read(rows, &request).expect("a plain file");
    raw::measured(&tidy.plan, readings, parts.next().unwrap_or_default()).is_ok()
}

/// A seal line, a receipt or a saved edition given to `verify --against`.
fn noted_heads(bytes: &[u8]) -> bool {
    !Witness::find_all(&String::from_utf8_lossy(bytes)).is_empty()
}
