//! An answer packed beforehand: as it is, with brotli and with gzip, each with a strong tag of its own
//! (RFC 9110, section 8.8.3: two encodings of one page are two representations).

use super::nothing;
use axum::body::{Body, Bytes};
use axum::http::header::{
    ACCEPT_ENCODING, CACHE_CONTROL, CONTENT_ENCODING, CONTENT_LENGTH, CONTENT_TYPE, ETAG,
    IF_NONE_MATCH, VARY,
};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::response::Response;
use sha2::{Digest, Sha256};
use std::io::{self, Write};

use crate::clock::hex;

/// A browser or a network in front may show what it has for a minute; so long may a withdrawal take to
/// reach everybody.
const CACHING: &str = "public, max-age=60";
/// Brotli's work: the slowest level takes thirty times as long for a page smaller by a twentieth.
const BROTLI_QUALITY: i32 = 9;
/// Smaller than this, packing saves no packet on the way.
const SMALLEST: usize = 512;

/// The answer in its encodings.
pub(super) struct Packed {
    status: StatusCode,
    tag: String,
    forms: Vec<Form>,
}

/// One encoding.
struct Form {
    /// As in `Content-Encoding`; `None` as it is.
    encoding: Option<&'static str>,
    headers: HeaderMap,
    bytes: Bytes,
}

impl Packed {
    /// Packs an answer's bytes; its headers go with every encoding.
    ///
    /// # Errors
    /// When a header cannot be written or the packer fails.
    pub(super) fn new(
        status: StatusCode,
        mut headers: HeaderMap,
        bytes: Bytes,
    ) -> io::Result<Self> {
        let tag = hex(Sha256::digest(&bytes).get(..16).unwrap_or_default());
        headers.insert(CACHE_CONTROL, HeaderValue::from_static(CACHING));
        headers.append(VARY, HeaderValue::from_static("accept-encoding"));
        let mut forms = Vec::with_capacity(3);
        if is_packable(&headers) && bytes.len() >= SMALLEST {
            forms.push(form(&headers, &tag, Some("br"), brotli(&bytes)?)?);
            forms.push(form(&headers, &tag, Some("gzip"), gzip(&bytes)?)?);
            // What packing made no smaller goes out as it is.
            forms.retain(|packed| packed.bytes.len() < bytes.len());
        }
        forms.push(form(&headers, &tag, None, bytes)?);
        Ok(Self { status, tag, forms })
    }

    /// How much memory it takes, in bytes, roughly.
    pub(super) fn size(&self) -> usize {
        self.forms.iter().map(|form| form.bytes.len() + 1024).sum()
    }

    /// The answer to one request: the smallest encoding that it takes, or that it has it already.
    pub(super) fn answer(&self, method: &Method, asked: &HeaderMap) -> Response {
        let takes = |form: &&Form| form.encoding.is_none_or(|name| is_taken(asked, name));
        let Some(form) = self.forms.iter().find(takes) else {
            return Response::new(nothing());
        };
        let is_known = self.status == StatusCode::OK && self.is_known(asked);
        let body = match is_known || *method == Method::HEAD {
            true => nothing(),
            false => Body::from(form.bytes.clone()),
        };
        let mut answer = Response::new(body);
        *answer.headers_mut() = form.headers.clone();
        *answer.status_mut() = self.status;
        if is_known {
            *answer.status_mut() = StatusCode::NOT_MODIFIED;
            answer.headers_mut().remove(CONTENT_LENGTH);
        }
        answer
    }

    /// Whether the asker holds these bytes in any of the encodings.
    fn is_known(&self, asked: &HeaderMap) -> bool {
        let Some(held) = asked.get(IF_NONE_MATCH).and_then(|held| held.to_str().ok()) else {
            return false;
        };
        held.split(',').any(|held| {
            let held = held.trim().trim_start_matches("W/").trim_matches('"');
            held == "*" || held.split('-').next() == Some(self.tag.as_str())
        })
    }
}

fn form(
    headers: &HeaderMap,
    tag: &str,
    encoding: Option<&'static str>,
    bytes: Bytes,
) -> io::Result<Form> {
    let mut headers = headers.clone();
    let tag = match encoding {
        Some(name) => format!("\"{tag}-{name}\""),
        None => format!("\"{tag}\""),
    };
    headers.insert(ETAG, HeaderValue::from_str(&tag).map_err(io::Error::other)?);
    headers.insert(CONTENT_LENGTH, HeaderValue::from(bytes.len()));
    if let Some(name) = encoding {
        headers.insert(CONTENT_ENCODING, HeaderValue::from_static(name));
    }
    Ok(Form {
        encoding,
        headers,
        bytes,
    })
}

