//! What came of a draw: each group's pieces, builds and masses, for the page that shows the balance.

use std::collections::BTreeMap;

use super::{Candidate, Place, Placed};
use crate::study::code::Code;

/// One group of a draw.
#[derive(Debug, Clone, PartialEq)]
pub struct Balance {
    /// What it is for; the holder is left empty.
    pub place: Place,
    /// Its pieces.
    pub pieces: usize,
    /// How many of each build, by name; builds without a piece stand with 0.
    pub builds: Vec<(String, usize)>,
    /// How many in each holder, by key.
    pub holders: Vec<(String, usize)>,
    /// How many were weighed.
    pub weighed: usize,
    /// Mean of the masses in g; `None` when none was weighed.
    pub mean_g: Option<f64>,
    /// Standard deviation of the masses in g; `None` with fewer than two.
    pub sd_g: Option<f64>,
}

/// The groups of a draw: the baseline set first, then conditions by key and stage, then the others.
#[must_use]
pub fn balance(rows: &[Placed], pieces: &[Candidate]) -> Vec<Balance> {
    let known: BTreeMap<&Code, &Candidate> = pieces.iter().map(|p| (&p.code, p)).collect();
    let mut builds: Vec<&str> = pieces.iter().map(|p| p.build.as_str()).collect();
    builds.sort_unstable();
    builds.dedup();
    let mut groups: BTreeMap<Place, Vec<&Placed>> = BTreeMap::new();
    for row in rows {
        groups
            .entry(without_holder(&row.place))
            .or_default()
            .push(row);
    }
    let group = |(place, rows): (Place, Vec<&Placed>)| {
        let members: Vec<&Candidate> = rows
            .iter()
            .filter_map(|row| known.get(&row.specimen).copied())
            .collect();
        of_group(place, &rows, &members, &builds)
    };
    groups.into_iter().map(group).collect()
}

fn without_holder(place: &Place) -> Place {
    match place {
        Place::Exposed {
            condition,
            stage_days,
            ..
        } => Place::Exposed {
            condition: condition.clone(),
            stage_days: *stage_days,
            holder: String::new(),
        },
        other => other.clone(),
    }
}

fn of_group(place: Place, rows: &[&Placed], members: &[&Candidate], builds: &[&str]) -> Balance {
    let in_build = |build: &&str| {
        let count = members
            .iter()
            .filter(|piece| piece.build == **build)
            .count();
        ((*build).to_owned(), count)
    };
    let mut holders: BTreeMap<&str, usize> = BTreeMap::new();
    for row in rows {
        if let Place::Exposed { holder, .. } = &row.place {
            *holders.entry(holder).or_default() += 1;
        }
    }
    let masses: Vec<f64> = members.iter().filter_map(|piece| piece.mass_g).collect();
    let (mean_g, sd_g) = mean_and_sd(&masses);
    Balance {
        place,
        pieces: rows.len(),
        builds: builds.iter().map(in_build).collect(),
        holders: holders
            .into_iter()
            .map(|(key, n)| (key.to_owned(), n))
            .collect(),
        weighed: masses.len(),
        mean_g,
        sd_g,
    }
}

/// Mean, and standard deviation with n − 1.
fn mean_and_sd(values: &[f64]) -> (Option<f64>, Option<f64>) {
    if values.is_empty() {
        return (None, None);
    }
    let n = values.iter().map(|_| 1.0).sum::<f64>();
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let sd = (values.len() > 1).then(|| (squares / (n - 1.0)).sqrt());
    (Some(mean), sd)
}
