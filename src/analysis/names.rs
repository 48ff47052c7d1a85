//! How things are called within a sentence: plurals, numbers in words, places, holders.

use crate::study::plan::{Condition, Environment, Holder};

/// Numbers up to twelve in words, larger ones in digits.
#[must_use]
pub fn count(n: usize) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
        "eleven", "twelve",
    ];
    WORDS
        .get(n)
        .map_or_else(|| n.to_string(), |word| (*word).to_owned())
}

/// The plural of an English noun phrase (its last word).
#[must_use]
pub fn plural(noun: &str) -> String {
    let ends = |tails: &[&str]| tails.iter().any(|tail| noun.ends_with(tail));
    let before_y = noun.strip_suffix('y');
    if ends(&["s", "x", "z", "ch", "sh"]) {
        return format!("{noun}es");
    }
    match before_y {
        Some(stem) if !stem.ends_with(['a', 'e', 'i', 'o', 'u']) => format!("{stem}ies"),
        _ => format!("{noun}s"),
    }
}

/// A noun in the number that `n` asks for.
#[must_use]
pub fn noun(n: usize, singular: &str) -> String {
    if n == 1 {
        singular.to_owned()
    } else {
        plural(singular)
    }
}

/// `n` with its noun: `1 clip`, `6 clips`.
#[must_use]
pub fn counted(n: usize, singular: &str) -> String {
    format!("{n} {}", noun(n, singular))
}

/// First letter as a capital.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

/// Several names in a row: `a`, `a and b`, `a, b and c`.
#[must_use]
pub fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [rest @ .., last] => format!("{} and {last}", rest.join(", ")),
    }
}

/// Where the pieces of a condition were: `in the rain barrel`, `on the roof`, `outdoors`.
#[must_use]
pub fn place(condition: &Condition) -> String {
    const LEADS: [&str; 12] = [
        "in", "on", "at", "under", "behind", "beside", "near", "indoors", "outdoors", "inside",
        "outside", "below",
    ];
    let name = condition.name.as_str();
    let first = name
        .split_whitespace()
        .next()
        .unwrap_or_default()
        .to_lowercase();
    if LEADS.contains(&first.as_str()) {
        return name.to_owned();
    }
    let preposition = match condition.environment {
        Environment::Outdoor => "on",
        _ => "in",
    };
    let article = if matches!(first.as_str(), "the" | "a" | "an") {
        ""
    } else {
        "the "
    };
    format!("{preposition} {article}{name}")
}

/// What a holder is called in general: `jar` for `jar 3`, `rack` for `rack B`.
#[must_use]
pub fn holder_kind(holder: &Holder) -> String {
    let words: Vec<&str> = holder.name.split_whitespace().collect();
    let is_label =
        |word: &str| word.chars().all(|c| c.is_ascii_digit()) || word.chars().count() == 1;
    match words.as_slice() {
        [kind @ .., last] if !kind.is_empty() && is_label(last) => kind.join(" "),
        _ => holder.name.clone(),
    }
}

/// What the holders of a condition are called together: their common kind, or `holder`.
#[must_use]
pub fn holder_noun(condition: &Condition, keys: &[&str]) -> String {
    let here = condition
        .holders
        .iter()
        .filter(|h| keys.contains(&h.key.as_str()));
    let mut kinds: Vec<String> = here.map(holder_kind).collect();
    kinds.sort();
    kinds.dedup();
    match kinds.as_slice() {
        [kind] if !is_place_word(kind) => kind.clone(),
        _ if condition.is_storage_control => "box".to_owned(),
        _ => "holder".to_owned(),
    }
}

/// `indoors` is where something is, not what it is in.
fn is_place_word(kind: &str) -> bool {
    let first = kind
        .split_whitespace()
        .next()
        .unwrap_or_default()
        .to_lowercase();
    let places = [
        "indoors", "outdoors", "inside", "outside", "in", "on", "at", "under", "kept",
    ];
    places.contains(&first.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn holder(name: &str) -> Holder {
        Holder {
            key: "h".into(),
            name: name.into(),
        }
    }

    #[test]
    fn plurals_and_numbers_read_as_english() {
        for (one, many) in [
            ("clip", "clips"),
            ("box", "boxes"),
            ("assembly", "assemblies"),
        ] {
            assert_eq!(plural(one), many);
        }
        assert_eq!(plural("tray"), "trays");
        assert_eq!(
            (count(1), count(12), count(13)),
            ("one".into(), "twelve".into(), "13".into())
        );
        assert_eq!(listed(&["a".into(), "b".into(), "c".into()]), "a, b and c");
    }

    #[test]
    fn a_numbered_holder_is_one_of_its_kind() {
        assert_eq!(holder_kind(&holder("jar 3")), "jar");
        assert_eq!(holder_kind(&holder("wire rack B")), "wire rack");
        assert_eq!(holder_kind(&holder("rain barrel")), "rain barrel");
        assert_eq!(holder_kind(&holder("7")), "7");
    }
}
