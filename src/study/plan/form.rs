//! The plan as a form: from what was typed to a [`Plan`], and back for showing it again.
//!
//! Repeated rows (conditions, stages, dimensions) are fields of the same name, aligned by position; a
//! row without a name is left out.

use super::{
    Condition, Covariate, DimensionPlan, EndOfTest, Environment, Holder, MassPlan, Material,
    OutlierRule, Plan, Response, Shape, SpecimenForm, Spreads, Stage,
};
use crate::study::fault::{Fault, Faults};
use crate::study::reading::{MoistureState, Quantity};
use crate::study::typed::Typed;
use crate::study::units::{number, optional, positive, whole};

/// Default margins in % of the storage control, by response (common practice, no source).
#[must_use]
pub fn default_margin(response: &Response) -> f64 {
    if response.needs_breaking() { 10.0 } else { 0.5 }
}

/// Reads a plan.
///
/// # Errors
/// Every mistake at once, in the order of the form.
pub fn parse(typed: &Typed) -> Result<Plan, Faults> {
    let mut faults = Faults::none();
    let plan = read(typed, &mut faults);
    if let Some(plan) = &plan {
        consistent(plan, &mut faults);
    }
    faults.and_some(plan)
}

fn read(typed: &Typed, faults: &mut Faults) -> Option<Plan> {
    let question = faults.keep(typed.required("question", "The question"));
    let material = material(typed, faults);
    let lots = names(typed, "lots", "A lot", faults);
    let builds = names(typed, "builds", "A build", faults);
    let form = specimen_form(typed, faults);
    let dimensions = dimensions(typed, faults);
    let mass = mass(typed, faults);
    let stages = stages(typed, faults);
    let conditions = conditions(typed, stages.len(), faults);
    let baseline = faults.keep(whole(
        "baseline",
        "The baseline set",
        typed.text("baseline"),
        0,
        5000,
    ));
    let spares = faults.keep(whole(
        "spares",
        "The number of spares",
        typed.text("spares"),
        0,
        5000,
    ));
    let state = MoistureState::typed(
        "reference_state",
        "The moisture state",
        typed.text("reference_state"),
    );
    let reference_state = faults.keep(state);
    let state_protocol = faults.keep(typed.paragraph("state_protocol", "The protocol"));
    let decision = decision(typed, &stages, faults);
    let few_holders_reason = faults.keep(typed.paragraph("few_holders_reason", "The reason"));
    let exceptions_rule = faults.keep(typed.paragraph("exceptions_rule", "The rule"));
    let decision = decision?;
    Some(Plan {
        question: question?,
        material: material?,
        lots,
        builds,
        form: form?,
        dimensions,
        mass: mass?,
        conditions,
        stages,
        baseline: baseline?,
        spares: spares?,
        reference_state: reference_state?,
        state_protocol: state_protocol?,
        primary: decision.primary,
        primary_stage_days: decision.stage_days,
        compares_storage_with_baseline: typed.has("compares_storage_with_baseline"),
        compares_exposed_with_baseline: typed.has("compares_exposed_with_baseline"),
        margin_percent: decision.margin_percent,
        margin_reason: decision.margin_reason,
        confidence_percent: decision.confidence_percent,
        spreads: decision.spreads,
        outlier_rule: decision.outlier_rule,
        covariate: decision.covariate,
        expected_cv_percent: decision.expected_cv_percent,
        few_holders_reason: few_holders_reason?,
        exceptions_rule: exceptions_rule?,
    })
}

fn material(typed: &Typed, faults: &mut Faults) -> Option<Material> {
    let name = faults.keep(typed.required("material", "The material"));
    let maker = faults.keep(typed.line("maker", "The maker"));
    let colour = faults.keep(typed.line("colour", "The colour"));
    let density = faults.keep(optional("density", "The density", typed.text("density")));
    if let Some(Some(value)) = density
        && !(0.01..=25.0).contains(&value)
    {
        faults.push("density", "The density must be in g/cm³, from 0.01 to 25.");
    }
    Some(Material {
        name: name?,
        maker: maker?,
        colour: colour?,
        density_g_cm3: density?,
    })
}

