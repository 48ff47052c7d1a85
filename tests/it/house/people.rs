//! The people who use the server, each with a browser's cookies and no redirects followed, and what
//! they are shown.

use reqwest::header::{HeaderMap, LOCATION, SET_COOKIE};
use reqwest::redirect::Policy;
use reqwest::{Client, Method, RequestBuilder, StatusCode};
use scraper::{Html, Selector};
use std::time::Duration;

/// Somebody with a browser.
pub struct Person {
    client: Client,
    base: String,
}

impl Person {
    /// Without any cookies yet.
    pub fn new(base: &str) -> Self {
        let client = overwinter::outbound::client()
            .cookie_store(true)
            .redirect(Policy::none())
            // A test that computes for half a minute does not see that the server hung up meanwhile.
            .pool_idle_timeout(Duration::from_secs(10))
            .no_proxy();
        Self {
            client: client.build().expect("a client"),
            base: base.to_owned(),
        }
    }

    /// Opens a page.
    pub async fn open(&self, path: &str) -> Shown {
        self.send(self.request(Method::GET, path)).await
    }

    /// Sends a form, as a browser sends one from a page of ours.
    pub async fn submit(&self, path: &str, fields: &[(&str, &str)]) -> Shown {
        let request = self
            .request(Method::POST, path)
            .header("sec-fetch-site", "same-origin");
        self.send(request.form(fields)).await
    }

    /// Signs in through the form.
    pub async fn sign_in(&self, name: &str, password: &str) -> Shown {
        self.submit("/sign-in", &[("name", name), ("password", password)])
            .await
    }

    /// A request to be dressed further and sent with [`Person::send`].
    pub fn request(&self, method: Method, path: &str) -> RequestBuilder {
        self.client.request(method, format!("{}{path}", self.base))
    }

    /// Sends a request and reads the whole answer.
    pub async fn send(&self, request: RequestBuilder) -> Shown {
        let answer = request.send().await.expect("the server answers");
        let (status, headers) = (answer.status(), answer.headers().clone());
        let bytes = answer.bytes().await.expect("the whole answer").to_vec();
        Shown {
            status,
            headers,
            bytes,
        }
    }
}

/// What somebody got for a request.
#[derive(Debug, Clone)]
pub struct Shown {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub bytes: Vec<u8>,
}

impl Shown {
    /// The body as text.
    pub fn body(&self) -> String {
        String::from_utf8_lossy(&self.bytes).into_owned()
    }

    /// It has this status.
    #[track_caller]
    pub fn is(&self, status: u16) -> &Self {
        assert_eq!(self.status.as_u16(), status, "{}", self.body());
        self
    }

    /// It is a page.
    #[track_caller]
    pub fn ok(&self) -> &Self {
        self.is(200)
    }

    /// It is a form shown again.
    #[track_caller]
    pub fn refused(&self) -> &Self {
        self.is(422)
    }

    /// It sends on to this path.
    #[track_caller]
    pub fn redirects_to(&self, path: &str) -> &Self {
        self.is(303);
        assert_eq!(self.header(LOCATION.as_str()), path);
        self
    }

    /// A header's value, or nothing.
    pub fn header(&self, name: &str) -> &str {
        self.headers
            .get(name)
            .and_then(|value| value.to_str().ok())
            .unwrap_or_default()
    }

    /// The whole `Set-Cookie` line of this cookie.
    #[track_caller]
    pub fn cookie(&self, name: &str) -> &str {
        let lines = self
            .headers
            .get_all(SET_COOKIE)
            .iter()
            .filter_map(|line| line.to_str().ok());
        let found = lines
            .into_iter()
            .find(|line| line.starts_with(&format!("{name}=")));
        found.unwrap_or_else(|| panic!("no cookie {name} in {:?}", self.headers))
    }

    /// The sentence beside this field, which must be marked as wrong and described by it.
    #[track_caller]
    pub fn fault(&self, field: &str) -> String {
        let describes = self.attribute(&format!("#f-{field}"), "aria-describedby");
        assert!(
            describes.contains(&format!("e-{field}")),
            "{field} is not tied to its fault"
        );
        self.text(&format!("#e-{field}"))
    }

    /// The text of the first element that fits.
    #[track_caller]
    pub fn text(&self, selector: &str) -> String {
        let texts = self.texts(selector);
        let first = texts.into_iter().next();
        first.unwrap_or_else(|| panic!("nothing fits {selector} in {}", self.body()))
    }

    /// The text of every element that fits, with its blanks folded.
    pub fn texts(&self, selector: &str) -> Vec<String> {
        let wanted = Selector::parse(selector).expect("a selector");
        let page = Html::parse_document(&self.body());
        let found = page.select(&wanted);
        let folded = found.map(|element| {
            let text = element.text().collect::<String>();
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        });
        folded.collect()
    }

    /// An attribute of every element that fits.
    pub fn attributes(&self, selector: &str, name: &str) -> Vec<String> {
        let wanted = Selector::parse(selector).expect("a selector");
        let page = Html::parse_document(&self.body());
        let found = page.select(&wanted);
        let found = found.filter_map(|element| element.value().attr(name));
        found.map(str::to_owned).collect()
    }

    /// An attribute of the first element that fits; empty when it has none.
    #[track_caller]
    pub fn attribute(&self, selector: &str, name: &str) -> String {
        let wanted = Selector::parse(selector).expect("a selector");
        let page = Html::parse_document(&self.body());
        let found = page.select(&wanted).next();
        let found = found.unwrap_or_else(|| panic!("nothing fits {selector} in {}", self.body()));
        found.value().attr(name).unwrap_or_default().to_owned()
    }
}
