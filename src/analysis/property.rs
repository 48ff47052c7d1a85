//! The properties of one piece: from what was read off its curve, its sizes and the plan's method, each
//! with its uncertainty. The formulas are those of [`crate::mechanics`].

mod limits;
pub mod read;
mod sizes;
mod strain;

pub use limits::Limits;
pub use sizes::Sizes;

use serde::{Deserialize, Serialize};

use crate::mechanics::evaluate::Landmarks;
use crate::mechanics::impact;
use crate::mechanics::modulus::Range;
use crate::mechanics::pull_off;
use crate::mechanics::uncertainty::{self, Budget, Extension, Length, Machine};
use crate::study::curve::{KeptCurve, ReadOff, Slope};
use crate::study::plan::{ModulusBy, Shape, TestKind, TestMethod};
use crate::study::property::Property;

/// What a machine may be off when nobody has said its class: class 1 of ISO 7500-1 for the force and
/// class 1 of ISO 9513 for the extension and for the travel of the grips (from memory).
pub const ASSUMED: Machine = Machine {
    force_percent: 1.0,
    extension: Extension::of_class(1.0),
    travel: Extension::of_class(1.0),
};

/// A property of a piece.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PieceProperty {
    /// Which.
    pub property: Property,
    /// Its value in the property's unit.
    pub value: f64,
    /// Expanded uncertainty (k = 2) from the machine and the sizes, in % of the value; `None` when it is
    /// not known.
    pub uncertainty_percent: Option<f64>,
}

/// A property as it is told: with what its uncertainty is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Worked {
    /// The value.
    pub found: PieceProperty,
    /// What the uncertainty is made of.
    pub budget: Budget,
    /// What a reader must know of the value; mostly empty.
    pub remark: &'static str,
}

/// What a piece is worked out with.
#[derive(Debug, Clone, Copy)]
pub struct Basis<'a> {
    /// The plan's shape.
    pub shape: Shape,
    /// The plan's method.
    pub method: Option<&'a TestMethod>,
    /// The piece's sizes.
    pub sizes: &'a Sizes,
    /// The machine's limits.
    pub machine: Machine,
}

/// The points of a curve that values are read at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Points {
    max_load_n: f64,
    extension_at_max_mm: Option<f64>,
    end_load_n: f64,
    extension_at_end_mm: Option<f64>,
    energy_to_max_j: Option<f64>,
    energy_to_end_j: Option<f64>,
}

impl From<&KeptCurve> for Points {
    fn from(curve: &KeptCurve) -> Self {
        Self {
            max_load_n: curve.max_load_n,
            extension_at_max_mm: curve.extension_at_max_mm,
            end_load_n: curve.end_load_n,
            extension_at_end_mm: curve.extension_at_end_mm,
            energy_to_max_j: curve.energy_to_max_j,
            energy_to_end_j: curve.energy_to_end_j,
        }
    }
}

impl From<&Landmarks> for Points {
    fn from(marks: &Landmarks) -> Self {
        Self {
            max_load_n: marks.maximum.load_n,
            extension_at_max_mm: marks.maximum.extension_mm,
            end_load_n: marks.end.load_n,
            extension_at_end_mm: marks.end.extension_mm,
            energy_to_max_j: marks.maximum.energy_j,
            energy_to_end_j: marks.end.energy_j,
        }
    }
}

/// Every property of a curve that was kept, in the order in which pages show them.
#[must_use]
pub fn kept_properties(curve: &KeptCurve, basis: &Basis<'_>) -> Vec<Worked> {
    let read = curve.read.clone().unwrap_or_default();
    properties(&Points::from(curve), &read, basis)
}

/// Every property that follows from a curve, in the order in which pages show them.
#[must_use]
pub fn properties(points: &Points, read: &ReadOff, basis: &Basis<'_>) -> Vec<Worked> {
    let work = Work {
        curve: points,
        read,
        basis,
    };
    let mut all = work.loads();
    all.extend(work.stresses());
    all.extend(work.strains());
    all.extend(work.modulus());
    all.extend(work.energies());
    all.retain(|one| one.found.value.is_finite());
    all
}

