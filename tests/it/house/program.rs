//! A program that uses the interface with a token, and how a person gets it one.

use super::{Person, Shown};
use reqwest::Method;
use serde_json::{Value, json};

/// Something with a token and no cookies.
pub struct Program {
    person: Person,
    pub token: String,
}

/// Makes a token on a page of tokens, through its form; `can_send` as the tick says.
pub async fn token(person: &Person, page: &str, can_send: bool) -> String {
    let until = person.open(page).await.attribute("#f-until", "value");
    let mut fields = vec![("name", "bench script"), ("until", until.as_str())];
    if can_send {
        fields.push(("can_send", "yes"));
    }
    let shown = person.submit(page, &fields).await;
    shown.ok().text("#f-secret")
}

impl Program {
    /// One that runs against this server.
    pub fn new(base: &str, token: &str) -> Self {
        Self {
            person: Person::new(base),
            token: token.to_owned(),
        }
    }

    /// A request with the token.
    pub fn request(&self, method: Method, path: &str) -> reqwest::RequestBuilder {
        let line = format!("Bearer {}", self.token);
        self.person
            .request(method, path)
            .header("authorization", line)
    }

    /// Sends it.
    pub async fn send(&self, request: reqwest::RequestBuilder) -> Shown {
        self.person.send(request).await
    }

    /// Reads.
    pub async fn get(&self, path: &str) -> Shown {
        self.send(self.request(Method::GET, path)).await
    }

    /// Sends JSON.
    pub async fn post(&self, path: &str, body: &Value) -> Shown {
        self.send(self.request(Method::POST, path).json(body)).await
    }

    /// Sends one entry and gives its answer.
    pub async fn entry(&self, entry: &Value) -> Value {
        let body = json!({ "entries": [entry] });
        let shown = self.post("/api/v1/entries", &body).await;
        shown.ok().json()["receipts"][0].clone()
    }

    /// Sends a file.
    pub async fn file(&self, path: &str, bytes: &[u8]) -> Shown {
        let request = self.request(Method::POST, path);
        let request = request.header("content-type", "text/csv");
        self.send(request.body(bytes.to_vec())).await
    }
}

impl Shown {
    /// The body as JSON.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.bytes).unwrap_or_else(|_| panic!("no JSON: {}", self.body()))
    }

    /// It is a problem (RFC 9457) of this status, with its parts.
    #[track_caller]
    pub fn problem(&self, status: u16) -> Value {
        self.is(status);
        assert_eq!(self.header("content-type"), "application/problem+json");
        let problem = self.json();
        assert_eq!(problem["status"], status, "{problem}");
        for part in ["type", "title", "detail"] {
            assert!(
                problem[part].as_str().is_some_and(|text| !text.is_empty()),
                "{problem}"
            );
        }
        problem
    }
}
