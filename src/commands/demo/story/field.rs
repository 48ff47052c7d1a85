//! The story outdoors: putting out, watching, taking in, measuring again.

use super::*;

impl Story {
    pub(super) async fn put_out(&mut self) -> Told {
        self.script.wait(Duration::days(3));
        let specimens = self.unweighed().await?;
        let waiver = Entry::Waived { specimens };
        let reason = "Found out when the rack was already hung; it was not taken down again.";
        self.script.say_because(waiver, reason).await?;
        let specimens = self.placed(|place| matches!(place, Place::Exposed { .. }));
        let out = PutOut {
            specimens,
            at: self.script.clock.now(),
            is_confirmed_doubt: false,
        };
        self.script.say(Entry::PutOut(out)).await?;
        Ok(())
    }

    /// Declares the mass of one peg void, which then has none from before its outing. It is one of the
    /// first stage, whose results are told.
    async fn unweighed(&self) -> Told<Vec<Code>> {
        let exposed = self.at_stage(180);
        let record = self.script.store.study_record(&self.slug).await?;
        let record = record.ok_or("the story's study is gone")?;
        let mut masses = record
            .current_readings()
            .filter(|r| r.reading.quantity == Quantity::Mass);
        let last = exposed.last().ok_or("nothing is exposed")?;
        let found = masses
            .find(|r| r.reading.specimen == *last)
            .ok_or("it was not weighed")?;
        let reason = "The balance had not been set to zero before this peg.";
        self.script
            .say_because(Entry::Voided { entry: found.entry }, reason)
            .await?;
        Ok(vec![last.clone()])
    }

    pub(super) async fn watch(&mut self) -> Told {
        let out = self.put_out_at().await?;
        for (days, what, words) in [
            (30, Handling::Inspected, "All in place."),
            (
                75,
                Handling::ToppedUp,
                "Both barrels topped up with rain water.",
            ),
        ] {
            self.until(out + Duration::days(days));
            let specimens = match what {
                Handling::ToppedUp => self.placed(
                    |place| matches!(place, Place::Exposed { condition, stage_days, .. } if condition == "c3" && *stage_days > 30),
                ),
                _ => self.placed(|place| matches!(place, Place::Exposed { .. })),
            };
            let at = self.script.clock.now();
            let handled = Handled {
                what,
                specimens,
                at,
                into_holder: None,
                is_confirmed_doubt: false,
            };
            self.script
                .say_because(Entry::Handled(handled), words)
                .await?;
            if what == Handling::Inspected {
                self.interim(30).await?;
            }
        }
        Ok(())
    }

    /// An early stage of few pegs: taken in, cleaned, dried, measured and broken.
    pub(super) async fn interim(&mut self, days: u32) -> Told {
        self.until(self.put_out_at().await? + Duration::days(i64::from(days)));
        let codes = self.at_stage(days);
        let recovered = |code: &Code| Recovered {
            specimen: code.clone(),
            recovery: Recovery::Whole,
            identity: Identity::Mark,
        };
        let taken = TakenIn {
            pieces: codes.iter().map(recovered).collect(),
            at: self.script.clock.now(),
            is_confirmed_doubt: false,
        };
        self.script.say(Entry::TakenIn(taken)).await?;
        let at = self.script.wait(Duration::hours(3));
        let handled = Handled {
            what: Handling::Cleaned,
            specimens: codes.clone(),
            at,
            into_holder: None,
            is_confirmed_doubt: false,
        };
        self.script.say(Entry::Handled(handled)).await?;
        self.measure_again(days).await?;
        let consignment = self.pack(Contents::Stage { days }, &codes).await?;
        let link = self.link(consignment).await?;
        self.arrive(consignment).await?;
        self.test(consignment, link, true).await?;
        self.script.wait(Duration::hours(20));
        self.script.say(Entry::Unblinded { consignment }).await?;
        Ok(())
    }

    /// The water of what still hangs in the barrels, seen to once more.
    pub(super) async fn top_up(&mut self) -> Told {
        let specimens = self.placed(|place| {
            matches!(place, Place::Exposed { condition, stage_days: 365, .. } if condition == "c3")
        });
        let handled = Handled {
            what: Handling::ToppedUp,
            specimens,
            at: self.script.clock.now(),
            into_holder: None,
            is_confirmed_doubt: false,
        };
        let words = "Topped up before the frost; leaves taken off the mesh lids.";
        self.script
            .say_because(Entry::Handled(handled), words)
            .await?;
        Ok(())
    }

