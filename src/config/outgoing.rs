//! Settings for what this server sends of its own accord: reminders by mail and to webhooks.

use clap::{Args, ValueEnum};
use std::convert::Infallible;
use std::fmt;
use std::str::FromStr;

/// How reminders go out.
#[derive(Debug, Clone, Default, Args)]
pub struct Outgoing {
    /// The mail server that takes reminders, such as mail.example.org; none are mailed without it
    #[arg(long, env = "OVERWINTER_SMTP_HOST", value_name = "HOST")]
    pub smtp_host: Option<String>,

    /// Its port, when it is not the usual one: 587 for start, 465 for full, 25 for none
    #[arg(long, env = "OVERWINTER_SMTP_PORT", value_name = "PORT")]
    pub smtp_port: Option<u16>,

    /// How the line to it is made safe
    #[arg(
        long,
        env = "OVERWINTER_SMTP_TLS",
        default_value = "start",
        value_name = "HOW"
    )]
    pub smtp_tls: SmtpTls,

    /// The name to sign in with at the mail server
    #[arg(long, env = "OVERWINTER_SMTP_USER", value_name = "NAME")]
    pub smtp_user: Option<String>,

    /// The password for it; better given as the variable, since others see a flag
    #[arg(
        long,
        env = "OVERWINTER_SMTP_PASSWORD",
        hide_env_values = true,
        value_name = "PASSWORD"
    )]
    pub smtp_password: Option<Secret>,

    /// The address that reminders come from, such as overwinter@example.org
    #[arg(long, env = "OVERWINTER_MAIL_FROM", value_name = "ADDRESS")]
    pub mail_from: Option<String>,

    /// Let webhooks lead into private networks and over bare http
    #[arg(long, env = "OVERWINTER_WEBHOOK_PRIVATE")]
    pub webhook_private: bool,
}

/// How the line to the mail server is made safe.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
pub enum SmtpTls {
    /// Begin bare, then TLS or nothing at all (STARTTLS).
    #[default]
    Start,
    /// TLS from the first byte.
    Full,
    /// Bare: only for a mail server on this machine.
    None,
}

/// A text that is never printed.
#[derive(Clone)]
pub struct Secret(String);

impl Secret {
    /// The text itself.
    #[must_use]
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("(secret)")
    }
}

impl FromStr for Secret {
    type Err = Infallible;

    fn from_str(text: &str) -> Result<Self, Infallible> {
        Ok(Self(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_is_not_printed_with_the_settings() {
        let outgoing = Outgoing {
            smtp_password: "open sesame".parse().ok(),
            ..Outgoing::default()
        };
        let printed = format!("{outgoing:?}");
        assert!(
            printed.contains("(secret)") && !printed.contains("sesame"),
            "{printed}"
        );
    }
}
