//! The usual cautions of each step that can hurt somebody, by the places involved. Pages of every
//! face show the same sentences; local rules and licensed practice come first, which the page says
//! beneath. All are common practice without a source, except where one is named.

use super::plan::Environment;

/// A step of the job at which a page shows cautions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Making and finishing specimens.
    Make,
    /// Putting out.
    PutOut,
    /// Looking after what is out.
    Tend,
    /// Taking in.
    TakeIn,
    /// Cleaning what came back.
    Clean,
    /// Drying in an oven or desiccator.
    Dry,
    /// A jar, rack or plot that broke, froze or was flooded.
    Incident,
    /// Packing and shipping.
    Ship,
    /// Breaking.
    Break,
    /// Throwing away what is left.
    Dispose,
}

const PUBLISH: &str = "Research result for the pieces tested. Not for certifying, rating or approving \
    load-bearing, lifting, pressure, safety or medical parts. Local codes and licensed professionals \
    decide.";

/// What stands under every published result.
#[must_use]
pub fn of_a_published_result() -> &'static str {
    PUBLISH
}

/// The cautions of a step for pieces in these places, each sentence once, the gravest first.
#[must_use]
pub fn of(step: Step, places: impl IntoIterator<Item = Environment>) -> Vec<&'static str> {
    let mut said: Vec<&'static str> = Vec::new();
    let mut say = |sentences: &[&'static str]| {
        for sentence in sentences {
            if !said.contains(sentence) {
                said.push(sentence);
            }
        }
    };
    let mut places: Vec<Environment> = places.into_iter().collect();
    places.sort_unstable();
    places.dedup();
    for place in &places {
        match step {
            Step::PutOut => say(setting_up(*place)),
            Step::Tend | Step::TakeIn | Step::Incident => say(being_there(*place)),
            Step::Clean => say(on_what_came_back(*place)),
            _ => {}
        }
    }
    say(by_step(step));
    said
}

/// What sticks to pieces from such a place.
fn on_what_came_back(place: Environment) -> &'static [&'static str] {
    match place {
        Environment::FreshWater | Environment::SaltWater | Environment::Other => &[STAGNANT],
        Environment::Soil | Environment::Compost => &[LEGIONELLA],
        Environment::Indoor | Environment::Outdoor | Environment::Oven => &[],
    }
}

const HEIGHTS: &str = "Falls: no lone work on ladders, roofs or racks. Secure racks against wind; mind \
    sun and traffic, and ask the owner of the ground.";
const WATERSIDE: &str = "Open water: lifejacket, tide and weather, never alone. Cover cuts and wash \
    afterwards; dirty water carries leptospirosis and algal toxins.";
const STAGNANT: &str = "Stagnant water and slime: gloves and goggles, no food, disinfect surfaces; no \
    high-pressure washing.";
const BUCKETS: &str =
    "Open buckets drown small children and breed mosquitoes: mesh lid, out of reach.";
const JARS: &str = "Glass jars crack when they freeze: leave head space or use plastic, and wear \
    cut-proof gloves.";
// Legionella longbeachae: Workplace Health and Safety Queensland.
const LEGIONELLA: &str = "Compost, potting mix and soil can hold Legionella longbeachae, which infects \
    by breathed dust or from hand to mouth; the risk is higher over 50, for smokers and with weak \
    immunity or chronic disease. Damp the material, wear gloves and a mask, ventilate, wash hands.";
const TETANUS: &str = "Keep tetanus vaccination current; mind mould spores, and do not open a hot pile \
    face-on.";
const GAS: &str = "Closed jars of soil or compost build up gas: vent them.";
const DIGGING: &str = "Ask for buried cables and pipes before digging.";
const HOT: &str = "Ovens: plastics can melt or ignite. Stay far below softening, no closed containers, \
    no flammable vapours; check the set point and the over-temperature cut-out, ventilate, and never \
    use a food oven.";
const SUPPLY: &str = "Electrical supplies in the wet or outdoors only behind a residual-current device; \
    waterproof loggers.";
