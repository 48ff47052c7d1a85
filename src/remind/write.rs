//! Which messages are to be written: once in a study's day, from seven in the morning, what came near
//! since.

use super::Reminders;
use super::notice::{Line, Notice};
use crate::store::{Channel, NewMessage, StoreError, Wish};
use crate::study::cautions::{self, Step};
use crate::study::due::{self, Due, words};
use crate::study::record::StudyRecord;
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::BTreeSet;

/// How near something was when it was said. Each is said once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Near {
    /// It opens in a few days.
    Ahead,
    /// It can be done.
    Open,
    /// It must be done today or tomorrow, after it could be done for days.
    Closing,
    /// Its last day is over.
    Late,
}

impl Near {
    fn key(self) -> &'static str {
        match self {
            Self::Ahead => "ahead",
            Self::Open => "open",
            Self::Closing => "closing",
            Self::Late => "late",
        }
    }

    /// How near something is on a day; `None` while it is further than `days_ahead`.
    fn of(due: &Due, day: NaiveDate, days_ahead: u32) -> Option<Self> {
        let window = (due.closes - due.opens).num_days();
        match ((due.opens - day).num_days(), (due.closes - day).num_days()) {
            (_, ..0) => Some(Self::Late),
            (..=0, 0 | 1) if window >= 3 => Some(Self::Closing),
            (..=0, _) => Some(Self::Open),
            (ahead, _) if ahead <= i64::from(days_ahead) => Some(Self::Ahead),
            _ => None,
        }
    }
}

/// Something to be said, with the name under which it is said once.
struct Thing {
    name: String,
    line: Line,
    places: BTreeSet<crate::study::plan::Environment>,
}

/// Writes what one person is to be told.
pub(super) async fn for_one(reminders: &Reminders, wish: &Wish) -> Result<(), StoreError> {
    let now = reminders.clock.now();
    let mut ways = Vec::new();
    ways.extend((wish.mail.is_some() && reminders.mailer.is_some()).then_some(Channel::Mail));
    ways.extend(wish.webhook.is_some().then_some(Channel::Webhook));
    if ways.is_empty() {
        return Ok(());
    }
    let mut things = Vec::new();
    let mut is_new_day = false;
    for study in reminders.store.studies_of(wish.account).await? {
        let Some(study) = reminders.store.study_record(&study.slug).await? else {
            continue;
        };
        if has_new_day(&study, wish.written_at, now) {
            is_new_day = true;
            things.extend(in_study(reminders, &study, wish, now));
        }
    }
    if !is_new_day {
        return Ok(());
    }
    for channel in ways {
        say(reminders, wish, channel, &things).await?;
    }
    reminders.store.note_written(wish.account, now).await
}

/// Whether a new day has begun in the study since its list was last gone through.
fn has_new_day(study: &StudyRecord, last: Option<DateTime<Utc>>, now: DateTime<Utc>) -> bool {
    let day = |at| due::reminder_day(study, at);
    last.is_none_or(|last| day(last) < day(now))
}

fn in_study(
    reminders: &Reminders,
    study: &StudyRecord,
    wish: &Wish,
    now: DateTime<Utc>,
) -> Vec<Thing> {
    let day = due::reminder_day(study, now);
    let thing = |due: Due| {
        let near = Near::of(&due, day, wish.days_ahead)?;
        let name = format!(
            "{}/{}/{}/{}/{}",
            study.id,
            due.key,
            due.opens,
            due.closes,
            near.key()
        );
        let line = Line {
            study: study.title.clone(),
            when: words::when(&due, day),
            url: format!("{}/desk/{}/{}", reminders.base, study.slug, due.page),
            title: due.title,
            detail: due.detail,
            opens: due.opens,
            closes: due.closes,
        };
        let places = due.places;
        Some(Thing { name, line, places })
    };
    due::of(study, now).into_iter().filter_map(thing).collect()
}

/// Puts what was not said yet into one message.
async fn say(
    reminders: &Reminders,
    wish: &Wish,
    channel: Channel,
    things: &[Thing],
) -> Result<(), StoreError> {
    let said = reminders.store.reminded_of(wish.account, channel).await?;
    let said: BTreeSet<&str> = said.iter().map(String::as_str).collect();
    let is_new = |thing: &&Thing| !said.contains(thing.name.as_str());
    let new: Vec<&Thing> = things.iter().filter(is_new).collect();
    if new.is_empty() {
        return Ok(());
    }
    let places = new.iter().flat_map(|thing| thing.places.iter().copied());
    let notice = Notice {
        due: new.iter().map(|thing| thing.line.clone()).collect(),
        cautions: cautions::of(Step::Tend, places)
            .into_iter()
            .map(str::to_owned)
            .collect(),
        remark: String::new(),
    };
    let message = NewMessage {
        id: reminders.clock.new_id(),
        account: wish.account,
        channel,
        made_at: reminders.clock.now(),
        subject: notice.subject(),
        body: notice.to_json()?,
        things: new.iter().map(|thing| thing.name.clone()).collect(),
    };
    reminders.store.add_message(&message).await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::due::What;

    fn near(opens: &str, closes: &str, day: &str) -> Option<Near> {
        let day_of = |text: &str| text.parse::<NaiveDate>().unwrap();
        let due = Due {
            key: String::new(),
            what: What::TakeIn,
            title: String::new(),
            detail: String::new(),
            opens: day_of(opens),
            day: day_of(opens),
            closes: day_of(closes),
            page: String::new(),
            places: BTreeSet::new(),
        };
        Near::of(&due, day_of(day), 2)
    }

    #[test]
    fn a_window_is_told_of_ahead_when_it_opens_before_it_closes_and_when_it_is_over() {
        let of = |day| near("2026-03-28", "2026-04-02", day);
        assert_eq!(of("2026-03-25"), None);
        assert_eq!(of("2026-03-26"), Some(Near::Ahead));
        assert_eq!(of("2026-03-28"), Some(Near::Open));
        assert_eq!(of("2026-03-31"), Some(Near::Open));
        assert_eq!(of("2026-04-01"), Some(Near::Closing));
        assert_eq!(of("2026-04-02"), Some(Near::Closing));
        assert_eq!(of("2026-04-03"), Some(Near::Late));
    }

    #[test]
    fn a_single_day_is_not_told_of_twice_on_that_day() {
        let of = |day| near("2026-03-28", "2026-03-28", day);
        assert_eq!(of("2026-03-27"), Some(Near::Ahead));
        assert_eq!(of("2026-03-28"), Some(Near::Open));
        assert_eq!(of("2026-03-29"), Some(Near::Late));
    }
}
