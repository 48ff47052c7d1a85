//! Several groups on an equal footing: variance tables, pairs, spreads (files 02, 03, 06, 06b, 07).
#![expect(
    clippy::indexing_slicing,
    reason = "a JSON object takes a new field by indexing"
)]

use crate::input::{count, field, lists, told};
use overwinter::stats::anova::{FTest, one_way, welch};
use overwinter::stats::dist::range::StudentisedRange;
use overwinter::stats::homogeneity::{Centre, bartlett, levene};
use overwinter::stats::pairwise::{Pair, games_howell, tukey_kramer};
use serde_json::{Value, json};

/// File 02.
pub fn anova(input: &Value) -> Result<Value, String> {
    let found = one_way(&lists(input, "groups")?).map_err(told)?;
    Ok(json!({
        "df_between": found.df_between, "df_within": found.df_within,
        "ss_between": found.ss_between, "ss_within": found.ss_within,
        "ms_between": found.ms_between(), "ms_within": found.ms_within(),
        "F": found.f, "p_value": found.p, "r_squared": found.r_squared(),
        "residual_sd": found.ms_within().sqrt(),
    }))
}

fn shown(test: &FTest) -> Value {
    json!({ "F": test.f, "df1": test.df1, "df2": test.df2, "p_value": test.p })
}

/// File 03.
pub fn unequal_spreads(input: &Value) -> Result<Value, String> {
    let groups = lists(input, "groups")?;
    let pair = |p: &Pair| {
        json!({
            "i": p.first, "j": p.second, "diff_i_minus_j": p.difference,
            "t": p.t, "df": p.df, "q": p.q, "p_adj": p.p,
            "ci95_lower": p.interval.lower, "ci95_upper": p.interval.upper,
        })
    };
    let pairs: Vec<Value> = games_howell(&groups, 0.95)
        .map_err(told)?
        .iter()
        .map(pair)
        .collect();
    Ok(json!({ "welch": shown(&welch(&groups).map_err(told)?), "games_howell": pairs }))
}

/// File 06.
pub fn tukey(input: &Value) -> Result<Value, String> {
    let (groups, conf) = (lists(input, "groups")?, field(input, "conf")?);
    let table = one_way(&groups).map_err(told)?;
    let mut range = StudentisedRange::new(groups.len(), table.df_within).map_err(told)?;
    let pair = |p: &Pair| {
        json!({
            "i": p.first, "j": p.second, "diff_j_minus_i": -p.difference, "q": p.q, "p_adj": p.p,
            "ci_lower": -p.interval.upper, "ci_upper": -p.interval.lower,
        })
    };
    let pairs: Vec<Value> = tukey_kramer(&groups, conf)
        .map_err(told)?
        .iter()
        .map(pair)
        .collect();
    Ok(json!({
        "mse": table.ms_within(), "df": table.df_within,
        "q_crit": range.upper_quantile(1.0 - conf).map_err(told)?,
        "pairs": pairs,
    }))
}

/// File 06b.
pub fn range(input: &Value) -> Result<Value, String> {
    let mut law = StudentisedRange::new(count(input, "k")?, field(input, "nu")?).map_err(told)?;
    let mut shown = json!({});
    if let Ok(q) = field(input, "q") {
        shown["upper_tail"] = law.sf(q).map_err(told)?.into();
        shown["cdf"] = law.cdf(q).map_err(told)?.into();
    } else {
        let q = law
            .upper_quantile(field(input, "alpha_upper")?)
            .map_err(told)?;
        for name in [
            "q_crit",
            "table_value_3dp",
            "table_value_2dp",
            "table_value",
        ] {
            shown[name] = q.into();
        }
    }
    Ok(shown)
}

/// File 07.
pub fn spreads(input: &Value) -> Result<Value, String> {
    let groups = lists(input, "groups")?;
    let bartlett = bartlett(&groups).map_err(told)?;
    Ok(json!({
        "levene_mean": shown(&levene(&groups, Centre::Mean).map_err(told)?),
        "brown_forsythe_median": shown(&levene(&groups, Centre::Median).map_err(told)?),
        "bartlett": { "K2": bartlett.statistic, "df": bartlett.df, "p_value": bartlett.p },
    }))
}
