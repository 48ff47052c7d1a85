//! The plan of a study: what is asked, what is made, where it goes, and how the answer is decided.
//!
//! Reading it from a form is in [`form`], counting and warning in [`check`], what an amendment
//! changed in [`difference`].

pub mod check;
pub mod difference;
pub mod form;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::choice::choice;
use super::reading::{MoistureState, Quantity};

/// The whole plan. Its bytes as JSON are what a seal hashes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// The question in the steward's words.
    pub question: String,
    /// What the specimens are made of.
    pub material: Material,
    /// The lots of material.
    pub lots: Vec<String>,
    /// The builds (print plates, mould shots, boards).
    pub builds: Vec<String>,
    /// What a specimen is and how its test ends.
    pub form: SpecimenForm,
    /// The dimensions to be read.
    pub dimensions: Vec<DimensionPlan>,
    /// How masses are read.
    pub mass: MassPlan,
    /// The conditions; exactly one may be the storage control.
    pub conditions: Vec<Condition>,
    /// The stages, in ascending days.
    pub stages: Vec<Stage>,
    /// Pieces broken at the start.
    pub baseline: u32,
    /// Pieces made and measured but not allocated.
    pub spares: u32,
    /// The moisture state in which pieces are compared.
    pub reference_state: MoistureState,
    /// How pieces are conditioned, rinsed and dried, in words.
    pub state_protocol: String,
    /// The response that decides.
    pub primary: Response,
    /// The stage that decides, in days.
    pub primary_stage_days: u32,
    /// Compare the storage control with the baseline as well.
    pub compares_storage_with_baseline: bool,
    /// Compare the exposed pieces with the baseline as well.
    pub compares_exposed_with_baseline: bool,
    /// The largest change that does not matter, in % of the storage control.
    pub margin_percent: f64,
    /// Why the margin differs from the default, when it does.
    pub margin_reason: String,
    /// Confidence of the simultaneous intervals, in %.
    pub confidence_percent: f64,
    /// Whether the groups' spreads are pooled.
    pub spreads: Spreads,
    /// Which values are flagged as outlying.
    pub outlier_rule: OutlierRule,
    /// A reading from before exposure used to adjust, or none.
    pub covariate: Covariate,
    /// Coefficient of variation expected between like pieces, in %, for the power of the design.
    pub expected_cv_percent: f64,
    /// Why some condition has fewer than three holders.
    pub few_holders_reason: String,
    /// What happens with invalid tests, missing pieces and early stopping, in words.
    pub exceptions_rule: String,
}

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

/// A place where pieces stay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Condition {
    /// Stable key within the study; journal entries name it.
    pub key: String,
    /// What people call it.
    pub name: String,
    /// Which kind of place; decides the cautions.
    pub environment: Environment,
    /// Whether this is the storage control.
    pub is_storage_control: bool,
    /// Where it is and how it is set up.
    pub place: String,
    /// The jars, racks, plots or bags that its pieces share.
    pub holders: Vec<Holder>,
    /// Pieces per stage, one number for each stage of the plan.
    pub replicates: Vec<u32>,
}

/// A jar, rack, plot or bag.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Holder {
    /// Stable key within the study.
    pub key: String,
    /// What people call it.
    pub name: String,
}

choice! {
    /// The kind of place a condition is.
    pub enum Environment {
        /// Indoors, dark and dry.
        Indoor = "indoor", "indoors";
        /// Outdoors on a rack.
        Outdoor = "outdoor", "outdoors";
        /// Fresh water.
        FreshWater = "fresh_water", "fresh water";
        /// Salt water or the sea.
        SaltWater = "salt_water", "salt water";
        /// Soil.
        Soil = "soil", "soil";
        /// Compost.
        Compost = "compost", "compost";
        /// An oven or warm cabinet.
        Oven = "oven", "oven or warm cabinet";
        /// Something else.
        Other = "other", "another place";
    }
}

/// A planned time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stage {
    /// Days after putting out.
    pub days: u32,
    /// How many days earlier or later still counts.
    pub window_days: u32,
}

/// Something measured that the study compares.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Response {
    /// Maximum load, in N.
    MaxLoad,
    /// Strength: maximum load over the section before exposure, in MPa.
    Strength,
    /// Mass change of each piece, in %.
    MassChange,
    /// Change of a dimension of each piece, in %.
    LengthChange(String),
}

impl Response {
    /// In words.
    #[must_use]
    pub fn label(&self) -> String {
        match self {
            Self::MaxLoad => "maximum load".to_owned(),
            Self::Strength => "strength".to_owned(),
            Self::MassChange => "mass change".to_owned(),
            Self::LengthChange(name) => format!("change of {name}"),
        }
    }

    /// As stored and sent.
    #[must_use]
    pub fn key(&self) -> String {
        self.clone().into()
    }

