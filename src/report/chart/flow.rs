//! How many pieces came how far: one bar a step, as long as the number is large, and between the steps who
//! left and why. The bars stand at the left edge, so that what is missing shows at the right.

use crate::report::chart::marks::{Anchor, LineKind, Rect};
use crate::report::chart::scale::round;
use crate::report::chart::{Chart, shortened};

/// Width of the view box; narrow, so that words stay readable on a phone.
const WIDTH: f64 = 380.0;
/// Where the bars begin.
const LEFT: f64 = 10.0;
/// Length of the longest bar.
const LONGEST: f64 = 176.0;
/// Height of a bar.
const BAR: f64 = 24.0;
/// Height of a line of words.
const LINE: f64 = 15.0;
/// Longest words beside a bar, in characters.
const WORDS: usize = 32;

/// A step on the way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// What the pieces of the bar have in common.
    pub name: String,
    /// How many.
    pub pieces: usize,
    /// Who is not in the next bar, and why.
    pub left: Vec<(usize, String)>,
}

/// What is drawn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flow {
    /// Unique within a page.
    pub id: String,
    /// For screen readers.
    pub title: String,
    /// From the first to the last.
    pub steps: Vec<Step>,
}

impl Flow {
    /// The geometry; `None` when there is no piece.
    #[must_use]
    pub fn chart(&self) -> Option<Chart> {
        let most = self.steps.iter().map(|step| step.pieces).max()?;
        if most == 0 {
            return None;
        }
        let height = self.steps.iter().map(gap).sum::<f64>() + BAR * self.steps.len() as f64;
        let words = (self.title.as_str(), &*self.told());
        let mut chart = Chart::blank(&self.id, words, (WIDTH, height + 8.0));
        let long = |n: usize| round(LONGEST * n as f64 / most as f64);
        let mut top = 4.0;
        for (at, step) in self.steps.iter().enumerate() {
            let width = long(step.pieces);
            chart.bands.push(Rect {
                x: LEFT,
                y: top,
                width: width.max(1.0),
                height: BAR,
            });
            chart.said(
                (LEFT + 6.0, top + 16.5),
                &step.pieces.to_string(),
                Anchor::Start,
            );
            let beside = (LEFT + LONGEST + 12.0, top + 16.5);
            chart.said(beside, &shortened(&step.name, WORDS), Anchor::Start);
            let below = top + BAR;
            if let Some(next) = self.steps.get(at + 1) {
                let edge = |chart: &mut Chart, from: f64, to: f64| {
                    let ends = ((LEFT + from, below), (LEFT + to, below + gap(step)));
                    chart.line(ends.0, ends.1, LineKind::Rule);
                };
                edge(&mut chart, 0.0, 0.0);
                edge(&mut chart, width, long(next.pieces));
            }
            for (line, (n, why)) in step.left.iter().enumerate() {
                let y = below + 4.0 + LINE * (line as f64 + 0.7);
                let text = shortened(&format!("{n} {why}"), WORDS);
                chart.quiet((LEFT + LONGEST + 12.0, round(y)), &text, Anchor::Start);
            }
            top = below + gap(step);
        }
        Some(chart)
    }

    /// In words, for those who do not see it.
    fn told(&self) -> String {
        let step = |step: &Step| {
            let left = step.left.iter().map(|(n, why)| format!("; {n} {why}"));
            let left: String = left.collect();
            format!("{} {}{left}.", step.pieces, step.name)
        };
        let steps: Vec<String> = self.steps.iter().map(step).collect();
        steps.join(" ")
    }
}

/// Room below a step's bar.
fn gap(step: &Step) -> f64 {
    (LINE * step.left.len() as f64 + 10.0).max(12.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_is_as_long_as_its_number_is_large_and_nothing_is_left_out() {
        let step = |name: &str, pieces, left: &[(usize, &str)]| Step {
            name: name.into(),
            pieces,
            left: left
                .iter()
                .map(|(n, why)| (*n, (*why).to_owned()))
                .collect(),
        };
        let mut flow = Flow {
            id: "f".into(),
            title: "t".into(),
            steps: vec![
                step("made", 40, &[(8, "spares"), (2, "rejected")]),
                step("allocated", 30, &[]),
            ],
        };
        let chart = flow.chart().unwrap();
        assert_eq!(chart.bands[0].width, LONGEST);
        assert_eq!(chart.bands[1].width, LONGEST * 0.75);
        assert_eq!(
            chart.description,
            "40 made; 8 spares; 2 rejected. 30 allocated."
        );
        assert!(chart.labels.iter().any(|label| label.text == "2 rejected"));
        flow.steps = vec![step("made", 0, &[])];
        assert_eq!(flow.chart(), None);
    }
}
