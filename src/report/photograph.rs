//! Photographs as they are shown: before and after side by side at the same scale, and the page of
//! those that go with an edition.

use askama::Template;

use crate::report::edition::{File, RenderFault};
use crate::report::format::day;
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::ids::EntryId;
use crate::study::photograph::View;
use crate::study::record::{PhotographRecord, StudyRecord};

/// The gap between two pictures, as part of the wider one.
const GAP: f64 = 0.04;

/// A picture in a pair: its place in the drawing's own units.
#[derive(Debug, Clone, PartialEq)]
pub struct Shot {
    /// Where the picture is.
    pub href: String,
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

/// Two pictures of a piece side by side.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// Width of the drawing: millimetres when it is to scale.
    pub width: f64,
    /// Height of the drawing.
    pub height: f64,
    /// The pictures.
    pub shots: [Shot; 2],
    /// Length of the scale bar in mm, when both scales are known.
    pub bar_mm: Option<f64>,
    /// What is seen, in words.
    pub words: String,
}

impl Pair {
    /// Size of the bar's lettering, in the drawing's units.
    #[must_use]
    pub fn lettering(&self) -> f64 {
        short(self.width * 0.03)
    }

    /// Where the bar lies, from above.
    #[must_use]
    pub fn bar_y(&self) -> f64 {
        short(self.height - self.lettering() * 0.6)
    }

    /// The middle of the bar's lettering beside it, from the left.
    #[must_use]
    pub fn after_bar(&self) -> f64 {
        short(self.bar_mm.unwrap_or_default() + self.lettering() * 0.5)
    }
}

/// The pair to show of a piece's photographs: the last as new, and the last from after exposure
/// (cleaned, or else as found).
pub fn pair<'r>(
    shown: impl Iterator<Item = &'r PhotographRecord>,
    href: impl Fn(&PhotographRecord) -> String,
) -> Option<Pair> {
    let shown: Vec<&PhotographRecord> = shown.collect();
    let last = |view: View| {
        shown
            .iter()
            .rev()
            .find(|photo| photo.view() == view)
            .copied()
    };
    let before = last(View::Before)?;
    let after = last(View::After).or_else(|| last(View::AsFound))?;
    let words = format!(
        "Left {}; right {}",
        before.view().label(),
        after.view().label()
    );
    Some(side_by_side([before, after], href, words))
}

/// The pair to show of a holder's photographs: the first and the last, each with its day.
pub fn pair_in_time<'r>(
    mut shown: impl Iterator<Item = &'r PhotographRecord>,
    href: impl Fn(&PhotographRecord) -> String,
    zone: &str,
) -> Option<Pair> {
    let first = shown.next()?;
    let last = shown.last()?;
    let words = format!(
        "Left on {}; right on {}",
        day(first.taken_at, zone),
        day(last.taken_at, zone)
    );
    Some(side_by_side([first, last], href, words))
}

/// Two photographs with one millimetre as long in both, or, when nobody measured, equally wide.
fn side_by_side(
    photos: [&PhotographRecord; 2],
    href: impl Fn(&PhotographRecord) -> String,
    words: String,
) -> Pair {
    let frames = photos.map(|photo| photo.photograph.described.frame_mm);
    let (widths, is_to_scale) = match frames {
        [Some(first), Some(second)] => ([first, second], true),
        _ => ([100.0, 100.0], false),
    };
    let [first, second] = photos;
    let height = |photo: &PhotographRecord, width: f64| {
        let files = &photo.photograph.files;
        width * f64::from(files.height) / f64::from(files.width.max(1))
    };
    let heights = [height(first, widths[0]), height(second, widths[1])];
    let gap = widths[0].max(widths[1]) * GAP;
    let (width, tallest) = (widths[0] + gap + widths[1], heights[0].max(heights[1]));
    let shot = |photo: &PhotographRecord, x: f64, width: f64, height: f64| Shot {
        href: href(photo),
        x: short(x),
        // Both stand on the same line.
        y: short(tallest - height),
        width: short(width),
        height: short(height),
    };
    let bar_mm = is_to_scale.then(|| bar(widths[0].min(widths[1])));
    let foot = if is_to_scale { width * 0.055 } else { 0.0 };
    Pair {
        width: short(width),
        height: short(tallest + foot),
        shots: [
            shot(first, 0.0, widths[0], heights[0]),
            shot(second, widths[0] + gap, widths[1], heights[1]),
        ],
        bar_mm,
        words,
    }
}

/// A round length of a quarter to a half of this width: 1, 2 or 5 times a power of ten.
fn bar(width_mm: f64) -> f64 {
    let most = width_mm / 2.0;
    let ten = 10_f64.powf(most.log10().floor());
    let fits = [5.0, 2.0, 1.0].into_iter().find(|n| n * ten <= most);
    fits.unwrap_or(1.0) * ten
}

fn short(units: f64) -> f64 {
    (units * 1000.0).round() / 1000.0
}