/// Text packs; pictures and archives are packed already.
fn is_packable(headers: &HeaderMap) -> bool {
    let media_type = headers
        .get(CONTENT_TYPE)
        .and_then(|kind| kind.to_str().ok());
    media_type.is_some_and(|kind| {
        [
            "text/",
            "application/json",
            "application/ld+json",
            "application/atom+xml",
            "image/svg",
        ]
        .iter()
        .any(|packable| kind.starts_with(packable))
    })
}

/// Whether `Accept-Encoding` takes this one: named, and not with the weight 0 (RFC 9110, 12.5.3).
fn is_taken(asked: &HeaderMap, name: &str) -> bool {
    asked
        .get_all(ACCEPT_ENCODING)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(','))
        .any(|one| {
            let mut parts = one.split(';').map(str::trim);
            let is_it = parts
                .next()
                .is_some_and(|named| named.eq_ignore_ascii_case(name));
            let weight = parts.find_map(|part| part.strip_prefix("q=")?.parse::<f64>().ok());
            is_it && weight.is_none_or(|weight| weight > 0.0)
        })
}

/// Bits of a window that holds so many bytes, as far as the format goes (RFC 7932, section 9.1: 10 to 24).
fn window_bits(bytes: usize) -> i32 {
    let bits = usize::BITS - bytes.leading_zeros();
    i32::try_from(bits).unwrap_or(22).clamp(16, 22)
}

fn brotli(bytes: &[u8]) -> io::Result<Bytes> {
    let mut packed = Vec::new();
    let parameters = brotli::enc::BrotliEncoderParams {
        quality: BROTLI_QUALITY,
        size_hint: bytes.len(),
        // A window no wider than what is packed: a wider one takes memory and finds nothing more.
        lgwin: window_bits(bytes.len()),
        ..Default::default()
    };
    let mut from = bytes;
    brotli::BrotliCompress(&mut from, &mut packed, &parameters)?;
    Ok(packed.into())
}

fn gzip(bytes: &[u8]) -> io::Result<Bytes> {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    packer.write_all(bytes)?;
    Ok(packer.finish()?.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asking(name: axum::http::HeaderName, value: &'static str) -> HeaderMap {
        HeaderMap::from_iter([(name, HeaderValue::from_static(value))])
    }

    /// The examples of RFC 9110, 12.5.3, as far as they name brotli or gzip, and what browsers send.
    #[test]
    fn the_encoding_is_one_that_the_asker_takes() {
        for (sent, br, gzip) in [
            ("", false, false),
            ("compress, gzip", false, true),
            ("compress;q=0.5, gzip;q=1.0", false, true),
            ("gzip;q=1.0, identity; q=0.5, *;q=0", false, true),
            ("gzip, deflate, br, zstd", true, true),
            ("br;q=0, GZIP", false, true),
        ] {
            let asked = asking(ACCEPT_ENCODING, sent);
            assert_eq!(
                (is_taken(&asked, "br"), is_taken(&asked, "gzip")),
                (br, gzip),
                "{sent}"
            );
        }
    }

    #[test]
    fn a_page_is_known_by_its_tag_in_any_encoding_and_by_no_other() {
        let headers = asking(CONTENT_TYPE, "text/html");
        let packed = Packed::new(StatusCode::OK, headers, Bytes::from("peg ".repeat(500)))
            .expect("it packs");
        let whole = packed.answer(&Method::GET, &asking(ACCEPT_ENCODING, "br"));
        assert_eq!(whole.headers()[CONTENT_ENCODING], "br");
        let tag = whole.headers()[ETAG].clone();
        let again = HeaderMap::from_iter([(IF_NONE_MATCH, tag)]);
        assert_eq!(
            packed.answer(&Method::GET, &again).status(),
            StatusCode::NOT_MODIFIED
        );
        let other = asking(IF_NONE_MATCH, "\"0000\"");
        assert_eq!(packed.answer(&Method::GET, &other).status(), StatusCode::OK);
    }
}
