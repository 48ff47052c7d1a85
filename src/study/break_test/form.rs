//! A break test and its session as typed into a form, read into what the journal keeps.

use chrono::NaiveDate;

use super::failure::FailureShares;
use super::{BreakTest, FailureMode, Looks, Outcome, TestSession};
use crate::study::code::BlindCode;
use crate::study::equipment::Used;
use crate::study::fault::{Fault, Faults};
use crate::study::ids::{ConsignmentId, EntryId};
use crate::study::typed::Typed;
use crate::study::units::{self, AsTyped, Dimension, Unit};
use crate::study::when;

/// One row of the tester's grid, read but not yet judged against order and siblings.
#[derive(Debug, Clone, PartialEq)]
pub struct TypedTest {
    /// Whether the test counts.
    pub outcome: Outcome,
    /// In N, with what was typed.
    pub load: Option<(f64, AsTyped)>,
    /// What the striker lost, J, in an impact test.
    pub energy_j: Option<f64>,
    /// How it failed.
    pub mode: FailureMode,
    /// Where the bond came apart.
    pub failure: Option<FailureShares>,
    /// What the piece looked like, when it was said in the same row.
    pub looks: Option<Looks>,
    /// The reason or remark.
    pub reason: Option<String>,
}

impl TypedTest {
    /// Reads the fields `load`, `energy`, `outcome`, `mode`, those of [`FailureShares`], `looks` and `reason`. An impact test has its
    /// energy where others have their load.
    ///
    /// # Errors
    /// Every fault of the row.
    pub fn parse(typed: &Typed, unit: Unit, is_impact: bool) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        let outcome = faults.keep(Outcome::typed("outcome", "Validity", typed.text("outcome")));
        let said = outcome.unwrap_or(Outcome::Valid);
        let energy_j = faults.keep(energy(typed, said, is_impact));
        let load = faults.keep(load(typed, said, unit, is_impact));
        let mode = faults.keep(mode(typed.text("mode")));
        let failure = match FailureShares::parse(typed) {
            Ok(failure) => Some(failure),
            Err(own) => {
                faults.extend(own);
                None
            }
        };
        let looks = faults.keep(looks(typed.text("looks")));
        let reason = faults.keep(typed.paragraph("reason", "The reason"));
        if let (Some(outcome), Some(mode)) = (outcome, mode) {
            faults.extend(contradiction(outcome, mode));
        }
        let is_reasonless = reason.as_ref().is_some_and(String::is_empty);
        if is_reasonless && outcome.is_some_and(|outcome| outcome != Outcome::Valid) {
            faults.push(
                "reason",
                "Say why: only a plain valid test needs no reason.",
            );
        }
        let read = || {
            Some(Self {
                outcome: outcome?,
                load: load?,
                energy_j: energy_j?,
                mode: mode?,
                failure: failure?,
                looks: looks?,
                reason: reason.filter(|reason| !reason.is_empty()),
            })
        };
        faults.and_some(read())
    }

    /// As the journal keeps it.
    #[must_use]
    pub fn test(&self, consignment: ConsignmentId, blind: BlindCode) -> BreakTest {
        BreakTest {
            consignment,
            blind,
            outcome: self.outcome,
            max_load_n: self.load.as_ref().map(|(newtons, _)| *newtons),
            typed: self.load.as_ref().map(|(_, typed)| typed.clone()),
            energy_j: self.energy_j,
            mode: self.mode,
            failure: self.failure.clone(),
            is_out_of_order: false,
            is_confirmed_doubt: false,
        }
    }
}

