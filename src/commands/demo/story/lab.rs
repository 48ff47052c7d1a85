//! The story at the lab: packing, sending, breaking, unblinding.

use super::*;

impl Story {
    pub(super) async fn break_baseline(&mut self) -> Told {
        self.script.wait(Duration::days(2));
        let codes = self.placed(|place| *place == Place::Baseline);
        let consignment = self.pack(Contents::Baseline, &codes).await?;
        let link = self.link(consignment).await?;
        self.arrive(consignment).await?;
        self.test(consignment, link, true).await?;
        self.script.wait(Duration::hours(2));
        let reason = "The closing check load was not written down; the tester has it on paper.";
        self.script
            .say_because(Entry::Reopened { consignment }, reason)
            .await?;
        let tester = Actor::Link(link);
        self.script
            .tell(tester, Entry::SessionSet(self.session(consignment)), None)
            .await?;
        self.script
            .tell(tester, Entry::Finished { consignment }, None)
            .await?;
        self.script.wait(Duration::days(1));
        self.script.say(Entry::Unblinded { consignment }).await?;
        Ok(())
    }

    pub(super) async fn break_stage(&mut self) -> Told<LinkId> {
        self.script.wait(Duration::days(1));
        let codes = self.at_stage(180);
        let consignment = self.pack(Contents::Stage { days: 180 }, &codes).await?;
        let link = self.link(consignment).await?;
        self.script.wait(Duration::days(3));
        self.arrive(consignment).await?;
        self.test(consignment, link, false).await?;
        self.script.wait(Duration::days(1));
        self.script.say(Entry::Unblinded { consignment }).await?;
        Ok(link)
    }

    pub(super) async fn pack(&mut self, contents: Contents, codes: &[Code]) -> Told<ConsignmentId> {
        let consignment = ConsignmentId(self.script.clock.new_id());
        let mut order = codes.to_vec();
        allocation::Dice::new(&self.script.clock.random()).shuffle(&mut order);
        let pieces = order
            .into_iter()
            .map(|specimen| Packed {
                specimen,
                blind: self.blind(),
                label: Label::Removed,
                retest_of: None,
            })
            .collect();
        let lab = "workshop of the neighbouring college (invented)".to_owned();
        self.script
            .say(Entry::Consigned(Consigned {
                consignment,
                lab,
                contents,
                pieces,
            }))
            .await?;
        Ok(consignment)
    }

    pub(super) fn blind(&self) -> BlindCode {
        loop {
            if let Some(code) = BlindCode::from_bytes(self.script.clock.random()) {
                return code;
            }
        }
    }

    pub(super) async fn link(&mut self, consignment: ConsignmentId) -> Told<LinkId> {
        let link = LinkId(self.script.clock.new_id());
        let latest = self.script.clock.now() + Duration::days(365);
        self.script
            .say(Entry::LinkIssued {
                link,
                consignment,
                days: 60,
                latest,
            })
            .await?;
        self.seal_parcel(consignment).await?;
        let handed = Entry::ParcelMoved {
            consignment,
            state: ParcelState::HandedOver,
            at: self.script.clock.now(),
        };
        self.script.say(handed).await?;
        Ok(link)
    }

    pub(super) async fn arrive(&mut self, consignment: ConsignmentId) -> Told {
        let at = self.script.wait(Duration::days(1));
        self.script
            .say(Entry::ParcelMoved {
                consignment,
                state: ParcelState::Received,
                at,
            })
            .await?;
        Ok(())
    }

