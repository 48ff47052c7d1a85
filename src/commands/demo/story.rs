//! The demo's story, from the first plan to the unblinding of the first stage. One stage is done, one
//! still out, two early ones were of few pegs; one peg is lost, one test invalid, one reading corrected, one peg out unweighed by
//! waiver, the plan amended once.

mod bench;
mod curves;
mod drying;
mod field;
mod lab;
mod library;
mod parcel;
mod photographs;
mod weather;

use std::collections::BTreeMap;
use std::error::Error;

use chrono::{Duration, Utc};

use lab::break_test;

use super::numbers::Scatter;
use super::script::Script;
use crate::study::allocation::{self, Allocated, Candidate, Place};
use crate::study::break_test::{BreakTest, FailureMode, Looks, Outcome, TestSession};
use crate::study::code::{BlindCode, Code};
use crate::study::consignment::{Arrival, Consigned, Contents, Label, Packed, ParcelState};
use crate::study::custody::{Decision, Handled, Handling, Incident, PutOut, Recovered, TakenIn};
use crate::study::drying::DryingWeighing;
use crate::study::entry::{Actor, Entry};
use crate::study::environment::{SeriesAdded, SeriesPlace, SeriesSource, guess, table};
use crate::study::equipment::Used;
use crate::study::ids::{ConsignmentId, EntryId, InstrumentId, LinkId};
use crate::study::literature::{CitedFigure, Property};
use crate::study::plan::{Environment, Plan, sha256_hex};
use crate::study::reading::{
    Instrument, InstrumentCheck, MoistureState, Occasion, Quantity, Reading,
};
use crate::study::specimen::{Identity, Made, Recovery, Whereabouts};
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
    /// How much the pegs give, which scatters by itself.
    give: Scatter,
    balance: InstrumentId,
    calliper: InstrumentId,
    codes: Vec<Code>,
    places: BTreeMap<Code, Place>,
    masses: BTreeMap<Code, f64>,
    /// The consignment by which the lab is known, and what of its record is used.
    lab: Option<ConsignmentId>,
    used: Used,
}

/// Tells the whole story.
///
/// # Errors
/// When the journal refuses any part of it: then the story contradicts the rules.
pub async fn tell(script: Script) -> Told<(Script, Ending)> {
    let mut story = begin(script, super::plan::pegs(), super::PEGS).await?;
    story.make(85).await?;
    story.measure().await?;
    story.allocate_and_seal().await?;
    story.photograph_new().await?;
    story
        .photograph_bench("A peg as it left the mould, drawn for this demo")
        .await?;
    story.break_baseline().await?;
    story.put_out().await?;
    story.watch().await?;
    story.freeze().await?;
    story.amend().await?;
    story.interim(90).await?;
    story.take_in().await?;
    story.read_loggers().await?;
    story.photograph_back().await?;
    story.measure_again(180).await?;
    story.top_up().await?;
    let link = story.break_stage().await?;
    story.release_photographs().await?;
    story.cite().await?;
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
    story
        .photograph_bench("The bench on the day before the first parcel, drawn for this demo")
        .await?;
    story.script.wait(Duration::days(1));
    let codes = story.placed(|place| *place == Place::Baseline);
    let consignment = story.pack(Contents::Baseline, &codes).await?;
    let link = story.link(consignment).await?;
    story.arrive(consignment).await?;
    story.open_parcel(consignment, link).await?;
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
        give: Scatter::new(73),
        balance,
        calliper,
        codes: Vec::new(),
        places: BTreeMap::new(),
        masses: BTreeMap::new(),
        lab: None,
        used: Used::default(),
    })
}

/// The moment at which the story begins, so that it ends today.
#[must_use]
pub fn beginning(now: chrono::DateTime<Utc>) -> chrono::DateTime<Utc> {
    now - Duration::days(DAYS)
}
