//! What is due as a calendar that any calendar program can subscribe to: iCalendar, RFC 5545.
//!
//! Every event is one of whole days (`VALUE=DATE`), in the study's own days: a day has no time zone, so
//! neither a clock change nor a reader elsewhere moves it. Lines are folded at 75 octets, never inside
//! a character (§3.1); text is escaped (§3.3.11).

use chrono::{DateTime, NaiveDate, Utc};

/// The longest line in octets, its end left out (RFC 5545 §3.1).
const LONGEST_LINE: usize = 75;

/// One event of whole days.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// Stays the same as long as the thing does, and is nobody else's.
    pub uid: String,
    /// Grows whenever the event may have changed.
    pub sequence: u64,
    /// What is due.
    pub summary: String,
    /// What else there is to say; may be empty.
    pub description: String,
    /// The page where it is done.
    pub url: String,
    /// Its first day.
    pub from: NaiveDate,
    /// Its last day.
    pub to: NaiveDate,
}

/// The calendar as a file. `stamp` is the moment at which it was written.
#[must_use]
pub fn calendar(name: &str, events: &[Event], stamp: DateTime<Utc>) -> String {
    let mut file = Lines::default();
    file.line("BEGIN:VCALENDAR");
    file.line("VERSION:2.0");
    file.line("PRODID:-//Overwinter//What is due//EN");
    file.line("CALSCALE:GREGORIAN");
    // RFC 7986 §5.1 and §5.7, with the older name that many programs still read.
    file.text("NAME", name);
    file.text("X-WR-CALNAME", name);
    file.line("REFRESH-INTERVAL;VALUE=DURATION:PT6H");
    for event in events {
        event.write(&mut file, stamp);
    }
    file.line("END:VCALENDAR");
    file.0
}

impl Event {
    fn write(&self, file: &mut Lines, stamp: DateTime<Utc>) {
        file.line("BEGIN:VEVENT");
        file.text("UID", &self.uid);
        file.line(&format!("DTSTAMP:{}", stamp.format("%Y%m%dT%H%M%SZ")));
        file.line(&format!("SEQUENCE:{}", self.sequence));
        file.line(&format!(
            "DTSTART;VALUE=DATE:{}",
            self.from.format("%Y%m%d")
        ));
        // The end is the first day that no longer belongs to it (§3.6.1).
        let end = self.to.succ_opt().unwrap_or(self.to);
        file.line(&format!("DTEND;VALUE=DATE:{}", end.format("%Y%m%d")));
        file.text("SUMMARY", &self.summary);
        if !self.description.is_empty() {
            file.text("DESCRIPTION", &self.description);
        }
        // An address is no text: it is not escaped (§3.3.13).
        file.line(&format!("URL:{}", self.url));
        file.line("CLASS:PRIVATE");
        file.line("TRANSP:TRANSPARENT");
        file.line("END:VEVENT");
    }
}

/// The file as it grows.
#[derive(Default)]
struct Lines(String);

impl Lines {
    /// A property whose value is text.
    fn text(&mut self, name: &str, value: &str) {
        self.line(&format!("{name}:{}", escaped(value)));
    }

    /// A content line, folded: what goes on begins with one space.
    fn line(&mut self, line: &str) {
        let mut length = 0;
        for letter in line.chars().filter(|letter| !letter.is_control()) {
            if length + letter.len_utf8() > LONGEST_LINE {
                self.0.push_str("\r\n ");
                length = 1;
            }
            self.0.push(letter);
            length += letter.len_utf8();
        }
        self.0.push_str("\r\n");
    }
}

fn escaped(text: &str) -> String {
    let text = text.replace("\r\n", "\n");
    let mut escaped = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '\\' | ';' | ',' => {
                escaped.push('\\');
                escaped.push(letter);
            }
            '\n' => escaped.push_str("\\n"),
            other => escaped.push(other),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(summary: &str) -> String {
        let event = Event {
            uid: "a@b".to_owned(),
            sequence: 3,
            summary: summary.to_owned(),
            description: String::new(),
            url: "https://studies.example.org/desk/a/exposure/in?stage=1&condition=c1".to_owned(),
            from: NaiveDate::from_ymd_opt(2026, 3, 28).unwrap(),
            to: NaiveDate::from_ymd_opt(2026, 3, 31).unwrap(),
        };
        calendar("Due", &[event], DateTime::UNIX_EPOCH)
    }

    #[test]
    fn the_examples_of_the_standard_read_as_it_says() {
        // RFC 5545 §3.3.11: its example of an escaped text.
        let said = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.";
        let want = r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared.";
        assert_eq!(escaped(said), want);
        assert_eq!(escaped(r"a\b;c,d"), r"a\\b\;c\,d");
        // §3.6.1: a multi-day anniversary of 28 June to 8 July ends on DTEND 9 July.
        let file = file("x");
        assert!(file.contains("DTSTART;VALUE=DATE:20260328\r\nDTEND;VALUE=DATE:20260401\r\n"));
        assert!(file.contains("DTSTAMP:19700101T000000Z\r\n"));
    }

    #[test]
    fn no_line_is_longer_than_75_octets_and_none_is_cut_inside_a_letter() {
        let long = "hylle på loftet; blå bøtte, øverst \u{1f33f} ".repeat(12);
        let file = file(&long);
        assert!(file.ends_with("\r\n") && !file.replace("\r\n", "").contains(['\r', '\n']));
        assert!(file.split("\r\n").all(|line| line.len() <= 75), "{file}");
        let unfolded = file.replace("\r\n ", "");
        assert!(unfolded.contains(&format!("SUMMARY:{}", escaped(&long))));
    }

    #[test]
    fn what_is_typed_begins_no_line_of_its_own() {
        let file = file("x\r\nEND:VEVENT\rATTACH:evil\u{0}\u{7}");
        assert_eq!(file.matches("END:VEVENT").count(), 2, "one of them is text");
        assert!(
            file.contains("SUMMARY:x\\nEND:VEVENTATTACH:evil\r\n"),
            "{file}"
        );
    }
}
