//! Figures as PNG, and the picture that is shown where a link to an edition is posted: drawn by resvg from the
//! server's own SVG with the font that is bundled in `static/font` (Inter, SIL Open Font License).
//!
//! No font of the machine is asked for: the same edition gives the same picture everywhere, and a machine
//! without fonts draws its words as well.

use std::sync::{Arc, OnceLock};

use askama::Template;
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

use crate::analysis::findings::Findings;
use crate::report::about::headline;
use crate::report::chart::Chart;
use crate::report::chart::marks::{LineKind, Shape};
use crate::report::edition::RenderFault;
use crate::report::figures::Figures;
use crate::report::page::Meta;
use crate::study::record::StudyRecord;

const REGULAR: &[u8] = include_bytes!("../../static/font/inter-regular.otf");
const SEMIBOLD: &[u8] = include_bytes!("../../static/font/inter-semibold.otf");
/// The family in both files.
const FAMILY: &str = "Inter";

/// Pixels for each unit of a figure: crisp on a phone and on a slide.
const SCALE: f32 = 2.5;

/// The bundled font, also for whatever family a figure names.
fn fonts() -> Arc<fontdb::Database> {
    static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    let load = || {
        let mut fonts = fontdb::Database::new();
        fonts.load_font_data(REGULAR.to_vec());
        fonts.load_font_data(SEMIBOLD.to_vec());
        fonts.set_sans_serif_family(FAMILY);
        fonts.set_serif_family(FAMILY);
        fonts.set_monospace_family(FAMILY);
        Arc::new(fonts)
    };
    Arc::clone(FONTS.get_or_init(load))
}

/// An SVG as PNG, so many pixels for each of its units.
///
/// # Errors
/// When the SVG cannot be read or the picture would be too large.
pub fn png(svg: &str, scale: f32) -> Result<Vec<u8>, RenderFault> {
    let failed = |cause: String| RenderFault::Picture(cause);
    let options = Options {
        font_family: FAMILY.to_owned(),
        fontdb: fonts(),
        ..Options::default()
    };
    let tree = Tree::from_str(svg, &options).map_err(|cause| failed(cause.to_string()))?;
    let size = tree.size().to_int_size().scale_by(scale);
    let pixmap = size.and_then(|size| Pixmap::new(size.width(), size.height()));
    let mut pixmap = pixmap.ok_or_else(|| failed("it has no size".to_owned()))?;
    let transform = Transform::from_scale(scale, scale);
    resvg::render(&tree, transform, &mut pixmap.as_mut());
    pixmap
        .encode_png()
        .map_err(|cause| failed(cause.to_string()))
}

/// A figure as PNG.
///
/// # Errors
/// [`RenderFault`].
pub fn figure(svg: &str) -> Result<Vec<u8>, RenderFault> {
    png(svg, SCALE)
}

/// What is shown where a link is posted, 1200 by 630.
#[derive(Debug, Template)]
#[template(path = "public/preview.svg")]
struct Preview<'a> {
    kicker: String,
    title: Vec<String>,
    /// Lettering of the headline, in pixels.
    size: usize,
    /// Distance of its lines.
    leading: usize,
    headline: Vec<String>,
    chart: Option<&'a Chart>,
}

/// The preview picture: the title, the answer in words and the figure that decides.
///
/// # Errors
/// [`RenderFault`].
pub fn preview(
    record: &StudyRecord,
    findings: &Findings,
    figures: &Figures,
    meta: &Meta,
) -> Result<Vec<u8>, RenderFault> {
    let interim = findings.standing.interim();
    let interim = interim
        .map(|words| format!(" · {words}"))
        .unwrap_or_default();
    let primary = figures.all().find(|figure| figure.is_primary);
    let whole = headline(findings);
    // A picture is glanced at: where the answer is long, each condition has its verdict alone.
    let (size, leading, headline) = match whole.chars().count() {
        0..=170 => (32, 44, wrapped(&whole, 34, 8)),
        171..=330 => (26, 36, wrapped(&whole, 42, 10)),
        _ => (26, 36, verdicts(findings)),
    };
    let svg = Preview {
        kicker: format!("A specimen study · edition {}{interim}", meta.number),
        title: wrapped(&record.title, 48, 2),
        size,
        leading,
        headline,
        chart: primary.or(figures.all().next()).map(|figure| &figure.chart),
    };
    png(&svg.render()?, 1.0)
}

