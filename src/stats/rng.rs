//! The seeded generator, written down so that a stranger can repeat every resampled number.
//!
//! State: four 64-bit words filled by four steps of SplitMix64 from the seed. Each draw is one step
//! of xoshiro256++. An index below n is the high word of draw × n; a fraction is (draw >> 11) + ½
//! times 2⁻⁵³; a normal deviate is the normal quantile of a fraction.

use crate::stats::dist::normal;

/// A seeded generator of pseudo-random numbers, the same on every machine.
///
/// # Source
/// Blackman & Vigna, ACM Trans. Math. Softw. 47 (2021) 36 (xoshiro256++); Steele, Lea & Flood,
/// OOPSLA (2014) 453 (SplitMix64).
///
/// # Examples
/// ```
/// let mut rng = overwinter::stats::rng::Rng::new(0);
/// assert_eq!(rng.next_u64(), 0x53175d61490b23df);
/// ```
#[derive(Debug, Clone)]
pub struct Rng {
    state: [u64; 4],
}

/// One step of SplitMix64.
fn split_mix(seed: &mut u64) -> u64 {
    *seed = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *seed;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

impl Rng {
    /// The generator for a seed.
    pub fn new(seed: u64) -> Self {
        let mut seed = seed;
        Self {
            state: std::array::from_fn(|_| split_mix(&mut seed)),
        }
    }

    /// 64 random bits.
    pub fn next_u64(&mut self) -> u64 {
        let [a, b, c, d] = self.state;
        let result = a.wrapping_add(d).rotate_left(23).wrapping_add(a);
        let (c, d) = (c ^ a, d ^ b);
        self.state = [a ^ d, b ^ c, c ^ (b << 17), d.rotate_left(45)];
        result
    }

    /// An index below `n`; for n below 2³² none is favoured by more than 2⁻³².
    pub fn below(&mut self, n: usize) -> usize {
        ((u128::from(self.next_u64()) * n as u128) >> 64) as usize
    }

    /// A fraction strictly between 0 and 1.
    pub fn fraction(&mut self) -> f64 {
        ((self.next_u64() >> 11) as f64 + 0.5) * (1.0 / 9_007_199_254_740_992.0)
    }

    /// A standard normal deviate.
    pub fn normal(&mut self) -> f64 {
        normal::quantile(self.fraction())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First outputs of SplitMix64 from 0 and of xoshiro256++ from the state 1, 2, 3, 4, as printed
    /// with other implementations (from memory).
    #[test]
    fn published_sequences() {
        let mut seed = 0;
        assert_eq!(split_mix(&mut seed), 0xe220_a839_7b1d_cdaf);
        assert_eq!(split_mix(&mut seed), 0x6e78_9e6a_a1b9_65f4);
        let mut rng = Rng {
            state: [1, 2, 3, 4],
        };
        let want = [
            41_943_041,
            58_720_359,
            3_588_806_011_781_223,
            3_591_011_842_654_386,
        ];
        assert_eq!(want.map(|_| rng.next_u64()), want);
    }

    #[test]
    fn indices_stay_below_and_reach_every_value() {
        let mut rng = Rng::new(7);
        let mut seen = [0; 6];
        for _ in 0..6000 {
            seen[rng.below(6)] += 1;
        }
        assert!(seen.iter().all(|&s| (850..1150).contains(&s)), "{seen:?}");
    }

    #[test]
    fn normal_deviates_have_mean_nought_and_variance_one() {
        let mut rng = Rng::new(11);
        let draws: Vec<f64> = (0..20_000).map(|_| rng.normal()).collect();
        let mean = draws.iter().sum::<f64>() / 20_000.0;
        let square = draws.iter().map(|d| d * d).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.03 && (square - 1.0).abs() < 0.04);
    }
}