const TETHER: &str = "Tether hooks and fixtures, and leave no tag, net or piece behind.";

/// Where something is hung, sunk, dug in or heated.
fn setting_up(place: Environment) -> &'static [&'static str] {
    match place {
        Environment::Indoor => &[],
        Environment::Outdoor => &[HEIGHTS, SUPPLY, TETHER],
        Environment::FreshWater => &[WATERSIDE, STAGNANT, BUCKETS, JARS, SUPPLY],
        Environment::SaltWater => &[WATERSIDE, STAGNANT, JARS, SUPPLY, TETHER],
        Environment::Soil => &[LEGIONELLA, DIGGING, JARS],
        Environment::Compost => &[LEGIONELLA, TETANUS, GAS, JARS],
        Environment::Oven => &[HOT],
        Environment::Other => &[HEIGHTS, STAGNANT, SUPPLY],
    }
}

/// Where somebody goes to look, to top up, to fetch.
fn being_there(place: Environment) -> &'static [&'static str] {
    match place {
        Environment::Indoor => &[],
        Environment::Outdoor => &[HEIGHTS],
        Environment::FreshWater | Environment::SaltWater => &[WATERSIDE, STAGNANT],
        Environment::Soil => &[LEGIONELLA, TETANUS],
        Environment::Compost => &[LEGIONELLA, TETANUS, GAS],
        Environment::Oven => &[HOT],
        Environment::Other => &[HEIGHTS, STAGNANT],
    }
}

fn by_step(step: Step) -> &'static [&'static str] {
    match step {
        Step::Make => &[
            "Ventilate printers and ovens; mind burns. Sand wet, with a mask. Gloves for resin.",
            "Chemicals: read the data sheet; acid into water, never the other way; mind the waste.",
        ],
        Step::PutOut | Step::Tend => &[],
        Step::TakeIn => {
            &["Bag fragments: collect every piece, and filter the solids out of wash water."]
        }
        Step::Clean => &[
            "Soft brush or cloth and water; no solvent, and no high-pressure washing of fouled pieces. \
             Filter the solids out of the wash water.",
        ],
        Step::Dry => &[HOT],
        Step::Incident => &[
            JARS,
            "Broken glass and ice: cut-proof gloves, firm shoes, no bare hands.",
        ],
        Step::Ship => &[
            "Clean off soil: plant-health rules may forbid sending it. Declare solvents and the \
             batteries of loggers.",
        ],
        Step::Break => &[
            "Safety glasses and a screen: brittle fragments fly. Stand aside; long or springy pieces \
             store energy.",
            "Hands clear; set the limit stops; no home-made rig under or above people.",
            "Dead weights and pull-off tests: keep feet clear, and put a catch box underneath.",
        ],
        Step::Dispose => &[
            "Collect fragments and the solids of wash water; leave no tags, nets or pieces. \
             “Compostable” does not mean litter. Follow the local rules.",
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn indoors_needs_none_and_water_and_compost_need_theirs() {
        assert!(of(Step::PutOut, [Environment::Indoor]).is_empty());
        let wet = of(
            Step::PutOut,
            [Environment::FreshWater, Environment::Compost],
        )
        .concat();
        for word in ["lifejacket", "Stagnant", "freeze", "Legionella", "gas"] {
            assert!(wet.contains(word), "{word}");
        }
        assert!(
            of(Step::TakeIn, [Environment::Outdoor])
                .concat()
                .contains("ladders")
        );
        assert!(of(Step::Dry, []).concat().contains("ignite"));
        assert!(of(Step::Break, []).concat().contains("Safety glasses"));
    }

    #[test]
    fn no_sentence_stands_twice() {
        let mut all = of(Step::Clean, Environment::ALL);
        all.extend(of(Step::Dispose, Environment::ALL));
        let mut once = of(Step::PutOut, Environment::ALL);
        let n = once.len();
        once.dedup();
        once.sort_unstable();
        once.dedup();
        assert_eq!(once.len(), n);
        assert!(all.len() >= 3);
    }
}
