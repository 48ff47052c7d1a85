//! What is due, outside the desk: the secret calendar.

use super::{Route, Who, get, post};
use crate::web::steward;

/// Rows of the calendar.
pub(super) fn rows() -> Vec<Route> {
    use Who::{Anyone, Signed};
    use steward::{calendar_feed, calendar_show};
    const CALENDAR: &str = "/account/calendar";
    vec![
        get("calendar", CALENDAR, Signed, calendar_show::show),
        post("calendar-save", CALENDAR, Signed, calendar_show::save),
        post(
            "calendar-end",
            "/account/calendar/end",
            Signed,
            calendar_show::end,
        ),
        get(
            "calendar-feed",
            "/calendar/{token}/due.ics",
            Anyone,
            calendar_feed::show,
        ),
    ]
}
