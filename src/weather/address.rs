//! An archive's address, and what is asked there.

use std::fmt;
use std::str::FromStr;

use chrono::NaiveDate;
use reqwest::Url;

/// An archive's address with places for what is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeatherUrl(String);

/// The places, each of which an address must hold once.
const PLACES: [&str; 4] = ["{latitude}", "{longitude}", "{from}", "{until}"];

impl FromStr for WeatherUrl {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let missing = PLACES
            .iter()
            .find(|place| text.matches(**place).count() != 1);
        if let Some(place) = missing {
            return Err(format!("it should hold {place} once"));
        }
        let filled = PLACES
            .iter()
            .fold(text.to_owned(), |text, place| text.replace(place, "1"));
        let url = Url::parse(&filled).map_err(|_| "it is no address".to_owned())?;
        // A server on this machine needs no certificate: that is how tests stand in for an archive.
        let is_here = matches!(url.host_str(), Some("localhost" | "127.0.0.1" | "[::1]"));
        match url.scheme() {
            "https" => Ok(Self(text.to_owned())),
            "http" if is_here => Ok(Self(text.to_owned())),
            _ => Err("it should begin with https://".to_owned()),
        }
    }
}

impl fmt::Display for WeatherUrl {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// What is asked of an archive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ask {
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub until: NaiveDate,
}

impl WeatherUrl {
    pub(super) fn of(&self, ask: &Ask) -> Option<Url> {
        let text = self
            .0
            .replace("{latitude}", &ask.latitude.to_string())
            .replace("{longitude}", &ask.longitude.to_string())
            .replace("{from}", &ask.from.to_string())
            .replace("{until}", &ask.until.to_string());
        Url::parse(&text).ok()
    }

    /// The archive's host.
    #[must_use]
    pub fn host(&self) -> String {
        let filled = PLACES
            .iter()
            .fold(self.0.clone(), |text, place| text.replace(place, "1"));
        let url = Url::parse(&filled).ok();
        url.and_then(|url| url.host_str().map(str::to_owned))
            .unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_https_with_a_place_for_each_thing_asked() {
        let read = |text: &str| text.parse::<WeatherUrl>();
        let rest = "/v1?lat={latitude}&lon={longitude}&a={from}&b={until}";
        let good = read(&format!("https://weather.example{rest}")).unwrap();
        let ask = Ask {
            latitude: 59.91,
            longitude: -10.75,
            from: NaiveDate::from_ymd_opt(2026, 1, 1).unwrap(),
            until: NaiveDate::from_ymd_opt(2026, 2, 1).unwrap(),
        };
        let url = good.of(&ask).unwrap();
        let want = "https://weather.example/v1?lat=59.91&lon=-10.75&a=2026-01-01&b=2026-02-01";
        assert_eq!(
            (url.as_str(), good.host().as_str()),
            (want, "weather.example")
        );
        assert!(read(&format!("http://127.0.0.1:9{rest}")).is_ok());
        assert!(read(&format!("http://weather.example{rest}")).is_err());
        assert!(read("https://weather.example/").is_err());
        assert!(read(&format!("ftp://weather.example{rest}")).is_err());
    }
}
