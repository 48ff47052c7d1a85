//! From a curve's landmarks to what is kept of it: strains and slopes that do not rest on the section.

use super::Sizes;
use crate::mechanics::curve::Curve;
use crate::mechanics::evaluate::Landmarks;
use crate::mechanics::evaluate::end::Ending;
use crate::mechanics::flexure::{Bar, flexure};
use crate::mechanics::modulus::{Modulus, Range};
use crate::mechanics::tension::{StrainFrom, StressPoint, TensilePiece, tension};
use crate::study::curve::{ReadOff, Slope};
use crate::study::plan::{TestKind, TestMethod};

/// What was read off, and between which points of the curve the slope lies.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reading {
    /// What is kept.
    pub off: ReadOff,
    /// The ranks of the first and the last point of the slope.
    pub slope_at: Option<(usize, usize)>,
}

/// Reads strains and slopes off a curve by the plan's method.
#[must_use]
pub fn read_off(
    curve: &Curve,
    marks: &Landmarks,
    method: Option<&TestMethod>,
    sizes: &Sizes,
) -> Reading {
    let mut found = Reading::default();
    found.off.is_ended = matches!(marks.ending, Ending::Broke | Ending::Opened | Ending::Said);
    found.off.yield_load_n = marks.yielding.map(|mark| mark.load_n);
    found.off.remarks = marks.findings.iter().map(ToString::to_string).collect();
    let Some(method) = method else { return found };
    match method.kind {
        TestKind::Tension | TestKind::Compression => pulled(&mut found, curve, marks, method),
        TestKind::Bending => {
            if let Some(bar) = sizes.bar(method) {
                bent(&mut found, curve, marks, &bar);
            }
        }
        TestKind::PullOff | TestKind::Impact => {}
    }
    found
}

/// Over a section of 1 mm² a stress is a load, and a modulus the slope of the load.
fn pulled(found: &mut Reading, curve: &Curve, marks: &Landmarks, method: &TestMethod) {
    let unit = TensilePiece {
        area_mm2: 1.0,
        grips_mm: method.grips_mm,
        gauge_mm: method.gauge_mm,
    };
    let Some(read) = tension(curve, marks, &unit, Range::default()) else {
        return;
    };
    let strain = |point: &StressPoint| point.strain.map(|(strain, _)| strain);
    found.off.strain_at_yield = read.yielding.as_ref().and_then(strain);
    found.off.strain_at_max = strain(&read.maximum);
    found.off.strain_at_end = strain(&read.end);
    let from_grips = |point: &StressPoint| matches!(point.strain, Some((_, StrainFrom::Grips)));
    found.off.is_strain_nominal = from_grips(&read.end) || from_grips(&read.maximum);
    if let Some((modulus, from)) = read.modulus {
        found.off.is_slope_nominal = from == StrainFrom::Grips;
        keep(found, &modulus, Slope::OverStrain, 1.0);
    }
}

fn bent(found: &mut Reading, curve: &Curve, marks: &Landmarks, bar: &Bar) {
    let Some(read) = flexure(curve, marks, bar, Range::default()) else {
        return;
    };
    found.off.strain_at_max = read.maximum.strain;
    found.off.strain_at_end = read.end.strain;
    let yielding = marks.yielding.and_then(|mark| mark.extension_mm);
    found.off.strain_at_yield = yielding.map(|mm| bar.strain(mm));
    if read.is_deep {
        let sentence = "The deflection at the maximum is more than a tenth of the span: the formulas of \
                        bending hold less closely there.";
        found.off.remarks.push(sentence.to_owned());
    }
    if let Some(modulus) = read.modulus {
        keep(found, &modulus, Slope::OverDeflection, bar.modulus_mpa(1.0));
    }
}

/// Keeps a modulus as the slope that it is when each newton (or newton per mm) makes `each` MPa.
fn keep(found: &mut Reading, modulus: &Modulus, as_slope: fn(f64) -> Slope, each: f64) {
    found.off.chord = Some(as_slope(modulus.chord_mpa / each));
    found.off.regression = modulus.regression_mpa.map(|mpa| as_slope(mpa / each));
    found.slope_at = Some((modulus.from, modulus.to));
}
