//! How hot exposed pieces of a material may be dried. Not for feedstock before making, which is dried
//! hotter; and never a promise that a particular grade bears it.

/// Advice for a material.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Advice {
    /// What people call the material; `None` when the plan's name for it was not recognised.
    pub material: Option<&'static str>,
    /// How to dry.
    pub how: &'static str,
}

/// For a material that is not recognised (common practice, no source).
const UNKNOWN: Advice = Advice {
    material: None,
    how: "40 °C at most, or a desiccator at room temperature.",
};

/// Names as makers print them, in capitals, with the advice. Common practice, no source, but for the
/// general default (50 °C for 24 hours: ISO 62 and ASTM D570, from memory) and for wood (ISO 13061-1 and
/// EN 13183-1, from memory). The glass transitions behind them: PLA 56–61 °C (Front. Chem. 2013, 1:32,
/// table 2), PETG 75–85 °C, the others from memory.
const KNOWN: &[(&[&str], &str, &str)] = &[
    (
        &["PLA", "POLYLACTIDE", "POLYLACTIC"],
        "PLA",
        "40 °C at most, in vacuum or over desiccant; or 23 °C in a desiccator. Hotter, it crystallises and \
         turns brittle.",
    ),
    (&["PETG", "PET"], "PETG", "50 °C."),
    (&["ABS"], "ABS", "60 °C, 80 °C at most."),
    (&["ASA"], "ASA", "60 °C, 80 °C at most."),
    (
        &["PA", "PA6", "PA66", "PA11", "PA12", "NYLON", "POLYAMIDE"],
        "polyamide",
        "80 °C in vacuum; in air it yellows. It needs days.",
    ),
    (&["PC", "POLYCARBONATE"], "PC", "100 °C."),
    (&["PMMA", "ACRYLIC"], "PMMA", "70 °C."),
    (&["PS", "HIPS", "POLYSTYRENE"], "PS", "60 °C."),
    (
        &[
            "PP",
            "PE",
            "HDPE",
            "LDPE",
            "POM",
            "POLYPROPYLENE",
            "POLYETHYLENE",
            "ACETAL",
        ],
        "PP, PE or POM",
        "50 to 60 °C.",
    ),
    (
        &[
            "WOOD",
            "PINE",
            "OAK",
            "BEECH",
            "SPRUCE",
            "BIRCH",
            "ASH",
            "PAPER",
            "CARDBOARD",
        ],
        "wood or paper",
        "Room-dry. 103 ± 2 °C only on a twin or an offcut, never on a piece that will be broken.",
    ),
    (
        &[
            "STEEL",
            "ALUMINIUM",
            "ALUMINUM",
            "BRASS",
            "COPPER",
            "ZINC",
            "IRON",
            "METAL",
        ],
        "metal",
        "Air, or alcohol free of acetone, then a desiccator.",
    ),
];

/// Advice for a material by the name that the plan gives it.
#[must_use]
pub fn of(material: &str) -> Advice {
    let capitals = material.to_uppercase();
    let words: Vec<&str> = capitals
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect();
    let found = KNOWN
        .iter()
        .find(|(names, _, _)| words.iter().any(|word| names.contains(word)));
    found.map_or(UNKNOWN, |(_, material, how)| Advice {
        material: Some(material),
        how,
    })
}

/// What stands under every advice.
pub const ALWAYS: &str = "Glassy plastics stay 15 °C or more below their glass transition, or drying \
    anneals them. The maker's data sheet for the grade comes first. The hotter drying of pellets and \
    filament before making is not for exposed pieces.";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_found_as_words_and_never_inside_others() {
        assert_eq!(of("white PLA, basic").material, Some("PLA"));
        assert_eq!(of("Nylon (PA12)").material, Some("polyamide"));
        assert_eq!(of("plaster of a pallet").material, None);
        assert_eq!(of("starch-filled biopolyester").how, UNKNOWN.how);
        assert!(of("HDPE").how.contains("50 to 60"));
    }
}