/// A list of names, one a line or parted by semicolons; at least one, none twice.
fn names(typed: &Typed, field: &str, called: &str, faults: &mut Faults) -> Vec<String> {
    let Some(text) = faults.keep(typed.paragraph(field, called)) else {
        return Vec::new();
    };
    let mut names: Vec<String> = Vec::new();
    for name in text
        .split(['\n', ';'])
        .map(str::trim)
        .filter(|name| !name.is_empty())
    {
        if name.chars().count() > 80 {
            faults.push(
                field,
                format!("{called} has a name longer than 80 characters."),
            );
        } else if names.iter().any(|known| known.eq_ignore_ascii_case(name)) {
            faults.push(
                field,
                format!("{called} named “{name}” stands there twice."),
            );
        } else {
            names.push(name.to_owned());
        }
    }
    match names.len() {
        0 => faults.push(field, format!("{called} is missing: name at least one.")),
        1..=500 => {}
        _ => faults.push(field, format!("{called}: at most 500 names.")),
    }
    names
}

fn specimen_form(typed: &Typed, faults: &mut Faults) -> Option<SpecimenForm> {
    let shape = faults.keep(Shape::typed("shape", "The shape", typed.text("shape")));
    let piece_name = faults.keep(typed.required("piece_name", "What a piece is called"));
    let end = EndOfTest::typed("end_of_test", "What ends a test", typed.text("end_of_test"));
    let end_of_test = faults.keep(end);
    let figure = optional(
        "end_figure",
        "The figure for the end of a test",
        typed.text("end_figure"),
    );
    let end_figure = faults.keep(figure);
    let direction = faults.keep(typed.required("loading_direction", "The loading direction"));
    let fixture = faults.keep(typed.required("fixture", "The fixture"));
    if end_of_test.is_some_and(|end| end != EndOfTest::Break) && end_figure == Some(None) {
        faults.push(
            "end_figure",
            "This end of a test needs its figure (%, mm or N).",
        );
    }
    Some(SpecimenForm {
        shape: shape?,
        piece_name: piece_name?,
        end_of_test: end_of_test?,
        end_figure: end_figure?,
        loading_direction: direction?,
        fixture: fixture?,
    })
}

fn dimensions(typed: &Typed, faults: &mut Faults) -> Vec<DimensionPlan> {
    let mut found: Vec<DimensionPlan> = Vec::new();
    for (row, name) in typed.all("dimension_name").into_iter().enumerate() {
        if name.is_empty() {
            continue;
        }
        let is_plain = |c: char| c.is_alphanumeric() || c == ' ' || c == '_';
        if name.chars().count() > 30 || !name.chars().all(is_plain) {
            let sentence = "A dimension's name has up to 30 letters, digits and blanks.";
            faults.push("dimension_name", sentence);
        } else if found.iter().any(|known| known.name == name) {
            faults.push(
                "dimension_name",
                format!("The dimension “{name}” stands there twice."),
            );
        }
        let places = whole(
            "dimension_places",
            "The number of places",
            or_default(typed.at("dimension_places", row), "3"),
            1,
            20,
        );
        let nominal = optional(
            "dimension_nominal",
            "The nominal value",
            typed.at("dimension_nominal", row),
        );
        let (places, nominal) = (faults.keep(places), faults.keep(nominal));
        if let (Some(places), Some(nominal_mm)) = (places, nominal) {
            let places = u8::try_from(places).unwrap_or(u8::MAX);
            found.push(DimensionPlan {
                name: name.to_owned(),
                places,
                nominal_mm,
            });
        }
    }
    found
}

fn mass(typed: &Typed, faults: &mut Faults) -> Option<MassPlan> {
    let readings = faults.keep(whole(
        "mass_readings",
        "The number of weighings",
        typed.text("mass_readings"),
        0,
        20,
    ));
    let nominal = optional(
        "mass_nominal",
        "The expected mass",
        typed.text("mass_nominal"),
    );
    let nominal_g = faults.keep(nominal);
    let readability = optional(
        "mass_readability",
        "The balance's step",
        typed.text("mass_readability"),
    );
    let readability_g = faults.keep(readability);
    let margin = positive(
        "mass_margin",
        "The margin for mass",
        or_default(typed.text("mass_margin"), "0.5"),
    );
    let margin_percent = faults.keep(margin);
    Some(MassPlan {
        readings: u8::try_from(readings?).ok()?,
        nominal_g: nominal_g?,
        readability_g: readability_g?,
        margin_percent: margin_percent?,
    })
}

fn stages(typed: &Typed, faults: &mut Faults) -> Vec<Stage> {
    let mut stages: Vec<Stage> = Vec::new();
    for (row, days) in typed.all("stage_days").into_iter().enumerate() {
        if days.is_empty() {
            continue;
        }
        let days = faults.keep(whole("stage_days", "A stage", days, 1, 36_525));
        let window = or_default(typed.at("stage_window", row), "7");
        let window = faults.keep(whole("stage_window", "A stage's window", window, 0, 365));
        if let (Some(days), Some(window_days)) = (days, window) {
            if stages.last().is_some_and(|last| last.days >= days) {
                faults.push(
                    "stage_days",
                    "The stages must stand in ascending order, none twice.",
                );
            }
            stages.push(Stage { days, window_days });
        }
    }
    match stages.len() {
        0 => faults.push(
            "stage_days",
            "Name at least one stage, in days after putting out.",
        ),
        1..=40 => {}
        _ => faults.push("stage_days", "A plan has at most 40 stages."),
    }
    stages
}

