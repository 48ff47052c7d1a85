//! What a message says: kept as JSON, written out as a mail's text or a webhook's body.

use crate::store::{Message, StoreError};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::fmt::Write;

/// What a message says.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Notice {
    /// What is due.
    pub due: Vec<Line>,
    /// The usual cautions of the places that somebody goes to for it.
    pub cautions: Vec<String>,
    /// Something else to say; usually empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub remark: String,
}

/// Something due.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Line {
    /// The study's title.
    pub study: String,
    /// What is due.
    pub title: String,
    /// When, as seen from the day it was written.
    pub when: String,
    /// What else there is to say; may be empty.
    pub detail: String,
    /// The page where it is done.
    pub url: String,
    /// From which day it can be done.
    pub opens: NaiveDate,
    /// The last day that counts.
    pub closes: NaiveDate,
}

/// A webhook's body.
#[derive(Serialize)]
struct Hook<'m> {
    id: String,
    subject: &'m str,
    made_at: String,
    #[serde(flatten)]
    notice: Notice,
}

impl Notice {
    /// A message that only shows that the way is open.
    #[must_use]
    pub fn test() -> Self {
        Self {
            remark: "This is a test: reminders reach you this way.".to_owned(),
            ..Self::default()
        }
    }

    /// In one line.
    #[must_use]
    pub fn subject(&self) -> String {
        match self.due.as_slice() {
            [] => "Overwinter: a test".to_owned(),
            [one] => format!("{}: {}", one.study, one.title),
            several => format!("Overwinter: {} things are due", several.len()),
        }
    }

    /// As it is kept.
    ///
    /// # Errors
    /// When it cannot be written as JSON.
    pub fn to_json(&self) -> Result<String, StoreError> {
        serde_json::to_string(self).map_err(StoreError::while_doing("writing a reminder"))
    }

    /// As it was kept.
    ///
    /// # Errors
    /// A sentence for the log page, when it does not read.
    pub fn of(message: &Message) -> Result<Self, String> {
        serde_json::from_str(&message.body)
            .map_err(|_| "The message is kept in a form that does not read.".to_owned())
    }

    /// As a mail's text.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        for line in &self.due {
            // Writing to a string cannot fail.
            let _ = write!(
                text,
                "{}\r\n  {}\r\n  {}\r\n",
                line.title, line.when, line.study
            );
            if !line.detail.is_empty() {
                let _ = write!(text, "  {}\r\n", line.detail);
            }
            let _ = write!(text, "  {}\r\n\r\n", line.url);
        }
        if !self.remark.is_empty() {
            let _ = write!(text, "{}\r\n\r\n", self.remark);
        }
        if !self.cautions.is_empty() {
            text.push_str("Cautions\r\n");
            for caution in &self.cautions {
                let _ = write!(text, "- {caution}\r\n");
            }
            text.push_str(
                "These are the usual ones. Local rules, and those trained and licensed for the work, \
                 come first.\r\n\r\n",
            );
        }
        text.push_str(
            "Each thing is said once for each way it can be near. To change or end reminders: your \
             account, Reminders.\r\n",
        );
        text
    }

    /// As a webhook's body.
    ///
    /// # Errors
    /// A sentence for the log page, when it cannot be written as JSON.
    pub fn to_hook(&self, message: &Message) -> Result<Vec<u8>, String> {
        let hook = Hook {
            id: message.id.to_string(),
            subject: &message.subject,
            made_at: crate::store::moment_to_text(message.made_at),
            notice: self.clone(),
        };
        serde_json::to_vec(&hook).map_err(|_| "The message cannot be written as JSON.".to_owned())
    }
}
