//! Settings: flags and environment variables in one struct, read once at the start. Nothing else
//! in the program reads the environment.

mod outgoing;

pub use outgoing::{Outgoing, Secret, SmtpTls};

use crate::weather::WeatherUrl;
use clap::{Args, ValueEnum};
use std::fmt;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::str::FromStr;

/// Everything that can be set from outside for a running server.
#[derive(Debug, Clone, Args)]
pub struct Config {
    /// Where the data lives.
    #[command(flatten)]
    pub folder: Folder,

    /// The address and port to listen on
    #[arg(
        long,
        env = "OVERWINTER_LISTEN",
        default_value = "127.0.0.1:8080",
        value_name = "ADDR"
    )]
    pub listen: SocketAddr,

    /// The address people type, such as https://studies.example.org
    ///
    /// Decides whether cookies are Secure, what printed links and QR codes say, and which Origin a
    /// form may come from. Without it, the address of each request is taken.
    #[arg(long, env = "OVERWINTER_PUBLIC_URL", value_name = "URL")]
    pub public_url: Option<PublicUrl>,

    /// The address of the reverse proxy whose X-Forwarded-For is believed; may be given repeatedly
    #[arg(
        long,
        env = "OVERWINTER_TRUSTED_PROXY",
        value_name = "IP",
        value_delimiter = ','
    )]
    pub trusted_proxy: Vec<IpAddr>,

    /// How the log on standard error is written
    #[arg(
        long,
        env = "OVERWINTER_LOG",
        default_value = "text",
        value_name = "FORMAT"
    )]
    pub log: LogFormat,

    /// The address of an open weather archive, over https, with {latitude}, {longitude}, {from} and
    /// {until} where these belong; none is asked without it
    #[arg(long, env = "OVERWINTER_WEATHER_URL", value_name = "URL")]
    pub weather_url: Option<WeatherUrl>,

    /// Whom to name wherever its data is shown; its host, when this is not set
    #[arg(long, env = "OVERWINTER_WEATHER_ATTRIBUTION", value_name = "WORDS")]
    pub weather_attribution: Option<String>,

    /// How reminders go out.
    #[command(flatten)]
    pub outgoing: Outgoing,
}

/// The data folder: what every command needs.
#[derive(Debug, Clone, Args)]
pub struct Folder {
    /// The folder that holds the database
    #[arg(
        long = "data",
        env = "OVERWINTER_DATA",
        default_value = "overwinter-data",
        value_name = "FOLDER"
    )]
    pub path: PathBuf,
}

/// How log lines look.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LogFormat {
    /// For people.
    Text,
    /// One JSON object a line, for machines.
    Json,
}

/// The outside address of this server: scheme, host and perhaps port, nothing behind it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PublicUrl(String);

impl PublicUrl {
    /// The address without a slash at the end; also exactly what a browser sends as `Origin`.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether people reach the server through TLS.
    pub fn is_https(&self) -> bool {
        self.0.starts_with("https://")
    }
}

impl FromStr for PublicUrl {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let url = text.trim().trim_end_matches('/').to_ascii_lowercase();
        let host = url
            .strip_prefix("https://")
            .or_else(|| url.strip_prefix("http://"));
        let is_plain = |host: &str| {
            let fits = |c: char| c.is_ascii_alphanumeric() || ".-:[]".contains(c);
            !host.is_empty() && host.chars().all(fits)
        };
        match host {
            Some(host) if is_plain(host) => Ok(Self(without_default_port(&url))),
            _ => Err("it should read like https://studies.example.org, with no path".into()),
        }
    }
}

/// Browsers leave the scheme's own port out of `Origin`, so we do too.
fn without_default_port(url: &str) -> String {
    let port = if url.starts_with("https://") {
        ":443"
    } else {
        ":80"
    };
    url.strip_suffix(port).unwrap_or(url).to_owned()
}

impl fmt::Display for PublicUrl {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl Config {
    /// The defaults for a server on this folder, as a test or the demo wants them.
    pub fn at(folder: impl Into<PathBuf>, listen: SocketAddr) -> Self {
        Self {
            folder: Folder {
                path: folder.into(),
            },
            listen,
            public_url: None,
            trusted_proxy: Vec::new(),
            log: LogFormat::Text,
            weather_url: None,
            weather_attribution: None,
            outgoing: Outgoing::default(),
        }
    }

    /// Whether cookies are marked Secure: only when people come through TLS.
    pub fn has_secure_cookies(&self) -> bool {
        self.public_url.as_ref().is_some_and(PublicUrl::is_https)
    }

    /// The start of every absolute link that is printed or sent, without a slash at the end.
    pub fn link_base(&self) -> String {
        match &self.public_url {
            Some(url) => url.as_str().to_owned(),
            None => format!("http://{}", self.listen),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_public_url_is_an_origin_and_nothing_more() {
        let read = |text: &str| text.parse::<PublicUrl>().map(|url| url.to_string());
        assert_eq!(
            read("https://Studies.example.org/"),
            Ok("https://studies.example.org".into())
        );
        assert_eq!(
            read("https://studies.example.org:443"),
            read("https://studies.example.org")
        );
        assert_eq!(read("http://[::1]:8080"), Ok("http://[::1]:8080".into()));
        for wrong in [
            "studies.example.org",
            "https://",
            "https://a.org/path",
            "ftp://a.org",
            "",
        ] {
            assert!(read(wrong).is_err(), "{wrong:?} was taken");
        }
    }
}