fn conditions(typed: &Typed, stages: usize, faults: &mut Faults) -> Vec<Condition> {
    let mut found: Vec<Condition> = Vec::new();
    let control = typed.text("condition_control");
    for (row, name) in typed.all("condition_name").into_iter().enumerate() {
        if name.is_empty() {
            continue;
        }
        if found
            .iter()
            .any(|known| known.name.eq_ignore_ascii_case(name))
        {
            faults.push(
                "condition_name",
                format!("The condition “{name}” stands there twice."),
            );
        }
        let key = condition_key(typed, row);
        let parsed = condition(typed, row, name, key, stages, faults);
        let is_storage_control = control == row.to_string();
        found.extend(parsed.map(|condition| Condition {
            is_storage_control,
            ..condition
        }));
    }
    match found.len() {
        0 => faults.push("condition_name", "Name at least one condition."),
        1..=40 => {}
        _ => faults.push("condition_name", "A plan has at most 40 conditions."),
    }
    found
}

/// The key sent with the row when the condition is known already, or a new one from its position.
fn condition_key(typed: &Typed, row: usize) -> String {
    let is_key = |key: &str| {
        key.len() < 8 && key.starts_with('c') && key.chars().skip(1).all(|c| c.is_ascii_digit())
    };
    let sent = typed.at("condition_key", row);
    let taken: Vec<&str> = typed.all("condition_key");
    if is_key(sent) && taken.iter().take(row).all(|other| *other != sent) {
        return sent.to_owned();
    }
    (row + 1..)
        .map(|number| format!("c{number}"))
        .find(|key| !taken.contains(&key.as_str()))
        .unwrap_or_default()
}

fn condition(
    typed: &Typed,
    row: usize,
    name: &str,
    key: String,
    stages: usize,
    faults: &mut Faults,
) -> Option<Condition> {
    let cleaned = crate::study::typed::clean("condition_name", "A condition's name", name, 80);
    let name = faults.keep(cleaned)?;
    let kind = or_default(typed.at("condition_environment", row), "other");
    let environment = faults.keep(Environment::typed(
        "condition_environment",
        "The kind of place",
        kind,
    ))?;
    let place = typed.at("condition_place", row);
    let place = crate::study::typed::clean("condition_place", "The place", place, 300);
    let place = faults.keep(place)?;
    let holders = holders(&key, &name, typed.at("condition_holders", row), faults)?;
    let replicates = replicates(typed.at("condition_replicates", row), stages, faults)?;
    Some(Condition {
        key,
        name,
        environment,
        is_storage_control: false,
        place,
        holders,
        replicates,
    })
}

/// Either a number of holders, or their names parted by semicolons.
fn holders(key: &str, condition: &str, text: &str, faults: &mut Faults) -> Option<Vec<Holder>> {
    let text = or_default(text, "1");
    let names: Vec<String> = match text.parse::<usize>() {
        Ok(1) => vec![condition.to_owned()],
        Ok(count @ 2..=200) => (1..=count).map(|n| format!("{condition} {n}")).collect(),
        Ok(_) => Vec::new(),
        Err(_) => text
            .split(';')
            .map(|n| n.trim().to_owned())
            .filter(|n| !n.is_empty())
            .collect(),
    };
    let has_long = names.iter().any(|name| name.chars().count() > 80);
    let mut sorted = names.clone();
    sorted.sort();
    sorted.dedup();
    if names.is_empty() || names.len() > 200 || has_long || sorted.len() != names.len() {
        let sentence =
            "Holders are a number from 1 to 200, or different names parted by semicolons.";
        faults.push("condition_holders", sentence);
        return None;
    }
    let keyed = |(n, name)| Holder {
        key: format!("{key}h{}", n + 1),
        name,
    };
    Some(names.into_iter().enumerate().map(keyed).collect())
}

