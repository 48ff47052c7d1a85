//! Figures that others published: what was left of a property after a time in some place, with its
//! citation. They are drawn beside a study's own and enter no analysis.

use serde::{Deserialize, Serialize};

use super::choice::choice;
use super::fault::{Fault, Faults};
use super::plan::Environment;
use super::typed::Typed;
use super::units;

/// Longest time of a published figure, in days: a century.
const LONGEST_DAYS: f64 = 36_525.0;
/// Largest retention, in %: ten times the start is a slip of the decimal sign.
const MOST_PERCENT: f64 = 1_000.0;

choice! {
    /// What the published figure is of.
    pub enum Property {
        /// Strength or maximum load.
        Strength = "strength", "strength or maximum load";
        /// Mass.
        Mass = "mass", "mass";
        /// Modulus.
        Stiffness = "stiffness", "stiffness (modulus)";
        /// Strain at break.
        Strain = "strain", "strain at break";
        /// Energy to break, impact strength.
        Energy = "energy", "impact strength or energy to break";
    }
}

/// A published figure: what was left, in % of the start.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CitedFigure {
    /// Of what.
    pub property: Property,
    /// What was exposed, in words.
    pub material: String,
    /// In what kind of place.
    pub environment: Environment,
    /// For how many days.
    pub days: f64,
    /// What was left, in % of the start.
    pub retention_percent: f64,
    /// Lower end of the published interval or spread, in %.
    #[serde(default)]
    pub lower_percent: Option<f64>,
    /// Its upper end, in %.
    #[serde(default)]
    pub upper_percent: Option<f64>,
    /// Who, what, where, when.
    pub citation: String,
    /// Where to read it: an address or a DOI; may be empty.
    #[serde(default)]
    pub link: String,
}

impl CitedFigure {
    /// Whether it has a citation.
    #[must_use]
    pub fn is_cited(&self) -> bool {
        !self.citation.trim().is_empty()
    }

    /// Whether its numbers can be a share of a start after a time.
    #[must_use]
    pub fn is_possible(&self) -> bool {
        let is_share =
            |percent: f64| percent.is_finite() && (0.0..=MOST_PERCENT).contains(&percent);
        let ends = [self.lower_percent, self.upper_percent];
        let is_around = self
            .lower_percent
            .is_none_or(|l| l <= self.retention_percent)
            && self
                .upper_percent
                .is_none_or(|u| u >= self.retention_percent);
        let is_time = self.days.is_finite() && self.days > 0.0 && self.days <= LONGEST_DAYS;
        is_time
            && is_around
            && is_share(self.retention_percent)
            && ends.into_iter().flatten().all(is_share)
    }

    /// The link as an address to follow; `None` when there is none, or none that is safe.
    #[must_use]
    pub fn address(&self) -> Option<String> {
        let link = self.link.trim();
        if link.starts_with("https://") || link.starts_with("http://") {
            Some(link.to_owned())
        } else if link.starts_with("10.") && link.contains('/') {
            Some(format!("https://doi.org/{link}"))
        } else {
            None
        }
    }

    /// Reads a form.
    ///
    /// # Errors
    /// All mistakes, by field.
    pub fn parse(typed: &Typed) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        let property = Property::typed("property", "The property", typed.text("property"));
        let property = faults.keep(property);
        let material = faults.keep(typed.required("material", "The material"));
        let place = Environment::typed("environment", "The place", typed.text("environment"));
        let environment = faults.keep(place);
        let days = units::positive("days", "The time in days", typed.text("days"));
        let days = faults.keep(days.and_then(|days| within("days", days, LONGEST_DAYS)));
        let share = |field: &str, called: &str| {
            let read = units::number(field, called, typed.text(field))?;
            within(field, read, MOST_PERCENT)
        };
        let retention = faults.keep(share("retention", "What was left"));
        let end = |field: &str, called: &str| {
            let is_given = typed.has(field);
            is_given.then(|| share(field, called)).transpose()
        };
        let lower = faults.keep(end("lower", "The lower end"));
        let upper = faults.keep(end("upper", "The upper end"));
        let citation = typed.paragraph("citation", "The citation");
        let citation = faults.keep(citation.and_then(cited));
        let link = faults.keep(typed.line("link", "The link").and_then(address));
        let read = || {
            Some(Self {
                property: property?,
                material: material?,
                environment: environment?,
                days: days?,
                retention_percent: retention?,
                lower_percent: lower?,
                upper_percent: upper?,
                citation: citation?,
                link: link?,
            })
        };
        let read = read();
        if read.as_ref().is_some_and(|figure| !figure.is_possible()) {
            faults.push(
                "lower",
                "The ends must lie on either side of what was left.",
            );
        }
        faults.and_some(read)
    }
}

fn within(field: &str, read: f64, most: f64) -> Result<f64, Fault> {
    if (0.0..=most).contains(&read) {
        Ok(read)
    } else {
        Err(Fault::new(
            field,
            format!("This must be between 0 and {most}."),
        ))
    }
}

fn cited(text: String) -> Result<String, Fault> {
    if text.is_empty() {
        let sentence = "Say where it was published: authors, title, place, year.";
        Err(Fault::new("citation", sentence))
    } else {
        Ok(text)
    }
}

fn address(link: String) -> Result<String, Fault> {
    let is_known = ["https://", "http://", "10."]
        .iter()
        .any(|start| link.starts_with(start));
    if link.is_empty() || is_known {
        Ok(link)
    } else {
        let sentence = "A link begins with https:// or is a DOI, which begins with 10.";
        Err(Fault::new("link", sentence))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(pairs: &[(&str, &str)]) -> Typed {
        let mut typed = Typed::from([
            ("property", "strength"),
            ("material", "PLA"),
            ("environment", "salt_water"),
            ("days", "274"),
            ("retention", "63"),
            ("citation", "Invented A, B, 2020"),
        ]);
        for (name, value) in pairs {
            typed.set(name, *value);
        }
        typed
    }

    fn faults(pairs: &[(&str, &str)]) -> Vec<String> {
        let read = CitedFigure::parse(&typed(pairs));
        let faults = read.err().unwrap_or_else(Faults::none);
        faults.iter().map(|fault| fault.field.clone()).collect()
    }

    #[test]
    fn a_figure_needs_its_citation_its_time_and_a_share() {
        assert!(faults(&[]).is_empty());
        assert_eq!(faults(&[("citation", " ")]), ["citation"]);
        assert_eq!(faults(&[("days", "0")]), ["days"]);
        assert_eq!(faults(&[("days", "")]), ["days"]);
        assert_eq!(faults(&[("retention", "-4")]), ["retention"]);
        assert_eq!(faults(&[("retention", "5000")]), ["retention"]);
        assert_eq!(faults(&[("lower", "70")]), ["lower"]);
        assert_eq!(faults(&[("link", "javascript:alert(1)")]), ["link"]);
    }

    #[test]
    fn a_doi_becomes_an_address_and_nothing_else_is_followed() {
        let link = |link: &str| {
            CitedFigure::parse(&typed(&[("link", link)]))
                .unwrap()
                .address()
        };
        assert_eq!(
            link("10.1000/x").as_deref(),
            Some("https://doi.org/10.1000/x")
        );
        assert_eq!(
            link("https://example.org/a").as_deref(),
            Some("https://example.org/a")
        );
        assert_eq!(link(""), None);
    }
}
