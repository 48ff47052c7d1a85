//! Invented files with one oddity each, from their bytes to the picture: every mark stands where the curve's
//! formula puts it, as a reader finds it by the ticks of the axes, and the key says what it is.

use super::*;
use crate::study::plan::{ModulusBy, Shape, SizesAt, TestKind, TestMethod};
use crate::study::typed::Typed;
use crate::web::lab::curve_read::{Asked, look};
use scraper::{ElementRef, Html, Selector};

/// A kind of mark, its place in mm and N, and words of its key.
type Mark = (&'static str, f64, f64, &'static str);

/// Rows `travel;load` every 0.01 mm.
fn drawn(count: u32, load: impl Fn(u32) -> f64) -> String {
    let rows = (0..count).map(|i| format!("{:.2};{:.3}\n", f64::from(i) * 0.01, load(i)));
    format!("Travel [mm];Load [N]\n{}", rows.collect::<String>())
}

/// Straight to 200 N at 2 mm, then broken.
fn ramp(i: u32) -> f64 {
    if i <= 200 { f64::from(i) } else { 0.3 }
}

fn picture(text: &str, said: &[(&str, &str)]) -> Html {
    let method = TestMethod {
        kind: TestKind::Tension,
        sizes_at: SizesAt::BeforeExposure,
        modulus_by: ModulusBy::Chord,
        span_mm: None,
        grips_mm: Some(100.0),
        gauge_mm: Some(50.0),
        step_mm: None,
    };
    let asked = Asked {
        pieces: Vec::new(),
        end_drop: None,
        shape: Shape::Rectangular,
        method: Some(method),
    };
    let said = said.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned()));
    let looked = look(
        text.as_bytes(),
        "a.csv",
        &Typed::new(said.collect()),
        &asked,
    )
    .unwrap();
    let read = looked.curves[0].read.as_ref().unwrap();
    Html::parse_fragment(&plot(read).render().unwrap())
}

fn all<'h>(within: ElementRef<'h>, selector: &str) -> Vec<ElementRef<'h>> {
    let selector = Selector::parse(selector).unwrap();
    within.select(&selector).collect()
}

fn number(element: ElementRef<'_>, attribute: &str) -> f64 {
    element.value().attr(attribute).unwrap().parse().unwrap()
}

fn words(element: ElementRef<'_>) -> String {
    let all = element.text().collect::<Vec<_>>().join(" ");
    all.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A panel with its axes as they are labelled.
struct Axes<'h> {
    panel: ElementRef<'h>,
    across: [(f64, f64); 2],
    up: [(f64, f64); 2],
}

impl<'h> Axes<'h> {
    fn of(panel: ElementRef<'h>) -> Self {
        let ends = |selector: &str| {
            let ticks = all(panel, selector);
            assert!(ticks.len() >= 2, "an axis without numbers");
            [ticks[0], ticks[ticks.len() - 1]].map(|tick| {
                let value = words(tick).replace('−', "-").parse().unwrap();
                (number(tick, "data-at"), value)
            })
        };
        Self {
            panel,
            across: ends("text.along"),
            up: ends("text.up"),
        }
    }

    /// What a place of the picture is in mm and N.
    fn read(&self, x: f64, y: f64) -> (f64, f64) {
        let along = |[a, b]: [(f64, f64); 2], at: f64| a.1 + (at - a.0) * (b.1 - a.1) / (b.0 - a.0);
        (along(self.across, x), along(self.up, y))
    }

    /// Whether that is the place meant, to a pixel.
    fn is_at(&self, (x, y): (f64, f64), mm: f64, newtons: f64) -> bool {
        let per_pixel = |[a, b]: [(f64, f64); 2]| ((b.1 - a.1) / (b.0 - a.0)).abs();
        let (found_mm, found_n) = self.read(x, y);
        (found_mm - mm).abs() <= per_pixel(self.across)
            && (found_n - newtons).abs() <= per_pixel(self.up)
    }

