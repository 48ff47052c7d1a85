//! A change with its interval in words: `24 % less load than those kept indoors (95 % interval 17 to
//! 31 % less)`.

use crate::analysis::comparison::Effect;
use crate::analysis::digits::{decimals, fixed, plain};
use crate::analysis::family::{Against, Family};
use crate::analysis::words;
use crate::study::plan::{Plan, Response};

/// Words for a change to less and to more.
#[derive(Debug, Clone, Copy)]
pub struct Ways {
    /// As `less`, `lighter`, `smaller`.
    pub down: &'static str,
    /// As `more`, `heavier`, `larger`.
    pub up: &'static str,
}

/// Words for a response.
#[must_use]
pub fn ways(response: &Response) -> Ways {
    let (down, up) = match response {
        Response::MaxLoad | Response::Strength => ("less", "more"),
        Response::Read(_) => ("lower", "higher"),
        Response::MassChange => ("lighter", "heavier"),
        Response::LengthChange(_) => ("smaller", "larger"),
    };
    Ways { down, up }
}

/// A change with digits that read as it is stored.
#[derive(Debug, Clone, Copy)]
pub struct Shown {
    effect: Effect,
    decimals: usize,
}

impl Shown {
    /// Chooses the digits; `margin_percent` is the margin, when one decides.
    #[must_use]
    pub fn new(effect: Effect, margin_percent: Option<f64>) -> Self {
        let bounds = [
            effect.estimate_percent,
            effect.lower_percent,
            effect.upper_percent,
        ];
        let margin = margin_percent.unwrap_or(0.0);
        let half = (effect.upper_percent - effect.lower_percent) / 2.0;
        Self {
            effect,
            decimals: decimals(&bounds, &[0.0, margin, -margin], half, 0),
        }
    }

    /// The size of the estimate, without its sign: `24`.
    #[must_use]
    pub fn size(&self) -> String {
        self.size_of(self.effect.estimate_percent)
    }

    /// The size of any change in the same digits.
    #[must_use]
    pub fn size_of(&self, percent: f64) -> String {
        fixed(percent.abs(), self.decimals)
    }

    /// Decimals in use.
    #[must_use]
    pub fn decimals(&self) -> usize {
        self.decimals
    }

    /// Which way the estimate goes.
    #[must_use]
    pub fn way(&self, ways: Ways) -> &'static str {
        way(self.effect.estimate_percent, ways)
    }

    /// The interval: `17 to 31 % less`, or `6 % less to 4 % more`.
    #[must_use]
    pub fn interval(&self, ways: Ways) -> String {
        let (lower, upper) = (self.effect.lower_percent, self.effect.upper_percent);
        let [a, b] = [lower, upper].map(|percent| self.size_of(percent));
        if lower < 0.0 && upper > 0.0 {
            format!("{a} % {} to {b} % {}", ways.down, ways.up)
        } else if upper <= 0.0 {
            format!("{b} to {a} % {}", ways.down)
        } else {
            format!("{a} to {b} % {}", ways.up)
        }
    }

    /// The interval without its direction, for sentences that have said it: `0.1 to 0.5 %`.
    #[must_use]
    pub fn bare_interval(&self, ways: Ways) -> String {
        let (lower, upper) = (self.effect.lower_percent, self.effect.upper_percent);
        let [a, b] = [lower, upper].map(|percent| self.size_of(percent));
        if lower < 0.0 && upper > 0.0 {
            self.interval(ways)
        } else if upper <= 0.0 {
            format!("{b} to {a} %")
        } else {
            format!("{a} to {b} %")
        }
    }
}

fn way(percent: f64, ways: Ways) -> &'static str {
    if percent > 0.0 { ways.up } else { ways.down }
}

/// With whom the pieces are compared.
#[must_use]
pub fn than(against: Against) -> &'static str {
    match against {
        Against::StorageControl => "than those kept indoors",
        Against::Baseline => "than those broken at the start",
        Against::LateReference => "than reference pieces made later",
    }
}

/// The change of one member in words, from the verb to the closing bracket.
#[must_use]
pub fn change(plan: &Plan, family: &Family, shown: &Shown, exposed_mean: f64) -> String {
    let confidence = plain(family.confidence_percent);
    let than = than(family.against);
    let ways = ways(&family.response);
    let size = shown.size();
    match &family.response {
        Response::MaxLoad => format!(
            "{} {size} % {} load {than} ({confidence} % interval {})",
            words::broke(plan),
            shown.way(ways),
            shown.interval(ways),
        ),
        Response::Strength => format!(
            "had {size} % {} strength {than} ({confidence} % interval {})",
            shown.way(ways),
            shown.interval(ways),
        ),
        Response::Read(property) => format!(
            "had {} {size} % {} {than} ({confidence} % interval {})",
            with_article(property.label()),
            shown.way(ways),
            shown.interval(ways),
        ),
        Response::MassChange | Response::LengthChange(_) => {
            let quantity = words::quantity(&family.response);
            let (verb, more) = gained_or_lost(shown.effect.estimate_percent, exposed_mean);
            let interval = shown.bare_interval(ways);
            // As practice.md §5.10 has it; the table beside names the confidence.
            let named = match family.response {
                Response::MassChange => String::new(),
                _ => format!("{confidence} % interval "),
            };
            format!("{verb} {size} % {more} {quantity} {than} ({named}{interval})")
        }
    }
}

/// `a modulus`, `an energy to break`.
fn with_article(name: &str) -> String {
    let is_vowel = name.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {name}", if is_vowel { "an" } else { "a" })
}

/// `lost … more`, `gained … more`, or `lost … less` when even the exposed pieces lost some.
fn gained_or_lost(difference: f64, exposed_mean: f64) -> (&'static str, &'static str) {
    match (difference > 0.0, exposed_mean > 0.0) {
        (false, false) => ("lost", "more"),
        (true, true) => ("gained", "more"),
        (true, false) => ("lost", "less"),
        (false, true) => ("gained", "less"),
    }
}
