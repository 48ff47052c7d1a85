//! Colour and gloss: how far apart two readings are.

/// A colour in CIELAB coordinates. Illuminant, observer and geometry belong to the reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lab {
    /// Lightness, 0 to 100.
    pub l: f64,
    /// Green (−) to red (+).
    pub a: f64,
    /// Blue (−) to yellow (+).
    pub b: f64,
}

/// ΔE*ab, the straight distance in CIELAB.
///
/// # Source
/// ISO/CIE 11664-4; also called ΔE 1976.
///
/// # Examples
/// ```
/// use overwinter::mechanics::colour::{Lab, delta_e_76};
/// let (new, old) = (Lab { l: 90.0, a: -1.0, b: 4.0 }, Lab { l: 87.5, a: -0.5, b: 9.0 });
/// assert!((delta_e_76(new, old) - 5.6125).abs() < 5e-5);
/// ```
pub fn delta_e_76(first: Lab, second: Lab) -> f64 {
    let (dl, da, db) = (first.l - second.l, first.a - second.a, first.b - second.b);
    dl.hypot(da).hypot(db)
}

/// Chroma and hue (degrees, 0 to 360) after CIEDE2000's stretching of a*.
fn chroma_and_hue(colour: Lab, stretch: f64) -> (f64, f64) {
    let a = colour.a * stretch;
    let chroma = a.hypot(colour.b);
    let hue = if chroma == 0.0 {
        0.0
    } else {
        colour.b.atan2(a).to_degrees().rem_euclid(360.0)
    };
    (chroma, hue)
}

/// Hue difference (−180 to 180) and mean hue, degrees; a colour without chroma has no hue of its own.
///
/// Opposite hues are compared with a small tolerance: in exact arithmetic 180° belongs to the
/// branch without a turn, and rounding must not decide otherwise.
fn hue_difference_and_mean(hues: (f64, f64), colourless: bool) -> (f64, f64) {
    const ROUNDING: f64 = 1e-9;
    let (first, second) = hues;
    if colourless {
        return (0.0, first + second);
    }
    let turn = second - first;
    let sum = first + second;
    if turn.abs() <= 180.0 + ROUNDING {
        return (turn, 0.5 * sum);
    }
    let difference = if turn > 0.0 {
        turn - 360.0
    } else {
        turn + 360.0
    };
    let mean = if sum < 360.0 {
        0.5 * (sum + 360.0)
    } else {
        0.5 * (sum - 360.0)
    };
    (difference, mean)
}

/// √(c⁷ / (c⁷ + 25⁷)).
fn seventh_power_share(c: f64) -> f64 {
    let seventh = c.powi(7);
    (seventh / (seventh + 25.0_f64.powi(7))).sqrt()
}

/// CIEDE2000 with all parametric factors 1.
///
/// About 1 is just seen side by side, 2 to 3 plainly (common practice, no source).
///
/// # Formula
/// ```text
/// ΔE = √[(ΔL'/S_L)² + (ΔC'/S_C)² + (ΔH'/S_H)² + R_T (ΔC'/S_C)(ΔH'/S_H)]
/// ```
/// # Source
/// ISO/CIE 11664-6; Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21, whose test pairs are in
/// `tests/reference`.
///
/// # Examples
/// ```
/// use overwinter::mechanics::colour::{Lab, delta_e_2000};
/// let (new, old) = (Lab { l: 90.0, a: -1.0, b: 4.0 }, Lab { l: 87.5, a: -0.5, b: 9.0 });
/// assert!((delta_e_2000(new, old) - 4.2941).abs() < 5e-5);
/// ```
pub fn delta_e_2000(first: Lab, second: Lab) -> f64 {
    let mean_chroma = 0.5 * (first.a.hypot(first.b) + second.a.hypot(second.b));
    let stretch = 1.0 + 0.5 * (1.0 - seventh_power_share(mean_chroma));
    let (c1, h1) = chroma_and_hue(first, stretch);
    let (c2, h2) = chroma_and_hue(second, stretch);
    let (turn, hue) = hue_difference_and_mean((h1, h2), c1 * c2 == 0.0);
    let (dl, dc) = (second.l - first.l, c2 - c1);
    let dh = 2.0 * (c1 * c2).sqrt() * (0.5 * turn).to_radians().sin();
    let (lightness, chroma) = (0.5 * (first.l + second.l), 0.5 * (c1 + c2));
    let cosine = |factor: f64, shift: f64| (factor * hue + shift).to_radians().cos();
    let t = 1.0 - 0.17 * cosine(1.0, -30.0) + 0.24 * cosine(2.0, 0.0) + 0.32 * cosine(3.0, 6.0)
        - 0.20 * cosine(4.0, -63.0);
    let off = (lightness - 50.0).powi(2);
    let scale_l = 1.0 + 0.015 * off / (20.0 + off).sqrt();
    let scale_c = 1.0 + 0.045 * chroma;
    let scale_h = 1.0 + 0.015 * chroma * t;
    let turned = 60.0 * (-((hue - 275.0) / 25.0).powi(2)).exp();
    let rotation = -2.0 * seventh_power_share(chroma) * turned.to_radians().sin();
    let (l, c, h) = (dl / scale_l, dc / scale_c, dh / scale_h);
    (l * l + c * c + h * h + rotation * c * h).max(0.0).sqrt()
}

/// Gloss after exposure in percent of the gloss before, at the same angle; `None` when the gloss
/// before is not above zero.
///
/// # Source
/// ISO 2813 for the reading (from memory); the quotient is common practice, no source.
pub fn gloss_retention(before: f64, after: f64) -> Option<f64> {
    (before > 0.0).then(|| 100.0 * after / before)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn swapping_and_sameness() {
        let (x, y) = (
            Lab {
                l: 60.0,
                a: -34.0,
                b: 36.0,
            },
            Lab {
                l: 61.0,
                a: 20.0,
                b: -39.0,
            },
        );
        assert!((delta_e_2000(x, y) - delta_e_2000(y, x)).abs() < 1e-12);
        assert_eq!(delta_e_2000(x, x), 0.0);
    }

    /// Greys have no hue: only the lightness counts.
    #[test]
    fn greys_differ_by_lightness_alone() {
        let grey = |l| Lab { l, a: 0.0, b: 0.0 };
        let want = 10.0 / (1.0 + 0.015 * 25.0 / 45.0_f64.sqrt());
        assert!((delta_e_2000(grey(50.0), grey(60.0)) - want).abs() < 1e-12);
        assert_eq!(delta_e_76(grey(50.0), grey(60.0)), 10.0);
    }

    /// Handbook 3.10: 82.0 to 61.5 is 75 %.
    #[test]
    fn gloss() {
        assert_eq!(gloss_retention(82.0, 61.5), Some(75.0));
        assert_eq!(gloss_retention(0.0, 61.5), None);
    }
}