impl BreakTest {
    /// What a form would not take of a test that came without one.
    #[must_use]
    pub fn unlike_a_form(&self, is_impact: bool) -> Option<Fault> {
        if let Some(fault) = contradiction(self.outcome, self.mode).0.into_iter().next() {
            return Some(fault);
        }
        let needs_one = matches!(self.outcome, Outcome::Valid | Outcome::LowerBound);
        let (load, energy) = (self.max_load_n, self.energy_j);
        let fault = |field: &str, sentence: &str| Some(Fault::new(field, sentence));
        match (load, energy) {
            (Some(_), _) | (_, Some(_)) if self.outcome == Outcome::TotalLoss => fault(
                "load",
                "A piece that could not carry load has neither a load nor an energy.",
            ),
            (Some(n), _) if n <= 0.0 => fault("load", "The maximum load must be greater than 0."),
            (_, Some(_)) if !is_impact => fault("energy", "Only an impact test has an energy."),
            (_, Some(j)) if j <= 0.0 => fault("energy", "The energy must be greater than 0."),
            (_, Some(j)) if j >= 1e6 => fault("energy", NO_STRIKER),
            (_, None) if is_impact && needs_one => {
                fault("energy", "An impact test needs its energy in J.")
            }
            (None, _) if !is_impact && needs_one => {
                fault("load", "A valid test needs its maximum load.")
            }
            _ => self.failure.as_ref()?.fault(),
        }
    }
}

const NO_STRIKER: &str = "No striker has such an energy; it is asked for in J.";

/// The energy that a striker lost, J: 0 to 1 000 000.
fn energy(typed: &Typed, outcome: Outcome, is_impact: bool) -> Result<Option<f64>, Fault> {
    let text = typed.text("energy");
    let is_needed = is_impact && matches!(outcome, Outcome::Valid | Outcome::LowerBound);
    if !is_impact || text.is_empty() && !is_needed {
        return Ok(None);
    }
    if outcome == Outcome::TotalLoss {
        let sentence = "Leave the energy empty: a piece that could not carry load counts as 0 J.";
        return Err(Fault::new("energy", sentence));
    }
    let joule = units::positive("energy", "The energy", text)?;
    if joule >= 1e6 {
        return Err(Fault::new("energy", NO_STRIKER));
    }
    Ok(Some(joule))
}

fn load(
    typed: &Typed,
    outcome: Outcome,
    unit: Unit,
    is_impact: bool,
) -> Result<Option<(f64, AsTyped)>, Fault> {
    let text = typed.text("load");
    let is_needed = matches!(outcome, Outcome::Valid | Outcome::LowerBound) && !is_impact;
    if text.is_empty() && !is_needed {
        return Ok(None);
    }
    if outcome == Outcome::TotalLoss {
        let sentence = "Leave the load empty: a piece that could not carry load counts as 0 N.";
        return Err(Fault::new("load", sentence));
    }
    let newtons = unit.to_si(units::positive("load", "The maximum load", text)?);
    if newtons >= 1e9 {
        return Err(Fault::new(
            "load",
            "No machine shows such a load; check it and the unit.",
        ));
    }
    let typed = AsTyped {
        text: text.to_owned(),
        unit,
    };
    Ok(Some((newtons, typed)))
}

fn mode(text: &str) -> Result<FailureMode, Fault> {
    if text.is_empty() {
        return Err(Fault::new("mode", "Choose how it failed."));
    }
    FailureMode::typed("mode", "How it failed", text)
}

fn looks(text: &str) -> Result<Option<Looks>, Fault> {
    if text.is_empty() {
        return Ok(None);
    }
    Looks::typed("looks", "What it looked like", text).map(Some)
}

/// What cannot both be so.
fn contradiction(outcome: Outcome, mode: FailureMode) -> Faults {
    let is_valid = outcome == Outcome::Valid;
    let sentence = match mode {
        FailureMode::Dropped if is_valid => {
            "A piece that was dropped and hurt is not a plain valid test: choose invalid, or could not carry \
             load."
        }
        FailureMode::BrokeBefore if matches!(outcome, Outcome::Valid | Outcome::LowerBound) => {
            "A piece that broke before the test has no load: it is invalid, or could not carry load."
        }
        FailureMode::NoBreak if is_valid => {
            "A piece that did not break carried at least this load; choose that."
        }
        FailureMode::OverRange if is_valid => {
            "Beyond the machine's range the piece carried at least this load; choose that."
        }
        _ => return Faults::none(),
    };
    Faults::one("outcome", sentence)
}

