//! The demo's plan: invented pegs of an invented market garden.

use crate::study::plan::{
    Condition, Covariate, DimensionPlan, DryingPlan, DryingRule, EndOfTest, Environment, Holder,
    MassPlan, Material, OutlierRule, Plan, Response, Shape, SpecimenForm, Spreads, Stage,
};
use crate::study::reading::MoistureState;

/// The plan as it is sealed.
#[must_use]
pub fn plan() -> Plan {
    Plan {
        question: "Do moulded fleece pegs still hold after half a year and a year in the places where \
            a market garden leaves them?"
            .to_owned(),
        material: material(),
        lots: vec!["bag 1".to_owned(), "bag 2".to_owned()],
        builds: (1..=4).map(|n| format!("shot {n}")).collect(),
        form: SpecimenForm {
            shape: Shape::Rectangular,
            piece_name: "peg".to_owned(),
            end_of_test: EndOfTest::Break,
            end_figure: None,
            loading_direction: "pulled at the head, square to the shank".to_owned(),
            fixture: "shank clamped 40 mm deep between oak jaws".to_owned(),
            method: None,
        },
        dimensions: vec![
            DimensionPlan { name: "width".to_owned(), places: 1, nominal_mm: Some(9.0) },
            DimensionPlan { name: "thickness".to_owned(), places: 1, nominal_mm: Some(6.0) },
        ],
        mass: MassPlan {
            readings: 1,
            nominal_g: Some(8.4),
            readability_g: Some(0.001),
            margin_percent: 0.5,
        },
        conditions: conditions(),
        stages: vec![Stage { days: 180, window_days: 5 }, Stage { days: 365, window_days: 7 }],
        baseline: 6,
        spares: 6,
        reference_state: MoistureState::Conditioned,
        state_protocol: "Rinsed with tap water, brushed, then 14 days on a grid in the seed store at \
            20 to 24 °C, storage controls alongside."
            .to_owned(),
        drying: None,
        primary: Response::MaxLoad,
        primary_stage_days: 180,
        compares_storage_with_baseline: true,
        compares_exposed_with_baseline: true,
        margin_percent: 10.0,
        margin_reason: String::new(),
        confidence_percent: 95.0,
        spreads: Spreads::Separate,
        outlier_rule: OutlierRule::Grubbs1,
        covariate: Covariate::None,
        asks_weibull: false,
        retests: None,
        retention_percent: None,
        expected_cv_percent: 4.0,
        few_holders_reason: "There are two rain barrels on the plot and no third.".to_owned(),
        exceptions_rule: "A test that slips is invalid and stays on record. A peg that is not found \
            counts as lost; if others of its holder are found in fragments, as total loss. No peg is \
            tested twice."
            .to_owned(),
    }
}

/// The plan of the first study: the same with two early stages and a rule for when pegs that come back are
/// dry.
#[must_use]
pub fn pegs() -> Plan {
    let stage = |days, window_days| Stage { days, window_days };
    let mut conditions = conditions();
    for condition in &mut conditions {
        condition.replicates = vec![3, 3, 6, 6];
    }
    Plan {
        stages: vec![stage(30, 5), stage(90, 7), stage(180, 5), stage(365, 7)],
        conditions,
        drying: Some(DryingPlan {
            rule: DryingRule::RoomDry { days: 14 },
            is_before_too: false,
        }),
        ..plan()
    }
}

/// The plan of the second study: load only, one stage, still at its beginning.
#[must_use]
pub fn hooks() -> Plan {
    let hallway = ["hallway board 1", "hallway board 2", "hallway board 3"];
    let drawer = ["drawer 1", "drawer 2", "drawer 3"];
    Plan {
        question: "Do pressed fibre hooks carry less after a winter in an unheated hallway?"
            .to_owned(),
        material: Material {
            name: "pressed flax fibre with a casein binder".to_owned(),
            maker: "made up for this demo".to_owned(),
            colour: "natural".to_owned(),
            density_g_cm3: None,
        },
        lots: vec!["mix of September".to_owned()],
        builds: vec!["press day 1".to_owned(), "press day 2".to_owned()],
        form: SpecimenForm {
            shape: Shape::LoadOnly,
            piece_name: "hook".to_owned(),
            end_of_test: EndOfTest::Drop,
            end_figure: Some(20.0),
            loading_direction: "downwards at the tip".to_owned(),
            fixture: "screwed to a steel plate through both holes, 1.2 N m".to_owned(),
            method: None,
        },
        dimensions: Vec::new(),
        conditions: vec![
            Condition {
                replicates: vec![9],
                ..condition(
                    1,
                    "drawer",
                    Environment::Indoor,
                    "heated room, closed drawer",
                    &drawer,
                )
            },
            Condition {
                replicates: vec![9],
                ..condition(
                    2,
                    "hallway",
                    Environment::Other,
                    "north wall, unheated",
                    &hallway,
                )
            },
        ],
        stages: vec![Stage {
            days: 150,
            window_days: 5,
        }],
        primary_stage_days: 150,
        baseline: 6,
        spares: 4,
        few_holders_reason: String::new(),
        ..plan()
    }
}

fn material() -> Material {
    Material {
        name: "starch-filled biopolyester, moulding grade".to_owned(),
        maker: "made up for this demo".to_owned(),
        colour: "undyed".to_owned(),
        density_g_cm3: Some(1.29),
    }
}

fn conditions() -> Vec<Condition> {
    vec![
        condition(
            1,
            "seed store",
            Environment::Indoor,
            "dark cupboard, 18 to 24 °C",
            &["shelf 1", "shelf 2", "shelf 3"],
        ),
        condition(
            2,
            "raised bed",
            Environment::Outdoor,
            "on the fleece rail, facing south",
            &["rail A", "rail B", "rail C"],
        ),
        condition(
            3,
            "rain barrel",
            Environment::FreshWater,
            "hung 30 cm deep, mesh lid on",
            &["barrel by the shed", "barrel by the gate"],
        ),
        condition(
            4,
            "bed soil",
            Environment::Soil,
            "lying flat 12 cm deep",
            &["plot 1", "plot 2", "plot 3"],
        ),
    ]
}

fn condition(
    number: u32,
    name: &str,
    environment: Environment,
    place: &str,
    holders: &[&str],
) -> Condition {
    let key = format!("c{number}");
    let holders = holders.iter().zip(1..);
    Condition {
        holders: holders
            .map(|(name, n)| Holder {
                key: format!("{key}h{n}"),
                name: (*name).to_owned(),
            })
            .collect(),
        key,
        name: name.to_owned(),
        environment,
        is_storage_control: number == 1,
        place: place.to_owned(),
        replicates: vec![6, 6],
        // What hangs in water has it topped up every four weeks.
        renew_days: (environment == Environment::FreshWater).then_some(28),
    }
}
