//! Pictures made here with everything planted in them that a camera may write, and files that are
//! none. Containers are built by hand after their standards: JFIF and JPEG markers (ITU-T T.81, B.1.1.3),
//! Exif tags (CIPA DC-008: 0x0112 orientation, 0x8825 the place's own directory), PNG chunks (ISO/IEC 15948,
//! with the check sum of ISO 3309), RIFF of WebP; all from memory, and read by decoders that are not ours.

use super::*;
use image::{ImageEncoder, Rgba, RgbaImage};

/// Words that stand in every planted note; none may be in what comes out.
const PLANTED: [&[u8]; 4] = [b"N59.91273", b"Exif", b"Secret Phone 9", b"http://ns.adobe"];

/// Red above left, green above right, blue below left, white below right; `width` × `height`.
fn quarters(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |x, y| {
        match (x * 2 < width, y * 2 < height) {
            (true, true) => Rgb([220, 20, 20]),
            (false, true) => Rgb([20, 200, 20]),
            (true, false) => Rgb([20, 20, 220]),
            (false, false) => Rgb([250, 250, 250]),
        }
    })
}

/// A little-endian TIFF block: orientation, make, and a directory of the place with a latitude.
fn exif(orientation: u8) -> Vec<u8> {
    let mut tiff = b"II*\0\x08\0\0\0\x03\0".to_vec();
    let entry = |tag: u16, kind: u16, count: u32, value: [u8; 4]| {
        let mut bytes = tag.to_le_bytes().to_vec();
        bytes.extend(kind.to_le_bytes());
        bytes.extend(count.to_le_bytes());
        bytes.extend(value);
        bytes
    };
    // The first directory is 2 + 3 · 12 + 4 bytes from 8 on; texts and the place follow at 50.
    tiff.extend(entry(0x010f, 2, 15, 50_u32.to_le_bytes()));
    tiff.extend(entry(0x0112, 3, 1, [orientation, 0, 0, 0]));
    tiff.extend(entry(0x8825, 4, 1, 66_u32.to_le_bytes()));
    tiff.extend([0; 4]);
    tiff.extend(b"Secret Phone 9\0\0");
    tiff.extend(b"\x01\0");
    tiff.extend(entry(0x0002, 2, 10, 84_u32.to_le_bytes()));
    tiff.extend([0; 4]);
    tiff.extend(b"N59.91273\0");
    tiff
}

fn segment(marker: u8, payload: &[u8]) -> Vec<u8> {
    let length = u16::try_from(payload.len() + 2).unwrap();
    let mut bytes = vec![0xff, marker];
    bytes.extend(length.to_be_bytes());
    bytes.extend(payload);
    bytes
}

/// A JPEG with Exif, XMP, a comment, and a second picture's bytes after its end.
fn camera(picture: &RgbImage, orientation: u8) -> Vec<u8> {
    let plain = jpeg(picture).unwrap();
    let mut bytes = plain[..2].to_vec();
    bytes.extend(segment(
        0xe1,
        &[b"Exif\0\0".as_slice(), &exif(orientation)].concat(),
    ));
    bytes.extend(segment(
        0xe1,
        b"http://ns.adobe.com/xap/1.0/\0<x>N59.91273</x>",
    ));
    bytes.extend(segment(0xfe, b"Secret Phone 9 at N59.91273"));
    bytes.extend(&plain[2..]);
    bytes.extend(b"Secret Phone 9 N59.91273");
    bytes
}

fn holds(bytes: &[u8], word: &[u8]) -> bool {
    bytes.windows(word.len()).any(|window| window == word)
}

/// The colour in the middle of each quarter, by what dominates.
fn seen(bytes: &[u8]) -> [char; 4] {
    let picture = image::load_from_memory(bytes).unwrap().to_rgb8();
    let (w, h) = picture.dimensions();
    [(1, 1), (3, 1), (1, 3), (3, 3)].map(|(x, y)| {
        let [r, g, b] = picture.get_pixel(w * x / 4, h * y / 4).0.map(i32::from);
        match (r > 150, g > 150, b > 150) {
            (true, true, true) => 'w',
            (true, ..) => 'r',
            (_, true, _) => 'g',
            _ => 'b',
        }
    })
}

