//! What it was like out there: series of temperature, humidity, rain and radiation, from a logger's
//! file or a weather archive, for a condition or a single holder.
//!
//! A series enters the journal with the hash of its original bytes, how they were read, and the hash of
//! the values read from them ([`Values`]); both stand in the store by their hash. Reading a logger's file
//! is in [`table`], [`stamp`], [`layout`] and [`guess`], a weather archive's answer in [`archive`].

pub mod archive;
pub mod guess;
pub mod layout;
pub mod stamp;
pub mod stuck;
pub mod table;
mod values;

#[cfg(test)]
mod tests;

pub use layout::Layout;
pub use values::{Row, Values};

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::choice::choice;
use super::plan::Plan;

choice! {
    /// What is measured.
    pub enum Measurand {
        /// Temperature, °C.
        Temperature = "temperature", "temperature";
        /// Lowest temperature of a day, °C.
        LowTemperature = "low_temperature", "lowest temperature of the day";
        /// Highest temperature of a day, °C.
        HighTemperature = "high_temperature", "highest temperature of the day";
        /// Relative humidity, %.
        Humidity = "humidity", "relative humidity";
        /// Rain and other precipitation of an interval, mm.
        Rain = "rain", "rain";
        /// Irradiance, W/m².
        Irradiance = "irradiance", "irradiance";
        /// Radiant exposure of an interval, MJ/m².
        RadiantExposure = "radiant_exposure", "radiant exposure";
    }
}

impl Measurand {
    /// Whether a value taken more often than daily stands for the time before its moment: sums, and
    /// means of irradiance. A day's value stands for the day that it names.
    #[must_use]
    pub fn is_of_the_time_before(self) -> bool {
        matches!(self, Self::Rain | Self::Irradiance | Self::RadiantExposure)
    }

    /// The unit in which it is kept.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::Temperature | Self::LowTemperature | Self::HighTemperature => "°C",
            Self::Humidity => "%",
            Self::Rain => "mm",
            Self::Irradiance => "W/m²",
            Self::RadiantExposure => "MJ/m²",
        }
    }

    /// What can be: values outside are a broken sensor's or a marker for none, and are left out (common
    /// practice, no source).
    #[must_use]
    pub fn possible(self) -> std::ops::RangeInclusive<f64> {
        match self {
            Self::Temperature | Self::LowTemperature | Self::HighTemperature => -95.0..=300.0,
            Self::Humidity => 0.0..=105.0,
            Self::Rain => 0.0..=1000.0,
            Self::Irradiance => -30.0..=2000.0,
            Self::RadiantExposure => -1.0..=60.0,
        }
    }
}

choice! {
    /// How a column is read: what it holds, in which unit.
    pub enum ReadAs {
        /// Not at all.
        Unused = "unused", "not used";
        /// Temperature in °C.
        Celsius = "celsius", "temperature, °C";
        /// Temperature in °F.
        Fahrenheit = "fahrenheit", "temperature, °F";
        /// Temperature in K.
        Kelvin = "kelvin", "temperature, K";
        /// Lowest temperature of the day in °C.
        LowCelsius = "low_celsius", "lowest of the day, °C";
        /// Highest temperature of the day in °C.
        HighCelsius = "high_celsius", "highest of the day, °C";
        /// Lowest temperature of the day in °F.
        LowFahrenheit = "low_fahrenheit", "lowest of the day, °F";
        /// Highest temperature of the day in °F.
        HighFahrenheit = "high_fahrenheit", "highest of the day, °F";
        /// Relative humidity in %.
        Percent = "percent", "relative humidity, %";
        /// Rain in mm.
        RainMillimetre = "rain_mm", "rain, mm";
        /// Rain in inches.
        RainInch = "rain_in", "rain, inches";
        /// Irradiance in W/m².
        WattPerSquareMetre = "w_m2", "irradiance, W/m²";
        /// Radiant exposure in MJ/m².
        MegajoulePerSquareMetre = "mj_m2", "radiant exposure, MJ/m²";
        /// Radiant exposure in kWh/m².
        KilowattHourPerSquareMetre = "kwh_m2", "radiant exposure, kWh/m²";
    }
}

