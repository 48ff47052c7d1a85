//! A weighing while a piece dries, as typed: the code, the number, when, and whether it looks right.

use super::piece_words::plan_of;
use super::{drying_words, exposure_when};
use crate::study::code::Code;
use crate::study::drying::DryingWeighing;
use crate::study::fault::{Fault, Faults};
use crate::study::plausibility::{self, Expected, signed};
use crate::study::reading::{Instrument, Occasion};
use crate::study::record::{SpecimenRecord, StudyRecord};
use crate::study::typed::Typed;
use crate::study::units::{AsTyped, Dimension, Unit, positive};
use crate::web::App;

/// A piece that gains more than this while it dries is asked about, in % (common practice, no
/// source).
pub(super) const GAIN_PERCENT: f64 = 0.5;

/// Reads a weighing. A doubtful one is asked about once, in the field `confirmed`.
///
/// # Errors
/// Every mistake at once; the doubt only when nothing else is wrong.
pub(super) fn weighing(
    typed: &Typed,
    app: &App,
    record: &StudyRecord,
) -> Result<DryingWeighing, Faults> {
    let mut faults = Faults::none();
    let piece = faults.keep(piece(typed, record));
    let balance = faults.keep(balance(typed, record));
    let unit = Unit::parse("unit", typed.text("unit"), Dimension::Mass);
    let unit = faults.keep(unit);
    let value = faults.keep(positive("value", "The mass", typed.text("value")));
    let at = exposure_when::moment(typed, record, &mut faults);
    let (Some((occasion, piece)), Some(balance), Some(unit), Some(value), Some(at)) =
        (piece, balance, unit, value, at)
    else {
        return Err(faults);
    };
    let mass_g = unit.to_si(value);
    let mut doubts = doubts(record, (occasion, piece), mass_g, balance);
    doubts.extend(exposure_when::ahead(app, at));
    let earlier = record.drying_of(&piece.code, occasion).last();
    if earlier.is_some_and(|last| at < last.weighing.at) {
        doubts.push("This lies before its last weighing.".to_owned());
    }
    exposure_when::ask(typed, doubts, &mut faults);
    faults.or(DryingWeighing {
        specimen: piece.code.clone(),
        occasion,
        at,
        mass_g,
        typed: AsTyped {
            text: typed.text("value").to_owned(),
            unit,
        },
        instrument: balance.id,
        is_confirmed_doubt: typed.has("confirmed"),
    })
}

fn piece<'r>(
    typed: &Typed,
    record: &'r StudyRecord,
) -> Result<(Occasion, &'r SpecimenRecord), Fault> {
    let wrong = |sentence: String| Fault::new("code", sentence);
    let text = typed.text("code");
    if text.is_empty() {
        return Err(wrong("The code is missing.".to_owned()));
    }
    let code: Code = text.parse().map_err(|fault| wrong(format!("{fault}")))?;
    let piece = record
        .specimen(&code)
        .ok_or_else(|| wrong(format!("{code} is no code of this study.")))?;
    let occasion = drying_words::occasion(record, piece);
    let sentence = format!("{code} is not among the pieces that dry now.");
    occasion
        .map(|occasion| (occasion, piece))
        .ok_or_else(|| wrong(sentence))
}

fn balance<'r>(typed: &Typed, record: &'r StudyRecord) -> Result<&'r Instrument, Fault> {
    let known = record.instruments.iter().find(|instrument| {
        instrument.dimension == Dimension::Mass
            && instrument.id.to_string() == typed.text("instrument")
    });
    known.ok_or_else(|| Fault::new("instrument", "Choose a balance."))
}

fn doubts(
    record: &StudyRecord,
    (occasion, piece): (Occasion, &SpecimenRecord),
    mass_g: f64,
    balance: &Instrument,
) -> Vec<String> {
    let last = record.drying_of(&piece.code, occasion).last();
    let last = last.map(|found| found.weighing.mass_g);
    let nominal = plan_of(record).and_then(|plan| plan.mass.nominal_g);
    let expected = Expected {
        readability: balance.readability,
        nominal: last.or(nominal),
        ..Expected::default()
    };
    let slips = plausibility::doubts(mass_g, &expected);
    let mut said: Vec<String> = slips.iter().map(ToString::to_string).collect();
    let gain = last.map(|last| 100.0 * (mass_g - last) / last);
    if let Some(gain) = gain.filter(|gain| said.is_empty() && *gain > GAIN_PERCENT) {
        said.push(format!(
            "It would have gained {} % since its last weighing, while it dries.",
            signed(gain, 1)
        ));
    }
    if needs_rinsing(record, (occasion, piece)) && last.is_none() {
        said.push(format!(
            "It is not on record that {} was rinsed; salt and soil that cling to it are weighed too.",
            piece.code
        ));
    }
    said
}

/// Whether salt or soil may still cling to a piece: nothing on record says that it was rinsed.
pub(super) fn needs_rinsing(
    record: &StudyRecord,
    (occasion, piece): (Occasion, &SpecimenRecord),
) -> bool {
    occasion == Occasion::After
        && plan_of(record).is_some_and(|plan| drying_words::is_rinsed(plan, piece))
        && drying_words::cleaned_on(record, piece).is_none()
}
