//! From values to places along a line.

/// A linear scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    from: (f64, f64),
    to: (f64, f64),
}

impl Scale {
    /// From values `from` to places `to`. Values without width are given some, so that a figure of
    /// one value can be drawn.
    #[must_use]
    pub fn new(from: (f64, f64), to: (f64, f64)) -> Self {
        let (low, high) = from;
        let spare = if low.abs() > 0.0 {
            low.abs() * 0.05
        } else {
            1.0
        };
        let from = if high > low {
            from
        } else {
            (low - spare, low + spare)
        };
        Self { from, to }
    }

    /// The place of a value, to a hundredth.
    #[must_use]
    pub fn place(&self, value: f64) -> f64 {
        let share = (value - self.from.0) / (self.from.1 - self.from.0);
        round(self.to.0 + share * (self.to.1 - self.to.0))
    }

    /// The values at both ends.
    #[must_use]
    pub fn ends(&self) -> (f64, f64) {
        self.from
    }
}

/// A place to a hundredth: what a screen can show, and short to write.
#[must_use]
pub fn round(place: f64) -> f64 {
    (place * 100.0).round() / 100.0 + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_lie_where_proportion_puts_them() {
        let scale = Scale::new((100.0, 300.0), (10.0, 410.0));
        assert_eq!(
            [100.0, 200.0, 300.0].map(|v| scale.place(v)),
            [10.0, 210.0, 410.0]
        );
    }

    #[test]
    fn one_value_alone_has_a_place() {
        assert_eq!(Scale::new((5.0, 5.0), (0.0, 100.0)).place(5.0), 50.0);
        assert_eq!(Scale::new((0.0, 0.0), (0.0, 100.0)).place(0.0), 50.0);
    }
}