impl TestSession {
    /// Reads the set-up of a session; check loads are typed in the load unit.
    ///
    /// # Errors
    /// Every fault of the form.
    pub fn parse(
        typed: &Typed,
        consignment: ConsignmentId,
        today: NaiveDate,
    ) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        let used = used(typed, &mut faults);
        let has =
            |item: fn(&Used) -> Option<EntryId>| used.as_ref().is_some_and(|u| item(u).is_some());
        let machine = faults.keep(named(typed, ("machine", "The machine"), has(|u| u.machine)));
        let fixture = faults.keep(named(typed, ("fixture", "The fixture"), has(|u| u.fixture)));
        let mut figure =
            |name: &str, called: &str| faults.keep(units::optional(name, called, typed.text(name)));
        let speed = figure("speed", "The speed");
        let humidity = figure("humidity", "The relative humidity");
        let drift = figure("drift", "The drift limit");
        let room = faults.keep(room(typed.text("room")));
        let unit = faults.keep(Unit::parse("unit", typed.text("unit"), Dimension::Force));
        let mut check = |name: &str, called: &str| {
            let value = units::optional(name, called, typed.text(name));
            let unit = unit.unwrap_or(Unit::Newton);
            faults.keep(value.map(|value| value.map(|value| unit.to_si(value))))
        };
        let known = check("check", "The known check load");
        let opening = check("opening", "The check load at the opening");
        let closing = check("closing", "The check load at the closing");
        let tested_on = faults.keep(tested_on(typed.text("tested_on"), today));
        if humidity.flatten().is_some_and(|percent| percent > 100.0) {
            faults.push("humidity", "The relative humidity is at most 100 %.");
        }
        let is_unknown = known == Some(None);
        if is_unknown && (opening.flatten().is_some() || closing.flatten().is_some()) {
            faults.push("check", "Say which load was known.");
        }
        let read = || {
            Some(Self {
                consignment,
                machine: machine?,
                fixture: fixture?,
                speed_mm_min: speed?,
                room_c: room?,
                room_rh_percent: humidity?,
                load_unit: unit?,
                tested_on: tested_on?,
                check_load_n: known?,
                check_opening_n: opening?,
                check_closing_n: closing?,
                drift_limit_percent: drift?,
                used: used?,
            })
        };
        faults.and_some(read())
    }

    /// The fields of the form, filled as this session has them.
    #[must_use]
    pub fn to_fields(&self) -> Typed {
        let figure = |value: Option<f64>| value.map(|value| units::in_digits(value, 9));
        let load = |newtons: Option<f64>| figure(newtons.map(|n| n / self.load_unit.to_si(1.0)));
        let mut typed = Typed::default();
        typed.set("machine", self.machine.clone());
        typed.set("fixture", self.fixture.clone());
        let item = |item: Option<EntryId>| item.map(|id| id.to_string()).unwrap_or_default();
        typed.set("machine_item", item(self.used.machine));
        typed.set("cell_item", item(self.used.cell));
        typed.set("extensometer_item", item(self.used.extensometer));
        typed.set("fixture_item", item(self.used.fixture));
        typed.set("method", self.used.method.clone());
        typed.set("conditioning", self.used.conditioning.clone());
        typed.set("unit", self.load_unit.key());
        typed.set("tested_on", self.tested_on.to_string());
        for (name, text) in [
            ("speed", figure(self.speed_mm_min)),
            ("room", figure(self.room_c)),
            ("humidity", figure(self.room_rh_percent)),
            ("check", load(self.check_load_n)),
            ("opening", load(self.check_opening_n)),
            ("closing", load(self.check_closing_n)),
            ("drift", figure(self.drift_limit_percent)),
        ] {
            typed.set(name, text.unwrap_or_default());
        }
        typed
    }

    /// Whether the check load drifted beyond its limit; `None` when that cannot be known.
    #[must_use]
    pub fn is_drifted(&self) -> Option<bool> {
        Some(self.drift_percent()?.abs() > self.drift_limit_percent?)
    }
}