/// The markers of a JPEG up to its scan.
fn markers(bytes: &[u8]) -> Vec<u8> {
    let (mut at, mut found) = (2, Vec::new());
    while bytes[at] == 0xff && bytes[at + 1] != 0xda {
        found.push(bytes[at + 1]);
        at += 2 + usize::from(u16::from_be_bytes([bytes[at + 2], bytes[at + 3]]));
    }
    found
}

#[test]
fn nothing_that_a_camera_wrote_beside_the_picture_comes_out() {
    let bytes = camera(&quarters(900, 600), 1);
    for word in PLANTED {
        assert!(holds(&bytes, word), "planted");
    }
    let clean = clean(&bytes).unwrap();
    for out in [&clean.large, &clean.small] {
        for word in PLANTED {
            assert!(!holds(out, word));
        }
        // Only what a decoder needs: JFIF, tables, frame; no other application segment, no comment.
        let extra = markers(out)
            .into_iter()
            .filter(|m| matches!(m, 0xe1..=0xef | 0xfe));
        assert_eq!(extra.count(), 0);
    }
    assert_eq!((clean.width, clean.height), (900, 600));
    assert_eq!(seen(&clean.large), ['r', 'g', 'b', 'w']);
    assert_eq!(seen(&clean.small), ['r', 'g', 'b', 'w']);
}

/// CIPA DC-008, orientation: 3 is turned by 180°, 6 is shown turned clockwise, 8 anticlockwise, 2
/// mirrored left to right.
#[test]
fn the_camera_held_upright_is_honoured_before_the_note_is_dropped() {
    for (orientation, colours, is_upright) in [
        (1, ['r', 'g', 'b', 'w'], false),
        (2, ['g', 'r', 'w', 'b'], false),
        (3, ['w', 'b', 'g', 'r'], false),
        (4, ['b', 'w', 'r', 'g'], false),
        (6, ['b', 'r', 'w', 'g'], true),
        (8, ['g', 'w', 'r', 'b'], true),
    ] {
        let clean = clean(&camera(&quarters(400, 200), orientation)).unwrap();
        assert_eq!(seen(&clean.large), colours, "{orientation}");
        assert_eq!(clean.height > clean.width, is_upright, "{orientation}");
    }
}

#[test]
fn large_pictures_are_made_to_fit_and_small_ones_stay() {
    let large = clean(&jpeg(&quarters(5000, 2500)).unwrap()).unwrap();
    assert_eq!((large.width, large.height), (2048, 1024));
    let small = image::load_from_memory(&large.small).unwrap();
    assert_eq!((small.width(), small.height()), (640, 320));
    let tiny = clean(&jpeg(&quarters(30, 20)).unwrap()).unwrap();
    assert_eq!((tiny.width, tiny.height), (30, 20));
    let again = clean(&jpeg(&quarters(30, 20)).unwrap()).unwrap();
    assert_eq!(tiny, again, "the same bytes every time");
}

fn png_chunk(kind: &[u8; 4], payload: &[u8]) -> Vec<u8> {
    let mut bytes = u32::try_from(payload.len()).unwrap().to_be_bytes().to_vec();
    let body = [kind.as_slice(), payload].concat();
    let crc = body.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            (crc >> 1) ^ (0xedb8_8320 & 0_u32.wrapping_sub(crc & 1))
        })
    });
    bytes.extend(body);
    bytes.extend((!crc).to_be_bytes());
    bytes
}

#[test]
fn png_and_webp_are_cleaned_and_lie_on_white() {
    let picture = RgbaImage::from_fn(64, 64, |x, _| match x < 32 {
        true => Rgba([200, 0, 0, 255]),
        false => Rgba([0, 0, 0, 0]),
    });
    let mut png = Vec::new();
    DynamicImage::ImageRgba8(picture.clone())
        .write_to(&mut Cursor::new(&mut png), ImageFormat::Png)
        .unwrap();
    // After the header chunk: a text and an Exif chunk.
    let text = png_chunk(b"tEXt", b"Place\0N59.91273");
    let notes = [text, png_chunk(b"eXIf", &exif(1))].concat();
    png.splice(33..33, notes);
    assert!(holds(&png, b"N59.91273"));
    let mut webp = Vec::new();
    image::codecs::webp::WebPEncoder::new_lossless(&mut webp)
        .write_image(picture.as_raw(), 64, 64, image::ExtendedColorType::Rgba8)
        .unwrap();
    for bytes in [png, webp] {
        let clean = clean(&bytes).unwrap();
        assert!(!holds(&clean.large, b"N59.91273") && !holds(&clean.small, b"N59.91273"));
        let out = image::load_from_memory(&clean.large).unwrap().to_rgb8();
        assert!(out.get_pixel(60, 30).0.iter().all(|c| *c > 245), "white");
        assert!(out.get_pixel(4, 30).0[0] > 150);
    }
}

