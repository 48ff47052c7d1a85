//! The example: blood counts of Dunnett (1955), typed in as break loads in N.

use serde_json::Value;

/// The storage control and the two conditions compared with it, in the order of the plan.
pub const CONDITIONS: [&str; 3] = ["seed store", "greenhouse", "rain barrel"];

/// Counts of red blood cells, in millions, of animals on no drug, on drug A and on drug B.
///
/// # Source
/// C. W. Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096–1121, and the reference file
/// `tests/reference/05_dunnett.json`, whose limits come from an own quadrature checked there.
pub struct Example {
    /// The loads of each condition.
    pub loads: Vec<Vec<f64>>,
    /// Reference results for each condition but the storage control.
    pub expected: Vec<Value>,
    /// The two-sided critical value.
    pub critical: f64,
    /// Degrees of freedom.
    pub df: f64,
}

/// Ratios to the storage control with their simultaneous limits, and the critical value of these:
/// pooled spread, Fieller sets with the correlations of the estimated ratios plugged in (Dilba et al.,
/// Methods Inf. Med. 43 (2004) 465). Own trapezoid quadrature of the bivariate t, outside this
/// project, at two grids that agree to 1e-13.
pub const RATIOS: [[f64; 3]; 2] = [
    [
        1.078_787_878_787_878_6,
        0.861_086_543_234_331,
        1.343_094_646_693_299,
    ],
    [
        1.318_545_454_545_454_2,
        1.093_479_122_999_024_4,
        1.600_575_144_869_824_9,
    ],
];

/// The critical value of the ratios.
pub const RATIO_CRITICAL: f64 = 2.500_934_529_339_428_7;

impl Example {
    /// Reads it from the reference file.
    pub fn blood_counts() -> Self {
        let text = include_str!("../../reference/05_dunnett.json");
        let cases: Vec<Value> = serde_json::from_str(text).expect("a list of cases");
        let case = cases
            .into_iter()
            .find(|case| case["id"] == "dunnett1955_blood")
            .expect("the example is in the file");
        let numbers = |value: &Value| -> Vec<f64> {
            let values = value.as_array().expect("a list").iter();
            values.map(|v| v.as_f64().expect("a number")).collect()
        };
        let (input, expected) = (&case["input"], &case["expected"]);
        let others = input["treatments"].as_array().expect("a list");
        let loads: Vec<Vec<f64>> = std::iter::once(&input["control"])
            .chain(others)
            .map(numbers)
            .collect();
        let sizes: Vec<usize> = loads.iter().map(Vec::len).collect();
        assert_eq!(sizes, [6, 4, 5], "as published");
        Self {
            loads,
            expected: expected["comparisons"].as_array().expect("a list").clone(),
            critical: expected["crit_two_sided"].as_f64().expect("a number"),
            df: expected["df"].as_f64().expect("a number"),
        }
    }

    /// How many pieces it takes.
    pub fn pieces(&self) -> usize {
        self.loads.iter().map(Vec::len).sum()
    }
}
