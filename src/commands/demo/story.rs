//! The demo's story, from the first plan to the unblinding of the first stage. One stage is done, one
//! still out; one peg is lost, one test invalid, one reading corrected, one peg out unweighed by
//! waiver, the plan amended once.

use std::collections::BTreeMap;
use std::error::Error;

use chrono::{Duration, Utc};

use super::numbers::Scatter;
use super::script::Script;
use crate::study::allocation::{self, Allocated, Candidate, Place};
use crate::study::break_test::{BreakTest, FailureMode, Looks, Outcome, TestSession};
use crate::study::code::{BlindCode, Code};
use crate::study::consignment::{Arrival, Consigned, Contents, Label, Packed, ParcelState};
use crate::study::custody::{Decision, Handled, Handling, Incident, PutOut, Recovered, TakenIn};
use crate::study::entry::{Actor, Entry};
use crate::study::ids::{ConsignmentId, EntryId, InstrumentId, LinkId};
use crate::study::plan::{Plan, sha256_hex};
use crate::study::reading::{Instrument, MoistureState, Occasion, Quantity, Reading};
use crate::study::specimen::{Identity, Made, Recovery};
use crate::study::units::{AsTyped, Dimension, Unit};

type Told<T = ()> = Result<T, Box<dyn Error + Send + Sync>>;

/// Days between the first plan and now.
pub const DAYS: i64 = 217;

/// What the story leaves behind for whoever tells it on.
pub struct Ending {
    /// The lab link of the last consignment, still open.
    pub link: LinkId,
}

struct Story {
    script: Script,
    slug: String,
    mark: String,
    plan: Plan,
    scatter: Scatter,
    balance: InstrumentId,
    calliper: InstrumentId,
    codes: Vec<Code>,
    places: BTreeMap<Code, Place>,
    masses: BTreeMap<Code, f64>,
}

/// Tells the whole story.
///
/// # Errors
/// When the journal refuses any part of it: then the story contradicts the rules.
pub async fn tell(script: Script) -> Told<(Script, Ending)> {
    let mut story = begin(script, super::plan::plan(), super::PEGS).await?;
    story.make(61).await?;
    story.measure().await?;
    story.allocate_and_seal().await?;
    story.break_baseline().await?;
    story.put_out().await?;
    story.watch().await?;
    story.freeze().await?;
    story.amend().await?;
    story.take_in().await?;
    story.measure_again().await?;
    let link = story.break_stage().await?;
    Ok((story.script, Ending { link }))
}

/// Tells a second study up to where its baseline set lies at the lab, half of it broken: the one whose
/// lab link the demo prints.
///
/// # Errors
/// As [`tell`].
pub async fn tell_half(script: Script) -> Told<(Script, Ending)> {
    let mut story = begin(script, super::plan::hooks(), super::HOOKS).await?;
    story.make(29).await?;
    story.measure().await?;
    story.allocate_and_seal().await?;
    story.script.wait(Duration::days(1));
    let codes = story.placed(|place| *place == Place::Baseline);
    let consignment = story.pack(Contents::Baseline, &codes).await?;
    let link = story.link(consignment).await?;
    story.arrive(consignment).await?;
    let tester = Actor::Link(link);
    story
        .script
        .tell(tester, Entry::SessionSet(story.session(consignment)), None)
        .await?;
    for (blind, _) in story.packed(consignment).await?.into_iter().take(3) {
        story.script.wait(Duration::minutes(4));
        let arrived = Entry::Arrived {
            consignment,
            blind: blind.clone(),
            arrival: Arrival::Good,
        };
        story.script.tell(tester, arrived, None).await?;
        let load = story.scatter.around(164.0, 5.0, 0);
        let test = break_test(consignment, &blind, load, false);
        story
            .script
            .tell(tester, Entry::BreakTested(test), None)
            .await?;
    }
    Ok((story.script, Ending { link }))
}

async fn begin(script: Script, plan: Plan, study: super::DemoStudy) -> Told<Story> {
    script
        .say(Entry::PlanWritten {
            plan: Box::new(plan.clone()),
        })
        .await?;
    let balance = InstrumentId(script.clock.new_id());
    let calliper = InstrumentId(script.clock.new_id());
    let instruments = [
        (
            balance,
            "bench balance",
            Dimension::Mass,
            0.001,
            Some(0.0016),
        ),
        (
            calliper,
            "blue calliper",
            Dimension::Length,
            0.01,
            Some(0.03),
        ),
    ];
    for (id, name, dimension, readability, uncertainty) in instruments {
        let name = name.to_owned();
        let instrument = Instrument {
            id,
            name,
            dimension,
            readability,
            uncertainty,
        };
        script.say(Entry::InstrumentAdded { instrument }).await?;
    }
    Ok(Story {
        script,
        slug: study.slug.to_owned(),
        mark: study.mark.to_owned(),
        plan,
        scatter: Scatter::new(41),
        balance,
        calliper,
        codes: Vec::new(),
        places: BTreeMap::new(),
        masses: BTreeMap::new(),
    })
}

