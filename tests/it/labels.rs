//! Labels: QR codes read back by a decoder that is not ours (the crate rqrr), every label where the
//! stock has one, in millimetres; lists; marks in the piece.

use crate::accessible;
use crate::house::desk::{Desk, PIECES, SLUG, small_plan};
use crate::house::{Browser, Look, PASSWORD, Shown, axe};
use fantoccini::wd::PrintConfiguration;
use scraper::{ElementRef, Html, Selector};

/// What an independent decoder reads in a picture of dark and light.
fn decoded(width: usize, height: usize, grey: impl FnMut(usize, usize) -> u8) -> Vec<String> {
    let mut picture = rqrr::PreparedImage::prepare_from_greyscale(width, height, grey);
    let grids = picture.detect_grids();
    let texts = grids
        .iter()
        .map(|grid| grid.decode().expect("it decodes").1);
    texts.collect()
}

/// The squares of a QR code's path, drawn four pixels a square with six light squares around. The
/// path is read as SVG says: moves and horizontal strokes, each closed to a row one unit high.
fn drawn(path: &str) -> (usize, Vec<bool>) {
    let mut squares = Vec::new();
    for part in path.split('M').skip(1) {
        let (start, rest) = part.split_once('h').expect("a stroke");
        let (x, y) = start.split_once(' ').expect("two numbers");
        let (length, close) = rest.split_once('v').expect("its height");
        assert_eq!(close, format!("1h-{length}z"));
        let (x, y): (usize, usize) = (x.parse().unwrap(), y.parse().unwrap());
        squares.extend((x..x + length.parse::<usize>().unwrap()).map(|x| (x, y)));
    }
    let side = (squares.iter().map(|(x, _)| x).max().unwrap() + 7) * 4;
    let mut dark = vec![false; side * side];
    for (x, y) in squares {
        for pixel in 0..16 {
            dark[(y * 4 + pixel / 4) * side + x * 4 + pixel % 4] = true;
        }
    }
    (side, dark)
}

fn read_path(path: &str) -> String {
    let (side, dark) = drawn(path);
    let grey = |x: usize, y: usize| if dark[y * side + x] { 0 } else { 255 };
    let found = decoded(side, side, grey);
    assert_eq!(found.len(), 1, "one code in {path}");
    found[0].clone()
}

fn number(element: ElementRef<'_>, name: &str) -> f64 {
    let text = element.value().attr(name).unwrap_or_default();
    text.trim_end_matches("mm")
        .parse()
        .unwrap_or_else(|_| panic!("{name}={text:?}"))
}

/// Every label of the sheets: sheet, code, what its QR code says, and where that begins, in mm.
fn labels(page: &Shown) -> Vec<(usize, String, String, (f64, f64))> {
    let page = Html::parse_document(&page.body());
    let all = |text: &str| Selector::parse(text).unwrap();
    let mut found = Vec::new();
    for (n, sheet) in page.select(&all("svg.label-sheet")).enumerate() {
        // One unit of the drawing is one millimetre of paper.
        let size = format!("0 0 {} {}", number(sheet, "width"), number(sheet, "height"));
        assert_eq!(
            sheet
                .value()
                .attr("viewbox")
                .or(sheet.value().attr("viewBox")),
            Some(size.as_str())
        );
        for label in sheet.select(&all("g")) {
            let code: String = label.select(&all("text")).next().unwrap().text().collect();
            let path = label.select(&all("path")).next().unwrap();
            let says = read_path(path.value().attr("d").unwrap());
            let moved = path.value().attr("transform").unwrap();
            let moved = moved
                .trim_start_matches("translate(")
                .split(')')
                .next()
                .unwrap();
            let (x, y) = moved.split_once(' ').unwrap();
            found.push((n, code, says, (x.parse().unwrap(), y.parse().unwrap())));
        }
    }
    found
}

#[tokio::test]
async fn every_label_is_on_its_place_and_says_its_own_address_to_another_decoder() {
    let desk = Desk::planned(small_plan()).await.with_pieces(100).await;
    let base = desk.server.app.config.link_base();
    let page = desk
        .open("labels/sheets?stock=a4-24&content=qr&copies=1&first=3")
        .await;
    page.ok();
    let found = labels(&page);
    let record = desk.record().await;
    let codes: Vec<String> = record
        .specimens
        .iter()
        .map(|p| p.code.to_string())
        .collect();
    assert_eq!(found.len(), 100);
    for (n, ((sheet, code, says, (x, y)), wanted)) in found.iter().zip(&codes).enumerate() {
        assert_eq!(code, wanted);
        assert_eq!(*says, format!("{base}/s/{wanted}"));
        let place = n + 2;
        assert_eq!(*sheet, place / 24);
        let (column, row) = ((place % 24 % 3) as f64, (place % 24 / 3) as f64);
        // 3 × 8 labels of 70 × 37 mm, half a millimetre from the top.
        assert!(
            (column * 70.0..column * 70.0 + 35.0).contains(x),
            "{code} {x}"
        );
        assert!(
            (0.5 + row * 37.0..0.5 + row * 37.0 + 5.0).contains(y),
            "{code} {y}"
        );
    }
    let scanned = desk
        .steward
        .open(found[7].2.trim_start_matches(&base))
        .await;
    scanned.redirects_to(&format!("/desk/{SLUG}/specimens/{}", codes[7]));
}

