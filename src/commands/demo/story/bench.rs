//! The story on the bench: making, measuring, allocating and sealing.

use super::*;

impl Story {
    pub(super) fn lot(&self, n: u32) -> String {
        named(&self.plan.lots, n / 31)
    }

    pub(super) fn build(&self, n: u32) -> String {
        named(&self.plan.builds, n / 16)
    }

    pub(super) async fn make(&mut self, pieces: usize) -> Told {
        self.script.wait(Duration::days(1));
        let run: Vec<Code> = Code::run(&self.mark, 0)
            .take(pieces)
            .map(|(_, code)| code)
            .collect();
        let pieces: Vec<Made> = run
            .iter()
            .zip(0_u32..)
            .map(|(code, n)| Made {
                code: code.clone(),
                lot: self.lot(n),
                build: self.build(n),
                order: 1 + n % 16,
            })
            .collect();
        self.script.say(Entry::SpecimensMade { pieces }).await?;
        let mut codes = run;
        if let Some(flawed) = codes.pop() {
            let reject = Entry::SpecimenRejected { specimen: flawed };
            self.script
                .say_because(reject, "A short shot: the head is not filled.")
                .await?;
        }
        self.codes = codes;
        Ok(())
    }

    pub(super) fn reading(
        &self,
        code: &Code,
        quantity: Quantity,
        occasion: Occasion,
        value: f64,
    ) -> Reading {
        let is_mass = quantity == Quantity::Mass;
        let unit = if is_mass {
            Unit::Gram
        } else {
            Unit::Millimetre
        };
        Reading {
            specimen: code.clone(),
            quantity,
            occasion,
            repeat: 1,
            state: MoistureState::Conditioned,
            value,
            typed: AsTyped {
                text: value.to_string(),
                unit,
            },
            instrument: if is_mass { self.balance } else { self.calliper },
            is_confirmed_doubt: false,
        }
    }

    /// Every peg is weighed and measured.
    pub(super) async fn measure(&mut self) -> Told {
        self.script.wait(Duration::days(2));
        self.check_instruments().await?;
        for code in &self.codes.clone() {
            self.script.wait(Duration::seconds(40));
            let width = self.scatter.around(9.0, 0.3, 2);
            let thickness = self.scatter.around(6.0, 0.4, 2);
            let lengths = [("width", width), ("thickness", thickness)];
            self.read_lengths(code, Occasion::Before, &lengths).await?;
            let mass = self.scatter.around(8.4, 0.6, 3);
            self.masses.insert(code.clone(), mass);
            let reading = self.reading(code, Quantity::Mass, Occasion::Before, mass);
            self.script.say(Entry::ReadingTaken { reading }).await?;
        }
        Ok(())
    }

    /// Reads the lengths that the plan calls for.
    pub(super) async fn read_lengths(
        &self,
        code: &Code,
        occasion: Occasion,
        lengths: &[(&str, f64)],
    ) -> Told {
        for (name, value) in lengths {
            let quantity = Quantity::Length((*name).to_owned());
            if self.plan.readings_of(&quantity) > 0 {
                let reading = self.reading(code, quantity, occasion, *value);
                self.script.say(Entry::ReadingTaken { reading }).await?;
            }
        }
        Ok(())
    }

    /// A mass with its point in the wrong place, and its correction.
    pub(super) async fn mistype(&self, code: &Code, occasion: Occasion, mass: f64) -> Told {
        let slip = (mass * 100.0).round() / 10.0;
        let mut wrong = self.reading(code, Quantity::Mass, occasion, slip);
        wrong.is_confirmed_doubt = true;
        let receipt = self
            .script
            .say(Entry::ReadingTaken { reading: wrong })
            .await?;
        let reading = self.reading(code, Quantity::Mass, occasion, mass);
        let correction = Entry::ReadingCorrected {
            supersedes: EntryId(receipt.id),
            reading,
        };
        let reason = "The point was typed one place too far right; weighed again.";
        self.script.say_because(correction, reason).await?;
        Ok(())
    }

    pub(super) async fn allocate_and_seal(&mut self) -> Told {
        self.script.wait(Duration::days(1));
        let candidates: Vec<Candidate> = self
            .codes
            .iter()
            .zip(0_usize..)
            .map(|(code, n)| Candidate {
                code: code.clone(),
                build: self.build(u32::try_from(n).unwrap_or(0)),
                mass_g: self.masses.get(code).copied(),
            })
            .collect();
        let seed: [u8; 32] = self.script.clock.random();
        let rows =
            allocation::draw(&self.plan, &candidates, &seed).map_err(|few| few.to_string())?;
        self.places = rows
            .iter()
            .map(|row| (row.specimen.clone(), row.place.clone()))
            .collect();
        let drawn = Allocated {
            draw: 1,
            plan_version: 1,
            seed: crate::clock::hex(&seed),
            method: allocation::METHOD.to_owned(),
            candidates_sha256: allocation::candidates_sha256(&candidates),
            rows,
        };
        self.script.say(Entry::AllocationDrawn(drawn)).await?;
        let plan_sha256 = sha256_hex(&self.plan.to_bytes()?);
        self.script
            .say(Entry::Sealed {
                plan_version: 1,
                plan_sha256,
            })
            .await?;
        self.script.say(Entry::MadePublic {}).await?;
        let place = "the notice board of the allotment society, as a printed line".to_owned();
        self.script.say(Entry::WitnessNoted { place }).await?;
        Ok(())
    }

    /// Codes with a place, in the order of making.
    pub(super) fn placed(&self, is_wanted: impl Fn(&Place) -> bool) -> Vec<Code> {
        let wanted = self.places.iter().filter(|(_, place)| is_wanted(place));
        wanted.map(|(code, _)| code.clone()).collect()
    }

    pub(super) fn at_stage(&self, days: u32) -> Vec<Code> {
        self.placed(
            |place| matches!(place, Place::Exposed { stage_days, .. } if *stage_days == days),
        )
    }
}

/// The name at a position, or the last one.
fn named(names: &[String], position: u32) -> String {
    let at = usize::try_from(position).unwrap_or(0);
    names.get(at).or(names.last()).cloned().unwrap_or_default()
}