/// A photograph of an edition: its own page's caption, and the names of its files.
struct Shown {
    small: String,
    large: String,
    width: u32,
    height: u32,
    alt: String,
    caption: String,
}

/// A pair of pictures on an edition's own page.
#[derive(Debug, Clone, PartialEq)]
pub struct PairOfPiece {
    /// The piece.
    pub code: String,
    /// Where it was.
    pub place: String,
    /// The pictures, small ones.
    pub pair: Pair,
}

/// One pair for each condition and stage that has one, the first piece of it.
#[must_use]
pub fn one_of_each(record: &StudyRecord) -> Vec<PairOfPiece> {
    let shown: Vec<&PhotographRecord> = record.public_photographs().collect();
    let mut found: Vec<PairOfPiece> = Vec::new();
    for specimen in &record.specimens {
        let (code, place_of) = (&specimen.code, place_of(record, &specimen.code));
        if found.iter().any(|known| known.place == place_of) {
            continue;
        }
        let own = shown.iter().filter(|photo| photo.shows(code)).copied();
        let href = |photo: &PhotographRecord| {
            place(&shown, photo.entry).map_or_else(String::new, |n| name(n, "small"))
        };
        found.extend(pair(own, href).map(|pair| PairOfPiece {
            code: code.to_string(),
            place: place_of,
            pair,
        }));
    }
    found
}

/// The photographs of one piece, or of one holder.
struct Section {
    id: String,
    name: String,
    /// Where a piece was, which may be said now that its results are.
    place: String,
    pair: Option<Pair>,
    shown: Vec<Shown>,
}

#[derive(Template)]
#[template(path = "public/photographs.html")]
struct PhotographsPage<'r> {
    title: &'r str,
    number: u32,
    sections: Vec<Section>,
}

/// The bytes of a photograph's files.
pub struct Bytes {
    /// Its entry.
    pub entry: EntryId,
    /// The large picture.
    pub large: Vec<u8>,
    /// The small picture.
    pub small: Vec<u8>,
}

/// The page that an edition keeps its photographs on.
pub const PAGE: &str = "photographs.html";

/// The files of an edition's photographs: their page, and each in two sizes. None when none is
/// released. Pictures whose bytes are not given are left out of both.
///
/// # Errors
/// When the page cannot be drawn.
pub fn files(
    record: &StudyRecord,
    number: u32,
    bytes: Vec<Bytes>,
) -> Result<Vec<File>, RenderFault> {
    let is_given = |photo: &&PhotographRecord| bytes.iter().any(|given| given.entry == photo.entry);
    let shown: Vec<&PhotographRecord> = record.public_photographs().filter(is_given).collect();
    if shown.is_empty() {
        return Ok(Vec::new());
    }
    let page = PhotographsPage {
        title: &record.title,
        number,
        sections: sections(record, &shown),
    };
    let html = page.render()?.into_bytes();
    let mut files = vec![file(PAGE.to_owned(), "text/html; charset=utf-8", html)];
    for given in bytes {
        let Some(n) = place(&shown, given.entry) else {
            continue;
        };
        files.push(file(name(n, "small"), "image/jpeg", given.small));
        files.push(file(name(n, "large"), "image/jpeg", given.large));
    }
    Ok(files)
}

fn file(path: String, media_type: &str, bytes: Vec<u8>) -> File {
    File {
        path,
        media_type: media_type.to_owned(),
        bytes,
    }
}

fn place(shown: &[&PhotographRecord], entry: EntryId) -> Option<usize> {
    shown.iter().position(|photo| photo.entry == entry)
}

/// What the large picture of the n-th public photograph (from 0) is called among an edition's files.
#[must_use]
pub fn large_name(n: usize) -> String {
    name(n, "large")
}

fn name(n: usize, size: &str) -> String {
    format!("photograph-{}-{size}.jpg", n + 1)
}

fn sections(record: &StudyRecord, shown: &[&PhotographRecord]) -> Vec<Section> {
    let named = |photo: &PhotographRecord, size| {
        place(shown, photo.entry).map_or_else(String::new, |n| name(n, size))
    };
    let line = |photo: &PhotographRecord, words: &str, motif: Option<&str>| Shown {
        small: named(photo, "small"),
        large: named(photo, "large"),
        width: photo.photograph.files.width,
        height: photo.photograph.files.height,
        alt: motif.map_or_else(|| words.to_owned(), |motif| format!("{motif}, {words}")),
        caption: format!("{words}, {}", day(photo.taken_at, &record.time_zone)),
    };
    let lines = |own: &[&PhotographRecord], motif: &str| {
        let own = own.iter();
        own.map(|photo| line(photo, photo.view().label(), Some(motif)))
            .collect()
    };
    let large = |photo: &PhotographRecord| named(photo, "large");
    let piece = |code: &Code| {
        let own = those(shown, |photo| photo.shows(code));
        (!own.is_empty()).then(|| Section {
            id: format!("piece-{code}"),
            name: code.to_string(),
            place: place_of(record, code),
            pair: pair(own.iter().copied(), large),
            shown: lines(&own, code.as_str()),
        })
    };
    let holder = |(n, (key, name)): (usize, &(String, String))| {
        let own = those(shown, |photo| photo.shows_holder(key));
        (!own.is_empty()).then(|| Section {
            id: format!("holder-{}", n + 1),
            name: name.clone(),
            place: String::new(),
            pair: pair_in_time(own.iter().copied(), large, &record.time_zone),
            shown: lines(&own, name),
        })
    };
    let whole = those(shown, PhotographRecord::is_of_whole);
    let whole = (!whole.is_empty()).then(|| Section {
        id: "whole".to_owned(),
        name: "The study as a whole".to_owned(),
        place: String::new(),
        pair: None,
        shown: whole
            .iter()
            .map(|photo| line(photo, record.words_of_whole(photo), None))
            .collect(),
    });
    let codes = record.specimens.iter().map(|specimen| &specimen.code);
    let holders = holders(record);
    let holders = holders.iter().enumerate().filter_map(holder);
    let rest = holders.chain(codes.filter_map(piece));
    whole.into_iter().chain(rest).collect()
}