impl ReadAs {
    /// What it measures; `None` when the column is not used.
    #[must_use]
    pub fn measurand(self) -> Option<Measurand> {
        Some(match self {
            Self::Unused => return None,
            Self::Celsius | Self::Fahrenheit | Self::Kelvin => Measurand::Temperature,
            Self::LowCelsius | Self::LowFahrenheit => Measurand::LowTemperature,
            Self::HighCelsius | Self::HighFahrenheit => Measurand::HighTemperature,
            Self::Percent => Measurand::Humidity,
            Self::RainMillimetre | Self::RainInch => Measurand::Rain,
            Self::WattPerSquareMetre => Measurand::Irradiance,
            Self::MegajoulePerSquareMetre | Self::KilowattHourPerSquareMetre => {
                Measurand::RadiantExposure
            }
        })
    }

    /// Converts to the unit in which the measurand is kept.
    ///
    /// # Source
    /// °C = (°F − 32)/1.8, K = °C + 273.15, inch 25.4 mm, 1 kWh = 3.6 MJ: exact by definition.
    #[must_use]
    pub fn to_kept(self, value: f64) -> f64 {
        match self {
            Self::Fahrenheit | Self::LowFahrenheit | Self::HighFahrenheit => (value - 32.0) / 1.8,
            Self::Kelvin => value - 273.15,
            Self::RainInch => value * 25.4,
            Self::KilowattHourPerSquareMetre => value * 3.6,
            _ => value,
        }
    }
}

/// For which pieces a series speaks.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(tag = "of", content = "key", rename_all = "snake_case")]
pub enum SeriesPlace {
    /// For every holder of a condition that has no series of its own.
    Condition(String),
    /// For one holder.
    Holder(String),
}

impl SeriesPlace {
    /// Reads `condition:c1` or `holder:c1h2`.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        match text.split_once(':')? {
            ("condition", key) => Some(Self::Condition(key.to_owned())),
            ("holder", key) => Some(Self::Holder(key.to_owned())),
            _ => None,
        }
    }

    /// As a form sends it.
    #[must_use]
    pub fn key(&self) -> String {
        match self {
            Self::Condition(key) => format!("condition:{key}"),
            Self::Holder(key) => format!("holder:{key}"),
        }
    }

    /// Whether the plan has it.
    #[must_use]
    pub fn is_in(&self, plan: &Plan) -> bool {
        match self {
            Self::Condition(key) => plan.condition(key).is_some(),
            Self::Holder(key) => plan.holder(key).is_some(),
        }
    }

    /// What people call it.
    #[must_use]
    pub fn name(&self, plan: &Plan) -> String {
        match self {
            Self::Condition(key) => {
                let found = plan.condition(key);
                found.map_or_else(|| key.clone(), |condition| condition.name.clone())
            }
            Self::Holder(key) => {
                let found = plan.holder(key);
                found.map_or_else(
                    || key.clone(),
                    |(condition, holder)| format!("{}: {}", condition.name, holder.name),
                )
            }
        }
    }
}

/// One column that was read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Channel {
    /// Its name in the file.
    pub column: String,
    /// What it holds, in which unit.
    pub read_as: ReadAs,
}

/// Where a series comes from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "from", rename_all = "snake_case")]
pub enum SeriesSource {
    /// A logger's file, and how it was read.
    Logger {
        /// How.
        layout: Layout,
    },
    /// A weather archive's answer.
    Archive {
        /// Whom to name with it.
        attribution: String,
        /// Degrees north.
        latitude: f64,
        /// Degrees east.
        longitude: f64,
    },
}

/// A series as it enters the journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeriesAdded {
    /// What people call it: the logger, where it hung.
    pub name: String,
    /// For which pieces it speaks.
    pub place: SeriesPlace,
    /// Where it comes from.
    pub source: SeriesSource,
    /// Its columns, in the order of the values.
    pub channels: Vec<Channel>,
    /// SHA-256 of the original bytes, in hexadecimal digits.
    pub file_sha256: String,
    /// SHA-256 of the values read from them ([`Values::to_bytes`]).
    pub values_sha256: String,
    /// Number of rows.
    pub rows: u32,
    /// The usual time from row to row, in seconds.
    pub step_s: u32,
    /// Moment of the first row.
    pub first: DateTime<Utc>,
    /// Moment of the last row.
    pub last: DateTime<Utc>,
}

impl SeriesAdded {
    /// Whether it can be: rows, columns, moments in order, hashes that are some.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        let is_hash = |text: &str| {
            text.len() == 64 && text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
        };
        self.rows > 0
            && self.step_s > 0
            && self.first <= self.last
            && !self.channels.is_empty()
            && is_hash(&self.file_sha256)
            && is_hash(&self.values_sha256)
    }
}