/// A PNG that says it is this large, with hardly anything in it.
fn claims(width: u32, height: u32, bits: u8) -> Vec<u8> {
    let mut header = width.to_be_bytes().to_vec();
    header.extend(height.to_be_bytes());
    header.extend([bits, 6, 0, 0, 0]);
    let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
    bytes.extend(png_chunk(b"IHDR", &header));
    bytes.extend(png_chunk(b"IDAT", &[0x78, 0x9c, 0x63, 0, 0]));
    bytes.extend(png_chunk(b"IEND", b""));
    bytes
}

#[test]
fn bombs_are_refused_before_they_are_decoded() {
    assert_eq!(
        clean(&claims(60_000, 60_000, 8)),
        Err(Refused::Pixels(3600))
    );
    assert_eq!(clean(&claims(5001, 5000, 8)), Err(Refused::Pixels(26)));
    // 25 million pixels of 8 bytes are 200 MB.
    assert_eq!(clean(&claims(5000, 5000, 16)), Err(Refused::Memory));
    assert!(matches!(clean(&claims(0, 0, 8)), Err(Refused::Damaged)));
    let mut frame = jpeg(&quarters(64, 64)).unwrap();
    // The frame header of the JPEG: marker, length, bits, then height and width.
    let at = frame
        .windows(2)
        .position(|two| two == [0xff, 0xc0])
        .unwrap();
    frame[at + 5..at + 9].copy_from_slice(&[0xff, 0xff, 0xff, 0xff]);
    assert_eq!(clean(&frame), Err(Refused::Pixels(4295)));
}

#[test]
fn what_is_no_picture_is_refused_whatever_it_is_called() {
    for (bytes, why) in [
        (b"".as_slice(), Refused::Empty),
        (b"hello", Refused::Kind),
        (
            b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>",
            Refused::Kind,
        ),
        (b"<!doctype html><script>1</script>", Refused::Kind),
        (b"GIF89a\x01\0\x01\0\0\0\0;", Refused::Kind),
        (b"%PDF-1.7", Refused::Kind),
        (b"PK\x03\x04", Refused::Kind),
        (b"MZ\x90\0", Refused::Kind),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", Refused::Heic),
        (b"\0\0\0\x18ftypavif\0\0\0\0", Refused::Heic),
        (b"\0\0\0\x18ftypisom\0\0\0\0", Refused::Kind),
        (b"\xff\xd8\xff\xe0", Refused::Damaged),
        (b"\x89PNG\r\n\x1a\n", Refused::Damaged),
        (b"RIFF\x04\0\0\0WEBP", Refused::Damaged),
    ] {
        assert_eq!(clean(bytes), Err(why), "{}", String::from_utf8_lossy(bytes));
    }
    assert!(Refused::Heic.to_string().contains("JPEG"));
}

#[test]
fn cut_off_and_damaged_files_are_refused_or_shown_and_never_worse() {
    let whole = camera(&quarters(300, 200), 6);
    let mut refused = 0;
    for cut in (0..whole.len()).step_by(37) {
        refused += usize::from(clean(&whole[..cut]).is_err());
    }
    assert!(refused > 5, "{refused}");
    // Every byte of the headers turned over, one at a time: an answer each time.
    for at in 0..800.min(whole.len()) {
        let mut damaged = whole.clone();
        damaged[at] ^= 0xff;
        if let Ok(clean) = clean(&damaged) {
            assert!(!holds(&clean.large, b"N59.91273"), "{at}");
        }
    }
}
