//! Whole files: every way of writing the same table is the same data set, all problems come at once,
//! and nothing that can be written into a file panics. The data here are made up for the tests.

use proptest::prelude::*;

use super::*;
use crate::analysis::analyse_dataset;
use crate::study::plan::{Covariate, Response};

const FILE: &str = "\
specimen,condition,role,stage_days,holder,mass_before_g,mass_after_g,max_load_n,outcome,reason
B1,,baseline,,,5.00,,301,valid,
B2,,baseline,,,5.02,,305.5,valid,
B3,,baseline,,,5.01,,298,valid,
K1,drawer,storage_control,365,box 1,5.00,5.01,300,valid,
K2,drawer,storage_control,365,box 1,5.03,5.03,310,,
K3,drawer,storage_control,365,box 1,5.01,5.02,296,valid,
R1,rain barrel,exposed,365,barrel 1,5.02,5.11,231,valid,
R2,rain barrel,exposed,365,barrel 1,5.00,5.10,,lost,not in the net
R10,rain barrel,exposed,365,barrel 1,5.01,5.09,244,lower_bound,hook bent
R3,rain barrel,exposed,365,barrel 1,5.02,,0,total_loss,
";

fn reads(text: &str) -> Tidy {
    read(text.as_bytes(), &Request::default()).unwrap_or_else(|problems| panic!("{problems}"))
}

fn told(text: &str, wishes: Wishes) -> Vec<String> {
    let request = Request {
        wishes,
        ..Request::default()
    };
    let problems = read(text.as_bytes(), &request).unwrap_err();
    problems.told.iter().map(ToString::to_string).collect()
}

fn findings(tidy: &Tidy) -> String {
    let found = analyse_dataset(&tidy.dataset(), &tidy.context());
    serde_json::to_string(&found).unwrap()
}

/// The findings without the hash of the file, which differs between two ways of writing it.
fn numbers(text: &str) -> String {
    let mut tidy = reads(text);
    tidy.sha256 = String::new();
    findings(&tidy)
}

#[test]
fn a_file_becomes_pieces_and_a_plan() {
    let tidy = reads(FILE);
    assert_eq!(tidy.pieces.len(), 10);
    assert_eq!(tidy.plan.primary, Response::MaxLoad);
    assert_eq!((tidy.plan.primary_stage_days, tidy.plan.baseline), (365, 3));
    assert_eq!(
        tidy.plan.storage_control().map(|c| c.name.as_str()),
        Some("drawer")
    );
    let names: Vec<&str> = tidy.pieces.iter().map(|p| p.code.as_str()).collect();
    assert_eq!(names[6..], ["R1", "R2", "R3", "R10"]);
    let of = |name: &str| {
        tidy.pieces
            .iter()
            .find(|p| p.code.as_str() == name)
            .unwrap()
    };
    assert_eq!(of("K2").fate, Fate::Valid);
    assert_eq!(of("R2").fate, Fate::Lost);
    assert_eq!(of("R2").reason.as_deref(), Some("not in the net"));
    assert_eq!(of("R3").max_load_n, Some(0.0));
    let change = of("R1").pairs[0].change_percent.unwrap();
    assert!((change - (5.11 - 5.02) / 5.02 * 100.0).abs() < 1e-12);
}

#[test]
fn the_order_of_lines_and_columns_changes_nothing() {
    let mut lines: Vec<&str> = FILE.lines().collect();
    lines[1..].reverse();
    assert_eq!(numbers(&lines.join("\n")), numbers(FILE));
    let reversed: Vec<String> = FILE
        .lines()
        .map(|line| line.split(',').rev().collect::<Vec<_>>().join(";"))
        .collect();
    assert_eq!(numbers(&reversed.join("\r\n")), numbers(FILE));
}

