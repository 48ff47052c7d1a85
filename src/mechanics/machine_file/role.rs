//! What a column holds, from its name and unit in the languages that machines speak, or from its
//! numbers alone.

use super::unit::{Measure, Unit};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The load.
    Load,
    /// Travel of the grips or crosshead, deflection of a bar.
    Travel,
    /// Change of the gauge length, from an extensometer.
    Elongation,
    /// Strain, from an extensometer or worked out by the machine.
    Strain,
    /// Stress, worked out by the machine.
    Stress,
    /// Time since the start.
    Time,
    /// The name of the piece, in each row.
    Piece,
    /// Not used.
    Unused,
}

impl Role {
    /// All, in the order in which they are offered.
    pub const ALL: [Self; 8] = [
        Self::Load,
        Self::Travel,
        Self::Elongation,
        Self::Strain,
        Self::Stress,
        Self::Time,
        Self::Piece,
        Self::Unused,
    ];

    /// The name in forms and in what is remembered.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Load => "load",
            Self::Travel => "travel",
            Self::Elongation => "elongation",
            Self::Strain => "strain",
            Self::Stress => "stress",
            Self::Time => "time",
            Self::Piece => "piece",
            Self::Unused => "unused",
        }
    }

    /// As it is told.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Load => "load",
            Self::Travel => "travel of the grips, or deflection",
            Self::Elongation => "extensometer, length",
            Self::Strain => "strain",
            Self::Stress => "stress",
            Self::Time => "time",
            Self::Piece => "name of the piece",
            Self::Unused => "not used",
        }
    }

    /// Reads [`Role::key`].
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.key() == key)
    }

    /// What its unit measures; `None` where a unit means nothing.
    #[must_use]
    pub fn measure(self) -> Option<Measure> {
        match self {
            Self::Load => Some(Measure::Force),
            Self::Travel | Self::Elongation => Some(Measure::Length),
            Self::Strain => Some(Measure::Strain),
            Self::Stress => Some(Measure::Stress),
            Self::Time => Some(Measure::Time),
            Self::Piece | Self::Unused => None,
        }
    }
}

/// Why a column was taken for what it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Because {
    /// Its name says so.
    Name,
    /// Only its unit says so.
    Unit,
    /// Only the run of its numbers says so.
    Numbers,
    /// A person said so.
    Said,
    /// Nothing says anything.
    Nothing,
}

/// Words whole or in part, all lower case; shorter ones than four letters count whole only.
/// The extensometer comes before travel, strain before length.
const WORDS: [(Role, &[&str]); 6] = [
    (
        Role::Stress,
        &[
            "stress",
            "spannung",
            "contrainte",
            "esfuerzo",
            "tensión",
            "tensione",
            "spanning",
            "sigma",
            "σ",
        ],
    ),
    (
        Role::Strain,
        &[
            "strain",
            "dehnung",
            "stauchung",
            "déformation",
            "deformation",
            "deformación",
            "deformazione",
            "epsilon",
            "rek",
            "eps",
            "ε",
        ],
    ),
    (
        Role::Elongation,
        &[
            "extensometer",
            "extensomètre",
            "extensómetro",
            "estensometro",
            "feindehn",
            "ansetzaufnehmer",
            "längenänderung",
            "laengenaenderung",
            "gauge",
            "messlänge",
            "ext",
            "dl",
            "δl",
        ],
    ),
    (
        Role::Travel,
        &[
            "extension",
            "displacement",
            "travel",
            "crosshead",
            "deflection",
            "position",
            "stroke",
            "elongation",
            "verschiebung",
            "verformung",
            "durchbiegung",
            "traverse",
            "weg",
            "hub",
            "verlängerung",
            "déplacement",
            "deplacement",
            "allongement",
            "course",
            "flèche",
            "desplazamiento",
            "recorrido",
            "alargamiento",
            "spostamento",
            "corsa",
            "allungamento",
            "verplaatsing",
            "disp",
            "pos",
            "s",
            "x",
            "d",
        ],
    ),
    (
        Role::Load,
        &[
            "force",
            "load",
            "kraft",
            "last",
            "charge",
            "effort",
            "fuerza",
            "carga",
            "forza",
            "carico",
            "kracht",
            "belasting",
            "lbf",
            "kn",
            "f",
            "p",
        ],
    ),
    (
        Role::Time,
        &[
            "time", "zeit", "temps", "tiempo", "tempo", "tijd", "elapsed", "t",
        ],
    ),
];

