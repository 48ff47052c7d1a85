//! What a program may leave out of an entry, filled in: the study and the consignment, which its token knows,
//! and the value in SI units, which follows from what was typed. Where both are given, they must agree.

use crate::study::units::{self, Dimension, Unit};
use crate::web::token::{Holder, TokenAccess};
use serde_json::{Map, Value, json};

/// Most relative difference between a value and what was typed: the rounding of a conversion.
const AGREEMENT: f64 = 1e-9;

/// Fills in what was left out.
///
/// # Errors
/// In words, when what is there does not fit together.
pub(super) fn fill(token: &TokenAccess, mut value: Value) -> Result<Value, String> {
    let Some(entry) = value.as_object_mut() else {
        return Err("An entry is a JSON object.".to_owned());
    };
    let study = json!(token.row.study);
    if *entry.entry("study").or_insert(study.clone()) != study {
        return Err("The entry names another study than the token's.".to_owned());
    }
    for (name, usual) in [
        ("device", json!(token.row.name)),
        ("device_seq", json!(0)),
        ("time_zone", json!("UTC")),
    ] {
        entry.entry(name).or_insert(usual);
    }
    let kind = entry
        .get("kind")
        .and_then(Value::as_str)
        .unwrap_or_default();
    let kind = kind.to_owned();
    if let Some(body) = entry.get_mut("body").and_then(Value::as_object_mut) {
        fill_body(token, &kind, body)?;
    }
    Ok(value)
}

fn fill_body(token: &TokenAccess, kind: &str, body: &mut Map<String, Value>) -> Result<(), String> {
    let consignment = |part: &mut Map<String, Value>| {
        if let Holder::Tester(lab) = &token.holder {
            let own = json!(lab.target.consignment);
            part.entry("consignment").or_insert(own);
        }
    };
    let within = |body: &mut Map<String, Value>, name: &str| {
        body.get_mut(name)
            .and_then(Value::as_object_mut)
            .map(std::mem::take)
    };
    let (part, value, dimension) = match kind {
        "reading_taken" | "reading_corrected" => ("reading", "value", None),
        "break_test_corrected" => ("test", "max_load_n", Some(Dimension::Force)),
        "break_tested" => {
            consignment(body);
            return agree(body, "max_load_n", Some(Dimension::Force));
        }
        "session_set"
        | "arrived"
        | "guessed"
        | "finished"
        | "receipt_noted"
        | "difference_settled"
        | "equipment_kept"
        | "arrival_photographed"
        | "transit_logged" => {
            consignment(body);
            return Ok(());
        }
        _ => return Ok(()),
    };
    let Some(mut inner) = within(body, part) else {
        return Ok(());
    };
    if part == "test" {
        consignment(&mut inner);
    }
    let agreed = agree(&mut inner, value, dimension);
    body.insert(part.to_owned(), Value::Object(inner));
    agreed
}

/// The value that follows from what was typed is filled in, or must be the one that is there.
fn agree(part: &mut Map<String, Value>, name: &str, is: Option<Dimension>) -> Result<(), String> {
    let Some(typed) = part.get("typed").and_then(Value::as_object) else {
        return Ok(());
    };
    let (Some(text), Some(unit)) = (typed.get("text"), typed.get("unit")) else {
        return Ok(());
    };
    let unit: Unit = serde_json::from_value(unit.clone()).map_err(|_| {
        let known: Vec<&str> = units::ALL.iter().map(|unit| unit.key()).collect();
        format!("The unit must be one of {}.", known.join(", "))
    })?;
    if is.is_some_and(|dimension| unit.dimension() != dimension) {
        return Err("A load needs a unit of force.".to_owned());
    }
    let text = text.as_str().unwrap_or_default();
    let number =
        units::number("typed", "The typed number", text).map_err(|fault| fault.sentence)?;
    let found = unit.to_si(number);
    match part.get(name).filter(|there| !there.is_null()) {
        None => {
            part.insert(name.to_owned(), json!(found));
            Ok(())
        }
        Some(there) => {
            let is_near =
                |there: f64| (there - found).abs() <= AGREEMENT * found.abs().max(there.abs());
            if there.as_f64().is_some_and(is_near) {
                Ok(())
            } else {
                Err(format!(
                    "{name} is {there}, but {text} {} is {found}.",
                    unit.symbol()
                ))
            }
        }
    }
}