/// A line or two for each condition, as many as there is room for.
fn verdicts(findings: &Findings) -> Vec<String> {
    let Some(primary) = &findings.primary else {
        return wrapped(&headline(findings), 42, 10);
    };
    let both = primary.family.members.iter().zip(&primary.judged);
    let lines = both.flat_map(|(member, judged)| {
        let verdict = judged.verdict.map(|v| v.label(primary.margin_percent));
        let verdict = verdict.unwrap_or_else(|| "no interval".to_owned());
        let line = format!("{}: {verdict}", member.name);
        let mut lines = wrapped(&line, 42, 2);
        lines.push(String::new());
        lines
    });
    lines.take(11).collect()
}

/// Words in lines of at most so many characters; what has no room ends in an ellipsis.
fn wrapped(text: &str, columns: usize, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split_whitespace() {
        let long = word.chars().count();
        let room = lines.last().map_or(0, |line| line.chars().count());
        if room > 0 && room + 1 + long > columns {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.extend(word.chars().take(columns));
        }
    }
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            last.push_str(" …");
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::GenericImageView;

    fn picture(svg: &str) -> image::DynamicImage {
        let bytes = png(svg, 1.0).unwrap();
        image::load_from_memory_with_format(&bytes, image::ImageFormat::Png).unwrap()
    }

    fn dark(picture: &image::DynamicImage, from: u32, until: u32) -> usize {
        let pixels = picture
            .pixels()
            .filter(|(x, _, _)| (from..until).contains(x));
        pixels
            .filter(|(_, _, p)| p.0[0] < 128 && p.0[3] > 128)
            .count()
    }

    fn words(text: &str, family: &str, weight: u32) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"300\" height=\"40\"><rect width=\"300\" \
             height=\"40\" fill=\"#fff\"/><text x=\"4\" y=\"28\" font-family=\"{family}\" font-size=\"24\" \
             font-weight=\"{weight}\" fill=\"#000\">{text}</text></svg>"
        )
    }

    #[test]
    fn words_are_really_drawn_whatever_family_is_named() {
        let own = dark(&picture(&words("Not settled ±10 %", FAMILY, 400)), 0, 300);
        let other = "system-ui, -apple-system, &apos;Segoe UI&apos;, sans-serif";
        let named = dark(&picture(&words("Not settled ±10 %", other, 400)), 0, 300);
        assert!(own > 400, "{own} dark pixels");
        assert_eq!(own, named);
        let bold = dark(&picture(&words("Not settled ±10 %", FAMILY, 600)), 0, 300);
        assert!(
            bold * 10 > own * 11,
            "{bold} against {own}: the heavier cut is used"
        );
        assert_eq!(dark(&picture(&words("", FAMILY, 400)), 0, 300), 0);
    }

    #[test]
    fn every_sign_that_figures_use_is_in_the_font() {
        for sign in "±−–°µΔβ²³·×≤≥≈→…“”ÅåØøÆæßłžőÇ".chars() {
            let drawn = dark(&picture(&words(&sign.to_string(), FAMILY, 400)), 0, 300);
            assert!(drawn > 2, "{sign} is not drawn");
        }
    }

    #[test]
    fn words_are_set_in_lines_and_cut_with_a_sign() {
        assert_eq!(wrapped("one two three", 7, 3), ["one two", "three"]);
        assert_eq!(wrapped("one two three", 7, 1), ["one two …"]);
    }
}
