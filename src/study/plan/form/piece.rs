//! The part of the form about the pieces: material, form, test, masses, dimensions.

use super::rows::Rows;
use super::{or_default, within, within_if_given};
use crate::study::fault::{Fault, Faults};
use crate::study::plan::{
    DimensionPlan, EndOfTest, MassPlan, Material, ModulusBy, Shape, SizesAt, SpecimenForm,
    TestKind, TestMethod,
};
use crate::study::typed::Typed;
use crate::study::units::{optional, positive, whole};

/// Most dimensions that a plan reads on a piece.
const MOST_DIMENSIONS: usize = 20;

pub(super) fn material(typed: &Typed, faults: &mut Faults) -> Option<Material> {
    let name = faults.keep(typed.required("material", "The material"));
    let maker = faults.keep(typed.line("maker", "The maker"));
    let colour = faults.keep(typed.line("colour", "The colour"));
    let density = optional("density", "The density", typed.text("density"));
    // From foam to osmium.
    let density = density.and_then(|value| within_if_given("density", value, 0.01, 25.0));
    let density = faults.keep(density);
    Some(Material {
        name: name?,
        maker: maker?,
        colour: colour?,
        density_g_cm3: density?,
    })
}

pub(super) fn specimen_form(typed: &Typed, faults: &mut Faults) -> Option<SpecimenForm> {
    let piece_name = faults.keep(typed.required("piece_name", "What a piece is called"));
    let shape = faults.keep(Shape::typed("shape", "The shape", typed.text("shape")));
    let direction = faults.keep(typed.required("loading_direction", "The loading direction"));
    let fixture = faults.keep(typed.required("fixture", "The fixture"));
    let end = EndOfTest::typed("end_of_test", "What ends a test", typed.text("end_of_test"));
    let end_of_test = faults.keep(end);
    let end_figure = faults.keep(end_figure(end_of_test, typed.text("end_figure")));
    let method = method(typed, faults);
    Some(SpecimenForm {
        shape: shape?,
        piece_name: piece_name?,
        end_of_test: end_of_test?,
        end_figure: end_figure?,
        loading_direction: direction?,
        fixture: fixture?,
        method: method?,
    })
}

/// How it is tested; `Some(None)` where the plan leaves it at loads.
fn method(typed: &Typed, faults: &mut Faults) -> Option<Option<TestMethod>> {
    let kind = match typed.text("test_kind") {
        "" => return Some(None),
        key => faults.keep(TestKind::typed("test_kind", "How it is tested", key)),
    };
    let sizes = or_default(typed.text("sizes_at"), "before_exposure");
    let sizes = faults.keep(SizesAt::typed("sizes_at", "The section", sizes));
    let by = or_default(typed.text("modulus_by"), "chord");
    let by = faults.keep(ModulusBy::typed("modulus_by", "The modulus", by));
    let mut length = |field: &str, called: &str| {
        let value = optional(field, called, typed.text(field));
        let value = value.and_then(|value| within_if_given(field, value, 0.1, 10_000.0));
        faults.keep(value)
    };
    let span = length("span", "The distance of the supports");
    let grips = length("grips", "The distance of the grips");
    let gauge = length("gauge", "The gauge length");
    let step = optional("length_step", "The step", typed.text("length_step"));
    let step = step.and_then(|step| within_if_given("length_step", step, 0.001, 10.0));
    let step = faults.keep(step);
    let kind = kind?;
    // A length that belongs to another kind of test is left out: it would be in no result.
    let is_pulled = matches!(kind, TestKind::Tension | TestKind::Compression);
    Some(Some(TestMethod {
        kind,
        sizes_at: sizes?,
        modulus_by: by?,
        span_mm: span?.filter(|_| kind == TestKind::Bending),
        grips_mm: grips?.filter(|_| is_pulled),
        gauge_mm: gauge?.filter(|_| is_pulled),
        step_mm: step?.filter(|_| is_pulled || kind == TestKind::Bending),
    }))
}

/// The figure that ends a test; left out where breaking ends it.
fn end_figure(end: Option<EndOfTest>, text: &str) -> Result<Option<f64>, Fault> {
    let field = "end_figure";
    let figure = optional(field, "The figure for the end of a test", text)?;
    let most = match end {
        Some(EndOfTest::Break) | None => return Ok(None),
        Some(EndOfTest::Drop) => 100.0,
        Some(EndOfTest::Opening) => 10_000.0,
        Some(EndOfTest::RigLimit) => 1e8,
    };
    let missing = || Fault::new(field, "This end of a test needs its figure (%, mm or N).");
    within(field, figure.ok_or_else(missing)?, 0.001, most).map(Some)
}

pub(super) fn mass(typed: &Typed, faults: &mut Faults) -> Option<MassPlan> {
    let (field, text) = (
        "mass_readings",
        or_default(typed.text("mass_readings"), "0"),
    );
    let readings = faults.keep(whole(field, "The number of weighings", text, 0, 20));
    let grams = |field: &str, called: &str| {
        let value = optional(field, called, typed.text(field))?;
        within_if_given(field, value, 1e-7, 1e7)
    };
    let nominal_g = faults.keep(grams("mass_nominal", "The expected mass"));
    let readability_g = faults.keep(grams("mass_readability", "The balance's step"));
    let margin = or_default(typed.text("mass_margin"), "0.5");
    let margin = positive("mass_margin", "The margin for mass", margin);
    let margin_percent = faults.keep(margin.and_then(|m| within("mass_margin", m, 0.001, 90.0)));
    Some(MassPlan {
        readings: u8::try_from(readings?).ok()?,
        nominal_g: nominal_g?,
        readability_g: readability_g?,
        margin_percent: margin_percent?,
    })
}

pub(super) fn dimensions(typed: &Typed, faults: &mut Faults) -> Vec<DimensionPlan> {
    let columns = ["dimension_name", "dimension_places", "dimension_nominal"];
    let rows = Rows::of(typed, &columns);
    let mut found: Vec<DimensionPlan> = Vec::new();
    for row in rows.filled(MOST_DIMENSIONS, "dimensions", faults) {
        let field = row.field("dimension_name");
        let Some(name) = faults.keep(dimension_name(&field, row.text("dimension_name"))) else {
            continue;
        };
        if found.iter().any(|known| known.name == name) {
            faults.push(field, format!("The dimension “{name}” stands there twice."));
        }
        let places = row.field("dimension_places");
        let typed_places = or_default(row.text("dimension_places"), "3");
        let places = whole(&places, "The number of places", typed_places, 1, 20);
        let nominal = row.field("dimension_nominal");
        let value = optional(&nominal, "The nominal value", row.text("dimension_nominal"));
        let value = value.and_then(|value| within_if_given(&nominal, value, 1e-6, 1e6));
        let (places, nominal_mm) = (faults.keep(places), faults.keep(value));
        if let (Some(places), Some(nominal_mm)) = (places, nominal_mm) {
            let places = u8::try_from(places).unwrap_or(u8::MAX);
            found.push(DimensionPlan {
                name,
                places,
                nominal_mm,
            });
        }
    }
    found
}

/// A plain name: it becomes part of the key under which readings are kept.
fn dimension_name(field: &str, name: &str) -> Result<String, Fault> {
    let is_plain = |c: char| c.is_alphanumeric() || c == ' ' || c == '_';
    if name.chars().count() > 30 || !name.chars().all(is_plain) {
        let sentence = "A dimension's name has up to 30 letters, digits and blanks.";
        return Err(Fault::new(field, sentence));
    }
    Ok(name.to_owned())
}
