//! Photographs for the tests, with everything planted in them that a camera writes.

use super::{Person, Shown};
use image::{ImageFormat, Rgb, RgbImage};
use overwinter::commands::demo::script::Script;
use overwinter::picture;
use overwinter::store::{Blob, NotTaken};
use overwinter::study::code::Code;
use overwinter::study::entry::{Actor, Entry};
use overwinter::study::ids::EntryId;
use overwinter::study::photograph::{Described, Files, Motif, Photograph, View};
use reqwest::Method;
use reqwest::multipart::{Form, Part};
use std::io::Cursor;

/// A place that stands in every photograph of these tests, as text.
pub const PLACE: &str = "N59.91273 E10.74609";

/// A JPEG of this size, red above and blue below, with an Exif block that turns it (CIPA DC-008, tag
/// 0x0112), names a place, and a comment that names it again.
pub fn jpeg(width: u32, height: u32, orientation: u8) -> Vec<u8> {
    let picture = RgbImage::from_fn(width, height, |x, y| match y * 2 < height {
        true => Rgb([210, 30, (x % 40) as u8]),
        false => Rgb([30, 30, 210]),
    });
    let mut plain = Vec::new();
    picture
        .write_to(&mut Cursor::new(&mut plain), ImageFormat::Jpeg)
        .expect("it is written");
    // Little-endian TIFF, one directory with the orientation, the place behind it.
    let mut exif = b"Exif\0\0II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0".to_vec();
    exif.extend([orientation, 0, 0, 0, 0, 0, 0, 0]);
    exif.extend(PLACE.as_bytes());
    let mut bytes = plain[..2].to_vec();
    for (marker, payload) in [(0xe1, exif.as_slice()), (0xfe, PLACE.as_bytes())] {
        bytes.extend([0xff, marker]);
        bytes.extend(
            u16::try_from(payload.len() + 2)
                .expect("short")
                .to_be_bytes(),
        );
        bytes.extend(payload);
    }
    bytes.extend(&plain[2..]);
    bytes
}

/// Whether bytes hold a word.
pub fn holds(bytes: &[u8], word: &str) -> bool {
    bytes
        .windows(word.len())
        .any(|window| window == word.as_bytes())
}

/// A photograph of a piece, written to the journal past the pages.
pub async fn photographed(script: &Script, code: &Code, view: View) -> EntryId {
    photographed_of(script, &Motif::Piece(code.clone()), view).await
}

/// A photograph of a piece, a holder or the whole, written to the journal past the pages.
pub async fn photographed_of(script: &Script, motif: &Motif, view: View) -> EntryId {
    let taken = try_photograph(script, motif, view, None).await;
    taken.expect("the journal takes it")
}

/// The same with a remark, and with the journal's answer.
pub async fn try_photograph(
    script: &Script,
    motif: &Motif,
    view: View,
    note: Option<&str>,
) -> Result<EntryId, NotTaken> {
    let sent = jpeg(60, 40, 1);
    let clean = picture::clean(&sent).expect("a picture");
    let files = Files {
        width: clean.width,
        height: clean.height,
        large: picture::sha256(&clean.large),
        small: picture::sha256(&clean.small),
        sent: picture::sha256(&sent),
    };
    for bytes in [clean.large, clean.small] {
        let media_type = "image/jpeg".to_owned();
        let kept = script.store.put_blob(&Blob { media_type, bytes }).await;
        kept.expect("it is kept");
    }
    let described = Described::of(motif, view, None);
    let photograph = Box::new(Photograph { described, files });
    let steward = Actor::Account(script.steward);
    let taken = script.tell(steward, Entry::PhotographTaken { photograph }, note);
    Ok(EntryId(taken.await?.id))
}

/// Sends the form of a photograph, as a browser does.
pub async fn send(
    person: &Person,
    path: &str,
    fields: &[(&str, &str)],
    file: (&str, &[u8]),
) -> Shown {
    let form = fields.iter().fold(Form::new(), |form, (name, value)| {
        form.text((*name).to_owned(), (*value).to_owned())
    });
    let part = Part::bytes(file.1.to_vec()).file_name(file.0.to_owned());
    let part = part.mime_str("image/jpeg").expect("a kind");
    let request = person.request(Method::POST, path);
    let request = request.header("sec-fetch-site", "same-origin");
    person
        .send(request.multipart(form.part("file", part)))
        .await
}
