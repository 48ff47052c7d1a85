//! What is read off a test: the properties of a piece, their units, and how they are spelt in files.

use super::choice::choice;

choice! {
    /// A property of one piece.
    pub enum Property {
        /// The highest load.
        MaxLoad = "max_load", "maximum load";
        /// The load where the test ended.
        LoadAtBreak = "load_at_break", "load at break";
        /// The extension at the highest load, from the corrected origin.
        ExtensionAtMax = "extension_at_max", "extension at the maximum load";
        /// The extension where the test ended.
        ExtensionAtBreak = "extension_at_break", "extension at break";
        /// The first maximum of the stress.
        Strength = "strength", "strength";
        /// The stress at yield.
        YieldStress = "yield_stress", "yield stress";
        /// The stress where the test ended.
        StressAtBreak = "stress_at_break", "stress at break";
        /// The strain at yield.
        YieldStrain = "yield_strain", "strain at yield";
        /// The strain at the highest load.
        StrainAtMax = "strain_at_max", "strain at the maximum load";
        /// The strain where the test ended.
        StrainAtBreak = "strain_at_break", "strain at break";
        /// The slope of stress over strain between 0.05 % and 0.25 %.
        Modulus = "modulus", "modulus";
        /// The energy taken up to the highest load.
        EnergyToMax = "energy_to_max", "energy to the maximum load";
        /// The energy taken up to the end of the test.
        EnergyToBreak = "energy_to_break", "energy to break";
        /// That energy for each volume between the gauge marks.
        EnergyPerVolume = "energy_per_volume", "energy to break per volume";
        /// The impact energy for each section.
        ImpactEnergy = "impact_energy", "impact energy per section";
    }
}

/// The properties that the analysis compares; loads and strengths have responses of their own.
pub const COMPARED: [Property; 8] = [
    Property::Modulus,
    Property::YieldStress,
    Property::ExtensionAtMax,
    Property::ExtensionAtBreak,
    Property::StrainAtBreak,
    Property::EnergyToMax,
    Property::EnergyToBreak,
    Property::ImpactEnergy,
];

impl Property {
    /// Its unit, as printed.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::MaxLoad | Self::LoadAtBreak => "N",
            Self::ExtensionAtMax | Self::ExtensionAtBreak => "mm",
            Self::Strength | Self::YieldStress | Self::StressAtBreak | Self::Modulus => "MPa",
            Self::YieldStrain | Self::StrainAtMax | Self::StrainAtBreak => "%",
            Self::EnergyToMax | Self::EnergyToBreak => "J",
            Self::EnergyPerVolume => "MJ/m³",
            Self::ImpactEnergy => "kJ/m²",
        }
    }

    /// Its column in a file: the key with its unit.
    #[must_use]
    pub fn column(self) -> String {
        let unit = match self.unit() {
            "%" => "percent",
            "MJ/m³" => "mj_m3",
            "kJ/m²" => "kj_m2",
            "N" => "n",
            "MPa" => "mpa",
            "J" => "j",
            other => other,
        };
        format!("{}_{unit}", self.key())
    }

    /// Whether a piece that could not carry load counts as zero: so for what it withstands, not for its
    /// stiffness or how far it stretches.
    #[must_use]
    pub fn is_zero_at_total_loss(self) -> bool {
        !matches!(
            self,
            Self::Modulus
                | Self::ExtensionAtMax
                | Self::ExtensionAtBreak
                | Self::YieldStrain
                | Self::StrainAtMax
                | Self::StrainAtBreak
        )
    }

    /// Whether it is known as well when the piece did not break: what is read before the maximum.
    #[must_use]
    pub fn is_before_maximum(self) -> bool {
        matches!(self, Self::Modulus | Self::YieldStress | Self::YieldStrain)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_name_their_unit_and_differ() {
        assert_eq!(Property::Modulus.column(), "modulus_mpa");
        assert_eq!(Property::ImpactEnergy.column(), "impact_energy_kj_m2");
        let all: std::collections::BTreeSet<String> =
            Property::ALL.map(Property::column).into_iter().collect();
        assert_eq!(all.len(), Property::ALL.len());
    }
}
