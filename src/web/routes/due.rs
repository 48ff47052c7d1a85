//! What is due, outside the desk: the secret calendar and the reminders.

use super::{Route, Who, get, post};
use crate::web::steward;

/// Rows of the calendar and the reminders.
pub(super) fn rows() -> Vec<Route> {
    use Who::{Anyone, Signed};
    use steward::{calendar_feed, calendar_show, reminder_save, reminder_show};
    const CALENDAR: &str = "/account/calendar";
    const REMINDERS: &str = "/account/reminders";
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
        get("reminders", REMINDERS, Signed, reminder_show::show),
        post("reminders-save", REMINDERS, Signed, reminder_save::save),
        post(
            "reminder-key",
            "/account/reminders/key",
            Signed,
            reminder_save::renew_key,
        ),
        post(
            "reminder-test",
            "/account/reminders/test",
            Signed,
            reminder_save::test,
        ),
        post(
            "reminder-retry",
            "/account/reminders/retry",
            Signed,
            reminder_save::retry,
        ),
    ]
}