    /// The first and the last place of a line.
    fn ends(&self, selector: &str) -> [(f64, f64); 2] {
        let line = all(self.panel, selector)[0];
        let points: Vec<(f64, f64)> = line
            .value()
            .attr("points")
            .unwrap()
            .split_whitespace()
            .map(|point| point.split_once(',').unwrap())
            .map(|(x, y)| (x.parse().unwrap(), y.parse().unwrap()))
            .collect();
        [points[0], points[points.len() - 1]]
    }
}

/// All marks of the whole curve, and nothing else, each at its place and with its words.
fn check(name: &str, text: &str, said: &[(&str, &str)], expected: &[Mark]) -> Html {
    let html = picture(text, said);
    let panels = all(html.root_element(), "g.panel");
    let axes = Axes::of(panels[0]);
    let pins = all(panels[0], "circle.pin");
    let kinds: Vec<&str> = pins
        .iter()
        .map(|pin| pin.value().attr("class").unwrap())
        .collect();
    let wanted: Vec<String> = expected
        .iter()
        .map(|mark| format!("pin {}", mark.0))
        .collect();
    assert_eq!(kinds, wanted, "{name}");
    for (pin, (kind, mm, newtons, told)) in pins.iter().zip(expected) {
        let place = (number(*pin, "cx"), number(*pin, "cy"));
        let found = axes.read(place.0, place.1);
        assert!(
            axes.is_at(place, *mm, *newtons),
            "{name}: {kind} at {found:?}"
        );
        let key = pin.value().attr("data-key").unwrap();
        let keys = all(html.root_element(), "g.key");
        let own = keys
            .iter()
            .find(|one| all(**one, ".number").iter().any(|n| words(*n) == key));
        let own = words(*own.unwrap_or_else(|| panic!("{name}: no key for {kind}")));
        assert!(own.contains(told), "{name}: {own}");
    }
    html
}

#[test]
fn every_oddity_is_marked_where_it_is() {
    let plain: Mark = ("maximum end", 2.0, 200.0, "maximum; break: 200 N, line 202");
    check("nothing odd", &drawn(260, ramp), &[], &[plain]);
    // 100 x² up to 0.5 mm, then 100 N/mm: the straight part meets no load at 0.25 mm.
    let toe = |i: u32| match f64::from(i) * 0.01 {
        x if x < 0.5 => 100.0 * x * x,
        x if x < 2.505 => 100.0 * (x - 0.25),
        _ => 0.0,
    };
    let marks = [
        ("zero", 0.0, 0.0, "slack of 0.25 mm"),
        ("maximum end", 2.25, 225.0, "break"),
    ];
    let html = check("a toe", &drawn(300, toe), &[], &marks);
    let axes = Axes::of(all(html.root_element(), "g.panel")[0]);
    assert!(
        axes.is_at(axes.ends(".line")[0], -0.25, 0.0),
        "the first reading"
    );
    let line = all(axes.panel, ".toe")[0].value().attr("d").unwrap();
    let numbers: Vec<f64> = line[1..]
        .split([' ', 'L'])
        .map(|n| n.parse().unwrap())
        .collect();
    let (mm, newtons) = axes.read(numbers[2], numbers[3]);
    assert!(
        axes.is_at((numbers[0], numbers[1]), 0.0, 0.0),
        "the foot of the toe's line"
    );
    assert!(
        (newtons - 100.0 * mm).abs() < 2.0 && mm > 0.4,
        "{mm} mm, {newtons} N"
    );
    let slack = |i: u32| {
        if i <= 300 {
            f64::from(i).max(100.0) - 100.0
        } else {
            0.0
        }
    };
    let after = ("maximum end", 2.0, 200.0, "maximum; break: 200 N, line 302");
    let marks = [
        (
            "zero",
            0.0,
            0.0,
            "slack of 1 mm; extensions are counted from here",
        ),
        after,
    ];
    check("slack", &drawn(360, slack), &[], &marks);
    let loaded = |i: u32| if i <= 200 { 20.0 + f64::from(i) } else { 0.0 };
    let marks = [
        ("zero", 0.0, 0.0, "extensions are counted from here"),
        ("start", 0.2, 20.0, "starts at 20 N: a preload"),
        ("maximum end", 2.2, 220.0, "break"),
    ];
    check("a preload", &drawn(260, loaded), &[], &marks);
    let slipped = |i: u32| match i {
        0..100 => f64::from(i),
        100..300 => f64::from(i) - 30.0,
        _ => 0.0,
    };
    let marks = [
        (
            "slip",
            0.99,
            99.0,
            "fell by 11 % of the maximum and came back: a slip, line 101",
        ),
        ("maximum end", 2.99, 269.0, "break"),
    ];
    check("a slip that recovers", &drawn(340, slipped), &[], &marks);
    let marks = [(
        "maximum end",
        1.99,
        199.0,
        "the record ends at its highest load, cut short",
    )];
    check("cut short on the way up", &drawn(200, ramp), &[], &marks);
    let short = |i: u32| f64::from(i).min(240.0 - 0.2 * f64::from(i));
    let marks = [
        ("maximum", 2.0, 200.0, "yield and maximum"),
        ("end", 2.6, 188.0, "cut short here, before the load fell"),
    ];
    check("cut short on the way down", &drawn(261, short), &[], &marks);
    let down = drawn(260, |i| -ramp(i));
    let html = check("compression drawn downwards", &down, &[], &[plain]);
    let load = words(all(html.root_element(), "text.load")[0]);
    assert_eq!(load, "load in N, all signs turned");
    let told = words(html.root_element());
    assert!(
        told.contains("below zero, as compression is drawn"),
        "{told}"
    );
    let stray = drawn(260, |i| if i == 90 { 900.0 } else { ramp(i) });
    // Beyond the axis it stands at its edge.
    let marks = [
        (
            "stray",
            0.9,
            200.0,
            "a stray reading of 900 N, line 92, was left out",
        ),
        plain,
    ];
    check("a stray reading", &stray, &[], &marks);
    let moved = |i: u32| if i <= 200 { f64::from(i) } else { 12.0 };
    let marks = [plain, ("rest", 2.99, 12.0, "stays at 12 N")];
    check("a zero that moved", &drawn(300, moved), &[], &marks);
    let marks = [(
        "maximum end",
        1.0,
        100.0,
        "end of the test, as the tester said: 100 N, line 102",
    )];
    check(
        "an end that was said",
        &drawn(260, ramp),
        &[("end-0", "102")],
        &marks,
    );
}