impl Story {
    fn lot(&self, n: u32) -> String {
        named(&self.plan.lots, n / 31)
    }

    fn build(&self, n: u32) -> String {
        named(&self.plan.builds, n / 16)
    }

    async fn make(&mut self, pieces: usize) -> Told {
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

    fn reading(&self, code: &Code, quantity: Quantity, occasion: Occasion, value: f64) -> Reading {
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

    /// Every peg but one is weighed; every peg is measured; one mass is mistyped and corrected.
    async fn measure(&mut self) -> Told {
        self.script.wait(Duration::days(2));
        for (position, code) in self.codes.clone().iter().enumerate() {
            self.script.wait(Duration::seconds(40));
            let width = self.scatter.around(9.0, 0.3, 2);
            let thickness = self.scatter.around(6.0, 0.4, 2);
            let lengths = [("width", width), ("thickness", thickness)];
            self.read_lengths(code, Occasion::Before, &lengths).await?;
            let mass = self.scatter.around(8.4, 0.6, 3);
            self.masses.insert(code.clone(), mass);
            match position {
                20 => self.mistype(code, mass).await?,
                33 => {}
                _ => {
                    let reading = self.reading(code, Quantity::Mass, Occasion::Before, mass);
                    self.script.say(Entry::ReadingTaken { reading }).await?;
                }
            }
        }
        Ok(())
    }

    /// Reads the lengths that the plan calls for.
    async fn read_lengths(&self, code: &Code, occasion: Occasion, lengths: &[(&str, f64)]) -> Told {
        for (name, value) in lengths {
            let quantity = Quantity::Length((*name).to_owned());
            if self.plan.readings_of(&quantity) > 0 {
                let reading = self.reading(code, quantity, occasion, *value);
                self.script.say(Entry::ReadingTaken { reading }).await?;
            }
        }
        Ok(())
    }

    async fn mistype(&mut self, code: &Code, mass: f64) -> Told {
        let slip = (mass * 100.0).round() / 10.0;
        let mut wrong = self.reading(code, Quantity::Mass, Occasion::Before, slip);
        wrong.is_confirmed_doubt = true;
        let receipt = self
            .script
            .say(Entry::ReadingTaken { reading: wrong })
            .await?;
        let reading = self.reading(code, Quantity::Mass, Occasion::Before, mass);
        let correction = Entry::ReadingCorrected {
            supersedes: EntryId(receipt.id),
            reading,
        };
        let reason = "The point was typed one place too far right; weighed again.";
        self.script.say_because(correction, reason).await?;
        Ok(())
    }

    async fn allocate_and_seal(&mut self) -> Told {
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
    fn placed(&self, is_wanted: impl Fn(&Place) -> bool) -> Vec<Code> {
        let wanted = self.places.iter().filter(|(_, place)| is_wanted(place));
        wanted.map(|(code, _)| code.clone()).collect()
    }

    fn at_stage(&self, days: u32) -> Vec<Code> {
        self.placed(
            |place| matches!(place, Place::Exposed { stage_days, .. } if *stage_days == days),
        )
    }

    async fn break_baseline(&mut self) -> Told {
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

    async fn put_out(&mut self) -> Told {
        self.script.wait(Duration::days(3));
        let unweighed: Vec<Code> = self.codes.get(33).cloned().into_iter().collect();
        let waiver = Entry::Waived {
            specimens: unweighed,
        };
        let reason = "It was forgotten at the balance and found when the rack was already hung.";
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

    async fn watch(&mut self) -> Told {
        for (days, what, words) in [
            (30, Handling::Inspected, "All in place."),
            (
                45,
                Handling::ToppedUp,
                "Both barrels topped up with rain water.",
            ),
        ] {
            self.script.wait(Duration::days(days));
            let specimens = match what {
                Handling::ToppedUp => self.placed(
                    |place| matches!(place, Place::Exposed { condition, .. } if condition == "c3"),
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
        }
        Ok(())
    }

    async fn freeze(&mut self) -> Told {
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

    async fn amend(&mut self) -> Told {
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

    async fn take_in(&mut self) -> Told {
        self.script.wait(Duration::days(95));
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

    fn condition_of(&self, code: &Code) -> &str {
        match self.places.get(code) {
            Some(Place::Exposed { condition, .. }) => condition,
            _ => "",
        }
    }

    async fn measure_again(&mut self) -> Told {
        self.script.wait(Duration::days(14));
        for code in self.at_stage(180) {
            self.script.wait(Duration::seconds(35));
            let change = match self.condition_of(&code) {
                "c2" => -0.11,
                "c3" => 0.42,
                "c4" => -0.63,
                _ => 0.01,
            };
            let change = change + 0.05 * self.scatter.normal();
            let before = self.masses.get(&code).copied().unwrap_or(8.4);
            let mass = (before * (1.0 + change / 100.0) * 1000.0).round() / 1000.0;
            let reading = self.reading(&code, Quantity::Mass, Occasion::After, mass);
            self.script.say(Entry::ReadingTaken { reading }).await?;
            let width = self.scatter.around(9.01, 0.3, 2);
            let thickness = self.scatter.around(6.01, 0.4, 2);
            let lengths = [("width", width), ("thickness", thickness)];
            self.read_lengths(&code, Occasion::After, &lengths).await?;
        }
        Ok(())
    }

    async fn break_stage(&mut self) -> Told<LinkId> {
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

    async fn pack(&mut self, contents: Contents, codes: &[Code]) -> Told<ConsignmentId> {
        let consignment = ConsignmentId(self.script.clock.new_id());
        let mut order = codes.to_vec();
        allocation::Dice::new(&self.script.clock.random()).shuffle(&mut order);
        let pieces = order
            .into_iter()
            .map(|specimen| Packed {
                specimen,
                blind: self.blind(),
                label: Label::Removed,
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

    fn blind(&self) -> BlindCode {
        loop {
            if let Some(code) = BlindCode::from_bytes(self.script.clock.random()) {
                return code;
            }
        }
    }

    async fn link(&mut self, consignment: ConsignmentId) -> Told<LinkId> {
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
        let handed = Entry::ParcelMoved {
            consignment,
            state: ParcelState::HandedOver,
            at: self.script.clock.now(),
        };
        self.script.say(handed).await?;
        Ok(link)
    }

    async fn arrive(&mut self, consignment: ConsignmentId) -> Told {
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
    async fn test(&mut self, consignment: ConsignmentId, link: LinkId, is_new: bool) -> Told {
        let tester = Actor::Link(link);
        let pieces = self.packed(consignment).await?;
        self.script
            .tell(tester, Entry::SessionSet(self.session(consignment)), None)
            .await?;
        for (position, (blind, specimen)) in pieces.iter().enumerate() {
            self.script.wait(Duration::minutes(3));
            let arrived = Entry::Arrived {
                consignment,
                blind: blind.clone(),
                arrival: Arrival::Good,
            };
            self.script.tell(tester, arrived, None).await?;
            let condition = self.condition_of(specimen).to_owned();
            let (mean, cv) = match condition.as_str() {
                "" => (418.0, 3.0),
                "c2" => (396.0, 4.0),
                "c3" => (352.0, 4.5),
                "c4" => (289.0, 6.0),
                _ => (411.0, 3.0),
            };
            let load = self.scatter.around(mean, cv, 0);
            let slips = !is_new && position == 7;
            let test = break_test(consignment, blind, load, slips);
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
        self.script
            .tell(tester, Entry::Finished { consignment }, None)
            .await?;
        Ok(())
    }

    fn session(&self, consignment: ConsignmentId) -> TestSession {
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
        }
    }

    /// The packed pieces in the order of testing: what the story itself wrote last.
    async fn packed(&self, consignment: ConsignmentId) -> Told<Vec<(BlindCode, Code)>> {
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

fn break_test(consignment: ConsignmentId, blind: &BlindCode, load: f64, slips: bool) -> BreakTest {
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
        mode: if slips {
            FailureMode::GripSlip
        } else {
            FailureMode::Break
        },
        is_out_of_order: false,
        is_confirmed_doubt: slips,
    }
}

/// The moment at which the story begins, so that it ends today.
#[must_use]
pub fn beginning(now: chrono::DateTime<Utc>) -> chrono::DateTime<Utc> {
    now - Duration::days(DAYS)
}

/// The name at a position, or the last one.
fn named(names: &[String], position: u32) -> String {
    let at = usize::try_from(position).unwrap_or(0);
    names.get(at).or(names.last()).cloned().unwrap_or_default()
}
