//! How a plan decides the answer: the response, the spreads, the outlier rule, the covariate.

use serde::{Deserialize, Serialize};

use crate::study::choice::choice;
use crate::study::property::{COMPARED, Property};
use crate::study::reading::Quantity;

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
    /// Another property read off the test: one of [`COMPARED`].
    Read(Property),
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
            Self::Read(property) => property.label().to_owned(),
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
        matches!(self, Self::MaxLoad | Self::Strength | Self::Read(_))
    }
}

impl From<Response> for String {
    fn from(response: Response) -> Self {
        match response {
            Response::MaxLoad => "max_load".to_owned(),
            Response::Strength => "strength".to_owned(),
            Response::MassChange => "mass_change".to_owned(),
            Response::LengthChange(name) => format!("length_change:{name}"),
            Response::Read(property) => property.key().to_owned(),
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
            _ => {
                let known = COMPARED.into_iter().find(|one| one.key() == text);
                known
                    .map(Self::Read)
                    .ok_or_else(|| format!("{text:?} is no response"))
            }
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