    /// The tester's day: every piece ticked off, broken in order, looked at; one grip slips.
    pub(super) async fn test(
        &mut self,
        consignment: ConsignmentId,
        link: LinkId,
        is_new: bool,
    ) -> Told {
        let tester = Actor::Link(link);
        self.open_parcel(consignment, link).await?;
        let pieces = self.packed(consignment).await?;
        self.script
            .tell(tester, Entry::SessionSet(self.session(consignment)), None)
            .await?;
        let mut broken = Vec::new();
        for (position, (blind, specimen)) in pieces.iter().enumerate() {
            self.script.wait(Duration::minutes(3));
            let arrived = Entry::Arrived {
                consignment,
                blind: blind.clone(),
                arrival: Arrival::Good,
            };
            self.script.tell(tester, arrived, None).await?;
            let condition = self.condition_of(specimen).to_owned();
            let load = self.load_of(specimen);
            let slips = !is_new && position == 7;
            let test = break_test(consignment, blind, load, slips);
            // Of the one that slips the machine was stopped, and wrote nothing.
            broken.extend(
                test.max_load_n
                    .filter(|_| !slips)
                    .map(|load| (blind.clone(), load)),
            );
            let note = slips.then_some("The shank crept out of the jaws before the peak.");
            self.script
                .tell(tester, Entry::BreakTested(test), note)
                .await?;
            let looks = match (condition.as_str(), position % 5) {
                (_, 0) => Looks::CannotTell,
                ("c3" | "c4", _) => Looks::Exposed,
                (_, 3) => Looks::Exposed,
                _ => Looks::Indoors,
            };
            let guess = Entry::Guessed {
                consignment,
                blind: blind.clone(),
                looks,
            };
            self.script.tell(tester, guess, None).await?;
        }
        self.keep_curves(consignment, link, &broken).await?;
        self.script
            .tell(tester, Entry::Finished { consignment }, None)
            .await?;
        Ok(())
    }

    /// A load as invented: it falls in a straight line to what is left after half a year.
    fn load_of(&mut self, specimen: &Code) -> f64 {
        let (left, cv) = match self.condition_of(specimen) {
            "" => (418.0, 3.0),
            "c2" => (396.0, 4.0),
            "c3" => (352.0, 4.5),
            "c4" => (289.0, 6.0),
            _ => (411.0, 3.0),
        };
        let mean = 418.0 + (left - 418.0) * self.days_of(specimen) / 180.0;
        self.scatter.around(mean, cv, 0)
    }

    pub(super) fn session(&self, consignment: ConsignmentId) -> TestSession {
        TestSession {
            consignment,
            machine: "bench frame no. 2, 1 kN cell".to_owned(),
            fixture: "oak jaws, 40 mm".to_owned(),
            speed_mm_min: Some(20.0),
            room_c: Some(21.5),
            room_rh_percent: Some(48.0),
            load_unit: Unit::Newton,
            tested_on: self.script.clock.now().date_naive(),
            check_load_n: Some(200.0),
            check_opening_n: Some(200.4),
            check_closing_n: Some(200.1),
            drift_limit_percent: Some(1.0),
            used: self.used.clone(),
        }
    }

    /// The packed pieces in the order of testing: what the story itself wrote last.
    pub(super) async fn packed(&self, consignment: ConsignmentId) -> Told<Vec<(BlindCode, Code)>> {
        let record = self.script.store.study_record(&self.slug).await?;
        let record = record.ok_or("the story's study is gone")?;
        let packed = record
            .consignment(consignment)
            .ok_or("the consignment is gone")?;
        let pieces = packed.pieces.iter();
        Ok(pieces
            .map(|piece| (piece.blind.clone(), piece.specimen.clone()))
            .collect())
    }
}

/// A break test; one that slips is invalid.
pub(super) fn break_test(
    consignment: ConsignmentId,
    blind: &BlindCode,
    load: f64,
    slips: bool,
) -> BreakTest {
    let load = if slips { load * 0.4 } else { load };
    let load = load.round();
    BreakTest {
        consignment,
        blind: blind.clone(),
        outcome: if slips {
            Outcome::Invalid
        } else {
            Outcome::Valid
        },
        max_load_n: Some(load),
        typed: Some(AsTyped {
            text: load.to_string(),
            unit: Unit::Newton,
        }),
        energy_j: None,
        failure: None,
        mode: if slips {
            FailureMode::GripSlip
        } else {
            FailureMode::Break
        },
        is_out_of_order: false,
        is_confirmed_doubt: slips,
    }
}
