//! Whose entry it is: the chain it goes to and the actor who recorded it.

use std::fmt;
use std::str::FromStr;

use crate::study::ids::{AccountId, LinkId, StudyId};

/// Which chain an entry belongs to: one for each study and one for the server.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Chain {
    /// The server's own chain: accounts and studies opened.
    Server,
    /// A study's chain.
    Study(StudyId),
}

impl fmt::Display for Chain {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Server => f.write_str("server"),
            Self::Study(id) => id.fmt(f),
        }
    }
}

impl FromStr for Chain {
    type Err = uuid::Error;
    fn from_str(text: &str) -> Result<Self, uuid::Error> {
        if text == "server" {
            Ok(Self::Server)
        } else {
            text.parse().map(Self::Study)
        }
    }
}

/// Who recorded an entry. Names stay outside the journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Actor {
    /// The keeper, at the command line.
    Keeper,
    /// Somebody with an account.
    Account(AccountId),
    /// A tester, through a lab link.
    Link(LinkId),
}

impl fmt::Display for Actor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Keeper => f.write_str("keeper"),
            Self::Account(id) => write!(f, "account:{id}"),
            Self::Link(id) => write!(f, "link:{id}"),
        }
    }
}

impl FromStr for Actor {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let bad = || format!("{text:?} is no actor");
        match text.split_once(':') {
            None if text == "keeper" => Ok(Self::Keeper),
            Some(("account", id)) => id.parse().map(Self::Account).map_err(|_| bad()),
            Some(("link", id)) => id.parse().map(Self::Link).map_err(|_| bad()),
            _ => Err(bad()),
        }
    }
}
