//! What a tester is told of the plan: how a piece is held, loaded, and when its test ends. Nothing
//! about what the pieces went through.

use crate::study::plan::{EndOfTest, SpecimenForm};
use crate::study::units::in_digits;

/// Headings with their words; empty ones are left out.
#[must_use]
pub fn instructions(form: &SpecimenForm) -> Vec<(&'static str, String)> {
    let figure = |unit: &str| {
        let figure = form.end_figure.map(|figure| in_digits(figure, 6));
        figure.map_or_else(String::new, |figure| format!(": {figure}\u{a0}{unit}"))
    };
    let end = match form.end_of_test {
        EndOfTest::Break => "when the piece breaks".to_owned(),
        EndOfTest::Drop => format!("when the load has dropped from its peak{}", figure("%")),
        EndOfTest::Opening => format!("when the piece has opened{}", figure("mm")),
        EndOfTest::RigLimit => format!("at the limit of the rig{}", figure("N")),
    };
    let lines = [
        (
            "Pieces",
            format!("{} ({})", form.piece_name, form.shape.label()),
        ),
        ("Loaded", form.loading_direction.clone()),
        ("Held by", form.fixture.clone()),
        ("A test ends", end),
    ];
    lines
        .into_iter()
        .filter(|(_, words)| !words.trim().is_empty())
        .collect()
}
