//! Three whole studies: what the analysis finds in a file is what numpy, scipy and statsmodels find in it.
//! The files, the script and its versions are in `tests/fixtures/studies`.

use overwinter::analysis::analyse_dataset;
use overwinter::tidy::wishes::{Request, Wishes};
use overwinter::tidy::{self};
use serde_json::Value;
use std::fs;
use std::path::Path;

/// Relative difference allowed; both sides integrate and search for roots to about 1e-10.
const NEAR: f64 = 1e-7;

fn folder() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/studies")
}

/// One case of the script with the findings for the same file and wishes.
struct Case {
    expected: Value,
    found: Value,
    name: String,
}

fn cases() -> Vec<Case> {
    let text = fs::read_to_string(folder().join("expected.json")).expect("the expected values");
    let all: Value = serde_json::from_str(&text).expect("JSON");
    all["cases"]
        .as_array()
        .expect("cases")
        .iter()
        .map(case)
        .collect()
}

fn case(expected: &Value) -> Case {
    let file = expected["file"].as_str().expect("a file");
    let wishes: Wishes = serde_json::from_value(expected["wishes"].clone()).expect("wishes");
    let name = format!("{file} {}", expected["wishes"]);
    let request = Request {
        wishes,
        stem: file.to_owned(),
        ..Request::default()
    };
    let bytes = fs::read(folder().join(file)).expect("the file");
    let tidy = tidy::read(&bytes, &request).unwrap_or_else(|problems| panic!("{name}: {problems}"));
    let found = analyse_dataset(&tidy.dataset(), &tidy.context());
    Case {
        expected: expected.clone(),
        found: serde_json::to_value(&found).expect("JSON"),
        name,
    }
}

#[track_caller]
fn near(found: &Value, expected: &Value, what: &str) {
    let (Some(a), Some(b)) = (found.as_f64(), expected.as_f64()) else {
        panic!("{what}: {found} for {expected}")
    };
    assert!(
        (a - b).abs() <= NEAR * b.abs().max(1.0),
        "{what}: {a} for {b}"
    );
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn members<'v>(family: &'v Value, condition: &'v str) -> impl Iterator<Item = &'v Value> {
    list(&family["members"])
        .iter()
        .filter(move |m| m["name"] == condition)
}

fn ratio(member: &Value, expected: &Value, what: &str) {
    near(&member["exposed"]["mean"], &expected["mean"], what);
    near(
        &member["reference"]["mean"],
        &expected["reference_mean"],
        what,
    );
    for key in ["ratio", "df", "critical", "lower", "upper"] {
        near(
            &member["ratio"][key],
            &expected[key],
            &format!("{what} {key}"),
        );
    }
}

#[test]
fn the_deciding_intervals_and_their_verdicts_are_those_of_the_script() {
    let mut compared = 0;
    for case in cases() {
        let Some(expected) = case.expected["primary"].as_object() else {
            continue;
        };
        let primary = &case.found["primary"];
        for (at, member) in list(&primary["family"]["members"]).iter().enumerate() {
            let name = member["name"].as_str().unwrap();
            let wanted = &expected[name];
            let what = format!("{} {name}", case.name);
            ratio(member, wanted, &what);
            let shown = &primary["judged"][at]["countings"][0]["verdict"];
            assert_eq!(shown, &wanted["verdict"], "{what}");
            if let Some(p) = case.expected.get("dunnett_p") {
                // scipy integrates this by sampling; 1e-3 is its own error.
                let found = member["difference"]["p_adjusted"].as_f64().unwrap();
                assert!((found - p[name].as_f64().unwrap()).abs() < 2e-3, "{what}");
            }
            compared += 1;
        }
        assert_eq!(
            list(&primary["judged"]).len(),
            expected.len(),
            "{}",
            case.name
        );
    }
    assert!(compared >= 10);
}

#[test]
fn lost_and_censored_pieces_are_counted_three_ways() {
    let cases = cases();
    let case = cases
        .iter()
        .find(|c| c.expected.get("countings").is_some())
        .unwrap();
    let primary = &case.found["primary"];
    let mut compared = 0;
    for (at, member) in list(&primary["family"]["members"]).iter().enumerate() {
        let name = member["name"].as_str().unwrap();
        let judged = &primary["judged"][at];
        for counted in list(&judged["countings"]) {
            let wanted = &case.expected["countings"][counted["counting"].as_str().unwrap()][name];
            let what = format!("{name} {}", counted["counting"]);
            assert_eq!(counted["pieces"], wanted["pieces"], "{what}");
            assert_eq!(counted["verdict"], wanted["verdict"], "{what}");
            for (key, end) in [("lower_percent", "lower"), ("upper_percent", "upper")] {
                let percent = (wanted[end].as_f64().unwrap() - 1.0) * 100.0;
                near(&counted["effect"][key], &percent.into(), &what);
            }
            compared += 1;
        }
        // The word that stands is the one that all countings share, or 'not settled'.
        let words: Vec<&str> = list(&judged["countings"])
            .iter()
            .map(|c| c["verdict"].as_str().unwrap())
            .collect();
        if words.iter().any(|w| w.starts_with("changed")) && words.contains(&"not_settled") {
            assert_eq!(judged["verdict"], "not_settled", "{name} {words:?}");
        }
    }
    assert_eq!(compared, 6);
}

#[test]
fn every_set_by_itself_is_described_as_by_the_script() {
    let mut compared = 0;
    for case in cases() {
        let Some(expected) = case.expected["groups"].as_object() else {
            continue;
        };
        for (response, groups) in expected {
            for wanted in list(groups) {
                let is_it = |g: &&Value| {
                    let response_is = match response.strip_suffix("_change") {
                        Some("mass") | None => g["response"] == *response,
                        Some(name) => g["response"] == format!("length_change:{name}"),
                    };
                    let name = wanted["condition"].as_str().unwrap_or("baseline set");
                    response_is && g["name"] == name && g["stage_days"] == wanted["stage_days"]
                };
                let found = list(&case.found["groups"]).iter().find(is_it);
                let what = format!("{} {response} {wanted}", case.name);
                let found = found.unwrap_or_else(|| panic!("{what}: no such set"));
                for key in ["n", "mean", "median", "min", "max", "sd"] {
                    near(&found[key], &wanted[key], &what);
                }
                near(&found["interval"][0], &wanted["interval"][0], &what);
                near(&found["interval"][1], &wanted["interval"][1], &what);
                compared += 1;
            }
        }
    }
    assert!(compared > 40, "{compared}");
}

/// Every secondary family of one response, stage and reference that has this condition.
fn secondary<'v>(
    case: &'v Case,
    response: &str,
    stage: &Value,
    against: &str,
    condition: &'v str,
) -> &'v Value {
    let response = match response.strip_suffix("_change") {
        Some("mass") | None => response.to_owned(),
        Some(name) => format!("length_change:{name}"),
    };
    let here = list(&case.found["secondary"]).iter().filter(|f| {
        f["response"] == response && f["stage_days"] == *stage && f["against"] == against
    });
    here.flat_map(|family| members(family, condition))
        .next()
        .unwrap_or_else(|| panic!("{} {response} {stage} {condition}", case.name))
}