/// Strain in a unit of length is an extensometer's; a deformation so may be the travel as well.
const STRAINED: [&str; 5] = ["strain", "dehnung", "rek", "eps", "ε"];

/// Words of columns that nothing here uses, though their units look useful.
const OTHERS: [&str; 16] = [
    "temperat",
    "speed",
    "geschwindigkeit",
    "vitesse",
    "width",
    "breite",
    "thickness",
    "dicke",
    "number",
    "nummer",
    "index",
    "cycle",
    "zyklus",
    "energy",
    "energie",
    "setpoint",
];

/// Words of a column that names the piece.
const PIECES: [&str; 12] = [
    "specimen",
    "sample",
    "piece",
    "probe",
    "prüfling",
    "éprouvette",
    "eprouvette",
    "probeta",
    "provino",
    "proefstuk",
    "code",
    "coupon",
];

fn says(name: &str, word: &str) -> bool {
    if word.chars().count() >= 4 {
        return name.contains(word);
    }
    name.split(|sign: char| !sign.is_alphanumeric())
        .any(|token| token.trim_end_matches(|sign: char| sign.is_ascii_digit()) == word)
}

/// What a column holds by its name and unit, and which of the two says so.
#[must_use]
pub fn by_header(name: &str, unit: Option<Unit>) -> (Role, Because) {
    let name = name.to_lowercase();
    if OTHERS.iter().any(|word| says(&name, word)) {
        return (Role::Unused, Because::Name);
    }
    let fits = |role: Role| unit.is_none_or(|unit| role.measure() == Some(unit.measure));
    let named = WORDS
        .iter()
        .filter(|(role, _)| fits(*role))
        .find(|(_, words)| words.iter().any(|word| says(&name, word)));
    // A strain in mm is what an extensometer shows.
    let is_strained =
        |measure| measure == Measure::Length && STRAINED.iter().any(|word| says(&name, word));
    match (named, unit) {
        (Some((role, _)), Some(unit)) if is_strained(unit.measure) && *role == Role::Travel => {
            (Role::Elongation, Because::Name)
        }
        (Some((role, _)), _) => (*role, Because::Name),
        (None, Some(unit)) if is_strained(unit.measure) => (Role::Elongation, Because::Name),
        (None, Some(unit)) => (by_unit(unit.measure), Because::Unit),
        (None, None) => (Role::Unused, Because::Nothing),
    }
}

fn by_unit(measure: Measure) -> Role {
    match measure {
        Measure::Force => Role::Load,
        Measure::Length => Role::Travel,
        Measure::Time => Role::Time,
        Measure::Stress => Role::Stress,
        Measure::Strain => Role::Strain,
    }
}

/// Whether a column of text is named as the piece's name.
#[must_use]
pub fn names_pieces(name: &str) -> bool {
    let name = name.to_lowercase();
    PIECES.iter().any(|word| name.contains(word))
}

