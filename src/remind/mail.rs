//! Reminders by mail, through the keeper's mail server: TLS always, unless that server runs on this
//! very machine.

use super::Outcome;
use super::notice::Notice;
use crate::config::{Outgoing, SmtpTls};
use crate::store::Message;
use lettre::message::header::{HeaderName, HeaderValue};
use lettre::message::{Mailbox, SinglePart};
use lettre::transport::smtp::Error as SmtpError;
use lettre::transport::smtp::authentication::Credentials;
use lettre::{Address, AsyncSmtpTransport, AsyncTransport, Tokio1Executor};
use std::time::Duration;

/// How long a mail server may take for one step.
const PATIENCE: Duration = Duration::from_secs(20);

/// The way to the mail server.
#[derive(Clone)]
pub struct Mailer {
    transport: AsyncSmtpTransport<Tokio1Executor>,
    from: Mailbox,
}

/// Whether a text is an e-mail address that mail can be sent to.
#[must_use]
pub fn is_address(text: &str) -> bool {
    text.len() <= 254 && text.parse::<Address>().is_ok()
}

impl Mailer {
    /// By the settings; `None` when they name no mail server.
    ///
    /// # Errors
    /// A sentence for the keeper, when they do not fit together.
    pub fn from_settings(outgoing: &Outgoing) -> Result<Option<Self>, String> {
        let Some(host) = &outgoing.smtp_host else {
            return Ok(None);
        };
        let from = outgoing.mail_from.as_deref().unwrap_or_default();
        let from = from.parse::<Mailbox>().map_err(|_| {
            "--mail-from must say from which address mail is sent, such as overwinter@example.org"
        })?;
        type Transport = AsyncSmtpTransport<Tokio1Executor>;
        let unusable = |cause: SmtpError| format!("the mail server {host} cannot be used: {cause}");
        let builder = match outgoing.smtp_tls {
            SmtpTls::Start => Transport::starttls_relay(host).map_err(unusable)?,
            SmtpTls::Full => Transport::relay(host).map_err(unusable)?,
            SmtpTls::None if is_this_machine(host) => Transport::builder_dangerous(host.clone()),
            SmtpTls::None => {
                return Err(format!(
                    "--smtp-tls=none is for a mail server on this machine alone, and {host} is another"
                ));
            }
        };
        let builder = match outgoing.smtp_port {
            Some(port) => builder.port(port),
            None => builder,
        };
        let builder = match (&outgoing.smtp_user, &outgoing.smtp_password) {
            (Some(user), Some(password)) => {
                builder.credentials(Credentials::new(user.clone(), password.reveal().to_owned()))
            }
            (None, None) => builder,
            _ => return Err("--smtp-user and --smtp-password go together".to_owned()),
        };
        let transport = builder.timeout(Some(PATIENCE)).build();
        Ok(Some(Self { transport, from }))
    }

    /// Sends one message. Its id is the mail's Message-ID, the same at every attempt.
    pub async fn send(&self, message: &Message, to: &str) -> Outcome {
        let mail = match self.written(message, to) {
            Ok(mail) => mail,
            Err(said) => return Outcome::Never(said),
        };
        match self.transport.send(mail).await {
            Ok(answer) => Outcome::Taken(format!("The mail server took it ({}).", answer.code())),
            Err(error) => failed(&error),
        }
    }

    fn written(&self, message: &Message, to: &str) -> Result<lettre::Message, String> {
        let to: Address = to.parse().map_err(|_| "This is no mail address.")?;
        let text = Notice::of(message)?.to_text();
        let by_machine = HeaderName::new_from_ascii_str("Auto-Submitted");
        let by_machine = HeaderValue::new(by_machine, "auto-generated".to_owned());
        lettre::Message::builder()
            .from(self.from.clone())
            .to(Mailbox::new(None, to))
            .subject(&message.subject)
            .message_id(Some(format!(
                "<{}@{}>",
                message.id,
                self.from.email.domain()
            )))
            .date(message.made_at.into())
            .raw_header(by_machine)
            .singlepart(SinglePart::plain(text))
            .map_err(|_| "The mail could not be written.".to_owned())
    }
}

fn failed(error: &SmtpError) -> Outcome {
    // The code says enough; what else the server says may name people.
    let code = error
        .status()
        .map_or_else(String::new, |code| format!(" ({code})"));
    if error.is_permanent() {
        return Outcome::Never(format!("The mail server refused it for good{code}."));
    }
    if error.is_transient() {
        return Outcome::Later(format!("The mail server did not take it now{code}."));
    }
    let why = if error.is_timeout() {
        "did not answer in time"
    } else if error.is_tls() {
        "and this server found no safe connection (TLS)"
    } else {
        "could not be reached, or does not offer what is set"
    };
    Outcome::Later(format!("The mail server {why}."))
}

fn is_this_machine(host: &str) -> bool {
    let address = host.parse::<std::net::IpAddr>();
    host == "localhost" || address.is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_never_goes_over_a_bare_line_to_another_machine() {
        let settings = |host: &str, tls| Outgoing {
            smtp_host: Some(host.to_owned()),
            smtp_tls: tls,
            mail_from: Some("overwinter@example.org".to_owned()),
            ..Outgoing::default()
        };
        let made = |outgoing: &Outgoing| Mailer::from_settings(outgoing).map(|made| made.is_some());
        assert_eq!(made(&Outgoing::default()), Ok(false));
        assert!(made(&settings("mail.example.org", SmtpTls::None)).is_err());
        assert_eq!(made(&settings("127.0.0.1", SmtpTls::None)), Ok(true));
        assert_eq!(made(&settings("localhost", SmtpTls::None)), Ok(true));
        assert_eq!(
            made(&settings("mail.example.org", SmtpTls::Start)),
            Ok(true)
        );
        let nobody = Outgoing {
            mail_from: None,
            ..settings("mail.example.org", SmtpTls::Full)
        };
        assert!(made(&nobody).is_err());
        let half = Outgoing {
            smtp_user: Some("ada".to_owned()),
            ..settings("mail.example.org", SmtpTls::Full)
        };
        assert!(made(&half).is_err());
    }

    #[test]
    fn what_is_no_address_is_told_from_one() {
        assert!(is_address("ada@example.org") && is_address("a.b+c@mail.example.org"));
        for wrong in [
            "",
            "ada",
            "ada@",
            "@example.org",
            "a b@example.org",
            "a@b\r\nBcc: c@d",
        ] {
            assert!(!is_address(wrong), "{wrong:?}");
        }
    }
}