#[tokio::test]
async fn the_printer_is_told_the_papers_size_and_nothing_inline() {
    let desk = Desk::planned(small_plan()).await.with_pieces(3).await;
    let page = desk
        .open("labels/sheets?stock=roll-62&content=qr&copies=1&first=1")
        .await;
    let style = page.ok().attribute("link[href*='paper.css']", "href");
    let style = desk.steward.open(&style).await;
    assert_eq!(style.ok().header("content-type"), "text/css; charset=utf-8");
    assert_eq!(style.body().trim(), "@page { size: 62mm 29mm; margin: 0; }");
    assert!(!page.body().contains("style="));
    for bad in [
        "width=2}&height=9",
        "width=1&height=9",
        "width=x&height=9",
        "width=1e9&height=9",
    ] {
        desk.open(&format!("labels/paper.css?{bad}")).await.is(404);
    }
}

#[tokio::test]
async fn a_run_that_cannot_be_printed_says_why_and_keeps_what_was_typed() {
    let desk = Desk::planned(small_plan()).await.with_pieces(PIECES).await;
    desk.open("labels/sheets")
        .await
        .redirects_to(&format!("/desk/{SLUG}/labels"));
    let ask = |more: &str| format!("labels/sheets?content=qr&copies=1&first=1&{more}");
    let page = desk.open(&ask("stock=a4-189")).await;
    assert!(
        page.refused()
            .fault("stock")
            .contains("squares of the QR code would be")
    );
    let page = desk.open(&ask("stock=a4-21&codes=KT999")).await;
    assert!(page.refused().fault("codes").contains("KT999"));
    assert_eq!(page.text("#f-codes"), "KT999");
    let own = "stock=own&paper_width=100&paper_height=50&columns=3&rows=1&width=40&height=20&left=1&top=1&column_gap=0&row_gap=0";
    let page = desk.open(&ask(own)).await;
    assert!(page.refused().fault("columns").contains("need 121.0 mm"));
    assert_eq!(page.attribute("#f-paper_width", "value"), "100");
    let page = desk
        .open("labels/sheets?stock=a4-21&content=qr&copies=0&first=22&shift_down=far")
        .await;
    for field in ["copies", "first", "shift_down"] {
        assert!(!page.refused().fault(field).is_empty());
    }
    // Two copies of two pieces that were typed with a comma, on sizes of one's own.
    let record = desk.record().await;
    let codes = format!("{},{}", record.specimens[4].code, record.specimens[1].code);
    let own = own
        .replace("columns=3", "columns=2")
        .replace("copies=1", "copies=2");
    let page = desk
        .open(&ask(&format!("{own}&codes={codes}")).replace("copies=1", "copies=2"))
        .await;
    let order: Vec<String> = labels(page.ok()).into_iter().map(|label| label.1).collect();
    let (a, b) = (
        record.specimens[4].code.to_string(),
        record.specimens[1].code.to_string(),
    );
    assert_eq!(order, [a.clone(), a, b.clone(), b]);
}

#[tokio::test]
async fn lists_hold_every_piece_with_its_code_its_marks_and_nothing_of_its_place() {
    let desk = Desk::ready().await;
    let record = desk.record().await;
    let base = desk.server.app.config.link_base();
    let list = desk.open("labels/list").await;
    let page = Html::parse_document(&list.ok().body());
    let paths = Selector::parse("tr.label-row path").unwrap();
    let said: Vec<String> = page
        .select(&paths)
        .map(|p| read_path(p.value().attr("d").unwrap()))
        .collect();
    let wanted: Vec<String> = record
        .specimens
        .iter()
        .map(|p| format!("{base}/s/{}", p.code))
        .collect();
    assert_eq!(said, wanted);
    let file = desk.open("labels/list.csv").await;
    let body = file.ok().body();
    let rows: Vec<&str> = body.lines().collect();
    assert_eq!(rows[0], "code,number,address,marked_places");
    // Number 7 by the page's own rule: 7 × 7 + 3 × 0 = 49, check digit 1.
    let code = &record.specimens[6].code;
    assert_eq!(rows[7], format!("{code},7,{base}/s/{code},45 25 12"));
    for place in ["barrel", "180", "storage", "baseline"] {
        assert!(
            !list.body().contains(place) && !body.contains(place),
            "{place}"
        );
    }
    let found = desk.open("labels/marks?marks=45+25+12").await;
    assert_eq!(found.ok().text(".notice.done a"), code.to_string());
    let worn = desk.open("labels/marks?marks=45+2+12").await;
    assert!(
        worn.refused()
            .fault("marks")
            .contains("Group 2 has 1 marks")
    );
    let none = desk.open("labels/marks?marks=35+35+45").await;
    assert!(
        none.refused()
            .fault("marks")
            .contains("no piece of this study")
    );
}