#[test]
fn single_comparisons_are_those_of_the_script() {
    let mut compared = 0;
    for case in cases() {
        for wanted in list(&case.expected["changes"]) {
            let condition = wanted["condition"].as_str().unwrap();
            let response = wanted["response"].as_str().unwrap();
            let stage = &wanted["stage_days"];
            let found = secondary(&case, response, stage, "storage_control", condition);
            let what = format!("{} {response} {stage} {condition}", case.name);
            for key in ["difference", "df", "t", "lower", "upper"] {
                near(&found["difference"][key], &wanted[key], &what);
            }
            near(&found["difference"]["p_adjusted"], &wanted["p"], &what);
            compared += 1;
        }
        for wanted in list(&case.expected["earlier"]) {
            let condition = wanted["condition"].as_str().unwrap();
            let stage = &wanted["stage_days"];
            let found = secondary(&case, "max_load", stage, "storage_control", condition);
            ratio(found, wanted, &format!("{stage} {condition}"));
            compared += 1;
        }
        if let Some(wanted) = case.expected.get("storage_against_baseline") {
            let found = secondary(&case, "max_load", &365.into(), "baseline", "drawer");
            ratio(found, wanted, "storage against baseline");
            compared += 1;
        }
        if let Some(wanted) = case.expected["change_family"].as_object() {
            let family = &case.found["primary"]["family"];
            for (condition, wanted) in wanted {
                let found = members(family, condition).next().unwrap();
                near(
                    &found["difference"]["difference"],
                    &wanted["difference"],
                    condition,
                );
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 2 + 16 + 6 + 1 + 2);
}

#[test]
fn the_mixed_model_and_the_adjustment_are_those_of_statsmodels() {
    let cases = cases();
    let case = cases
        .iter()
        .find(|c| c.expected.get("mixed").is_some())
        .unwrap();
    let wanted = &case.expected["mixed"];
    let parts = &case.found["beside"]["holder_model"]["parts"];
    for (key, variance) in [("between_sd", "between"), ("within_sd", "within")] {
        let found = parts[key].as_f64().unwrap();
        let sd = wanted[variance].as_f64().unwrap().sqrt();
        // Its optimiser stops at about 1e-4.
        assert!((found / sd - 1.0).abs() < 2e-3, "{key}: {found} for {sd}");
    }
    let case = cases
        .iter()
        .find(|c| c.expected.get("covariate").is_some())
        .unwrap();
    let wanted = &case.expected["covariate"];
    let family = &case.found["primary"]["family"];
    near(
        &family["adjustment"]["slope"]["estimate"],
        &wanted["slope"],
        "slope",
    );
    for (condition, wanted) in wanted["members"].as_object().unwrap() {
        let found = members(family, condition).next().unwrap();
        for key in ["difference", "se", "df", "lower", "upper"] {
            near(
                &found["difference"][key],
                &wanted[key],
                &format!("{condition} {key}"),
            );
        }
    }
}