/// The impact energy over the section, from an energy that was read off the striker.
#[must_use]
pub fn impact(energy_j: f64, sizes: &Sizes, machine: Machine) -> Option<Worked> {
    let (width, thickness) = (sizes.width?, sizes.thickness?);
    let value = impact::per_section_kj_m2(energy_j, width.mm, thickness.mm)?;
    let budget = Budget::default()
        .with(
            "energy",
            1.0,
            uncertainty::of_half_width(machine.force_percent),
        )
        .with("thickness", -1.0, thickness.percent())
        .with("width", -1.0, width.percent());
    Some(worked(Property::ImpactEnergy, value, budget, ""))
}

struct Work<'a> {
    curve: &'a Points,
    read: &'a ReadOff,
    basis: &'a Basis<'a>,
}

impl Work<'_> {
    fn kind(&self) -> Option<TestKind> {
        self.basis.method.map(|method| method.kind)
    }

    fn loads(&self) -> Vec<Worked> {
        let machine = self.basis.machine;
        let extension = |mm: Option<f64>| self.with_travel(Budget::default(), mm);
        let curve = self.curve;
        let ended = |value: f64| Some(value).filter(|_| self.read.is_ended);
        [
            (Property::MaxLoad, Some(curve.max_load_n), machine.load()),
            (
                Property::ExtensionAtMax,
                curve.extension_at_max_mm,
                extension(curve.extension_at_max_mm),
            ),
            (
                Property::LoadAtBreak,
                ended(curve.end_load_n),
                machine.load(),
            ),
            (
                Property::ExtensionAtBreak,
                curve.extension_at_end_mm.and_then(ended),
                extension(curve.extension_at_end_mm),
            ),
        ]
        .into_iter()
        .filter_map(|(property, value, budget)| Some(worked(property, value?, budget, "")))
        .collect()
    }

    /// Stress for each newton, MPa/N, and what it is uncertain by.
    fn stress(&self) -> Option<(f64, Budget)> {
        let (sizes, machine) = (self.basis.sizes, self.basis.machine);
        match (self.kind(), self.basis.shape) {
            (Some(TestKind::Impact), _) | (_, Shape::LoadOnly) => None,
            (Some(TestKind::Bending), _) => {
                let method = self.basis.method?;
                let per_newton = sizes.bar(method)?.stress_mpa(1.0);
                let span = set_to(method, method.span_mm?);
                let budget = machine.flexural_stress(span, sizes.width?, sizes.thickness?);
                Some((per_newton, budget))
            }
            (_, Shape::Round) => {
                let diameter = sizes.diameter?;
                let per_newton = pull_off::stress_mpa(1.0, diameter.mm)?;
                Some((per_newton, machine.pull_off(diameter)))
            }
            (_, shape) => {
                let area = sizes.area_mm2(shape)?;
                Some((1.0 / area, machine.stress(sizes.width?, sizes.thickness?)))
            }
        }
    }

    fn stresses(&self) -> Vec<Worked> {
        let Some((per_newton, budget)) = self.stress() else {
            return Vec::new();
        };
        let first = self.read.yield_load_n.unwrap_or(self.curve.max_load_n);
        let at_break = Some(self.curve.end_load_n).filter(|_| self.read.is_ended);
        [
            (Property::Strength, Some(first)),
            (Property::YieldStress, self.read.yield_load_n),
            (Property::StressAtBreak, at_break),
        ]
        .into_iter()
        .filter_map(|(property, load)| {
            Some(worked(property, load? * per_newton, budget.clone(), ""))
        })
        .collect()
    }

    fn modulus(&self) -> Option<Worked> {
        let method = self.basis.method?;
        let (sizes, machine) = (self.basis.sizes, self.basis.machine);
        let slope = match method.modulus_by {
            ModulusBy::Chord => self.read.chord,
            ModulusBy::Regression => self.read.regression,
        }?;
        let (value, budget) = match slope {
            Slope::OverDeflection(slope) => {
                let span = set_to(method, method.span_mm?);
                let bar = sizes.bar(method)?;
                let sides = (sizes.width?, sizes.thickness?);
                let budget =
                    machine.flexural_modulus(span, sides, bar.deflection_mm(between_strains()));
                (bar.modulus_mpa(slope), budget)
            }
            Slope::OverStrain(slope) => {
                let (per_newton, budget) = self.stress()?;
                let is_nominal = self.read.is_slope_nominal;
                let budget = self.with_extension(budget, is_nominal, between_strains(), -1.0);
                let budget = self.over_length(budget, is_nominal, 1.0);
                (slope * per_newton, budget)
            }
        };
        let remark = if self.read.is_slope_nominal {
            "too low: strain from the travel of the grips"
        } else {
            ""
        };
        Some(worked(Property::Modulus, value, budget, remark))
    }

    fn energies(&self) -> Vec<Worked> {
        let curve = self.curve;
        let at_break = curve.energy_to_end_j.filter(|_| self.read.is_ended);
        let mut found: Vec<Worked> = [
            (
                Property::EnergyToMax,
                curve.energy_to_max_j,
                curve.extension_at_max_mm,
            ),
            (Property::EnergyToBreak, at_break, curve.extension_at_end_mm),
        ]
        .into_iter()
        .filter_map(|(property, joule, mm)| {
            let budget = self.with_travel(self.basis.machine.load(), mm);
            Some(worked(property, joule?, budget, ""))
        })
        .collect();
        found.extend(at_break.and_then(|joule| self.energy_over(joule)));
        found
    }

    /// The energy to the end for each volume or section.
    fn energy_over(&self, joule: f64) -> Option<Worked> {
        let (sizes, machine) = (self.basis.sizes, self.basis.machine);
        match self.kind()? {
            TestKind::Impact => {
                let found = impact(joule, sizes, machine)?;
                let budget = self.with_travel(found.budget, self.curve.extension_at_end_mm);
                Some(worked(found.found.property, found.found.value, budget, ""))
            }
            TestKind::Tension => {
                let gauge = self.basis.method?.gauge_mm?;
                let (per_newton, budget) = self.stress()?;
                let value = 1000.0 * joule * per_newton / gauge;
                let budget = self.with_travel(budget, self.curve.extension_at_end_mm);
                let length = Some(gauge);
                let budget = with_length(budget, ("gauge length", -1.0), self.basis.method, length);
                Some(worked(Property::EnergyPerVolume, value, budget, ""))
            }
            TestKind::Compression | TestKind::Bending | TestKind::PullOff => None,
        }
    }
}

/// The strain between the two ends of a modulus. Both are read off one run of the extension, so that its
/// limit counts once, for the difference.
fn between_strains() -> f64 {
    let range = Range::default();
    range.high - range.low
}

/// A length of the fixture, read in the plan's steps; taken as exact where it names none.
fn set_to(method: &TestMethod, mm: f64) -> Length {
    Length {
        mm,
        limit_mm: method.step_mm.unwrap_or(0.0) / 2.0,
        repeat_mm: 0.0,
    }
}

/// Nothing is added where the plan names no step.
fn with_length(
    budget: Budget,
    (name, power): (&'static str, f64),
    method: Option<&TestMethod>,
    length: Option<f64>,
) -> Budget {
    let stepped = method.filter(|method| method.step_mm.is_some()).zip(length);
    match stepped {
        Some((method, mm)) => budget.with(name, power, set_to(method, mm).percent()),
        None => budget,
    }
}

fn worked(property: Property, value: f64, budget: Budget, remark: &'static str) -> Worked {
    let u = budget.expanded_percent();
    Worked {
        found: PieceProperty {
            property,
            value,
            uncertainty_percent: Some(u).filter(|u| u.is_finite()),
        },
        budget,
        remark,
    }
}

#[cfg(test)]
mod tests;
