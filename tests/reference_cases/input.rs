//! Reading the input of a case.

use serde_json::Value;

/// A number, also one spelt "Inf" or "-Inf".
pub fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Number(n) => n.as_f64(),
        Value::String(text) if text == "Inf" => Some(f64::INFINITY),
        Value::String(text) if text == "-Inf" => Some(f64::NEG_INFINITY),
        _ => None,
    }
}

/// The number in a field.
pub fn field(input: &Value, name: &str) -> Result<f64, String> {
    input
        .get(name)
        .and_then(number)
        .ok_or_else(|| format!("input has no number {name:?}"))
}

/// The count in a field.
pub fn count(input: &Value, name: &str) -> Result<usize, String> {
    let value = field(input, name)?;
    if value >= 0.0 && value.fract() == 0.0 {
        Ok(value as usize)
    } else {
        Err(format!("{name} is not a count"))
    }
}

/// The text in a field.
pub fn text<'a>(input: &'a Value, name: &str) -> Result<&'a str, String> {
    input
        .get(name)
        .and_then(Value::as_str)
        .ok_or_else(|| format!("input has no text {name:?}"))
}

/// The list of numbers in a field.
pub fn list(input: &Value, name: &str) -> Result<Vec<f64>, String> {
    numbers(input.get(name).unwrap_or(&Value::Null)).ok_or(format!("input has no list {name:?}"))
}

/// The list of lists of numbers in a field.
pub fn lists(input: &Value, name: &str) -> Result<Vec<Vec<f64>>, String> {
    let items = input.get(name).and_then(Value::as_array);
    items
        .and_then(|items| items.iter().map(numbers).collect())
        .ok_or_else(|| format!("input has no lists {name:?}"))
}

/// The list of labels in a field; numbers are read as their text.
pub fn labels(input: &Value, name: &str) -> Result<Vec<String>, String> {
    let items = input.get(name).and_then(Value::as_array);
    let read = |v: &Value| v.as_str().map_or_else(|| v.to_string(), str::to_owned);
    items
        .map(|items| items.iter().map(read).collect())
        .ok_or(format!("no labels {name:?}"))
}

fn numbers(value: &Value) -> Option<Vec<f64>> {
    value.as_array()?.iter().map(number).collect()
}

/// A refusal as the sentence of a miss.
pub fn told(refusal: impl std::fmt::Display) -> String {
    format!("refused: {refusal}")
}

/// A number as JSON, infinities spelt out.
pub fn shown(value: f64) -> Value {
    if value == f64::INFINITY {
        "Inf".into()
    } else if value == f64::NEG_INFINITY {
        "-Inf".into()
    } else {
        value.into()
    }
}
