//! A user's mistake as data: which field, and one sentence that says what to do about it. Not an
//! error type for the program's own failures (those are `StoreError` and its like), and it knows
//! nothing of HTTP.

use serde::Serialize;
use std::fmt;

/// One thing wrong with what was typed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// The name of the form field, as in the form; empty when it concerns the form as a whole.
    pub field: String,
    /// A whole sentence for the person who typed, saying what is wrong and what would be right.
    pub sentence: String,
}

/// Everything wrong with one form, in the order of its fields.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// Nothing wrong yet.
    pub fn none() -> Self {
        Self::default()
    }

    /// A single fault.
    pub fn one(field: impl Into<String>, sentence: impl Into<String>) -> Self {
        let mut faults = Self::none();
        faults.push(field, sentence);
        faults
    }

    /// Notes one more fault, after those already there.
    pub fn push(&mut self, field: impl Into<String>, sentence: impl Into<String>) {
        self.0.push(Fault {
            field: field.into(),
            sentence: sentence.into(),
        });
    }

    /// Notes all of `others`, after those already there.
    pub fn extend(&mut self, others: Faults) {
        self.0.extend(others.0);
    }

    /// Whether nothing is wrong.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The first sentence about this field.
    pub fn for_field(&self, field: &str) -> Option<&str> {
        self.0
            .iter()
            .find(|fault| fault.field == field)
            .map(|fault| fault.sentence.as_str())
    }

    /// Whether this field is the first one with a fault: the one that the page puts the cursor
    /// into.
    pub fn is_first(&self, field: &str) -> bool {
        self.0
            .iter()
            .find(|fault| !fault.field.is_empty())
            .is_some_and(|first| first.field == field)
    }

    /// All faults, for a summary at the top of a page.
    pub fn iter(&self) -> std::slice::Iter<'_, Fault> {
        self.0.iter()
    }

    /// `value` when nothing is wrong, otherwise the faults.
    ///
    /// # Errors
    /// The faults themselves, when there are any.
    pub fn or<T>(self, value: T) -> Result<T, Faults> {
        if self.is_empty() {
            Ok(value)
        } else {
            Err(self)
        }
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.0.iter().enumerate() {
            let gap = if index == 0 { "" } else { " " };
            write!(f, "{gap}{}", fault.sentence)?;
        }
        Ok(())
    }
}
