//! What a plan says of the pieces: material, form, how a test ends, what is read on each.

use serde::{Deserialize, Serialize};

use super::method::TestMethod;
use crate::study::choice::choice;

/// What the specimens are made of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Material {
    /// Name and grade.
    pub name: String,
    /// Maker.
    pub maker: String,
    /// Colour and additives.
    pub colour: String,
    /// Density in g/cm³, when known; used to check masses against dimensions.
    pub density_g_cm3: Option<f64>,
}

/// What a specimen is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SpecimenForm {
    /// Its shape.
    pub shape: Shape,
    /// What the piece is, in words (clip, bar, hook).
    pub piece_name: String,
    /// What ends a test.
    pub end_of_test: EndOfTest,
    /// Drop from the peak in %, opening in mm or limit in N, where the end of test has a figure.
    pub end_figure: Option<f64>,
    /// Direction in which it is loaded.
    pub loading_direction: String,
    /// The fixture that holds it.
    pub fixture: String,
    /// How it is tested, where properties are worked out; `None`: loads, and load over section where the
    /// shape has one. Left out of the bytes then, so that earlier plans keep their hash.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<TestMethod>,
}

choice! {
    /// The shape of a specimen.
    pub enum Shape {
        /// A whole part: only its load is known.
        LoadOnly = "load_only", "whole part, load only";
        /// A bar of rectangular section.
        Rectangular = "rectangular", "rectangular section";
        /// A rod of round section.
        Round = "round", "round section";
        /// A dumbbell with a narrow part of rectangular section.
        Dumbbell = "dumbbell", "dumbbell";
    }
}

impl Shape {
    /// The dimensions that its section needs.
    #[must_use]
    pub fn section_dimensions(self) -> &'static [&'static str] {
        match self {
            Self::LoadOnly => &[],
            Self::Rectangular | Self::Dumbbell => &["width", "thickness"],
            Self::Round => &["diameter"],
        }
    }
}

choice! {
    /// What ends a test.
    pub enum EndOfTest {
        /// The piece breaks.
        Break = "break", "the piece breaks";
        /// The load falls from its peak by a stated part.
        Drop = "drop", "the load drops by a stated % from its peak";
        /// The piece opens by a stated distance.
        Opening = "opening", "the piece opens by a stated distance (mm)";
        /// The limit of the rig.
        RigLimit = "rig_limit", "the limit of the rig (N)";
    }
}

/// A dimension to be read on every piece.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DimensionPlan {
    /// Its name: width, thickness, diameter, length.
    pub name: String,
    /// At how many places it is read.
    pub places: u8,
    /// Its nominal value in mm, when there is one.
    pub nominal_mm: Option<f64>,
}

/// How masses are read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MassPlan {
    /// Weighings of each piece each time; 0 when pieces are not weighed.
    pub readings: u8,
    /// Expected mass in g, when known.
    pub nominal_g: Option<f64>,
    /// Readability of the balance in g, when known.
    pub readability_g: Option<f64>,
    /// The largest change of mass that does not matter, in %.
    pub margin_percent: f64,
}