/// A name that may be left out when the item is chosen from the lab's record.
fn named(typed: &Typed, (field, called): (&str, &str), is_chosen: bool) -> Result<String, Fault> {
    if is_chosen {
        typed.line(field, called)
    } else {
        typed.required(field, called)
    }
}

/// What of the lab's record is chosen, and the treatment.
fn used(typed: &Typed, faults: &mut Faults) -> Option<Used> {
    let mut item = |field: &str| match typed.text(field) {
        "" => Some(None),
        text => {
            let read = text.parse().map(Some);
            faults.keep(read.map_err(|_| Fault::new(field, "Choose one of the list.")))
        }
    };
    let machine = item("machine_item");
    let cell = item("cell_item");
    let extensometer = item("extensometer_item");
    let fixture = item("fixture_item");
    let method = faults.keep(typed.line("method", "The method"));
    let conditioning = faults.keep(typed.line("conditioning", "The conditioning"));
    Some(Used {
        machine: machine?,
        cell: cell?,
        extensometer: extensometer?,
        fixture: fixture?,
        method: method?,
        conditioning: conditioning?,
    })
}

/// Room temperature in °C: the one figure here that may lie below zero.
fn room(text: &str) -> Result<Option<f64>, Fault> {
    if text.is_empty() {
        return Ok(None);
    }
    let degrees = units::number("room", "The room temperature", text)?;
    if (-60.0..=100.0).contains(&degrees) {
        Ok(Some(degrees))
    } else {
        let sentence = "The room temperature must lie between −60 and 100 °C.";
        Err(Fault::new("room", sentence))
    }
}

