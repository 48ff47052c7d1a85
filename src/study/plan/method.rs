//! How a plan has its pieces tested, as far as properties are worked out from it.

use serde::{Deserialize, Serialize};

use super::piece::{EndOfTest, Shape, SpecimenForm};
use crate::study::choice::choice;

choice! {
    /// The kind of a test.
    pub enum TestKind {
        /// Pulled.
        Tension = "tension", "pulled (tension)";
        /// Pressed.
        Compression = "compression", "pressed (compression)";
        /// Bent over two supports.
        Bending = "bending", "bent between three points";
        /// A dolly is pulled off.
        PullOff = "pull_off", "dolly pulled off";
        /// Struck by a pendulum or a falling weight.
        Impact = "impact", "struck (impact)";
    }
}

choice! {
    /// Which sizes make the section.
    pub enum SizesAt {
        /// Those read before exposure: the change of the section is part of the result.
        BeforeExposure = "before_exposure", "sizes before exposure";
        /// Those read last before the test: the strength of what is left.
        BeforeTest = "before_test", "sizes before the test";
    }
}

choice! {
    /// How the modulus is taken between 0.05 % and 0.25 % strain.
    pub enum ModulusBy {
        /// From the two ends.
        Chord = "chord", "chord between the two strains";
        /// From all points in between.
        Regression = "regression", "straight line fitted between them";
    }
}

/// How pieces are tested.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TestMethod {
    /// The kind.
    pub kind: TestKind,
    /// Which sizes make the section.
    pub sizes_at: SizesAt,
    /// How the modulus is taken.
    pub modulus_by: ModulusBy,
    /// Distance of the supports in bending, mm.
    pub span_mm: Option<f64>,
    /// Distance of the grips at the start, mm.
    pub grips_mm: Option<f64>,
    /// Gauge length of the extensometer, mm.
    pub gauge_mm: Option<f64>,
    /// The step in which these lengths are read, mm; `None`: they are taken as exact.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step_mm: Option<f64>,
}

impl TestMethod {
    /// In words.
    #[must_use]
    pub fn in_words(self) -> String {
        let sized = [
            ("supports", self.span_mm, "mm apart"),
            ("grips", self.grips_mm, "mm apart"),
            ("gauge length", self.gauge_mm, "mm"),
            ("these lengths read in steps of", self.step_mm, "mm"),
        ];
        let sized = sized
            .into_iter()
            .filter_map(|(what, mm, unit)| Some(format!("; {what} {} {unit}", mm?)));
        format!(
            "{}; section from {}; modulus by {}{}",
            self.kind.label(),
            self.sizes_at.label(),
            self.modulus_by.label(),
            sized.collect::<String>()
        )
    }
}

impl SpecimenForm {
    /// Which sizes make the section; those before exposure where the plan says nothing.
    #[must_use]
    pub fn sizes_at(&self) -> SizesAt {
        let said = self.method.map(|method| method.sizes_at);
        said.unwrap_or(SizesAt::BeforeExposure)
    }

    /// The share of the peak by which the load falls when a test ends, where the plan says one.
    #[must_use]
    pub fn end_drop(&self) -> Option<f64> {
        let is_drop = self.end_of_test == EndOfTest::Drop;
        let share = self.end_figure.filter(|_| is_drop)? / 100.0;
        Some(share).filter(|share| (0.01..1.0).contains(share))
    }

    /// Whether pieces are struck, so that an energy stands where others have a load.
    #[must_use]
    pub fn is_impact(&self) -> bool {
        self.method.is_some_and(|m| m.kind == TestKind::Impact)
    }

    /// Whether a bond is pulled off, so that it is asked where it came apart.
    #[must_use]
    pub fn is_pull_off(&self) -> bool {
        self.method.is_some_and(|m| m.kind == TestKind::PullOff)
    }

    /// Whether stress follows from load.
    #[must_use]
    pub fn has_section(&self) -> bool {
        self.shape != Shape::LoadOnly && !self.is_impact()
    }
}