#[test]
fn decimal_commas_and_other_units_are_the_same_values() {
    let comma = FILE.replace(',', ";").replace('.', ",");
    assert_eq!(numbers(&comma), numbers(FILE));
    let milli = "specimen,condition,role,stage_days,mass_before_mg,mass_after_g,max_load_kN\n\
        A,c,storage_control,9,5000,5,0.3\nB,x,exposed,9,5000,5,0.3\n";
    let tidy = reads(milli);
    assert_eq!(tidy.pieces[0].max_load_n, Some(300.0));
    assert_eq!(tidy.pieces[0].pairs[0].change_percent, Some(0.0));
}

#[test]
fn all_problems_come_at_once_with_line_and_column() {
    let file = "specimen,condition,role,stage_days,max_load_n,outcome,test_date\n\
        A,c,storage_control,365,300,valid,2025-13-40\n\
        A,c,stored,365,three,valid,\n\
        B,x,exposed,soon,1.234,5,valid,\n\
        C,x,exposed,,250,broken,\n\
        ,x,exposed,365,,valid,\n";
    let told = told(file, Wishes::default());
    let expected = [
        "line 2, column 7 (test_date): “2025-13-40” is no day",
        "line 3, column 3 (role): “stored” is not among those known; expected one of baseline",
        "line 3, column 5 (max_load_n): “three” is no number",
        "line 4: This line has 8 cells, parted by a comma; expected 7",
        "line 5, column 6 (outcome): “broken” is not among those known",
        "line 6, column 1 (specimen): The piece has no name",
        "line 6, column 6 (outcome): This outcome needs a load",
    ];
    for wanted in expected {
        assert!(
            told.iter().any(|t| t.starts_with(wanted)),
            "{wanted}\n{told:#?}"
        );
    }
    assert!(told.iter().any(|t| t.contains("stands on line 2 already")));
    assert!(
        told.iter()
            .any(|t| t.starts_with("line 5: The piece has no stage_days"))
    );
    let lines: Vec<&str> = told
        .iter()
        .filter_map(|t| t.split([',', ':']).next())
        .collect();
    assert!(lines.is_sorted(), "{told:#?}");
    assert_eq!(
        told.len(),
        expected.len() + 2,
        "nothing is told twice: {told:#?}"
    );
}

#[test]
fn what_is_missing_altogether_is_told_with_what_was_expected() {
    let none = Wishes::default;
    assert!(told("a,b\n1,2\n", none())[0].contains("No column here is known"));
    let lone = told("specimen,max_load_n\nA,3\n", none());
    assert!(
        lone.iter().any(|t| t.contains("no column condition")),
        "{lone:?}"
    );
    let plain = told("specimen,condition,stage_days,max_load\nA,c,9,3\n", none());
    assert!(
        plain
            .iter()
            .any(|t| t.contains("expected one of max_load_n")),
        "{plain:?}"
    );
    assert!(plain.iter().any(|t| t.contains("--storage-control")));
    let twice = "specimen,condition,role,stage_days,max_load_n,max_load_lbf\nA,c,exposed,9,3,4\n";
    assert!(told(twice, none())[0].contains("two columns"));
    let lengths = "specimen,condition,role,stage_days,max_load_n\nA,c,exposed,9,3\n";
    let wishes = Wishes {
        primary: Some("strength".into()),
        primary_stage_days: Some(10),
        margin_percent: Some(-1.0),
        covariate: Some("mass".into()),
        storage_control: Some("shelf".into()),
        ..none()
    };
    let told = told(lengths, wishes);
    for key in [
        "primary:",
        "primary_stage_days:",
        "margin_percent:",
        "covariate:",
        "storage_control:",
    ] {
        assert!(
            told.iter().any(|t| t.starts_with(&format!("plan, {key}"))),
            "{key} {told:#?}"
        );
    }
}