fn tested_on(text: &str, today: NaiveDate) -> Result<NaiveDate, Fault> {
    let day = when::day("tested_on", "The day of the tests", text)?;
    // East of the server it may be tomorrow already.
    if day > today.succ_opt().unwrap_or(today) {
        return Err(Fault::new(
            "tested_on",
            "The day of the tests lies in the future.",
        ));
    }
    Ok(day)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(fields: &[(&str, &str)]) -> Typed {
        let mut typed = Typed::from([("load", "312,5"), ("outcome", "valid"), ("mode", "break")]);
        for (name, value) in fields {
            typed.set(name, *value);
        }
        typed
    }

    #[test]
    fn a_row_is_read_with_its_unit() {
        let read =
            TypedTest::parse(&row(&[("looks", "exposed")]), Unit::PoundForce, false).unwrap();
        let (newtons, typed) = read.load.unwrap();
        // 312.5 lbf × 4.4482216152605 N/lbf (1959 pound, CGPM 1901 gravity).
        assert!((newtons - 1_390.069_254_768_906).abs() < 1e-9);
        assert_eq!(
            (typed.text.as_str(), typed.unit),
            ("312,5", Unit::PoundForce)
        );
        assert_eq!(read.looks, Some(Looks::Exposed));
    }

    #[test]
    fn whatever_is_not_plainly_valid_needs_a_reason() {
        for (outcome, load) in [("invalid", ""), ("lower_bound", "300"), ("total_loss", "")] {
            let typed = row(&[("outcome", outcome), ("load", load), ("mode", "crack")]);
            let faults = TypedTest::parse(&typed, Unit::Newton, false).unwrap_err();
            assert!(faults.for_field("reason").is_some(), "{outcome}");
            let typed = row(&[("outcome", outcome), ("load", load), ("reason", "slipped")]);
            assert!(
                TypedTest::parse(&typed, Unit::Newton, false).is_ok(),
                "{outcome}"
            );
        }
    }

    #[test]
    fn what_cannot_both_be_so_is_named_beside_its_field() {
        for (fields, field) in [
            (
                &[("outcome", "total_loss"), ("reason", "too weak")][..],
                "load",
            ),
            (&[("mode", "no_break")][..], "outcome"),
            (&[("mode", "broke_before")][..], "outcome"),
            (&[("load", "")][..], "load"),
            (&[("load", "0")][..], "load"),
            (&[("mode", "")][..], "mode"),
            (&[("looks", "wet")][..], "looks"),
            (&[("load", "99999999999")][..], "load"),
        ] {
            let faults = TypedTest::parse(&row(fields), Unit::Newton, false).unwrap_err();
            assert!(faults.for_field(field).is_some(), "{fields:?}: {faults}");
        }
    }

    /// What the form refuses is refused of a program too.
    #[test]
    fn a_test_without_a_form_is_held_to_its_rules() {
        let typed = row(&[]);
        let read = TypedTest::parse(&typed, Unit::Newton, false).unwrap();
        let blind = BlindCode::from_bytes([0, 3, 9, 14, 20, 1]);
        let blind = blind
            .or_else(|| BlindCode::from_bytes([1, 3, 9, 14, 20, 2]))
            .unwrap();
        let plain = read.test(ConsignmentId(uuid::Uuid::nil()), blind);
        assert_eq!(plain.unlike_a_form(false), None);
        type Spoilt = (fn(&mut BreakTest), bool, &'static str);
        let spoilt: [Spoilt; 8] = [
            (|test| test.mode = FailureMode::NoBreak, false, "outcome"),
            (|test| test.outcome = Outcome::TotalLoss, false, "load"),
            (|test| test.max_load_n = Some(0.0), false, "load"),
            (|test| test.max_load_n = None, false, "load"),
            (|test| test.energy_j = Some(1.0), false, "energy"),
            (|_| (), true, "energy"),
            (|test| test.energy_j = Some(1e7), true, "energy"),
            (
                |test| {
                    test.failure = Some(FailureShares {
                        cohesive_percent: 50.0,
                        adhesive_percent: 0.0,
                        glue_percent: 0.0,
                        place: String::new(),
                    });
                },
                false,
                "cohesive",
            ),
        ];
        for (spoil, is_impact, field) in spoilt {
            let mut test = plain.clone();
            spoil(&mut test);
            assert_eq!(
                test.unlike_a_form(is_impact).unwrap().field,
                field,
                "{test:?}"
            );
        }
    }

    #[test]
    fn a_session_comes_back_into_its_form_as_it_was() {
        let typed = Typed::from([
            ("machine", "frame 2"),
            ("fixture", "oak jaws"),
            ("speed", "20"),
            ("room", "-3,5"),
            ("humidity", "48"),
            ("unit", "kgf"),
            ("tested_on", "2026-04-30"),
            ("check", "20"),
            ("opening", "20.04"),
            ("closing", "20.31"),
            ("drift", "1"),
        ]);
        let id = ConsignmentId(uuid::Uuid::nil());
        let today = NaiveDate::from_ymd_opt(2026, 4, 30).unwrap();
        let session = TestSession::parse(&typed, id, today).unwrap();
        assert_eq!(session.is_drifted(), Some(true), "0.27 of 20 is 1.35 %");
        let again = TestSession::parse(&session.to_fields(), id, today).unwrap();
        assert_eq!(again.room_c, Some(-3.5));
        assert!((again.check_opening_n.unwrap() - session.check_opening_n.unwrap()).abs() < 1e-6);
        let yesterday = today.pred_opt().unwrap().pred_opt().unwrap();
        let faults = TestSession::parse(&typed, id, yesterday).unwrap_err();
        assert!(
            faults.for_field("tested_on").is_some(),
            "a day in the future"
        );
    }
}
