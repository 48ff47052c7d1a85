//! Where a test ended: break, opening, or the end of the record; and falls of the load on the way.

use super::signal::{Noise, highest_after};
use crate::mechanics::curve::{at, highest};

/// How a test ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// The load fell suddenly and did not come back.
    Broke,
    /// The load sank below the share of its peak that ends the test, without a sudden fall.
    Opened,
    /// The record ends at its highest load.
    AtHighest,
    /// The record ends after the peak, before the load fell.
    Stopped,
    /// The tester said where.
    Said,
}

/// The last point of a test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct End {
    /// Its rank.
    pub at: usize,
    /// How it ended.
    pub ending: Ending,
}

/// A sudden fall of the load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fall {
    /// The rank of the last point before it.
    pub at: usize,
    /// The rank of its lowest point.
    pub low: usize,
    /// How far, in percent of the maximum load.
    pub percent: f64,
    /// The load came back to where it was.
    pub recovers: bool,
}

/// A signal with what is known of it.
pub struct Signal<'a> {
    /// Loads without stray readings.
    pub load: &'a [f64],
    /// Their noise.
    pub noise: Noise,
    /// The rank of the highest.
    pub peak: usize,
}

impl<'a> Signal<'a> {
    /// The signal of these loads.
    #[must_use]
    pub fn new(load: &'a [f64], noise: Noise) -> Self {
        Self {
            load,
            noise,
            peak: highest(load),
        }
    }

    fn height(&self) -> f64 {
        at(self.load, self.peak)
    }

    /// A fall within this many points is sudden: half a hundredth of the way to the peak.
    fn moment(&self) -> usize {
        (self.peak / 200).max(1)
    }

    /// Where the test ended, when it ends with a fall by `drop` (a share) of the maximum load.
    ///
    /// A break is the first fall so large within a moment after which the load never comes back
    /// over half of what it lost; its point is the last one before the fall.
    #[must_use]
    pub fn end(&self, drop: f64) -> End {
        let last = self.load.len().saturating_sub(1);
        let after = highest_after(self.load);
        let (moment, height) = (self.moment(), self.height());
        for rank in self.peak..last {
            let (here, there) = (at(self.load, rank), (rank + moment).min(last));
            let lost = here - at(self.load, there);
            if lost >= drop * height && at(&after, there) <= here - 0.5 * lost {
                let at = self.edge(rank, there);
                return End {
                    at,
                    ending: Ending::Broke,
                };
            }
        }
        let floor = (1.0 - drop) * height;
        let sunk = (self.peak..=last).find(|rank| at(&after, *rank) <= floor);
        if let Some(at) = sunk {
            return End {
                at,
                ending: Ending::Opened,
            };
        }
        let near = self.load.len() / 50;
        let ending = if last - self.peak <= near && at(self.load, last) >= 0.95 * height {
            Ending::AtHighest
        } else {
            Ending::Stopped
        };
        // Readings after the peak at the record's end are the peak's own noise.
        let at = if ending == Ending::AtHighest {
            self.peak
        } else {
            last
        };
        End { at, ending }
    }

    /// The last point before a fall that begins somewhere between two ranks.
    fn edge(&self, from: usize, to: usize) -> usize {
        let slack = (4.0 * self.noise.sd).max(0.02 * self.height());
        let falls = |rank: &usize| at(self.load, rank + 1) < at(self.load, *rank) - slack;
        (from..to).find(falls).unwrap_or(from)
    }

    /// Sudden falls before the end, the largest reach of each, at most twenty.
    #[must_use]
    pub fn falls(&self, end: usize) -> Vec<Fall> {
        let moment = self.moment();
        let height = self.height();
        let part = self.load.get(..=end).unwrap_or(self.load);
        let after = highest_after(part);
        let usual = 3.0 * height * moment as f64 / (self.peak + 1) as f64;
        let least = (0.02 * height).max(8.0 * self.noise.sd).max(usual);
        let mut found = Vec::new();
        let mut rank = 0;
        while rank + moment < part.len() && found.len() < 20 {
            let lost = at(part, rank) - at(part, rank + moment);
            if lost < least {
                rank += 1;
                continue;
            }
            let top = self.edge(rank, rank + moment);
            let mut low = top + 1;
            while at(part, low + 1) < at(part, low) {
                low += 1;
            }
            let lost = at(part, top) - at(part, low);
            found.push(Fall {
                at: top,
                low,
                percent: 100.0 * lost / height,
                recovers: at(&after, low) >= at(part, top) - 0.25 * lost,
            });
            rank = low.max(rank + moment);
        }
        found
    }
}
