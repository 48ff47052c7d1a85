//! The plan's form there and back, and what it says of each mistake.

use super::*;
use crate::study::plan::{Environment, Holder, RetestRule, RetestSets, SameBatch, Stage};

/// A new plan's form with the least that must be typed.
fn typed() -> Typed {
    let mut form = blank();
    for (field, text) in [
        ("question", "Do the pegs hold?"),
        ("material", "starch-filled biopolyester"),
        ("lots", "bag 1; bag 2"),
        ("builds", "shot 1\nshot 2"),
        ("piece_name", "peg"),
        ("loading_direction", "pulled at the head"),
        ("fixture", "oak jaws"),
    ] {
        form.set(field, text);
    }
    condition(
        &mut form,
        "rain barrel",
        "by the shed; by the gate; in the yard",
    );
    form
}

fn condition(form: &mut Typed, name: &str, holders: &str) {
    form.add("condition_key", "");
    form.add("condition_name", name);
    form.add("condition_environment", "fresh_water");
    form.add("condition_place", "30 cm deep");
    form.add("condition_holders", holders);
    form.add("condition_replicates", "6");
}

fn plan() -> Plan {
    parse(&typed(), None).unwrap()
}

fn faults(field: &str, text: &str) -> Faults {
    let mut form = typed();
    form.set(field, text);
    parse(&form, None).unwrap_err()
}

fn holder(key: &str, name: &str) -> Holder {
    let (key, name) = (key.to_owned(), name.to_owned());
    Holder { key, name }
}

#[test]
fn a_plan_goes_into_the_form_and_comes_back_the_same() {
    let mut plan = plan();
    assert_eq!(plan.conditions.len(), 2);
    assert_eq!(plan.storage_control().unwrap().key, "c1");
    assert_eq!(plan.conditions[1].environment, Environment::FreshWater);
    assert_eq!(plan.conditions[1].holders[1], holder("c2h2", "by the gate"));
    assert_eq!(parse(&filled(&plan), Some(&plan)), Ok(plan.clone()));
    plan.stages.insert(
        0,
        Stage {
            days: 30,
            window_days: 2,
        },
    );
    plan.conditions[0].replicates = vec![4, 8];
    plan.conditions[1].replicates = vec![6, 6];
    plan.conditions[0].is_storage_control = false;
    plan.asks_weibull = true;
    plan.retention_percent = Some(75.0);
    plan.retests = Some(RetestRule {
        sets: RetestSets::Unexposed,
        batch: SameBatch::Lot,
    });
    assert_eq!(parse(&filled(&plan), Some(&plan)), Ok(plan));
}

/// The seal hashes the plan's bytes: what an older plan does not ask for must not appear in them.
#[test]
fn what_is_not_asked_leaves_no_trace_in_the_sealed_bytes() {
    let bytes = String::from_utf8(plan().to_bytes().unwrap()).unwrap();
    assert!(!bytes.contains("asks_weibull") && !bytes.contains("retention"));
    let back: Plan = serde_json::from_str(&bytes).unwrap();
    assert_eq!(back, plan());
}

#[test]
fn the_small_design_of_four_conditions_is_thirty_pieces() {
    // 4 conditions × 6 × 1 stage + 6 baseline (common practice, no source).
    let mut form = typed();
    condition(&mut form, "bed soil", "3");
    condition(&mut form, "compost", "3");
    form.set("spares", "0");
    let plan = parse(&form, None).unwrap();
    assert_eq!(crate::study::plan::check::count(&plan).total(), 30);
    assert_eq!(count(&form).total(), 30);
    form.set("question", "");
    form.set("confidence", "lots");
    assert_eq!(count(&form).total(), 30, "whatever else is wrong with it");
}

#[test]
fn a_mistake_in_a_row_names_the_row_and_the_first_on_the_page_comes_first() {
    let mut form = typed();
    condition(&mut form, "", "");
    condition(&mut form, "bed soil", "0");
    form.set("confidence", "1e400");
    form.set("material", "");
    let faults = parse(&form, None).unwrap_err();
    let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
    assert_eq!(fields, ["material", "condition_holders-4", "confidence"]);
}

