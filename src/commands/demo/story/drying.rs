//! The story of the drying: pegs from the soil weighed as taken out, then every peg on the grid.

use super::*;

/// Days at which every peg is weighed while it dries.
const WEIGHED: [i64; 4] = [0, 2, 6, 13];

impl Story {
    /// Its mass in g with so much of its water still inside, to a milligram.
    fn with_water(&self, code: &Code, left: f64) -> f64 {
        let water = match self.condition_of(code) {
            "c3" => 1.6,
            "c4" => 1.1,
            "c2" => 0.2,
            _ => 0.0,
        };
        let before = self.masses.get(code).copied().unwrap_or(8.4);
        let percent = self.change_of(code) + water * left;
        (before * (1.0 + percent / 100.0) * 1000.0).round() / 1000.0
    }

    /// Pegs that lay in soil are weighed before they are rinsed.
    pub(super) async fn weigh_as_taken_out(&self) -> Told {
        for code in self.at_stage(180) {
            if self.condition_of(&code) != "c4" || !self.is_back(&code).await? {
                continue;
            }
            self.script.wait(Duration::seconds(50));
            let mass = self.with_water(&code, 1.9);
            let dry = self.reading(&code, Quantity::Mass, Occasion::After, mass);
            let reading = Reading {
                state: MoistureState::Wet,
                ..dry
            };
            self.script.say(Entry::ReadingTaken { reading }).await?;
        }
        Ok(())
    }

    async fn is_back(&self, code: &Code) -> Told<bool> {
        let record = self.script.store.study_record(&self.slug).await?;
        let record = record.ok_or("the story's study is gone")?;
        let piece = record.specimen(code).ok_or("a peg is gone")?;
        Ok(piece.whereabouts == Whereabouts::In)
    }

    /// Two weeks on the grid in the seed store, every peg weighed four times; those of the early stages at the beginning only.
    pub(super) async fn dry(&self, stage: u32) -> Told {
        let begun = self.script.clock.now();
        let is_weighed = |day: &i64| stage == 180 || *day == 0;
        for day in WEIGHED.into_iter().filter(is_weighed) {
            self.until(begun + Duration::days(day));
            for code in self.at_stage(stage) {
                let at = self.script.wait(Duration::seconds(25));
                let left = (-f64::from(i32::try_from(day)?) / 3.0).exp();
                let mass_g = self.with_water(&code, left);
                let weighing = DryingWeighing {
                    specimen: code,
                    occasion: Occasion::After,
                    at,
                    mass_g,
                    typed: AsTyped {
                        text: mass_g.to_string(),
                        unit: Unit::Gram,
                    },
                    instrument: self.balance,
                    is_confirmed_doubt: false,
                };
                self.script.say(Entry::DryingWeighed(weighing)).await?;
            }
        }
        self.until(begun + Duration::days(14) + Duration::hours(1));
        Ok(())
    }

    pub(super) fn until(&self, moment: chrono::DateTime<Utc>) {
        let left = moment - self.script.clock.now();
        self.script.wait(left.max(Duration::zero()));
    }
}
