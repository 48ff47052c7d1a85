//! Where and when a plan keeps the pieces: conditions, their holders, the stages.

use serde::{Deserialize, Serialize};

use crate::study::choice::choice;

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
    /// How often its water or medium is renewed or topped up, in days; `None` when the plan sets no
    /// time for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub renew_days: Option<u32>,
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