#[test]
fn what_needs_a_reason_asks_for_it() {
    assert!(faults("margin", "15").for_field("margin_reason").is_some());
    let mut form = typed();
    form.set("margin", "15");
    form.set("margin_reason", "The peg is twice as strong as it need be.");
    assert!(parse(&form, None).is_ok());
    condition(&mut form, "one jar", "1");
    let faults = parse(&form, None).unwrap_err();
    assert!(faults.for_field("few_holders_reason").is_some());
}

#[test]
fn what_cannot_be_decided_is_refused_at_its_field() {
    for (field, text, at) in [
        ("primary", "strength", "primary"),
        ("primary", "length_change:width", "primary"),
        ("primary_stage", "30", "primary_stage"),
        ("shape", "round", "dimension_name-1"),
        ("covariate", "length:width", "covariate"),
        ("retention", "100", "retention"),
        ("baseline", "0", "compares_storage_with_baseline"),
        ("end_of_test", "drop", "end_figure"),
        ("condition_control", "2", ""),
        ("stage_days", "0", "stage_days-1"),
        ("lots", "a; A", "lots"),
        ("question", "abc\u{202e}def", "question"),
        ("piece_name", "a\0b", "piece_name"),
        ("expected_cv", "NaN", "expected_cv"),
    ] {
        let mut form = typed();
        form.set(field, text);
        let parsed = parse(&form, None);
        match at {
            "" => assert!(parsed.is_ok(), "{field} {text}"),
            at => assert!(
                parsed.unwrap_err().for_field(at).is_some(),
                "{field} {text}"
            ),
        }
    }
}

#[test]
fn conditions_and_holders_keep_their_keys_and_new_ones_take_free_ones() {
    let plan = plan();
    let mut form = filled(&plan);
    condition(&mut form, "bed soil", "3");
    condition(&mut form, "compost", "3");
    let after = parse(&form, Some(&plan)).unwrap();
    let keys: Vec<&str> = after.conditions.iter().map(|c| c.key.as_str()).collect();
    assert_eq!(keys, ["c1", "c2", "c3", "c4"]);

    let mut form = filled(&plan);
    let names = form.all("condition_name").len();
    assert_eq!(names, 2);
    form.set("condition_holders", "3");
    form.add(
        "condition_holders",
        "in the yard; by the lane; by the shed; by the gate",
    );
    let after = parse(&form, Some(&plan)).unwrap();
    let expected = [
        holder("c2h3", "in the yard"),
        holder("c2h4", "by the lane"),
        holder("c2h1", "by the shed"),
        holder("c2h2", "by the gate"),
    ];
    assert_eq!(after.conditions[1].holders, expected);

    let mut form = filled(&plan);
    form.set("condition_holders", "3");
    form.add("condition_holders", "by the shed; by the lane; in the yard");
    let after = parse(&form, Some(&plan)).unwrap();
    let renamed = holder("c2h2", "by the lane");
    assert_eq!(
        after.conditions[1].holders[1], renamed,
        "renamed in its place"
    );
}

#[test]
fn nothing_typed_breaks_the_form() {
    let long = "9".repeat(400);
    let hostile = [
        "",
        " ",
        "NaN",
        "-1",
        "1e400",
        "∞",
        "a\0b",
        "\u{202e}x",
        ";",
        ";;;",
        ",",
        "999999999999",
        &long,
        "c1",
        "c1h1",
        "length:",
        "length_change:",
        "<script>",
        "\u{301}",
    ];
    let fields: Vec<String> = typed().iter().map(|(name, _)| name.to_owned()).collect();
    for field in fields {
        for value in hostile {
            let mut form = typed();
            form.set(&field, value);
            form.add(&field, value);
            let _ = (parse(&form, None), count(&form));
        }
    }
    let mut many = typed();
    for n in 0..2_000 {
        condition(&mut many, &format!("place {n}"), "3");
    }
    let faults = parse(&many, None).unwrap_err();
    assert!(faults.for_field("condition_name-1").is_some());
}
