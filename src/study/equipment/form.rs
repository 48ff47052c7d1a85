//! An item of the lab's record as typed into a form.

use chrono::NaiveDate;

use super::{Change, Equipment, EquipmentKind, Paper};
use crate::study::fault::{Fault, Faults};
use crate::study::photograph::Files;
use crate::study::typed::Typed;
use crate::study::units::{self, in_digits};
use crate::study::when;

impl Equipment {
    /// Reads an item; its files come beside the form.
    ///
    /// # Errors
    /// Every fault of the form.
    pub fn parse(typed: &Typed, today: NaiveDate) -> Result<Self, Faults> {
        let mut faults = Faults::none();
        let kind = EquipmentKind::typed("kind", "What it is", typed.text("kind"));
        let kind = faults.keep(kind);
        let name = faults.keep(typed.required("name", "The name"));
        let serial = faults.keep(typed.line("serial", "The serial number"));
        let class = faults.keep(typed.line("class", "The class"));
        let mut end = |field: &str, called: &str| {
            faults.keep(units::optional(field, called, typed.text(field)))
        };
        let range_from = end("range_from", "The lower end of the range");
        let range_to = end("range_to", "The upper end of the range");
        let calibrated_on = faults.keep(day(typed, "calibrated_on", "The day of the calibration"));
        let valid_until = faults.keep(day(typed, "valid_until", "The end of the calibration"));
        let latest = today.succ_opt().unwrap_or(today);
        if calibrated_on.flatten().is_some_and(|on| on > latest) {
            faults.push(
                "calibrated_on",
                "The day of the calibration lies in the future.",
            );
        }
        faults.extend(in_order(range_from.flatten(), range_to.flatten()));
        match (calibrated_on, valid_until) {
            (Some(Some(on)), Some(Some(until))) if until < on => {
                faults.push("valid_until", "It ends before the day of the calibration.");
            }
            (Some(None), Some(Some(_))) => {
                faults.push("calibrated_on", "Say when it was calibrated, too.");
            }
            _ => {}
        }
        let read = || {
            Some(Self {
                kind: kind?,
                name: name?,
                serial: serial?,
                range_from: range_from?,
                range_to: range_to?,
                class: class?,
                calibrated_on: calibrated_on?,
                valid_until: valid_until?,
                paper: None,
                picture: None,
            })
        };
        faults.and_some(read())
    }

    /// With these files; those of before stay where none came.
    #[must_use]
    pub fn with_files(self, paper: Option<Paper>, picture: Option<Files>) -> Self {
        Self {
            paper: paper.or(self.paper),
            picture: picture.or(self.picture),
            ..self
        }
    }

    /// The fields of the form, filled as this item has them.
    #[must_use]
    pub fn to_fields(&self) -> Typed {
        let figure = |value: Option<f64>| value.map(|value| in_digits(value, 9));
        let day = |day: Option<NaiveDate>| day.map(|day| day.to_string());
        let mut typed = Typed::default();
        typed.set("kind", self.kind.key());
        typed.set("name", self.name.clone());
        typed.set("serial", self.serial.clone());
        typed.set("class", self.class.clone());
        for (field, text) in [
            ("range_from", figure(self.range_from)),
            ("range_to", figure(self.range_to)),
            ("calibrated_on", day(self.calibrated_on)),
            ("valid_until", day(self.valid_until)),
        ] {
            typed.set(field, text.unwrap_or_default());
        }
        typed
    }

    /// What is known of it, heading and words, for lists.
    #[must_use]
    pub fn facts(&self) -> Vec<(&'static str, String)> {
        let unit = self.kind.range_unit().unwrap_or_default();
        let end = |value: f64| in_digits(value, 6);
        let range = match (self.range_from, self.range_to) {
            (Some(from), Some(to)) => format!("{} to {} {unit}", end(from), end(to)),
            (Some(from), None) => format!("from {} {unit}", end(from)),
            (None, Some(to)) => format!("to {} {unit}", end(to)),
            (None, None) => String::new(),
        };
        let day = |day: Option<NaiveDate>| {
            day.map_or_else(String::new, |day| day.format("%-d %B %Y").to_string())
        };
        let paper = self.paper.as_ref().map(|paper| paper.sha256.clone());
        let facts = [
            ("Serial number", self.serial.clone()),
            ("Range of its class", range),
            ("Class", self.class.clone()),
            ("Calibrated", day(self.calibrated_on)),
            ("Calibration ends", day(self.valid_until)),
            ("SHA-256 of the file", paper.unwrap_or_default()),
        ];
        let known = facts.into_iter().filter(|(_, words)| !words.is_empty());
        known.collect()
    }
}

/// Reads why an item is written down anew.
///
/// # Errors
/// A fault that names the field.
pub fn change(typed: &Typed) -> Result<Change, Fault> {
    Change::typed("change", "Why it changes", typed.text("change"))
}

fn in_order(from: Option<f64>, to: Option<f64>) -> Faults {
    let mut faults = Faults::none();
    match (from, to) {
        (Some(from), Some(to)) if from >= to => {
            faults.push("range_to", "The upper end must lie above the lower end.");
        }
        _ => {}
    }
    for (field, end) in [("range_from", from), ("range_to", to)] {
        if end.is_some_and(|end| end >= 1e9) {
            faults.push(
                field,
                "No instrument reaches that far; check it and the unit.",
            );
        }
    }
    faults
}

fn day(typed: &Typed, field: &str, called: &str) -> Result<Option<NaiveDate>, Fault> {
    match typed.text(field) {
        "" => Ok(None),
        text => when::day(field, called, text).map(Some),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(fields: &[(&str, &str)]) -> Typed {
        let mut typed = Typed::from([
            ("kind", "load_cell"),
            ("name", "1 kN cell"),
            ("range_from", "20"),
            ("range_to", "1000,5"),
            ("class", "0.5"),
            ("calibrated_on", "2026-01-10"),
            ("valid_until", "2027-01-09"),
        ]);
        for (name, value) in fields {
            typed.set(name, *value);
        }
        typed
    }

    fn today() -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, 1).unwrap()
    }

    #[test]
    fn an_item_comes_back_into_its_form_as_it_was() {
        let item = Equipment::parse(&typed(&[]), today()).unwrap();
        assert_eq!(item.range_to, Some(1000.5));
        assert!(item.is_sound());
        assert_eq!(Equipment::parse(&item.to_fields(), today()).unwrap(), item);
    }

    #[test]
    fn what_cannot_be_is_named_beside_its_field() {
        for (fields, field) in [
            (&[("range_from", "1001")][..], "range_to"),
            (&[("range_to", "1e99")], "range_to"),
            (&[("range_from", "-1")], "range_from"),
            (&[("calibrated_on", "2026-03-03")], "calibrated_on"),
            (&[("calibrated_on", "")], "calibrated_on"),
            (&[("valid_until", "2025-01-01")], "valid_until"),
            (&[("name", " ")], "name"),
            (&[("kind", "boat")], "kind"),
        ] {
            let faults = Equipment::parse(&typed(fields), today()).unwrap_err();
            assert!(faults.for_field(field).is_some(), "{fields:?}: {faults}");
        }
    }
}
