//! Forms with a file: `multipart/form-data` (RFC 7578), read whole up to the route's limit.

use super::App;
use super::body::{self, BodyLimit};
use super::fault::WebFault;
use crate::study::typed::Typed;
use axum::body::{Body, Bytes};
use axum::extract::{FromRequest, Request};
use axum::http::header::CONTENT_TYPE;

const FORM: &str = "multipart/form-data";
/// The most parts that a form of ours has, with room to spare.
const MOST_PARTS: usize = 512;

/// A form's fields and its files.
#[derive(Debug, Clone)]
pub struct Upload {
    /// What was typed.
    pub typed: Typed,
    /// The files, in their order: the name of the field, and the bytes. What the sender calls a file
    /// counts for nothing.
    pub files: Vec<(String, Bytes)>,
    /// What the sender calls each of the files, in the same order: to be shown, never to be used.
    pub names: Vec<String>,
}

impl Upload {
    /// The first file of a field; empty when none was chosen.
    pub fn file(&self, field: &str) -> Bytes {
        let mut files = self.files.iter();
        let found = files.find(|(name, _)| name == field);
        found.map_or_else(Bytes::new, |(_, bytes)| bytes.clone())
    }
}

impl FromRequest<App> for Upload {
    type Rejection = WebFault;

    async fn from_request(request: Request, _: &App) -> Result<Self, WebFault> {
        let kind = request.headers().get(CONTENT_TYPE);
        let kind = kind.and_then(|value| value.to_str().ok());
        let boundary = kind.and_then(|kind| multer::parse_boundary(kind).ok());
        let limit = request
            .extensions()
            .get::<BodyLimit>()
            .copied()
            .unwrap_or_default();
        let bytes = body::whole(request.into_body(), limit).await?;
        match boundary {
            Some(boundary) => read(bytes, boundary).await,
            // A form without anything in it may come without a kind as well.
            None if bytes.is_empty() => Ok(Self {
                typed: Typed::default(),
                files: Vec::new(),
                names: Vec::new(),
            }),
            None => Err(WebFault::WrongKind(FORM)),
        }
    }
}

pub(super) async fn read(bytes: Bytes, boundary: String) -> Result<Upload, WebFault> {
    let unreadable = |_| WebFault::Refused("This form arrived damaged. Send it again.".to_owned());
    let stream = Body::from(bytes).into_data_stream();
    let mut parts = multer::Multipart::new(stream, boundary);
    let (mut pairs, mut files, mut names) = (Vec::new(), Vec::new(), Vec::new());
    while let Some(part) = parts.next_field().await.map_err(unreadable)? {
        if pairs.len() + files.len() >= MOST_PARTS {
            return Err(WebFault::TooLarge);
        }
        let name = part.name().unwrap_or_default().to_owned();
        let called = part.file_name().map(str::to_owned);
        let bytes = part.bytes().await.map_err(unreadable)?;
        if let Some(called) = called {
            files.push((name, bytes));
            names.push(called);
        } else {
            pairs.push((name, String::from_utf8_lossy(&bytes).into_owned()));
        }
    }
    Ok(Upload {
        typed: Typed::new(pairs),
        files,
        names,
    })
}