/// What the columns of a table without a usable header hold, by the run of their numbers: time runs
/// in even steps, travel runs one way, the load is what remains and falls at the end.
#[must_use]
pub fn by_numbers(columns: &[&[f64]]) -> Vec<Role> {
    let mut roles = vec![Role::Unused; columns.len()];
    let shapes: Vec<Shape> = columns.iter().map(|values| Shape::of(values)).collect();
    // The load: the one that turns back the most; where none does, the last one.
    let turning = (0..shapes.len()).max_by(|a, b| {
        let fall = |at: &usize| shapes.get(*at).map_or(0.0, |shape| shape.fall);
        fall(a).total_cmp(&fall(b)).then(a.cmp(b))
    });
    let load = turning.unwrap_or(0);
    let mut axes: Vec<usize> = (0..shapes.len())
        .filter(|at| *at != load)
        .filter(|at| shapes.get(*at).is_some_and(|shape| shape.is_one_way))
        .collect();
    if axes.len() >= 2 {
        let even = axes
            .iter()
            .position(|at| shapes.get(*at).is_some_and(|shape| shape.is_even));
        set(&mut roles, axes.remove(even.unwrap_or(0)), Role::Time);
    }
    if let Some(travel) = axes.first() {
        set(&mut roles, *travel, Role::Travel);
    }
    set(&mut roles, load, Role::Load);
    roles
}

fn set(roles: &mut [Role], at: usize, role: Role) {
    if let Some(found) = roles.get_mut(at) {
        *found = role;
    }
}

struct Shape {
    /// How much of its greatest distance from the start is lost again at the end.
    fall: f64,
    is_one_way: bool,
    is_even: bool,
}

impl Shape {
    fn of(values: &[f64]) -> Self {
        let start = values.first().copied().unwrap_or(0.0);
        let far = values
            .iter()
            .fold(0.0f64, |far, v| far.max((v - start).abs()));
        let end = values.last().map_or(0.0, |v| (v - start).abs());
        let steps: Vec<f64> = values
            .windows(2)
            .filter_map(|pair| Some(pair.get(1)? - pair.first()?))
            .collect();
        let count = steps.len().max(1);
        let up = steps.iter().filter(|step| **step >= 0.0).count();
        let one_way = up.max(steps.len() - up);
        let mean = steps.iter().sum::<f64>() / count as f64;
        let near = |step: &&f64| (**step - mean).abs() <= 0.02 * mean.abs();
        Self {
            fall: if far > 0.0 { (far - end) / far } else { 0.0 },
            is_one_way: far > 0.0 && one_way * 20 >= count * 19,
            is_even: mean != 0.0 && steps.iter().filter(near).count() * 10 >= count * 9,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::unit::parse;
    use super::*;

    #[test]
    fn names_in_several_languages() {
        for (name, unit, want) in [
            ("Standardkraft", "N", Role::Load),
            ("Traversenweg", "mm", Role::Travel),
            ("Dehnung", "%", Role::Strain),
            ("Dehnung (Aufnehmer)", "mm", Role::Elongation),
            ("Extensometer 1", "mm", Role::Elongation),
            ("Extension", "mm", Role::Travel),
            ("Tensile strain (Extension)", "mm/mm", Role::Strain),
            ("Effort", "kN", Role::Load),
            ("Déplacement", "mm", Role::Travel),
            ("Prüfzeit", "s", Role::Time),
            ("Stress", "MPa", Role::Stress),
            ("F", "N", Role::Load),
            ("dL", "mm", Role::Elongation),
            ("Width", "mm", Role::Unused),
            ("Speed", "", Role::Unused),
            ("Channel 3", "kN", Role::Load),
        ] {
            assert_eq!(by_header(name, parse(unit)).0, want, "{name}");
        }
        assert_eq!(by_header("Channel 3", parse("kN")).1, Because::Unit);
        assert_eq!(by_header("A1", None), (Role::Unused, Because::Nothing));
    }

    #[test]
    fn numbers_alone() {
        let time = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5];
        let travel = [0.0, 0.01, 0.03, 0.06, 0.08, 0.11];
        let load = [0.0, 5.0, 15.0, 30.0, 40.0, 1.0];
        let roles = by_numbers(&[&time, &load, &travel]);
        assert_eq!(roles, [Role::Time, Role::Load, Role::Travel]);
        assert_eq!(by_numbers(&[&travel, &load]), [Role::Travel, Role::Load]);
        assert_eq!(by_numbers(&[&load]), [Role::Load]);
        assert!(by_numbers(&[]).is_empty());
    }
}