#[test]
fn what_lasts_is_marked_where_it_begins() {
    let yielded = |i: u32| match i {
        0..200 => f64::from(i),
        200..600 => 200.0 - 0.1 * f64::from(i - 200),
        _ => 0.0,
    };
    let marks = [
        ("maximum", 2.0, 200.0, "yield and maximum: 200 N"),
        ("end", 5.99, 160.1, "break: 160.1 N"),
    ];
    check("a yield", &drawn(640, yielded), &[], &marks);
    let opened = |i: u32| f64::from(i).min(300.0 - 0.5 * f64::from(i)).max(0.0);
    let marks = [
        ("maximum", 2.0, 200.0, "maximum"),
        (
            "end",
            3.6,
            120.0,
            "stayed below its share of the maximum: 120 N",
        ),
    ];
    check("a piece that opened", &drawn(900, opened), &[], &marks);
    let teeth = |i: u32| match i {
        0..401 => f64::from(i) - 30.0 * f64::from(i / 70),
        _ => 0.0,
    };
    let marks = [
        ("teeth", 0.69, 69.0, "came back 5 times, ringed"),
        ("maximum end", 4.0, 250.0, "break"),
    ];
    let html = check("a grip that slips", &drawn(460, teeth), &[], &marks);
    let axes = Axes::of(all(html.root_element(), "g.panel")[0]);
    let rings = all(axes.panel, "circle.ring");
    let tops = [(1.39, 109.0), (2.09, 149.0), (2.79, 189.0), (3.49, 229.0)];
    assert_eq!(rings.len(), tops.len());
    for (ring, (mm, newtons)) in rings.iter().zip(tops) {
        assert!(axes.is_at((number(*ring, "cx"), number(*ring, "cy")), mm, newtons));
    }
    let back = (0..340).map(|i| {
        let i = f64::from(i);
        let mm = (0.01 * i).min((2.0 - 0.01 * i).max(0.01 * i - 0.6));
        format!("{mm:.2};{:.1}\n", if i <= 330.0 { 100.0 * mm } else { 0.0 })
    });
    let back = format!("Travel [mm];Load [N]\n{}", back.collect::<String>());
    let marks = [
        ("back", 1.0, 100.0, "runs backwards from here, line 102"),
        ("maximum end", 2.7, 270.0, "break"),
    ];
    check("a travel that runs back", &back, &[], &marks);
    // Sums of a few waves stand for noise; the truth is the highest of what was written.
    let wave = |i: u32| 2.0 * ((f64::from(i) * 2.3).sin() + (f64::from(i) * 5.1).cos());
    let noisy = drawn(460, |i| {
        if i <= 400 {
            f64::from(i) + wave(i)
        } else {
            wave(i)
        }
    });
    let top =
        (0..=400).max_by(|a, b| (f64::from(*a) + wave(*a)).total_cmp(&(f64::from(*b) + wave(*b))));
    let html = picture(&noisy, &[]);
    let axes = Axes::of(all(html.root_element(), "g.panel")[0]);
    let pin = all(axes.panel, "circle.pin.maximum")[0];
    let mm = f64::from(top.unwrap()) * 0.01;
    let origin = axes.read(axes.ends(".line")[0].0, 0.0).0;
    let place = (number(pin, "cx"), number(pin, "cy"));
    assert!(axes.is_at(place, mm + origin, 100.0 * mm + wave(top.unwrap())));
    assert!(words(html.root_element()).contains("noise of"));
}

