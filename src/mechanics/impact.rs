//! Impact energy over section, and the American ways to state it.

/// Joule in a foot pound-force; exact from the definitions of foot, pound and standard gravity.
pub const JOULE_PER_FT_LBF: f64 = 1.355_817_948_331_400_4;

/// Millimetres in an inch.
const INCH_MM: f64 = 25.4;

/// Energy per section, kJ/m²: a = E / (b h) · 1000, with E in J and mm; for a notched bar the width
/// left under the notch. `None` unless the section is above zero.
///
/// # Source
/// ISO 179-1 and ISO 180 (from memory).
#[must_use]
pub fn per_section_kj_m2(energy_j: f64, width_mm: f64, thickness_mm: f64) -> Option<f64> {
    let is_section = width_mm > 0.0 && thickness_mm > 0.0;
    is_section.then(|| 1000.0 * energy_j / (width_mm * thickness_mm))
}

/// Energy per thickness, J/m: not the same thing as [`per_section_kj_m2`], and never to be turned
/// into it without the width.
///
/// # Source
/// ASTM D256 (from memory).
#[must_use]
pub fn per_thickness_j_m(energy_j: f64, thickness_mm: f64) -> Option<f64> {
    (thickness_mm > 0.0).then(|| 1000.0 * energy_j / thickness_mm)
}

/// ft·lbf/in to J/m.
#[must_use]
pub fn ft_lbf_per_in(value: f64) -> f64 {
    value * JOULE_PER_FT_LBF / (INCH_MM / 1000.0)
}

/// ft·lbf/in² to kJ/m².
#[must_use]
pub fn ft_lbf_per_in2(value: f64) -> f64 {
    value * JOULE_PER_FT_LBF / (INCH_MM * INCH_MM) * 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Trade handbook 3.7.
    #[test]
    fn worked_examples() {
        let near = |got: f64, want: f64, by: f64| assert!((got - want).abs() < by, "{got} {want}");
        near(per_section_kj_m2(0.8, 10.0, 4.0).unwrap(), 20.0, 1e-12);
        near(per_section_kj_m2(0.096, 8.0, 4.0).unwrap(), 3.0, 1e-12);
        near(per_thickness_j_m(0.096, 4.0).unwrap(), 24.0, 1e-12);
        near(ft_lbf_per_in(1.0), 53.37866, 5e-6);
        near(ft_lbf_per_in2(1.0), 2.10152, 5e-6);
        assert_eq!(per_section_kj_m2(1.0, 0.0, 4.0), None);
    }
}