#[tokio::test]
async fn a_photographed_sheet_is_read_from_the_screen_and_the_pages_pass_in_every_look() {
    let desk = Desk::planned(small_plan()).await.with_pieces(6).await;
    let base = desk.server.app.config.link_base();
    for look in [
        Look::PHONE,
        Look::PHONE.dark(),
        Look::DESK,
        Look::DESK.dark(),
    ] {
        let browser = Browser::open(&desk.server.base, look).await;
        browser.goto("/sign-in").await;
        browser.type_keys(&format!("runa\t{PASSWORD}\n")).await;
        browser.find("a[href='/account']").await;
        for page in [
            "labels",
            "labels/list",
            "labels/marks",
            "labels/sheets?stock=roll-62&content=qr&copies=1&first=1",
        ] {
            browser.goto(&format!("/desk/{SLUG}/{page}")).await;
            browser.find("h1").await;
            browser.fits_the_screen().await;
            axe::finds_nothing(&browser).await;
            let name = page.split('?').next().unwrap_or_default().replace('/', "-");
            browser
                .picture(&format!("{name}-{}-{}", look.size.0, look.is_dark))
                .await;
        }
        if look.size == Look::PHONE.size && !look.is_dark {
            let sheet = browser.path().await;
            accessible::walked(&browser, &[sheet]).await;
        }
        // The sheet as a camera sees it on the screen, in light and dark.
        let sheet = browser.find("svg.label-sheet").await;
        let png = sheet.screenshot().await.expect("a picture");
        let picture = image::load_from_memory(&png).expect("a PNG").to_luma8();
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        let said = decoded(width, height, |x, y| {
            picture.get_pixel(x as u32, y as u32).0[0]
        });
        let first = desk.record().await.specimens[0].code.to_string();
        assert_eq!(said, [format!("{base}/s/{first}")]);
        browser.close().await;
    }
}

/// Width and height in mm of every page of a PDF file (ISO 32000-1, 7.7.3.3: `/MediaBox`, in points
/// of 1/72 inch).
fn pages(pdf: &[u8]) -> Vec<(f64, f64)> {
    let text = String::from_utf8_lossy(pdf);
    let boxes = text.split("/MediaBox").skip(1);
    let size = |found: &str| {
        let inside = found.split(['[', ']']).nth(1).expect("a box");
        let numbers: Vec<f64> = inside
            .split_whitespace()
            .map(|number| number.parse().expect("a number"))
            .collect();
        (numbers[2] * 25.4 / 72.0, numbers[3] * 25.4 / 72.0)
    };
    boxes.map(size).collect()
}

#[tokio::test]
async fn a_browser_prints_one_page_a_sheet_of_the_papers_size_and_no_other_page() {
    let desk = Desk::planned(small_plan()).await.with_pieces(50).await;
    let browser = Browser::open(&desk.server.base, Look::DESK).await;
    browser.goto("/sign-in").await;
    browser.type_keys(&format!("runa\t{PASSWORD}\n")).await;
    browser.find("a[href='/account']").await;
    for (stock, sheets, size) in [
        ("a4-21", 3, (210.0, 297.0)),
        ("letter-30", 2, (215.9, 279.4)),
        ("roll-40", 50, (40.0, 20.0)),
    ] {
        let path = format!("/desk/{SLUG}/labels/sheets?stock={stock}&content=qr&copies=1&first=1");
        browser.goto(&path).await;
        browser.find("svg.label-sheet").await;
        let wanted = PrintConfiguration::builder().shrink_to_fit(false).build();
        let pdf = browser.page.print(wanted.expect("a way to print")).await;
        let pages = pages(&pdf.expect("a PDF"));
        assert_eq!(pages.len(), sheets, "{stock}");
        for (width, height) in pages {
            let off = (width - size.0).abs().max((height - size.1).abs());
            assert!(off < 0.2, "{stock}: {width} × {height} mm");
        }
    }
    browser.close().await;
}