fn those<'r>(
    shown: &[&'r PhotographRecord],
    is_wanted: impl Fn(&PhotographRecord) -> bool,
) -> Vec<&'r PhotographRecord> {
    let wanted = shown.iter().filter(|photo| is_wanted(photo));
    wanted.copied().collect()
}

/// Every holder of the plan: its key, and its name with its condition's.
fn holders(record: &StudyRecord) -> Vec<(String, String)> {
    let plan = record.plan().map(|version| &version.plan);
    let conditions = plan.map(|plan| plan.conditions.as_slice());
    let mut holders = Vec::new();
    for condition in conditions.unwrap_or_default() {
        for holder in &condition.holders {
            let name = format!("{}: {}", condition.name, holder.name);
            holders.push((holder.key.clone(), name));
        }
    }
    holders
}

/// `rain barrel, 180 days`; empty for a piece that was not exposed.
fn place_of(record: &StudyRecord, code: &Code) -> String {
    let piece = record.specimen(code).and_then(|piece| piece.place.as_ref());
    let Some(Place::Exposed {
        condition,
        stage_days,
        ..
    }) = piece
    else {
        return String::new();
    };
    let plan = record.plan().map(|version| &version.plan);
    let named = plan.and_then(|plan| plan.condition(condition));
    let name = named.map_or(condition.as_str(), |named| named.name.as_str());
    format!("{name}, {stage_days} days")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::photograph::{Described, Files, Photograph};
    use crate::study::record::Standing;
    use chrono::DateTime;

    fn photo(view: View, size: (u32, u32), frame_mm: Option<f64>) -> PhotographRecord {
        let described = Described {
            specimens: Vec::new(),
            holder: None,
            view,
            frame_mm,
        };
        let files = Files {
            width: size.0,
            height: size.1,
            large: String::new(),
            small: String::new(),
            sent: String::new(),
        };
        PhotographRecord {
            entry: EntryId(uuid::Uuid::from_u128(u128::from(size.0))),
            photograph: Photograph { described, files },
            taken_at: DateTime::UNIX_EPOCH,
            standing: Standing::Current,
            is_released: false,
            is_erased: false,
            note: None,
        }
    }

    #[test]
    fn a_millimetre_is_as_long_in_both_pictures_whatever_their_size_and_distance() {
        // 120 mm on 2000 pixels and 60 mm on 500 pixels: the second frame is half as wide.
        let before = photo(View::Before, (2000, 1500), Some(120.0));
        let after = photo(View::After, (500, 500), Some(60.0));
        let pair = pair([&before, &after].into_iter(), |_| String::new()).expect("a pair");
        let [first, second] = &pair.shots;
        assert_eq!((first.width, first.height), (120.0, 90.0));
        assert_eq!((second.width, second.height), (60.0, 60.0));
        assert_eq!(
            first.y + first.height,
            second.y + second.height,
            "on one line"
        );
        assert!(second.x > first.width && pair.width >= second.x + second.width);
        assert_eq!(pair.bar_mm, Some(20.0));
    }

    #[test]
    fn without_two_scales_the_pictures_are_equally_wide_and_no_bar_is_drawn() {
        let before = photo(View::Before, (2000, 1500), Some(120.0));
        let found = photo(View::AsFound, (500, 500), None);
        let pair = pair([&before, &found].into_iter(), |_| String::new()).expect("a pair");
        assert_eq!(pair.shots[0].width, pair.shots[1].width);
        assert_eq!(pair.bar_mm, None);
        assert!(super::pair([&before].into_iter(), |_| String::new()).is_none());
    }

    #[test]
    fn the_bar_is_a_round_length_that_fits() {
        for (width, length) in [
            (120.0, 50.0),
            (41.0, 20.0),
            (39.0, 10.0),
            (2.0, 1.0),
            (1.0, 0.5),
        ] {
            assert!(
                (bar(width) - length).abs() < 1e-9,
                "{width}: {}",
                bar(width)
            );
        }
    }
}
