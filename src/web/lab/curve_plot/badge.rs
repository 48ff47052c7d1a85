//! The numbers beside the marked points, kept apart from each other and from the points.

use super::frame::{Frame, LEFT, RIGHT};
use super::pins::Pin;

/// A marked point with its number.
pub(super) struct Badge {
    pub(super) kind: &'static str,
    pub(super) number: usize,
    pub(super) is_odd: bool,
    /// The point.
    pub(super) x: String,
    pub(super) y: String,
    /// The middle of the number.
    pub(super) at_x: String,
    pub(super) at_y: String,
    /// The left upper corner of a square number.
    pub(super) corner_x: String,
    pub(super) corner_y: String,
    /// The foot of the number's digits.
    pub(super) digits_y: String,
}

/// Half the width of a number.
const HALF: f64 = 7.0;
/// Where a number may stand, as seen from its point; the first that is free is taken.
const AROUND: [(f64, f64); 8] = [
    (0.0, -14.0),
    (13.0, -10.0),
    (-13.0, -10.0),
    (15.0, 4.0),
    (-15.0, 4.0),
    (12.0, 14.0),
    (-12.0, 14.0),
    (0.0, 16.0),
];

/// The numbers of the points that lie in a frame.
pub(super) fn spread(frame: &Frame, pins: &[Pin]) -> Vec<Badge> {
    let inside: Vec<(usize, &Pin, (f64, f64))> = (1..)
        .zip(pins)
        .filter(|(_, pin)| frame.holds(pin))
        .map(|(number, pin)| (number, pin, frame.spot(pin.x, pin.y)))
        .collect();
    let points: Vec<(f64, f64)> = inside.iter().map(|(_, _, point)| *point).collect();
    let mut taken: Vec<(f64, f64)> = Vec::new();
    let placed = inside.into_iter().map(|(number, pin, point)| {
        let (x, y) = free(frame, point, &points, &taken);
        taken.push((x, y));
        Badge {
            kind: pin.kind,
            number,
            is_odd: pin.is_odd,
            x: one(point.0),
            y: one(point.1),
            at_x: one(x),
            at_y: one(y),
            corner_x: one(x - HALF),
            corner_y: one(y - HALF),
            digits_y: one(y + 3.6),
        }
    });
    placed.collect()
}

/// The nearest place that covers neither another number nor a point; the first one when none is free.
fn free(
    frame: &Frame,
    (x, y): (f64, f64),
    points: &[(f64, f64)],
    taken: &[(f64, f64)],
) -> (f64, f64) {
    let far = |a: &(f64, f64), b: (f64, f64), by: f64| (a.0 - b.0).hypot(a.1 - b.1) >= by;
    let wider = [1.0, 1.8, 2.6].into_iter();
    let mut places = wider.flat_map(|by| AROUND.map(|(dx, dy)| (x + by * dx, y + by * dy)));
    let is_free = |place: &(f64, f64)| {
        (LEFT + HALF..=RIGHT).contains(&place.0)
            && (frame.top - 13.0..=frame.bottom - HALF).contains(&place.1)
            && taken
                .iter()
                .all(|other| far(other, *place, 2.0 * HALF + 1.0))
            && points.iter().all(|point| far(point, *place, HALF + 4.0))
    };
    places.find(is_free).unwrap_or((x, y - 2.0 * HALF))
}

fn one(value: f64) -> String {
    format!("{value:.1}")
}