/// The stretch of the modulus lies between the points at 0.05 % and 0.25 % of strain, and is shown enlarged where
/// the whole curve hides it.
#[test]
fn the_modulus_is_drawn_where_it_was_read() {
    // A quarter of the travel over 50 mm: 0.1 mm and 0.5 mm of travel; taken off after 1.49 mm.
    let rows = (0..260).map(|i| {
        let mm = f64::from(i) * 0.01;
        let shown = if i < 150 { mm / 4.0 } else { 0.0 };
        format!("{mm:.2};{shown:.4};{:.1}\n", ramp(i))
    });
    let text = format!(
        "Travel [mm];Extensometer [mm];Load [N]\n{}",
        rows.collect::<String>()
    );
    let marks = [
        (
            "off",
            1.49,
            149.0,
            "the extensometer was taken off or stopped here, line 151",
        ),
        ("maximum end", 2.0, 200.0, "break"),
    ];
    let html = check("an extensometer taken off", &text, &[], &marks);
    let panels = all(html.root_element(), "g.panel");
    assert_eq!(panels.len(), 1);
    let axes = Axes::of(panels[0]);
    let [from, to] = axes.ends(".slope");
    assert!(axes.is_at(from, 0.1, 10.0) && axes.is_at(to, 0.5, 50.0));
    // 400 N/mm to 1 mm, then on to 61 mm: 0.05 mm and 0.25 mm of 100 mm cannot be seen beside that. The first
    // points beyond them are at 0.06 mm and 0.255 mm.
    let rows = (0..=134).map(|i| f64::from(i) * 0.015);
    let rows = rows.chain((0..=590).map(|i| 2.1 + f64::from(i) * 0.1));
    let rows = rows.map(|mm| format!("{mm:.3};{:.3}\n", 400.0 * f64::min(mm, 1.0) + 0.5 * mm));
    let text = format!(
        "Travel [mm];Load [N]\n{}61.2;0.1\n61.3;0.1\n",
        rows.collect::<String>()
    );
    let html = picture(&text, &[]);
    let panels = all(html.root_element(), "g.panel");
    assert_eq!(panels.len(), 2);
    let axes = Axes::of(panels[1]);
    let [from, to] = axes.ends(".slope");
    assert!(axes.is_at(from, 0.06, 24.03) && axes.is_at(to, 0.255, 102.1275));
    assert!(to.0 - from.0 > 100.0, "wide enough to be seen");
}
