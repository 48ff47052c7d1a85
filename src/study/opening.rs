//! Opening a study: what is typed for it, before it has an entry of its own.

use chrono_tz::{TZ_VARIANTS, Tz};

use super::fault::{Fault, Faults};
use super::typed::{Typed, clean};

/// Longest address of a study, in characters.
const LONGEST_SLUG: usize = 60;

/// Addresses that pages of the desk need for themselves.
const RESERVED: [&str; 3] = ["bring", "new", "waiting"];

/// A study about to be opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Opening {
    /// Its title.
    pub title: String,
    /// Its address on this server.
    pub slug: String,
    /// Its time zone (IANA name).
    pub time_zone: String,
    /// It had begun before anybody opened it here.
    pub is_after_the_fact: bool,
}

impl Opening {
    /// Reads the form. An empty address is made from the title.
    ///
    /// # Errors
    /// Every mistake at once, in the order of the form.
    pub fn parse(typed: &Typed) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        let title = typed.required("title", "The title");
        let title = title.and_then(|title| clean("title", "The title", &title, 120));
        let title = faults.keep(title);
        let suggested = suggested_slug(title.as_deref().unwrap_or_default());
        let slug = match typed.text("slug") {
            // A missing title is one mistake, not two.
            "" if title.is_none() => Some(String::new()),
            "" => faults.keep(slug(&suggested)),
            text => faults.keep(slug(text)),
        };
        let time_zone = faults.keep(time_zone(typed.text("time_zone")));
        let opening = || {
            Some(Self {
                title: title?,
                slug: slug?,
                time_zone: time_zone?,
                is_after_the_fact: typed.has("after_the_fact"),
            })
        };
        faults.and_some(opening())
    }
}

/// An address made from a title: its letters without marks, digits, hyphens between words.
#[must_use]
pub fn suggested_slug(title: &str) -> String {
    let mut slug = String::new();
    for c in title.chars() {
        match c.to_ascii_lowercase() {
            c if c.is_ascii_alphanumeric() => slug.push(c),
            c => match plain(c) {
                "" if !slug.ends_with('-') && !slug.is_empty() => slug.push('-'),
                letters => slug.push_str(letters),
            },
        }
    }
    let cut: String = slug.chars().take(LONGEST_SLUG).collect();
    cut.trim_matches('-').to_owned()
}

/// The usual spelling of a letter without its mark; empty for what is no letter of that kind.
fn plain(c: char) -> &'static str {
    match c {
        'ä' | 'æ' | 'Ä' | 'Æ' => "ae",
        'ö' | 'ø' | 'Ö' | 'Ø' | 'œ' => "oe",
        'ü' | 'Ü' => "ue",
        'å' | 'Å' => "aa",
        'ß' => "ss",
        'á' | 'à' | 'â' | 'ã' => "a",
        'é' | 'è' | 'ê' | 'ë' => "e",
        'í' | 'ì' | 'î' | 'ï' => "i",
        'ó' | 'ò' | 'ô' | 'õ' => "o",
        'ú' | 'ù' | 'û' => "u",
        'ç' => "c",
        'ñ' => "n",
        _ => "",
    }
}

fn slug(text: &str) -> Result<String, Fault> {
    let text = text.to_ascii_lowercase();
    let is_plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    let fits = (2..=LONGEST_SLUG).contains(&text.chars().count())
        && text.chars().all(is_plain)
        && !text.starts_with('-')
        && !text.ends_with('-');
    if !fits {
        let sentence = format!(
            "The address has 2 to {LONGEST_SLUG} letters a to z, digits and hyphens, such as fleece-pegs."
        );
        return Err(Fault::new("slug", sentence));
    }
    if RESERVED.contains(&text.as_str()) {
        return Err(Fault::new(
            "slug",
            "This address is needed for something else; choose another.",
        ));
    }
    Ok(text)
}

/// A zone of the IANA list, found whatever the case of its letters.
fn time_zone(text: &str) -> Result<String, Fault> {
    let is_meant = |zone: &&Tz| zone.name().eq_ignore_ascii_case(text);
    let found = TZ_VARIANTS.iter().find(is_meant);
    found.map(|zone| zone.name().to_owned()).ok_or_else(|| {
        let sentence = "The time zone is one of the IANA list, such as Europe/Oslo or UTC.";
        Fault::new("time_zone", sentence)
    })
}

/// The names of all time zones, for the list that a field offers.
pub fn time_zones() -> impl Iterator<Item = &'static str> {
    TZ_VARIANTS.iter().map(|zone| zone.name())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn opened(fields: &[(&str, &str)]) -> Result<Opening, Faults> {
        let fields = fields
            .iter()
            .map(|(n, v)| ((*n).to_owned(), (*v).to_owned()));
        Opening::parse(&Typed::new(fields.collect()))
    }

    #[test]
    fn an_address_is_made_from_the_title_when_none_is_typed() {
        for (title, slug) in [
            ("Fleece pegs, one year", "fleece-pegs-one-year"),
            (
                "  Überwinternde Häken — 2026!  ",
                "ueberwinternde-haeken-2026",
            ),
            ("A/B", "a-b"),
            ("東京", ""),
        ] {
            assert_eq!(suggested_slug(title), slug);
        }
        let opening = opened(&[("title", "Fleece pegs"), ("time_zone", "europe/oslo")]).unwrap();
        assert_eq!(opening.slug, "fleece-pegs");
        assert_eq!(opening.time_zone, "Europe/Oslo");
        assert!(!opening.is_after_the_fact);
    }

    #[test]
    fn what_is_no_address_or_zone_is_named_at_its_field() {
        for (field, text) in [
            ("slug", "new"),
            ("slug", "-x"),
            ("slug", "a b"),
            ("slug", "ä"),
            ("slug", "../x"),
            ("slug", "x"),
            ("time_zone", ""),
            ("time_zone", "Oslo"),
            ("time_zone", "UTC+1"),
            ("title", ""),
            ("title", "東京"),
            ("title", "a\u{202e}b"),
        ] {
            let mut fields = vec![("title", "Pegs"), ("slug", ""), ("time_zone", "UTC")];
            fields.retain(|(name, _)| *name != field);
            fields.push((field, text));
            let at = if text == "東京" { "slug" } else { field };
            let faults = opened(&fields).unwrap_err();
            assert!(faults.for_field(at).is_some(), "{field} {text:?}: {faults}");
            assert_eq!(faults.iter().count(), 1, "{field} {text:?}: {faults}");
        }
    }
}
