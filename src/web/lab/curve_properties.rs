//! The properties of a curve as a table: value, uncertainty, what it is made of, and where it was read.

use super::blind::Blind;
use super::curve_read::Read;
use crate::analysis::property::{self, Basis, Limits, Points, Sizes, Worked};
use crate::mechanics::evaluate::Mark;
use crate::study::code::BlindCode;
use crate::study::plan::{Shape, TestMethod};
use crate::study::property::Property;
use crate::study::units::in_digits;

/// A curve's properties, ready to print.
#[derive(Default)]
pub(in crate::web) struct Properties {
    pub(in crate::web) rows: Vec<Row>,
    /// The sizes that stresses rest on; empty without a section.
    pub(in crate::web) sizes: String,
    /// Why there is no stress, where there could be one.
    pub(in crate::web) missing: &'static str,
    /// What the uncertainty rests on; empty when nothing was read off.
    pub(in crate::web) limits: String,
}

/// One property.
pub(in crate::web) struct Row {
    pub(in crate::web) name: &'static str,
    pub(in crate::web) value: String,
    /// Expanded uncertainty with its unit; empty when not known.
    pub(in crate::web) uncertainty: String,
    /// What that is made of.
    pub(in crate::web) budget: String,
    /// The line of the file, or a remark.
    pub(in crate::web) place: String,
}

impl Properties {
    /// Of a curve that a tester looks at.
    pub(super) fn seen(read: &Read, piece: Option<&BlindCode>, blind: &Blind) -> Self {
        let known = blind.pieces.iter().find(|one| Some(&one.blind) == piece);
        let sizes = known.map(|one| one.sizes).unwrap_or_default();
        let limits = Limits::of(blind.session.as_ref(), &blind.equipment);
        let basis = Basis {
            shape: blind.shape,
            method: blind.method.as_ref(),
            sizes: &sizes,
            machine: limits.machine,
        };
        let points = Points::from(&read.marks);
        let worked = property::properties(&points, &read.reading.off, &basis);
        let form = (blind.shape, blind.method.as_ref());
        let mut found = Self::told(&worked, form, &sizes, &limits);
        if piece.is_none() && blind.shape != Shape::LoadOnly {
            found.missing = "Stresses follow when the piece is known.";
        }
        let mut rows = found.rows.iter_mut().zip(&worked);
        for (row, worked) in &mut rows {
            if row.place.is_empty() {
                row.place = place(worked.found.property, read);
            }
        }
        found
    }

    /// Of properties worked out.
    pub(in crate::web) fn told(
        worked: &[Worked],
        (shape, method): (Shape, Option<&TestMethod>),
        sizes: &Sizes,
        limits: &Limits,
    ) -> Self {
        let told = sizes.in_words(shape);
        let has_area = sizes.area_mm2(shape).is_some();
        Self {
            rows: worked.iter().map(Row::of).collect(),
            missing: match (shape, method) {
                (Shape::LoadOnly, _) => "",
                _ if !has_area => {
                    "No stress: the piece's section is not on record, so loads are all that is known."
                }
                _ => "",
            },
            sizes: told,
            limits: match worked {
                [] => String::new(),
                _ => limits.in_words(),
            },
        }
    }
}

impl Row {
    fn of(worked: &Worked) -> Self {
        let found = &worked.found;
        let unit = found.property.unit();
        let percent = found.uncertainty_percent;
        let own = percent.map(|percent| percent / 100.0 * found.value.abs());
        let parts = worked.budget.terms.iter().map(|term| {
            let share = (term.power * term.percent).abs();
            format!("{} {} %", term.name, in_digits(share, 2))
        });
        Self {
            name: found.property.label(),
            value: format!("{} {unit}", in_digits(found.value, 4)),
            uncertainty: own.map_or_else(String::new, |own| {
                format!(
                    "± {} {unit} ({} %)",
                    in_digits(own, 2),
                    in_digits(percent.unwrap_or(0.0), 2)
                )
            }),
            budget: parts.collect::<Vec<_>>().join(", "),
            place: worked.remark.to_owned(),
        }
    }
}

/// Where in the file a property was read.
fn place(property: Property, read: &Read) -> String {
    let marks = &read.marks;
    let line = |mark: &Mark| format!("line {}", mark.line);
    match property {
        Property::MaxLoad
        | Property::ExtensionAtMax
        | Property::EnergyToMax
        | Property::StrainAtMax => line(&marks.maximum),
        Property::Strength => line(marks.yielding.as_ref().unwrap_or(&marks.maximum)),
        Property::YieldStress | Property::YieldStrain => {
            marks.yielding.as_ref().map(line).unwrap_or_default()
        }
        Property::Modulus => {
            let at = |rank: usize| read.curve.lines.get(rank).copied().unwrap_or(0);
            let lines = read.reading.slope_at.map(|(from, to)| (at(from), at(to)));
            lines.map_or_else(String::new, |(from, to)| format!("lines {from} to {to}"))
        }
        _ => line(&marks.end),
    }
}
