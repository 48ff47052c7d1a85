//! What is wrong with a file: where, and what was expected there. All of it at once.

use std::fmt;

use serde::Serialize;

/// Most problems that are told; a file with more has one cause behind many.
const MOST: usize = 200;

/// Where something is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case", tag = "in")]
pub enum Place {
    /// The file as a whole.
    File,
    /// A key of the plan file, or an option.
    Plan {
        /// The key.
        key: String,
    },
    /// A line as a whole.
    Line {
        /// From 1, the header being the first.
        line: u64,
    },
    /// One cell.
    Cell {
        /// Line of the file, from 1.
        line: u64,
        /// Column, from 1.
        column: usize,
        /// The column's name as the header spells it.
        name: String,
    },
}

impl Place {
    /// Line and column, 0 for what has none.
    fn position(&self) -> (u64, usize) {
        match self {
            Self::File | Self::Plan { .. } => (0, 0),
            Self::Line { line } => (*line, 0),
            Self::Cell { line, column, .. } => (*line, *column),
        }
    }
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// Where.
    pub place: Place,
    /// What is wrong and what was expected.
    pub sentence: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.place {
            Place::File => f.write_str(&self.sentence),
            Place::Plan { key } => write!(f, "plan, {key}: {}", self.sentence),
            Place::Line { line } => write!(f, "line {line}: {}", self.sentence),
            Place::Cell { line, column, name } => {
                write!(
                    f,
                    "line {line}, column {column} ({name}): {}",
                    self.sentence
                )
            }
        }
    }
}

/// Everything that is wrong, in the order of the file.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Problems {
    /// The first of them.
    pub told: Vec<Problem>,
    /// How many more there are.
    pub untold: usize,
}

impl Problems {
    /// Notes a problem.
    pub fn push(&mut self, place: Place, sentence: impl Into<String>) {
        if self.told.len() < MOST {
            self.told.push(Problem {
                place,
                sentence: sentence.into(),
            });
        } else {
            self.untold += 1;
        }
    }

    /// Notes a problem of the whole file.
    pub fn file(&mut self, sentence: impl Into<String>) {
        self.push(Place::File, sentence);
    }

    /// Notes a problem of the plan.
    pub fn plan(&mut self, key: &str, sentence: impl Into<String>) {
        self.push(
            Place::Plan {
                key: key.to_owned(),
            },
            sentence,
        );
    }

    /// Notes a problem of a line.
    pub fn line(&mut self, line: u64, sentence: impl Into<String>) {
        self.push(Place::Line { line }, sentence);
    }

    /// Whether nothing is wrong.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.told.is_empty()
    }

    /// In the order of the file; what concerns all of it first.
    #[must_use]
    pub fn sorted(mut self) -> Self {
        self.told.sort_by_key(|problem| problem.place.position());
        self
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for problem in &self.told {
            writeln!(f, "{problem}")?;
        }
        if self.untold > 0 {
            writeln!(f, "and {} more.", self.untold)?;
        }
        Ok(())
    }
}
