//! The binary's outermost error: one line for the keeper on the terminal. Faults of a page live in
//! `web::fault`.

use std::error::Error;
use std::fmt;

/// Why a command did not do what it should. Reads as one line.
#[derive(Debug)]
pub struct Failure(Box<dyn Error + Send + Sync>);

// `Failure` itself is no `Error`, so that everything else that is one turns into it with `?`.
impl<E: Into<Box<dyn Error + Send + Sync>>> From<E> for Failure {
    fn from(cause: E) -> Self {
        Self(cause.into())
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}
