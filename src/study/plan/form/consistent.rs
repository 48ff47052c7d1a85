//! Rules of the plan that need several fields at once.

use super::default_margin;
use super::rows::row_field;
use crate::study::fault::{Fault, Faults};
use crate::study::plan::{Covariate, Plan, Response, Shape, Stage, TestKind};
use crate::study::property::Property;
use crate::study::reading::{MoistureState, Quantity};

/// Most pieces that a plan exposes.
const MOST_PIECES: u64 = 50_000;

type Rule = Result<(), Fault>;

/// A rule with the fields it rests on.
type Resting = (fn(&Plan) -> Rule, &'static [&'static str]);

/// Each rule with the fields it rests on: while one of those is wrong, it would speak of a plan that
/// nobody meant.
const RULES: [Resting; 10] = [
    (drying, &["drying", "mass_", "reference_state"]),
    (stage, &["stage_", "condition_"]),
    (section, &["dimension_"]),
    (method, &["shape", "span", "test_kind"]),
    (response, &["dimension_", "mass_", "test_kind"]),
    (covariate, &["dimension_", "mass_"]),
    (baseline, &["baseline"]),
    (margin, &["margin"]),
    (holders, &["condition_"]),
    (pieces, &["stage_", "condition_"]),
];

/// Adds what the rules find to the faults of the fields themselves.
pub(super) fn check(plan: &Plan, faults: &mut Faults) {
    let mut found = Vec::new();
    for (rule, rests_on) in RULES {
        let is_wrong = |fault: &Fault| rests_on.iter().any(|f| fault.field.starts_with(f));
        if !faults.iter().any(is_wrong) {
            found.extend(rule(plan).err());
        }
    }
    faults.0.extend(found);
}

fn stage(plan: &Plan) -> Rule {
    let is_primary = |stage: &Stage| stage.days == plan.primary_stage_days;
    let Some(at) = plan.stages.iter().position(is_primary) else {
        let sentence = "The primary stage must be one of the stages.";
        return Err(Fault::new("primary_stage", sentence));
    };
    let mut exposed = plan.conditions.iter().filter(|c| !c.is_storage_control);
    if exposed.any(|c| c.replicates.get(at).is_some_and(|n| *n > 0)) {
        return Ok(());
    }
    let sentence = "At the primary stage no condition but the storage control has pieces.";
    Err(Fault::new("primary_stage", sentence))
}

/// A state that is called dried to constant mass needs to say when the mass is constant.
fn drying(plan: &Plan) -> Rule {
    let is_dried = plan.reference_state == MoistureState::ReDried && plan.mass.readings > 0;
    if !is_dried || plan.drying.is_some() {
        return Ok(());
    }
    let sentence = "Pieces are compared dried to constant mass: choose the rule that says when a mass \
        is constant.";
    Err(Fault::new("drying", sentence))
}

fn section(plan: &Plan) -> Rule {
    let is_read = |name: &str| plan.dimensions.iter().any(|d| d.name == name);
    let needed = plan.form.shape.section_dimensions();
    match needed.iter().find(|name| !is_read(name)) {
        None => Ok(()),
        Some(missing) => {
            let sentence = format!("This shape needs the dimension “{missing}” to be read.");
            Err(Fault::new(row_field("dimension_name", 0), sentence))
        }
    }
}

/// A method whose formulas lack something.
fn method(plan: &Plan) -> Rule {
    let Some(method) = plan.form.method else {
        return Ok(());
    };
    let shape = plan.form.shape;
    let is_bar = matches!(shape, Shape::Rectangular | Shape::Dumbbell);
    let (field, sentence) = match method.kind {
        TestKind::Tension | TestKind::Compression if shape == Shape::LoadOnly => (
            "shape",
            "A whole part has no section, so no stress: choose a shape, or leave the test at loads.",
        ),
        TestKind::Bending | TestKind::Impact if !is_bar => (
            "shape",
            "The formulas of this test hold for a rectangular section.",
        ),
        TestKind::PullOff if shape != Shape::Round => (
            "shape",
            "A dolly is round: choose the round section, whose diameter is the dolly's.",
        ),
        TestKind::Bending if method.span_mm.is_none() => {
            ("span", "Bending needs the distance of the supports.")
        }
        _ => return Ok(()),
    };
    Err(Fault::new(field, sentence))
}