    /// Reads the key.
    #[must_use]
    pub fn parse(key: &str) -> Option<Self> {
        Self::try_from(key.to_owned()).ok()
    }

    /// Whether it is known only from a break test.
    #[must_use]
    pub fn needs_breaking(&self) -> bool {
        matches!(self, Self::MaxLoad | Self::Strength)
    }
}

impl From<Response> for String {
    fn from(response: Response) -> Self {
        match response {
            Response::MaxLoad => "max_load".to_owned(),
            Response::Strength => "strength".to_owned(),
            Response::MassChange => "mass_change".to_owned(),
            Response::LengthChange(name) => format!("length_change:{name}"),
        }
    }
}

impl TryFrom<String> for Response {
    type Error = String;
    fn try_from(text: String) -> Result<Self, String> {
        match text.split_once(':') {
            None if text == "max_load" => Ok(Self::MaxLoad),
            None if text == "strength" => Ok(Self::Strength),
            None if text == "mass_change" => Ok(Self::MassChange),
            Some(("length_change", name)) if !name.is_empty() => {
                Ok(Self::LengthChange(name.to_owned()))
            }
            _ => Err(format!("{text:?} is no response")),
        }
    }
}

choice! {
    /// How the groups' spreads enter the intervals.
    pub enum Spreads {
        /// Each group keeps its own (Hasler and Hothorn 2008).
        Separate = "separate", "each group its own spread";
        /// One spread for all groups (Dunnett 1955).
        Pooled = "pooled", "one spread for all groups (pooled Dunnett)";
    }
}

choice! {
    /// Which values are flagged; a flagged value is never dropped.
    pub enum OutlierRule {
        /// None.
        None = "none", "none";
        /// Grubbs' test, two-sided, 5 %.
        Grubbs5 = "grubbs_5", "Grubbs, two-sided 5 %";
        /// Grubbs' test, two-sided, 1 %.
        Grubbs1 = "grubbs_1", "Grubbs, two-sided 1 %";
    }
}

/// A reading from before exposure that adjusts the comparison.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Covariate {
    /// None (the default).
    None,
    /// A quantity read before exposure.
    Before(Quantity),
}

impl From<Covariate> for String {
    fn from(covariate: Covariate) -> Self {
        match covariate {
            Covariate::None => "none".to_owned(),
            Covariate::Before(quantity) => quantity.into(),
        }
    }
}

impl TryFrom<String> for Covariate {
    type Error = String;
    fn try_from(text: String) -> Result<Self, String> {
        if text == "none" {
            Ok(Self::None)
        } else {
            Quantity::try_from(text).map(Self::Before)
        }
    }
}

impl Plan {
    /// The plan as the bytes that are stored, downloaded and hashed.
    ///
    /// # Errors
    /// When it cannot be written as JSON (a number that is not finite).
    pub fn to_bytes(&self) -> Result<Vec<u8>, serde_json::Error> {
        serde_json::to_vec_pretty(self)
    }

    /// The condition with a key.
    #[must_use]
    pub fn condition(&self, key: &str) -> Option<&Condition> {
        self.conditions
            .iter()
            .find(|condition| condition.key == key)
    }

    /// The storage control, when the plan has one.
    #[must_use]
    pub fn storage_control(&self) -> Option<&Condition> {
        self.conditions
            .iter()
            .find(|condition| condition.is_storage_control)
    }

    /// The condition and the holder with a holder's key.
    #[must_use]
    pub fn holder(&self, key: &str) -> Option<(&Condition, &Holder)> {
        self.conditions.iter().find_map(|condition| {
            condition
                .holders
                .iter()
                .find(|holder| holder.key == key)
                .map(|holder| (condition, holder))
        })
    }

    /// The stage of that many days.
    #[must_use]
    pub fn stage(&self, days: u32) -> Option<&Stage> {
        self.stages.iter().find(|stage| stage.days == days)
    }

    /// How many readings of a quantity the plan calls for each time; 0 when none.
    #[must_use]
    pub fn readings_of(&self, quantity: &Quantity) -> u8 {
        match quantity {
            Quantity::Mass => self.mass.readings,
            Quantity::Length(name) => self
                .dimensions
                .iter()
                .find(|d| d.name == *name)
                .map_or(0, |d| d.places),
        }
    }

    /// Every quantity that the plan calls for.
    #[must_use]
    pub fn quantities(&self) -> Vec<Quantity> {
        let mass = (self.mass.readings > 0).then_some(Quantity::Mass);
        let lengths = self
            .dimensions
            .iter()
            .map(|d| Quantity::Length(d.name.clone()));
        mass.into_iter().chain(lengths).collect()
    }
}

/// SHA-256 in hexadecimal digits.
#[must_use]
pub fn sha256_hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}
