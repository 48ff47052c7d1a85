//! The sizes that a piece's stresses rest on, with what their instruments may be off.

use crate::analysis::change::{Bench, chosen};
use crate::mechanics::flexure::Bar;
use crate::mechanics::uncertainty::{self, Length};
use crate::study::plan::{Plan, Shape, SizesAt, TestMethod};
use crate::study::reading::{Occasion, Quantity, Reading};

/// The sizes of a piece, as far as they are on record.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sizes {
    /// Width b.
    pub width: Option<Length>,
    /// Thickness h.
    pub thickness: Option<Length>,
    /// Diameter of a round section or of a dolly.
    pub diameter: Option<Length>,
}

impl Sizes {
    /// The sizes that the plan has stresses rest on: before exposure, or the last before the test.
    #[must_use]
    pub fn of(plan: &Plan, readings: &[&Reading], bench: &Bench<'_>) -> Self {
        let one = |name: &str| {
            let quantity = Quantity::Length(name.to_owned());
            let after = (plan.form.sizes_at() == SizesAt::BeforeTest)
                .then(|| chosen(plan, readings, &quantity, Occasion::After))
                .filter(|found| !found.is_empty());
            let found =
                after.unwrap_or_else(|| chosen(plan, readings, &quantity, Occasion::Before));
            length(&found, bench)
        };
        Self {
            width: one("width"),
            thickness: one("thickness"),
            diameter: one("diameter"),
        }
    }

    /// The section, mm²; of a bar its width times its thickness.
    #[must_use]
    pub fn area_mm2(&self, shape: Shape) -> Option<f64> {
        match shape {
            Shape::LoadOnly => None,
            Shape::Rectangular | Shape::Dumbbell => Some(self.width?.mm * self.thickness?.mm),
            Shape::Round => self
                .diameter
                .map(|d| std::f64::consts::PI * d.mm * d.mm / 4.0),
        }
    }

    /// The bar of a bending test.
    #[must_use]
    pub fn bar(&self, method: &TestMethod) -> Option<Bar> {
        Some(Bar {
            span_mm: method.span_mm?,
            width_mm: self.width?.mm,
            thickness_mm: self.thickness?.mm,
        })
    }

    /// In words: `width 10.02 mm, thickness 3.98 mm`; empty when nothing is on record.
    #[must_use]
    pub fn in_words(&self, shape: Shape) -> String {
        let all = [
            ("width", self.width),
            ("thickness", self.thickness),
            ("diameter", self.diameter),
        ];
        let needed = shape.section_dimensions();
        let told = all
            .iter()
            .filter(|(name, _)| needed.contains(name))
            .filter_map(|(name, length)| Some(format!("{name} {:.3} mm", (*length)?.mm)));
        told.collect::<Vec<_>>().join(", ")
    }
}

/// The mean of repeated readings with what its instruments may be off.
fn length(found: &[&Reading], bench: &Bench<'_>) -> Option<Length> {
    let values: Vec<f64> = found.iter().map(|reading| reading.value).collect();
    let mm = values.iter().sum::<f64>() / values.len() as f64;
    let worst = found
        .iter()
        .filter_map(|reading| bench.get(&reading.instrument))
        .map(|(_, it)| {
            let certificate = it.uncertainty.map_or(0.0, |u| {
                uncertainty::of_certificate(u, uncertainty::COVERAGE)
            });
            uncertainty::combined(&[uncertainty::of_readability(it.readability), certificate])
        })
        .fold(0.0, f64::max);
    (mm > 0.0 && mm.is_finite()).then(|| Length {
        mm,
        limit_mm: worst * 3f64.sqrt(),
        repeat_mm: uncertainty::of_mean(&values).unwrap_or(0.0),
    })
}
