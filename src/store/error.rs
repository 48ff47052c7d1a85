//! A fault of ours while talking to the database or its folder. Carries what we were doing and the
//! cause for the log; its text is never shown to a visitor.

use std::error::Error;
use std::fmt;

/// What went wrong, and during what.
#[derive(Debug)]
pub struct StoreError {
    doing: &'static str,
    cause: Box<dyn Error + Send + Sync>,
}

impl StoreError {
    /// A fault while `doing` something ("reading a session").
    pub fn new(doing: &'static str, cause: impl Into<Box<dyn Error + Send + Sync>>) -> Self {
        Self {
            doing,
            cause: cause.into(),
        }
    }

    /// For `map_err`: what we were doing, with the cause to come.
    pub fn while_doing<E>(doing: &'static str) -> impl FnOnce(E) -> Self
    where
        E: Into<Box<dyn Error + Send + Sync>>,
    {
        move |cause| Self::new(doing, cause)
    }
}

impl fmt::Display for StoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "while {}: {}", self.doing, self.cause)
    }
}

impl Error for StoreError {
    fn source(&self) -> Option<&(dyn Error + 'static)> {
        Some(self.cause.as_ref())
    }
}
