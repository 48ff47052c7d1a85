//! A photograph's bytes → two clean JPEGs. Whatever a camera wrote beside the picture (place, time,
//! device, preview, colour profile, comments) is not copied: only the squares of colour are read, and
//! new files are written from them. Knows no study and does no I/O.
//!
//! Decoding is the dangerous part. What comes in is bounded before it is decoded: by its kind (three
//! decoders, all in Rust), its size in pixels and its size in memory. Callers bound how many run at
//! once and keep this off the threads that answer requests: `web::darkroom`.

use std::fmt;
use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits, Rgb, RgbImage};
use sha2::{Digest, Sha256};

use crate::clock::hex;

/// The most pixels: 25 million.
pub const MOST_PIXELS: u64 = 25_000_000;
/// The most memory that a decoded picture may take, in bytes (128 MB).
pub const MOST_DECODED: u64 = 128 * 1024 * 1024;
/// The longer side of the large picture, in pixels: a hair is seen at the size of a hand.
const LARGE: u32 = 2048;
/// The longer side of the small picture, in pixels.
const SMALL: u32 = 640;
/// Quality of the JPEGs, of 100.
const QUALITY: u8 = 85;

/// A photograph made clean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clean {
    /// The large JPEG.
    pub large: Vec<u8>,
    /// The small JPEG.
    pub small: Vec<u8>,
    /// Width of the large one, in pixels.
    pub width: u32,
    /// Height of the large one, in pixels.
    pub height: u32,
}

/// Why a file is no photograph for us.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refused {
    /// There is nothing in it.
    Empty,
    /// A HEIC or AVIF picture: browsers and free decoders do not show it alike.
    Heic,
    /// Not JPEG, PNG or WebP, whatever its name says.
    Kind,
    /// More pixels than [`MOST_PIXELS`]: how many millions.
    Pixels(u64),
    /// Takes more memory than [`MOST_DECODED`] when decoded.
    Memory,
    /// Broken off or damaged.
    Damaged,
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("Choose a picture."),
            Self::Heic => f.write_str(
                "This is a HEIC picture, which is not readable everywhere. Set the camera to save JPEG, or \
                 share the picture as JPEG, and choose that.",
            ),
            Self::Kind => f.write_str("This is no JPEG, PNG or WebP picture, whatever its name says."),
            Self::Pixels(millions) => write!(
                f,
                "This picture has {millions} million pixels; the most is {}. Take it smaller.",
                MOST_PIXELS / 1_000_000
            ),
            Self::Memory => f.write_str(
                "This picture would take too much memory: save it with 8 bits a colour, or smaller.",
            ),
            Self::Damaged => f.write_str("This picture is damaged or broken off; choose it again."),
        }
    }
}

impl std::error::Error for Refused {}

/// SHA-256 of bytes, in hexadecimal digits.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// Cleans a photograph: decodes it within the limits, turns it as its camera meant it, and writes it
/// anew in two sizes.
///
/// # Errors
/// [`Refused`].
pub fn clean(bytes: &[u8]) -> Result<Clean, Refused> {
    let (picture, turned) = decode(bytes)?;
    // Turning takes a second picture as large, so it is made small first.
    let mut upright = fitted(picture, LARGE);
    upright.apply_orientation(turned);
    let large = flat(&upright);
    let small = fitted(DynamicImage::ImageRgb8(large.clone()), SMALL).into_rgb8();
    let (width, height) = large.dimensions();
    Ok(Clean {
        large: jpeg(&large)?,
        small: jpeg(&small)?,
        width,
        height,
    })
}

/// The kind by the first bytes; names and media types of senders count for nothing.
fn kind(bytes: &[u8]) -> Result<ImageFormat, Refused> {
    if bytes.is_empty() {
        return Err(Refused::Empty);
    }
    if bytes.get(4..8) == Some(b"ftyp".as_slice()) {
        let brand = bytes.get(8..12).unwrap_or_default();
        let still = [
            b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1", b"avif",
        ];
        return Err(if still.iter().any(|known| brand == known.as_slice()) {
            Refused::Heic
        } else {
            Refused::Kind
        });
    }
    match image::guess_format(bytes) {
        Ok(format @ (ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP)) => Ok(format),
        _ => Err(Refused::Kind),
    }
}

/// Decoded, and how its camera meant it to be turned.
fn decode(bytes: &[u8]) -> Result<(DynamicImage, Orientation), Refused> {
    let mut reader = ImageReader::with_format(Cursor::new(bytes), kind(bytes)?);
    let mut limits = Limits::default();
    limits.max_alloc = Some(MOST_DECODED);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(refused)?;
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    if pixels > MOST_PIXELS {
        return Err(Refused::Pixels(pixels.div_ceil(1_000_000)));
    }
    if decoder.total_bytes() > MOST_DECODED {
        return Err(Refused::Memory);
    }
    // A camera's note that is not readable turns nothing; the picture is still one.
    let turned = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let picture = DynamicImage::from_decoder(decoder).map_err(refused)?;
    Ok((picture, turned))
}

fn refused(error: image::ImageError) -> Refused {
    match error {
        image::ImageError::Limits(_) => Refused::Memory,
        _ => Refused::Damaged,
    }
}

/// No side longer than `most`; never made larger.
fn fitted(picture: DynamicImage, most: u32) -> DynamicImage {
    if picture.width().max(picture.height()) <= most {
        picture
    } else {
        picture.thumbnail(most, most)
    }
}

/// Eight bits a colour, on white where it is transparent.
fn flat(picture: &DynamicImage) -> RgbImage {
    if !picture.color().has_alpha() {
        return picture.to_rgb8();
    }
    let seen = picture.to_rgba8();
    let mut flat = RgbImage::new(seen.width(), seen.height());
    for (ground, pixel) in flat.pixels_mut().zip(seen.pixels()) {
        let [red, green, blue, alpha] = pixel.0;
        let over = |colour: u8| {
            let (colour, alpha) = (u32::from(colour), u32::from(alpha));
            let mixed = (colour * alpha + 255 * (255 - alpha) + 127) / 255;
            u8::try_from(mixed).unwrap_or(u8::MAX)
        };
        *ground = Rgb([over(red), over(green), over(blue)]);
    }
    flat
}

fn jpeg(picture: &RgbImage) -> Result<Vec<u8>, Refused> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, QUALITY)
        .encode_image(picture)
        .map_err(|_| Refused::Damaged)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests;
