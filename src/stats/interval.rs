//! An interval with two finite ends.

/// A closed interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// The lower end.
    pub lower: f64,
    /// The upper end.
    pub upper: f64,
}

impl Interval {
    /// The interval of this half-width around a centre.
    pub fn around(centre: f64, half_width: f64) -> Self {
        Self {
            lower: centre - half_width,
            upper: centre + half_width,
        }
    }

    /// Whether the value lies inside, ends included.
    pub fn contains(&self, value: f64) -> bool {
        self.lower <= value && value <= self.upper
    }

    /// Whether the interval lies inside the open range from `low` to `high`.
    pub fn inside(&self, low: f64, high: f64) -> bool {
        low < self.lower && self.upper < high
    }

    /// The interval widened about its middle to this half-width, if it is narrower: an interval of a
    /// measured change is never narrower than the instrument allows.
    #[must_use]
    pub fn no_narrower_than(&self, half_width: f64) -> Self {
        if self.width() >= 2.0 * half_width {
            return *self;
        }
        Self::around(0.5 * (self.lower + self.upper), half_width)
    }

    /// The distance between the ends.
    pub fn width(&self) -> f64 {
        self.upper - self.lower
    }

    /// The interval with both ends multiplied, put in order again.
    pub fn scaled(&self, factor: f64) -> Self {
        let (a, b) = (self.lower * factor, self.upper * factor);
        Self {
            lower: a.min(b),
            upper: a.max(b),
        }
    }
}
