//! Invented photographs for the demo: a peg on a bench with a ruler, drawn here, photographed nowhere.

use std::io::Cursor;

use image::{ImageFormat, Rgb, RgbImage};

use crate::study::allocation::Dice;

/// A drawn photograph.
pub struct Drawing {
    /// Width of the whole picture at the peg, in mm; its height is three quarters of that.
    pub frame_mm: u32,
    /// Pixels across.
    pub width: u32,
    /// How far it has weathered, from 0 to 100.
    pub wear: u32,
    /// Where its stains fall.
    pub seed: u8,
}

/// Length and width of the peg, in mm.
const PEG: (f64, f64) = (58.0, 9.0);

impl Drawing {
    /// The picture as a PNG file.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn to_png(&self) -> Result<Vec<u8>, image::ImageError> {
        let mut picture = RgbImage::new(self.width, self.width * 3 / 4);
        let stains = self.stains();
        let per_mm = f64::from(self.width) / f64::from(self.frame_mm);
        for (x, y, pixel) in picture.enumerate_pixels_mut() {
            *pixel = self.colour((f64::from(x) / per_mm, f64::from(y) / per_mm), &stains);
        }
        let mut bytes = Vec::new();
        picture.write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png)?;
        Ok(bytes)
    }

    /// Middle and radius of each stain, in mm from the peg's upper left corner.
    fn stains(&self) -> Vec<(f64, f64, f64)> {
        let mut dice = Dice::new(&[self.seed; 32]);
        let mut tenth = |most: usize| {
            let drawn = u32::try_from(dice.below(most)).unwrap_or_default();
            f64::from(drawn) / 10.0
        };
        let count = self.wear / 4;
        (0..count)
            .map(|_| (tenth(580), tenth(90), 0.6 + tenth(24)))
            .collect()
    }

    /// The colour at a place of the picture, in mm from its upper left corner.
    fn colour(&self, (x, y): (f64, f64), stains: &[(f64, f64, f64)]) -> Rgb<u8> {
        let (wide, high) = (f64::from(self.frame_mm), f64::from(self.frame_mm) * 0.75);
        let (left, top) = ((wide - PEG.0) / 2.0, high * 0.45);
        let (px, py) = (x - left, y - top);
        if is_peg(px, py) {
            return self.plastic(px, py, stains);
        }
        let ruler = (high * 0.8, high * 0.8 + 9.0);
        if (ruler.0..ruler.1).contains(&y) && (0.0..=60.0).contains(&px) {
            return ruler_colour(px, y - ruler.0);
        }
        // A bench of pale wood: its grain is a slow wave.
        let grain = (y * 1.7 + (x * 0.11).sin() * 3.0).sin() * 6.0;
        rgb([206.0 + grain, 190.0 + grain, 164.0 + grain])
    }

    fn plastic(&self, px: f64, py: f64, stains: &[(f64, f64, f64)]) -> Rgb<u8> {
        let worn = f64::from(self.wear) / 100.0;
        // Lighter along the middle, as a rounded thing is; yellower and duller with wear.
        let round = 22.0 * (1.0 - (py / PEG.1 - 0.5).abs() * 2.0);
        let mut colour = [
            214.0 + round - 30.0 * worn,
            218.0 + round - 48.0 * worn,
            206.0 + round - 96.0 * worn,
        ];
        for (sx, sy, radius) in stains {
            let away = ((px - sx).powi(2) + (py - sy).powi(2)).sqrt() / radius;
            if away < 1.0 {
                let dark = 70.0 * (1.0 - away) * worn.max(0.3);
                colour = [colour[0] - dark, colour[1] - dark * 0.7, colour[2] - dark];
            }
        }
        rgb(colour)
    }
}

/// A bar with round ends, a hole at each, and a slot along the middle.
fn is_peg(x: f64, y: f64) -> bool {
    let (length, width) = PEG;
    let radius = width / 2.0;
    let end = |middle: f64| ((x - middle).powi(2) + (y - radius).powi(2)).sqrt();
    let is_bar = (radius..=length - radius).contains(&x) && (0.0..=width).contains(&y);
    let is_end = end(radius) <= radius || end(length - radius) <= radius;
    let is_hole = end(radius) < 1.6 || end(length - radius) < 1.6;
    let is_slot = (18.0..40.0).contains(&x) && (y - radius).abs() < 0.8;
    (is_bar || is_end) && !is_hole && !is_slot
}

/// A steel ruler: a stroke each millimetre, longer at five and ten.
fn ruler_colour(x: f64, y: f64) -> Rgb<u8> {
    let nearest = x.round();
    let length = match nearest.rem_euclid(10.0) {
        0.0 => 6.0,
        5.0 => 4.5,
        _ => 3.0,
    };
    if (x - nearest).abs() < 0.12 && y < length {
        rgb([40.0, 42.0, 46.0])
    } else {
        rgb([196.0, 200.0, 204.0])
    }
}

fn rgb(colour: [f64; 3]) -> Rgb<u8> {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to a byte"
    )]
    let byte = |value: f64| value.clamp(0.0, 255.0) as u8;
    Rgb(colour.map(byte))
}
