//! Sums that do not lose figures: an accumulator of twice the working precision.

/// A number held as the unevaluated sum of two doubles, about 32 decimal figures.
///
/// # Source
/// Dekker, Numer. Math. 18 (1971) 224, two-sum and two-product; without the fused
/// multiply-add, which is slow where the processor is not known to have it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Twofold {
    /// The leading part, the sum rounded to a double.
    pub hi: f64,
    /// What the leading part leaves out.
    pub lo: f64,
}

impl Twofold {
    /// The exact sum of two doubles.
    pub fn of_sum(a: f64, b: f64) -> Self {
        let hi = a + b;
        let part = hi - a;
        Self {
            hi,
            lo: (a - (hi - part)) + (b - part),
        }
    }

    /// The exact product of two doubles.
    pub fn of_product(a: f64, b: f64) -> Self {
        let hi = a * b;
        let ((a1, a2), (b1, b2)) = (halves(a), halves(b));
        Self {
            hi,
            lo: ((a1 * b1 - hi) + a1 * b2 + a2 * b1) + a2 * b2,
        }
    }

    /// This number plus another, good to about 2⁻¹⁰⁴ of the larger.
    pub fn plus(self, other: Self) -> Self {
        let sum = Self::of_sum(self.hi, other.hi);
        Self::of_sum(sum.hi, sum.lo + self.lo + other.lo)
    }

    /// This number less another.
    pub fn minus(self, other: Self) -> Self {
        self.plus(Self {
            hi: -other.hi,
            lo: -other.lo,
        })
    }

    /// This number times another.
    pub fn times(self, other: Self) -> Self {
        let product = Self::of_product(self.hi, other.hi);
        Self::of_sum(
            product.hi,
            product.lo + self.hi * other.lo + self.lo * other.hi,
        )
    }

    /// This number divided by a double.
    pub fn over(self, divisor: f64) -> Self {
        let hi = self.hi / divisor;
        let back = Self::of_product(hi, divisor);
        let rest = ((self.hi - back.hi) - back.lo + self.lo) / divisor;
        Self::of_sum(hi, rest)
    }

    /// This number divided by another.
    pub fn divided_by(self, other: Self) -> Self {
        let hi = self.hi / other.hi;
        let rest = self.minus(other.times(hi.into()));
        Self::of_sum(hi, rest.value() / other.hi)
    }

    /// The square root of a number not below zero.
    pub fn sqrt(self) -> Self {
        if self.hi <= 0.0 {
            return Self::default();
        }
        let hi = self.hi.sqrt();
        let rest = self.minus(Self::of_product(hi, hi)).value();
        Self::of_sum(hi, rest / (2.0 * hi))
    }

    /// The number rounded to a double.
    pub fn value(self) -> f64 {
        self.hi + self.lo
    }
}

/// Splits a double (of a size below 1e300) into two halves of 26 bits.
fn halves(a: f64) -> (f64, f64) {
    let c = 134_217_729.0 * a;
    let high = c - (c - a);
    (high, a - high)
}

impl From<f64> for Twofold {
    fn from(value: f64) -> Self {
        Self { hi: value, lo: 0.0 }
    }
}

/// The sum of many doubles in twofold precision.
pub fn sum(values: impl IntoIterator<Item = f64>) -> Twofold {
    values
        .into_iter()
        .fold(Twofold::default(), |total, v| total.plus(v.into()))
}

/// The sum of many twofold numbers.
pub fn sum_twofold(values: impl IntoIterator<Item = Twofold>) -> Twofold {
    values.into_iter().fold(Twofold::default(), Twofold::plus)
}

/// The arithmetic mean in twofold precision; zero for an empty slice (callers check first).
pub fn mean(values: &[f64]) -> Twofold {
    if values.is_empty() {
        return Twofold::default();
    }
    sum(values.iter().copied()).over(values.len() as f64)
}

/// Σ (x − centre)² in twofold precision.
pub fn squares_about(values: &[f64], centre: Twofold) -> Twofold {
    sum_twofold(values.iter().map(|&x| {
        let d = Twofold::from(x).minus(centre);
        d.times(d)
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_terms_survive_a_large_one() {
        let values = [1e16, 1.0, -1e16, 1.0];
        assert_eq!(sum(values).value(), 2.0);
    }

    #[test]
    fn squares_about_the_mean_survive_an_offset() {
        let values = [1e12 + 1.0, 1e12 + 2.0, 1e12 + 3.0];
        assert_eq!(squares_about(&values, mean(&values)).value(), 2.0);
    }

    #[test]
    fn roots_and_quotients_undo_themselves() {
        let two = Twofold::from(2.0);
        let root = two.sqrt();
        assert!(root.times(root).minus(two).value().abs() < 1e-30);
        let quotient = two.divided_by(root);
        assert!(quotient.minus(root).value().abs() < 1e-30);
    }

    #[test]
    fn a_third_times_three_is_one() {
        let third = Twofold::from(1.0).over(3.0);
        assert!(third.times(3.0.into()).minus(1.0.into()).value().abs() < 1e-31);
    }
}
