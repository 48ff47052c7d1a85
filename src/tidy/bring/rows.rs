//! A row with what was worked out about it: its code, its place, its days. What is missing or cannot be is told.

use chrono::{Days, NaiveDate};

use super::{MOST_PIECES, Said};
use crate::analysis::piece::Fate;
use crate::study::allocation::Place;
use crate::study::code::Code;
use crate::study::plan::Plan;
use crate::study::reading::Occasion;
use crate::tidy::Tidy;
use crate::tidy::problem::Problems;
use crate::tidy::row::{Role, Row};

/// A row with what was worked out about it.
pub(super) struct Known<'r> {
    pub(super) row: &'r Row,
    pub(super) code: Code,
    pub(super) place: Place,
    pub(super) out_on: Option<NaiveDate>,
    pub(super) in_on: Option<NaiveDate>,
    pub(super) tested_on: Option<NaiveDate>,
}

/// Every row with its code, place and days; what is missing or cannot be is told.
pub(super) fn known<'t>(tidy: &'t Tidy, said: &Said, problems: &mut Problems) -> Vec<Known<'t>> {
    if tidy.rows.len() > MOST_PIECES {
        problems.file(format!("The file has more than {MOST_PIECES} pieces."));
        return Vec::new();
    }
    let codes = Code::run(&said.mark, 0).map(|(_, code)| code);
    let rows = tidy.rows.iter().zip(codes);
    rows.filter_map(|(row, code)| one(row, code, &tidy.plan, said, problems))
        .collect()
}

fn one<'t>(
    row: &'t Row,
    code: Code,
    plan: &Plan,
    said: &Said,
    problems: &mut Problems,
) -> Option<Known<'t>> {
    if row.more.is_nameless || row.more.unknowing.is_some() {
        problems.line(
            row.line,
            "An edition's file says more of this piece than can be brought over: nameless, or changed knowing \
             the group.",
        );
    }
    let place = place(row, plan);
    if place.is_none() {
        problems.line(
            row.line,
            "The piece has no holder; expected the jar, rack, plot or bag that it shared, or a name of its own \
             when it stood alone.",
        );
    }
    let days = Dates::of(row, said);
    for sentence in days.troubles(row, said.today) {
        problems.line(row.line, sentence);
    }
    Some(Known {
        row,
        code,
        place: place?,
        out_on: days.out_on,
        in_on: days.in_on,
        tested_on: days.tested_on,
    })
}

/// The days of a piece.
struct Dates {
    is_exposed: bool,
    out_on: Option<NaiveDate>,
    in_on: Option<NaiveDate>,
    tested_on: Option<NaiveDate>,
}

impl Dates {
    fn of(row: &Row, said: &Said) -> Self {
        let of_start = matches!(row.role, Some(Role::Baseline | Role::LateReference));
        let is_exposed = !of_start && row.stage_days.is_some();
        let out_on = row.more.out_on.or(said.put_out_on);
        let out_on = out_on.filter(|_| is_exposed);
        let in_on = row.more.in_on.or_else(|| came_in(row, out_on?));
        let in_on = in_on.filter(|_| is_exposed);
        let tested_on = row.tested_on.or(said.tested_on).or(in_on);
        Self {
            is_exposed,
            out_on,
            in_on,
            tested_on: tested_on.filter(|_| is_tested(row.fate)),
        }
    }

    /// What is missing, or cannot be.
    fn troubles(&self, row: &Row, today: NaiveDate) -> Vec<&'static str> {
        let is_before = |second: Option<NaiveDate>, first: Option<NaiveDate>| {
            first
                .zip(second)
                .is_some_and(|(first, second)| second < first)
        };
        let all = [self.out_on, self.in_on, self.tested_on];
        let is_ahead = all.into_iter().flatten().any(|day| day > today);
        let read_after = row.readings.keys().any(|(_, on)| *on == Occasion::After);
        let troubles = [
            (
                self.is_exposed && self.out_on.is_none(),
                "When the piece was put out is not said; expected out_date, or the day for all of them on the \
                 page.",
            ),
            (
                is_tested(row.fate) && self.tested_on.is_none(),
                "When the piece was tested is not said; expected test_date, or the day for all of them on the \
                 page.",
            ),
            (
                is_before(self.in_on, self.out_on),
                "The piece was taken in before it was put out.",
            ),
            (
                is_before(self.tested_on, self.in_on),
                "The piece was tested before it was taken in.",
            ),
            (is_ahead, "A day of this piece lies ahead of today."),
            (
                !self.is_exposed && read_after,
                "A piece that was not exposed has a reading after exposure.",
            ),
        ];
        let told = troubles.into_iter().filter(|(is_so, _)| *is_so);
        told.map(|(_, sentence)| sentence).collect()
    }
}

/// By the days that it was out, or those of its stage.
fn came_in(row: &Row, out_on: NaiveDate) -> Option<NaiveDate> {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "read as zero or more; a century of days fits"
    )]
    let whole = |days: f64| days.round().min(40_000.0) as u64;
    let days = row.more.days_out.map(whole);
    out_on.checked_add_days(Days::new(days.or(row.stage_days.map(u64::from))?))
}

fn place(row: &Row, plan: &Plan) -> Option<Place> {
    match row.role {
        Some(Role::Baseline) => return Some(Place::Baseline),
        Some(Role::LateReference) => return Some(Place::LateReference),
        _ => {}
    }
    let name = row.condition.as_deref()?;
    let condition = plan
        .conditions
        .iter()
        .find(|condition| condition.name == name)?;
    let holder = row.holder.as_deref()?;
    let holder = condition.holders.iter().find(|one| one.name == holder)?;
    Some(Place::Exposed {
        condition: condition.key.clone(),
        stage_days: row.stage_days?,
        holder: holder.key.clone(),
    })
}

/// Whether somebody tried to break the piece of a row.
#[must_use]
pub fn was_tested(row: &Row) -> bool {
    is_tested(row.fate)
}

pub(super) fn is_tested(fate: Fate) -> bool {
    matches!(
        fate,
        Fate::Valid | Fate::LowerBound | Fate::TotalLoss | Fate::Invalid
    )
}
