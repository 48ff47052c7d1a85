//! A user's mistake as data: which field, and one clear sentence. Refusals by the rules of a study
//! are in [`super::guard`].

use std::fmt;

use serde::Serialize;

/// One mistake in what somebody typed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// Name of the form field or JSON member.
    pub field: String,
    /// What is wrong and what would be right, as one sentence.
    pub sentence: String,
}

/// All mistakes of one form, in the order of the form.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// No mistakes yet.
    #[must_use]
    pub fn none() -> Self {
        Self::default()
    }

    /// A list of one.
    #[must_use]
    pub fn one(field: impl Into<String>, sentence: impl Into<String>) -> Self {
        let mut faults = Self::none();
        faults.push(field, sentence);
        faults
    }

    /// Adds a mistake.
    pub fn push(&mut self, field: impl Into<String>, sentence: impl Into<String>) {
        self.0.push(Fault {
            field: field.into(),
            sentence: sentence.into(),
        });
    }

    /// Keeps a parsed value, or notes its mistake and gives nothing back.
    pub fn keep<T>(&mut self, parsed: Result<T, Fault>) -> Option<T> {
        match parsed {
            Ok(value) => Some(value),
            Err(fault) => {
                self.0.push(fault);
                None
            }
        }
    }

    /// Whether nothing is wrong.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The first sentence about a field.
    #[must_use]
    pub fn for_field(&self, field: &str) -> Option<&str> {
        self.0
            .iter()
            .find(|fault| fault.field == field)
            .map(|fault| fault.sentence.as_str())
    }

    /// Whether this field is the first with a mistake: the one that the page puts the cursor into.
    #[must_use]
    pub fn is_first(&self, field: &str) -> bool {
        let mut named = self.0.iter().filter(|fault| !fault.field.is_empty());
        named.next().is_some_and(|first| first.field == field)
    }

    /// Adds all of `others` after those already there.
    pub fn extend(&mut self, others: Self) {
        self.0.extend(others.0);
    }

    /// All mistakes, for a summary at the top of a page.
    pub fn iter(&self) -> std::slice::Iter<'_, Fault> {
        self.0.iter()
    }

    /// The value when nothing is wrong.
    ///
    /// # Errors
    /// The faults, when there are any.
    pub fn or<T>(self, value: T) -> Result<T, Self> {
        if self.is_empty() {
            Ok(value)
        } else {
            Err(self)
        }
    }

    /// `Ok` with the value when nothing is wrong, the faults otherwise.
    ///
    /// # Errors
    /// The faults, when there are any or when the value is missing.
    pub fn and_some<T>(self, value: Option<T>) -> Result<T, Self> {
        match value {
            Some(value) if self.is_empty() => Ok(value),
            _ => Err(self),
        }
    }
}

impl Fault {
    /// A mistake in `field`.
    #[must_use]
    pub fn new(field: impl Into<String>, sentence: impl Into<String>) -> Self {
        Self {
            field: field.into(),
            sentence: sentence.into(),
        }
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (position, fault) in self.0.iter().enumerate() {
            if position > 0 {
                f.write_str(" ")?;
            }
            f.write_str(&fault.sentence)?;
        }
        Ok(())
    }
}