    pub(super) async fn freeze(&mut self) -> Told {
        let today = self.script.clock.now().date_naive();
        let incident = Incident {
            holder: "c3h2".to_owned(),
            from: today - Duration::days(6),
            until: Some(today - Duration::days(2)),
            into_holder: None,
            decision: Decision::Keep,
        };
        let words = "The barrel by the gate was frozen over; nothing cracked, all pegs still hang.";
        self.script
            .say_because(Entry::Incident(incident), words)
            .await?;
        Ok(())
    }

    pub(super) async fn amend(&mut self) -> Told {
        self.script.wait(Duration::days(10));
        if let Some(bed) = self.plan.conditions.get_mut(1) {
            bed.place = "on the fleece rail, facing south; rail B moved one bed along".to_owned();
        }
        let plan = Box::new(self.plan.clone());
        let reason = "The bed under rail B was dug over for leeks.";
        self.script
            .say_because(Entry::Amended { plan }, reason)
            .await?;
        Ok(())
    }

    pub(super) async fn take_in(&mut self) -> Told {
        self.until(self.put_out_at().await? + Duration::days(180));
        let codes = self.at_stage(180);
        let is_soil = |code: &&Code| matches!(self.places.get(code), Some(Place::Exposed { condition, .. }) if condition == "c4");
        let lost = codes.iter().find(is_soil).cloned();
        let recovered = |code: &Code| {
            let is_lost = Some(code) == lost.as_ref();
            let recovery = if is_lost {
                Recovery::NotFound
            } else {
                Recovery::Whole
            };
            let identity = if is_lost {
                Identity::Unknown
            } else {
                Identity::Mark
            };
            Recovered {
                specimen: code.clone(),
                recovery,
                identity,
            }
        };
        let pieces = codes.iter().map(recovered).collect();
        let at = self.script.clock.now();
        let taken = TakenIn {
            pieces,
            at,
            is_confirmed_doubt: false,
        };
        let words = "One peg was not where the plot's map shows it; the plot was sieved.";
        self.script
            .say_because(Entry::TakenIn(taken), words)
            .await?;
        let back: Vec<Code> = codes
            .into_iter()
            .filter(|code| Some(code) != lost.as_ref())
            .collect();
        self.script.wait(Duration::days(1));
        self.weigh_as_taken_out().await?;
        for what in [Handling::Cleaned, Handling::Dried] {
            let (specimens, at) = (back.clone(), self.script.clock.now());
            let handled = Handled {
                what,
                specimens,
                at,
                into_holder: None,
                is_confirmed_doubt: false,
            };
            self.script.say(Entry::Handled(handled)).await?;
        }
        if let Some(lost) = lost {
            self.places.remove(&lost);
        }
        Ok(())
    }

    pub(super) fn condition_of(&self, code: &Code) -> &str {
        match self.places.get(code) {
            Some(Place::Exposed { condition, .. }) => condition,
            _ => "",
        }
    }

    /// By how much a peg's mass has changed, in %, before scatter.
    pub(super) fn change_of(&self, code: &Code) -> f64 {
        let after_half_a_year = match self.condition_of(code) {
            "c2" => -0.11,
            "c3" => 0.42,
            "c4" => -0.63,
            _ => 0.01,
        };
        after_half_a_year * self.days_of(code) / 180.0
    }

    /// The days of its stage; 0 for one that never goes out.
    pub(super) fn days_of(&self, code: &Code) -> f64 {
        match self.places.get(code) {
            Some(Place::Exposed { stage_days, .. }) => f64::from(*stage_days),
            _ => 0.0,
        }
    }

    /// One mass is mistyped and corrected.
    pub(super) async fn measure_again(&mut self, stage: u32) -> Told {
        self.dry(stage).await?;
        for (position, code) in self.at_stage(stage).into_iter().enumerate() {
            self.script.wait(Duration::seconds(35));
            let change = self.change_of(&code) + 0.05 * self.scatter.normal();
            let before = self.masses.get(&code).copied().unwrap_or(8.4);
            let mass = (before * (1.0 + change / 100.0) * 1000.0).round() / 1000.0;
            if position == 0 && stage == 180 {
                self.mistype(&code, Occasion::After, mass).await?;
            } else {
                let reading = self.reading(&code, Quantity::Mass, Occasion::After, mass);
                self.script.say(Entry::ReadingTaken { reading }).await?;
            }
            let width = self.scatter.around(9.01, 0.3, 2);
            let thickness = self.scatter.around(6.01, 0.4, 2);
            let lengths = [("width", width), ("thickness", thickness)];
            self.read_lengths(&code, Occasion::After, &lengths).await?;
        }
        Ok(())
    }
}