/// One number for every stage, or as many numbers as there are stages.
fn replicates(text: &str, stages: usize, faults: &mut Faults) -> Option<Vec<u32>> {
    let mut numbers = Vec::new();
    for part in text
        .split([',', ';', ' '])
        .map(str::trim)
        .filter(|part| !part.is_empty())
    {
        let parsed = whole(
            "condition_replicates",
            "The number of pieces",
            part,
            0,
            5000,
        );
        numbers.push(faults.keep(parsed)?);
    }
    match (numbers.as_slice(), stages) {
        ([one], _) => Some(vec![*one; stages]),
        (several, _) if several.len() == stages && stages > 0 => Some(numbers),
        _ => {
            let sentence = "Pieces per stage: one number for all stages, or one for each stage.";
            faults.push("condition_replicates", sentence);
            None
        }
    }
}

/// How the answer is decided.
struct DecisionPart {
    primary: Response,
    stage_days: u32,
    margin_percent: f64,
    margin_reason: String,
    confidence_percent: f64,
    spreads: Spreads,
    outlier_rule: OutlierRule,
    covariate: Covariate,
    expected_cv_percent: f64,
}

fn decision(typed: &Typed, stages: &[Stage], faults: &mut Faults) -> Option<DecisionPart> {
    let response = Response::parse(typed.text("primary"));
    let response = response.ok_or_else(|| Fault::new("primary", "Choose the primary response."));
    let primary = faults.keep(response);
    let last = stages
        .last()
        .map_or_else(String::new, |stage| stage.days.to_string());
    let stage = or_default(typed.text("primary_stage"), &last);
    let stage = whole("primary_stage", "The primary stage", stage, 1, 36_525);
    let stage_days = faults.keep(stage);
    let margin = number("margin", "The margin", typed.text("margin"));
    let margin_percent =
        faults.keep(margin.and_then(|margin| within("margin", margin, 0.001, 90.0)));
    let margin_reason = faults.keep(typed.line("margin_reason", "The reason for the margin"));
    let confidence = number(
        "confidence",
        "The confidence",
        or_default(typed.text("confidence"), "95"),
    );
    let confidence = confidence.and_then(|confidence| within("confidence", confidence, 50.0, 99.9));
    let confidence_percent = faults.keep(confidence);
    let spreads = or_default(typed.text("spreads"), "separate");
    let spreads = faults.keep(Spreads::typed("spreads", "The spreads", spreads));
    let rule = or_default(typed.text("outlier_rule"), "none");
    let outlier_rule = faults.keep(OutlierRule::typed("outlier_rule", "The outlier rule", rule));
    let covariate = Covariate::try_from(or_default(typed.text("covariate"), "none").to_owned());
    let covariate =
        faults.keep(covariate.map_err(|_| Fault::new("covariate", "Choose a covariate or none.")));
    let cv = positive(
        "expected_cv",
        "The expected scatter",
        or_default(typed.text("expected_cv"), "5"),
    );
    let expected_cv_percent = faults.keep(cv.and_then(|cv| within("expected_cv", cv, 0.01, 100.0)));
    Some(DecisionPart {
        primary: primary?,
        stage_days: stage_days?,
        margin_percent: margin_percent?,
        margin_reason: margin_reason?,
        confidence_percent: confidence_percent?,
        spreads: spreads?,
        outlier_rule: outlier_rule?,
        covariate: covariate?,
        expected_cv_percent: expected_cv_percent?,
    })
}

fn within(field: &str, value: f64, from: f64, to: f64) -> Result<f64, Fault> {
    let sentence = || format!("This must lie between {from} and {to}.");
    if (from..=to).contains(&value) {
        Ok(value)
    } else {
        Err(Fault::new(field, sentence()))
    }
}

/// Rules that need several members at once.
fn consistent(plan: &Plan, faults: &mut Faults) {
    if plan.stage(plan.primary_stage_days).is_none() {
        faults.push(
            "primary_stage",
            "The primary stage must be one of the stages.",
        );
    }
    for needed in plan.form.shape.section_dimensions() {
        if !plan.dimensions.iter().any(|d| d.name == *needed) {
            let sentence = format!("This shape needs the dimension “{needed}” to be read.");
            faults.push("dimension_name", sentence);
        }
    }
    match &plan.primary {
        Response::Strength if plan.form.shape == Shape::LoadOnly => {
            faults.push(
                "primary",
                "A load-only piece has no section, so no strength: choose its load.",
            );
        }
        Response::MassChange if plan.mass.readings == 0 => {
            faults.push(
                "primary",
                "A change of mass needs at least one weighing of each piece.",
            );
        }
        Response::LengthChange(name) if plan.readings_of(&Quantity::Length(name.clone())) == 0 => {
            faults.push(
                "primary",
                format!("The dimension “{name}” is not among those read."),
            );
        }
        _ => {}
    }
    if let Covariate::Before(quantity) = &plan.covariate
        && plan.readings_of(quantity) == 0
    {
        faults.push(
            "covariate",
            "The covariate must be a reading that the plan calls for.",
        );
    }
    let is_default = (plan.margin_percent - default_margin(&plan.primary)).abs() < 1e-12;
    if !is_default && plan.margin_reason.is_empty() {
        let sentence = format!(
            "A margin other than {} % needs its reason.",
            default_margin(&plan.primary)
        );
        faults.push("margin_reason", sentence);
    }
    let has_few = plan.conditions.iter().any(|c| c.holders.len() < 3);
    if has_few && plan.few_holders_reason.is_empty() {
        let sentence = "Say why some condition has fewer than three holders; it is printed.";
        faults.push("few_holders_reason", sentence);
    }
    let pieces: u64 = plan
        .conditions
        .iter()
        .flat_map(|c| &c.replicates)
        .map(|n| u64::from(*n))
        .sum();
    if pieces == 0 || pieces > 50_000 {
        faults.push(
            "condition_replicates",
            "A plan exposes from 1 to 50 000 pieces.",
        );
    }
}

