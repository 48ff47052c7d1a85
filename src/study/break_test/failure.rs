//! Where a bond came apart in a pull-off test, as shares of the area under the dolly (ISO 4624): within a
//! layer, between two layers, or in the glue.

use serde::{Deserialize, Serialize};

use crate::study::fault::{Fault, Faults};
use crate::study::typed::{LINE_LIMIT, Typed, clean};
use crate::study::units::{in_digits, number};

/// By how much the shares may miss 100 %: thirds are estimated as 33, 33 and 34.
const ROUNDING: f64 = 0.1;

const PLACE: &str = "Where it failed";

/// The shares, in % of the area under the dolly.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FailureShares {
    /// Within a layer: the substrate or one coat.
    pub cohesive_percent: f64,
    /// Between two layers.
    pub adhesive_percent: f64,
    /// In the glue of the dolly, or between glue and dolly or glue and coat.
    pub glue_percent: f64,
    /// Which layer, or which two; empty when it is all in the glue.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub place: String,
}

impl FailureShares {
    /// Reads the fields `cohesive`, `adhesive`, `glue` and `failed_at`; `None` when all are empty. One that
    /// is left empty beside others is 0.
    ///
    /// # Errors
    /// Every fault of these fields; that they do not sum to 100 stands beside the first of them.
    pub fn parse(typed: &Typed) -> Result<Option<Self>, Faults> {
        let mut faults = Faults::none();
        let fields = [
            ("cohesive", "The cohesive share"),
            ("adhesive", "The adhesive share"),
            ("glue", "The share of the glue"),
        ];
        let is_empty = fields.iter().all(|(field, _)| typed.text(field).is_empty());
        let place = faults.keep(typed.line("failed_at", PLACE));
        let [cohesive, adhesive, glue] = fields.map(|(field, called)| match typed.text(field) {
            "" => Some(0.0),
            text => {
                let share = faults.keep(number(field, called, text))?;
                if (0.0..=100.0).contains(&share) {
                    return Some(share);
                }
                faults.push(field, format!("{called} lies between 0 and 100 %."));
                None
            }
        });
        if is_empty && place.as_ref().is_none_or(String::is_empty) {
            return faults.or(None);
        }
        let read = || {
            Some(Self {
                cohesive_percent: cohesive?,
                adhesive_percent: adhesive?,
                glue_percent: glue?,
                place: place.clone()?,
            })
        };
        let read = read();
        if let Some(fault) = read.as_ref().and_then(Self::fault) {
            faults.push(fault.field, fault.sentence);
        }
        faults.and_some(read.map(Some))
    }

    /// What is wrong with them, beside the field that can mend it.
    #[must_use]
    pub fn fault(&self) -> Option<Fault> {
        if !self.is_whole() {
            let sum = in_digits(self.sum(), 4);
            let sentence = format!("The three shares sum to {sum} %; together they are 100 %.");
            return Some(Fault::new("cohesive", sentence));
        }
        if self.adhesive_percent > 0.0 && self.place.trim().is_empty() {
            let sentence = "Say between which two layers it came apart, such as primer / steel.";
            return Some(Fault::new("failed_at", sentence));
        }
        clean("failed_at", PLACE, &self.place, LINE_LIMIT).err()
    }

    fn sum(&self) -> f64 {
        self.cohesive_percent + self.adhesive_percent + self.glue_percent
    }

    /// Whether each is a share and together they are the whole.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        let all = [
            self.cohesive_percent,
            self.adhesive_percent,
            self.glue_percent,
        ];
        let is_share = |share: &f64| (0.0..=100.0).contains(share);
        all.iter().all(is_share) && (self.sum() - 100.0).abs() <= ROUNDING
    }

    /// Whether they are these, as far as a form shows them.
    #[must_use]
    pub fn is_near(&self, other: &Self) -> bool {
        let near = |of: fn(&Self) -> f64| (of(self) - of(other)).abs() < 1e-3;
        self.place == other.place
            && near(|shares| shares.cohesive_percent)
            && near(|shares| shares.adhesive_percent)
            && near(|shares| shares.glue_percent)
    }

    /// `60 % cohesive, 30 % adhesive, 10 % glue (primer / steel)`
    #[must_use]
    pub fn in_words(&self) -> String {
        let parts = [
            (self.cohesive_percent, "cohesive"),
            (self.adhesive_percent, "adhesive"),
            (self.glue_percent, "glue"),
        ];
        let told = parts.iter().filter(|(share, _)| *share > 0.0);
        let told = told.map(|(share, what)| format!("{} % {what}", in_digits(*share, 4)));
        let told = told.collect::<Vec<_>>().join(", ");
        match self.place.as_str() {
            "" => told,
            place => format!("{told} ({place})"),
        }
    }

    /// Into the fields that [`Self::parse`] reads.
    pub fn fill(shares: Option<&Self>, typed: &mut Typed) {
        let figure = |of: fn(&Self) -> f64| {
            shares.map_or_else(String::new, |shares| in_digits(of(shares), 6))
        };
        typed.set("cohesive", figure(|s| s.cohesive_percent));
        typed.set("adhesive", figure(|s| s.adhesive_percent));
        typed.set("glue", figure(|s| s.glue_percent));
        typed.set(
            "failed_at",
            shares.map(|s| s.place.clone()).unwrap_or_default(),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(
        cohesive: &str,
        adhesive: &str,
        glue: &str,
        place: &str,
    ) -> Result<Option<FailureShares>, Faults> {
        FailureShares::parse(&Typed::from([
            ("cohesive", cohesive),
            ("adhesive", adhesive),
            ("glue", glue),
            ("failed_at", place),
        ]))
    }

    // ISO 4624 as trade.md 3.8 has it from memory: "record % cohesive / adhesive (which interface) / glue".
    #[test]
    fn shares_sum_to_a_hundred_and_name_the_layers() {
        let shares = read("60", "30,0", "10", "primer / steel").unwrap().unwrap();
        assert_eq!(
            shares.in_words(),
            "60 % cohesive, 30 % adhesive, 10 % glue (primer / steel)"
        );
        assert_eq!(read("", "", "", ""), Ok(None));
        assert_eq!(
            read("100", "", "", "").unwrap().unwrap().in_words(),
            "100 % cohesive"
        );
        assert!(read("33,3", "", "66,7", "").is_ok());
        let mut typed = Typed::default();
        FailureShares::fill(Some(&shares), &mut typed);
        assert_eq!(FailureShares::parse(&typed), Ok(Some(shares)));
    }

    #[test]
    fn each_slip_is_named_beside_its_field() {
        for (shares, field) in [
            (["60", "30", "", "coat / steel"], "cohesive"),
            (["100", "100", "", "coat / steel"], "cohesive"),
            (["110", "", "", ""], "cohesive"),
            (["", "-1", "101", ""], "glue"),
            (["", "100", "", ""], "failed_at"),
            (["", "a lot", "", ""], "adhesive"),
            (["", "", "", "primer"], "cohesive"),
        ] {
            let faults = read(shares[0], shares[1], shares[2], shares[3]).unwrap_err();
            assert!(faults.for_field(field).is_some(), "{shares:?}: {faults}");
        }
    }
}
