//! The binary's outermost error: one line for the keeper on the terminal. Faults of a page live in
//! `web::fault`.

use std::error::Error;
use std::fmt;

/// Why a command did not do what it should. Reads as one line, but for a list of problems.
#[derive(Debug)]
pub struct Failure {
    cause: Box<dyn Error + Send + Sync>,
    code: u8,
}

impl Failure {
    /// What was read is wrong, and the text tells every problem with its place.
    #[must_use]
    pub fn wrong_data(told: String) -> Self {
        Self {
            cause: told.trim_end().into(),
            code: 3,
        }
    }

    /// What was compared is not the same, and the text tells where.
    #[must_use]
    pub fn differs(told: String) -> Self {
        Self {
            cause: told.into(),
            code: 4,
        }
    }

    /// What the program ends with.
    #[must_use]
    pub fn code(&self) -> u8 {
        self.code
    }
}

// `Failure` itself is no `Error`, so that everything else that is one turns into it with `?`.
impl<E: Into<Box<dyn Error + Send + Sync>>> From<E> for Failure {
    fn from(cause: E) -> Self {
        Self {
            cause: cause.into(),
            code: 1,
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.cause.fmt(f)
    }
}