fn or_default<'a>(text: &'a str, default: &'a str) -> &'a str {
    if text.is_empty() { default } else { text }
}

/// The form filled with a plan.
#[must_use]
pub fn typed(plan: &Plan) -> Typed {
    let mut form = Typed::default();
    form.set("question", &plan.question);
    form.set("material", &plan.material.name);
    form.set("maker", &plan.material.maker);
    form.set("colour", &plan.material.colour);
    form.set("density", figure(plan.material.density_g_cm3));
    form.set("lots", plan.lots.join("\n"));
    form.set("builds", plan.builds.join("\n"));
    form.set("shape", plan.form.shape.key());
    form.set("piece_name", &plan.form.piece_name);
    form.set("end_of_test", plan.form.end_of_test.key());
    form.set("end_figure", figure(plan.form.end_figure));
    form.set("loading_direction", &plan.form.loading_direction);
    form.set("fixture", &plan.form.fixture);
    form.set("mass_readings", plan.mass.readings.to_string());
    form.set("mass_nominal", figure(plan.mass.nominal_g));
    form.set("mass_readability", figure(plan.mass.readability_g));
    form.set("mass_margin", plan.mass.margin_percent.to_string());
    rows(plan, &mut form);
    form.set("baseline", plan.baseline.to_string());
    form.set("spares", plan.spares.to_string());
    form.set("reference_state", plan.reference_state.key());
    form.set("state_protocol", &plan.state_protocol);
    form.set("primary", plan.primary.key());
    form.set("primary_stage", plan.primary_stage_days.to_string());
    let ticked = |yes: bool| if yes { "yes" } else { "" };
    form.set(
        "compares_storage_with_baseline",
        ticked(plan.compares_storage_with_baseline),
    );
    form.set(
        "compares_exposed_with_baseline",
        ticked(plan.compares_exposed_with_baseline),
    );
    form.set("margin", plan.margin_percent.to_string());
    form.set("margin_reason", &plan.margin_reason);
    form.set("confidence", plan.confidence_percent.to_string());
    form.set("spreads", plan.spreads.key());
    form.set("outlier_rule", plan.outlier_rule.key());
    form.set("covariate", String::from(plan.covariate.clone()));
    form.set("expected_cv", plan.expected_cv_percent.to_string());
    form.set("few_holders_reason", &plan.few_holders_reason);
    form.set("exceptions_rule", &plan.exceptions_rule);
    form
}

fn rows(plan: &Plan, form: &mut Typed) {
    for dimension in &plan.dimensions {
        form.add("dimension_name", &dimension.name);
        form.add("dimension_places", dimension.places.to_string());
        form.add("dimension_nominal", figure(dimension.nominal_mm));
    }
    for stage in &plan.stages {
        form.add("stage_days", stage.days.to_string());
        form.add("stage_window", stage.window_days.to_string());
    }
    for (row, condition) in plan.conditions.iter().enumerate() {
        let holders: Vec<&str> = condition.holders.iter().map(|h| h.name.as_str()).collect();
        let replicates: Vec<String> = condition.replicates.iter().map(u32::to_string).collect();
        form.add("condition_key", &condition.key);
        form.add("condition_name", &condition.name);
        form.add("condition_environment", condition.environment.key());
        form.add("condition_place", &condition.place);
        form.add("condition_holders", holders.join("; "));
        form.add("condition_replicates", replicates.join(", "));
        if condition.is_storage_control {
            form.set("condition_control", row.to_string());
        }
    }
}

fn figure(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}