/// Why a property can never be read by the plan's method.
fn unread(plan: &Plan, property: Property) -> Option<&'static str> {
    let method = plan.form.method;
    let kind = method.map(|method| method.kind);
    let is_pulled = matches!(kind, Some(TestKind::Tension | TestKind::Compression));
    match property {
        Property::Modulus | Property::YieldStress
            if !is_pulled && kind != Some(TestKind::Bending) =>
        {
            Some(
                "This property needs a test in tension, compression or bending: say how it is tested.",
            )
        }
        Property::StrainAtBreak if !is_pulled && kind != Some(TestKind::Bending) => {
            Some("A strain needs a test in tension, compression or bending: say how it is tested.")
        }
        Property::ImpactEnergy if kind != Some(TestKind::Impact) => {
            Some("An impact energy needs an impact test: say how it is tested.")
        }
        _ => None,
    }
}

fn response(plan: &Plan) -> Rule {
    let sentence = match &plan.primary {
        Response::Read(property) => match unread(plan, *property) {
            Some(sentence) => sentence.to_owned(),
            None => return Ok(()),
        },
        Response::Strength if !plan.form.has_section() && plan.form.shape != Shape::LoadOnly => {
            "An impact test gives an energy, not a strength: choose the impact energy.".to_owned()
        }
        Response::Strength if plan.form.shape == Shape::LoadOnly => {
            "A load-only piece has no section, so no strength: choose its load.".to_owned()
        }
        Response::MassChange if plan.mass.readings == 0 => {
            "A change of mass needs at least one weighing of each piece.".to_owned()
        }
        Response::LengthChange(name) if plan.readings_of(&Quantity::Length(name.clone())) == 0 => {
            format!("The dimension “{name}” is not among those read.")
        }
        _ => return Ok(()),
    };
    Err(Fault::new("primary", sentence))
}

fn covariate(plan: &Plan) -> Rule {
    let Covariate::Before(quantity) = &plan.covariate else {
        return Ok(());
    };
    let is_own = match (&plan.primary, quantity) {
        (Response::MassChange, Quantity::Mass) => true,
        (Response::LengthChange(name), Quantity::Length(covariate)) => name == covariate,
        _ => false,
    };
    if is_own {
        let sentence = "A reading cannot adjust its own change: choose another covariate or none.";
        return Err(Fault::new("covariate", sentence));
    }
    if plan.readings_of(quantity) == 0 {
        let sentence = "The covariate must be a reading that the plan calls for.";
        return Err(Fault::new("covariate", sentence));
    }
    Ok(())
}

fn baseline(plan: &Plan) -> Rule {
    let field = if plan.compares_storage_with_baseline {
        "compares_storage_with_baseline"
    } else if plan.compares_exposed_with_baseline {
        "compares_exposed_with_baseline"
    } else {
        return Ok(());
    };
    if plan.baseline > 0 {
        return Ok(());
    }
    Err(Fault::new(
        field,
        "There is no baseline set to compare with.",
    ))
}

fn margin(plan: &Plan) -> Rule {
    let default = default_margin(&plan.primary);
    if (plan.margin_percent - default).abs() < 1e-12 || !plan.margin_reason.is_empty() {
        return Ok(());
    }
    let sentence = format!("A margin other than {default} % needs its reason.");
    Err(Fault::new("margin_reason", sentence))
}

fn holders(plan: &Plan) -> Rule {
    let has_few = plan.conditions.iter().any(|c| c.holders.len() < 3);
    if !has_few || !plan.few_holders_reason.is_empty() {
        return Ok(());
    }
    let sentence = "Say why some condition has fewer than three holders; it is printed.";
    Err(Fault::new("few_holders_reason", sentence))
}

fn pieces(plan: &Plan) -> Rule {
    let replicates = plan.conditions.iter().flat_map(|c| &c.replicates);
    let pieces: u64 = replicates.map(|n| u64::from(*n)).sum();
    if (1..=MOST_PIECES).contains(&pieces) {
        return Ok(());
    }
    let field = row_field("condition_replicates", 0);
    Err(Fault::new(field, "A plan exposes from 1 to 50 000 pieces."))
}