#[test]
fn wishes_make_the_plan() {
    let file = "specimen,condition,width_mm,thickness_mm,max_load_n\n\
        A,c,10,4,300\nB,c,10,4,310\nC,x,10,4,200\nD,x,10,4,210\n";
    let request = Request {
        wishes: Wishes {
            storage_control: Some("c".into()),
            stage_days: Some(30),
            primary: Some("strength".into()),
            covariate: Some("width_before".into()),
            margin_percent: Some(12.0),
            piece: Some("bar".into()),
            ..Wishes::default()
        },
        ..Request::default()
    };
    let tidy = read(file.as_bytes(), &request).unwrap();
    assert_eq!(
        tidy.pieces[0].value(&Response::Strength).unwrap().value,
        300.0 / 40.0
    );
    assert_eq!(tidy.plan.margin_percent, 12.0);
    assert!(matches!(tidy.plan.covariate, Covariate::Before(_)));
    assert!(findings(&tidy).contains("the 2 bars"));
}

/// Cells that files may hold: good ones, and every kind of bad one.
fn any_cell() -> impl Strategy<Value = String> {
    let known = prop::sample::select(vec![
        "",
        "A1",
        "A2",
        "drawer",
        "barrel",
        "baseline",
        "storage_control",
        "exposed",
        "late_reference",
        "365",
        "30",
        "300",
        "12,5",
        "1e308",
        "-1",
        "0",
        "5.01",
        "valid",
        "invalid",
        "lost",
        "total_loss",
        "lower_bound",
        "withdrawn",
        "wet",
        "conditioned",
        "2025-03-04",
        "\"",
        "NaN",
        "yes",
        "\u{feff}",
        "=1+1",
    ])
    .prop_map(str::to_owned);
    prop_oneof![8 => known, 1 => ".{0,12}"]
}

const NAMES: [&str; 19] = [
    "specimen",
    "condition",
    "role",
    "stage_days",
    "holder",
    "mass_before_g",
    "mass_after_mg",
    "mass_state_before",
    "mass_state_after",
    "width_before_mm",
    "width_after_in",
    "max_load_n",
    "outcome",
    "reason",
    "test_date",
    "fate",
    "recovery",
    "nameless",
    "flags",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = read(&bytes, &Request::default());
    }

    #[test]
    fn no_text_panics(text in "(specimen|role|;|,|\\t|\"|\n|[a-z0-9_.]){0,80}") {
        let _ = read(text.as_bytes(), &Request::default());
    }

    /// Whatever is read is analysed without a panic, and whatever is not read says why.
    #[test]
    fn no_table_panics(
        rows in prop::collection::vec(prop::collection::vec(any_cell(), NAMES.len()), 0..14),
    ) {
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(NAMES).unwrap();
        for (at, mut row) in rows.into_iter().enumerate() {
            // Names of their own, so that many files get past the first check.
            if !row[0].is_empty() {
                row[0] = format!("{}{at}", row[0]);
            }
            writer.write_record(&row).unwrap();
        }
        let bytes = writer.into_inner().unwrap();
        match read(&bytes, &Request::default()) {
            Ok(tidy) => prop_assert!(findings(&tidy).contains("\"format\"")),
            Err(problems) => prop_assert!(!problems.is_empty()),
        }
    }

    /// Sound files with odd values: these are read, and then analysed in every corner.
    #[test]
    fn no_value_panics(
        loads in prop::collection::vec((0_usize..3, 0_usize..6, 0_u32..400_u32), 4..24),
    ) {
        let mut text = String::from("specimen,condition,role,stage_days,max_load_n,outcome\n");
        for (at, (place, outcome, load)) in loads.into_iter().enumerate() {
            let (condition, role) =
                [("drawer", "storage_control"), ("roof", "exposed"), ("soil", "exposed")][place];
            let outcome = ["valid", "invalid", "lower_bound", "total_loss", "lost", "withdrawn"][outcome];
            let load = match outcome {
                "valid" | "lower_bound" => (load + 1).to_string(),
                _ => String::new(),
            };
            text.push_str(&format!("P{at},{condition},{role},365,{load},{outcome}\n"));
        }
        let tidy = read(text.as_bytes(), &Request::default()).map_err(|p| TestCaseError::fail(p.to_string()))?;
        prop_assert!(findings(&tidy).contains("\"format\""));
    }
}
