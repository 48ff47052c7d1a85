//! A study whose pieces can be packed: sealed, drawn, out and back, with names for its conditions,
//! holders and stages that nothing else on a page holds. It says them through the journal's own path.

use super::{PASSWORD, Person, TestServer};
use chrono::TimeDelta;
use overwinter::clock::hex;
use overwinter::commands::demo::plan::plan as demo_plan;
use overwinter::commands::demo::script::Script;
use overwinter::study::allocation::{self, Allocated, Candidate, Place};
use overwinter::study::code::Code;
use overwinter::study::custody::{PutOut, Recovered, TakenIn};
use overwinter::study::entry::{Entry, StudyStarted};
use overwinter::study::ids::AccountId;
use overwinter::study::plan::{
    Condition, EndOfTest, Environment, Holder, Plan, RetestRule, Shape, Stage, sha256_hex,
};
use overwinter::study::specimen::{Identity, Made, Recovery};
use std::collections::BTreeMap;

/// Conditions, the storage control first, each with its two holders.
pub const PLACES: [(&str, [&str; 2]); 3] = [
    ("quokka cellar", ["marmot shelf", "ibex shelf"]),
    ("heron roof", ["gannet rail", "petrel rail"]),
    ("walrus tank", ["narwhal barrel", "orca barrel"]),
];

/// A stage of so many days that the number stands for it alone.
pub const DAYS: u32 = 7331;

/// What the study is to be.
pub struct Wanted {
    pub slug: &'static str,
    pub mark: &'static str,
    pub title: &'static str,
    /// Its stages in days.
    pub stages: Vec<u32>,
    /// Pieces for each condition and stage.
    pub each: u32,
    pub spares: u32,
    pub retests: Option<RetestRule>,
    pub is_sealed: bool,
    pub is_public: bool,
}

impl Wanted {
    /// One stage, three pieces each, sealed and private.
    pub fn small() -> Self {
        Self {
            slug: "bent-hooks",
            mark: "KW",
            title: "Bent hooks",
            stages: vec![DAYS],
            each: 3,
            spares: 0,
            retests: None,
            is_sealed: true,
            is_public: false,
        }
    }

    /// Makes it: the pieces of every stage are taken in, the baseline set is on the bench.
    pub async fn ready(self, server: &TestServer, steward: &str) -> Ready {
        // The same person may have another study here already.
        let known = server.app.store.find_account(steward).await.unwrap();
        let person = match known {
            Some(_) => {
                let person = server.stranger();
                person
                    .sign_in(steward, PASSWORD)
                    .await
                    .redirects_to("/desk");
                person
            }
            None => server.steward(steward).await,
        };
        let account = server.app.store.find_account(steward).await.unwrap();
        let started = StudyStarted {
            slug: self.slug.to_owned(),
            mark: self.mark.to_owned(),
            title: self.title.to_owned(),
            time_zone: "Europe/Oslo".to_owned(),
            steward: AccountId(account.expect("the steward's account").id),
            is_after_the_fact: false,
        };
        let parts = (server.app.store.clone(), server.app.journal.clone());
        let script = Script::open(parts, server.app.clock.clone(), started);
        let script = script.await.expect("a study");
        let places = lay_out(&script, &self).await;
        Ready {
            person,
            script,
            slug: self.slug.to_owned(),
            places,
        }
    }

    fn plan(&self) -> Plan {
        let mut plan = demo_plan();
        plan.form.shape = Shape::LoadOnly;
        plan.form.piece_name = "hook".to_owned();
        plan.form.end_of_test = EndOfTest::Opening;
        plan.form.end_figure = Some(12.0);
        plan.dimensions.clear();
        plan.mass.readings = 0;
        plan.baseline = 4;
        plan.spares = self.spares;
        plan.retests = self.retests;
        plan.stages = self.stages.iter().map(|days| stage(*days)).collect();
        plan.primary_stage_days = self.stages[0];
        let places = PLACES.iter().enumerate();
        plan.conditions = places.map(|(n, place)| self.condition(n, place)).collect();
        plan
    }

    fn condition(&self, n: usize, (name, holders): &(&str, [&str; 2])) -> Condition {
        let holders = holders.iter().enumerate();
        Condition {
            key: format!("c{n}"),
            name: (*name).to_owned(),
            environment: [
                Environment::Indoor,
                Environment::Outdoor,
                Environment::SaltWater,
            ][n],
            is_storage_control: n == 0,
            place: format!("in the {name} itself"),
            holders: holders
                .map(|(h, name)| Holder {
                    key: format!("c{n}h{h}"),
                    name: (*name).to_owned(),
                })
                .collect(),
            replicates: vec![self.each; self.stages.len()],
            renew_days: None,
        }
    }
}

fn stage(days: u32) -> Stage {
    Stage {
        days,
        window_days: 3,
    }
}

/// The study, its steward's browser, and what each piece is for.
pub struct Ready {
    pub person: Person,
    pub script: Script,
    pub slug: String,
    pub places: BTreeMap<Code, Place>,
}

async fn lay_out(script: &Script, wanted: &Wanted) -> BTreeMap<Code, Place> {
    let plan = wanted.plan();
    let say = async |entry| script.say(entry).await.expect("the journal takes it");
    say(Entry::PlanWritten {
        plan: Box::new(plan.clone()),
    })
    .await;
    let all =
        (4 + wanted.spares) as usize + wanted.each as usize * PLACES.len() * wanted.stages.len();
    let codes: Vec<Code> = Code::run(wanted.mark, 0)
        .take(all)
        .map(|(_, code)| code)
        .collect();
    let made = codes.iter().zip(1..).map(|(code, order)| Made {
        code: code.clone(),
        lot: "bag 1".to_owned(),
        build: "shot 1".to_owned(),
        order,
    });
    say(Entry::SpecimensMade {
        pieces: made.collect(),
    })
    .await;
    let places = draw(script, &plan, &codes).await;
    if wanted.is_sealed {
        let plan_sha256 = sha256_hex(&plan.to_bytes().unwrap());
        say(Entry::Sealed {
            plan_version: 1,
            plan_sha256,
        })
        .await;
        out_and_back(script, &places).await;
    }
    if wanted.is_public {
        say(Entry::MadePublic {}).await;
    }
    places
}

async fn draw(script: &Script, plan: &Plan, codes: &[Code]) -> BTreeMap<Code, Place> {
    let candidates: Vec<Candidate> = codes
        .iter()
        .map(|code| Candidate {
            code: code.clone(),
            build: "shot 1".to_owned(),
            mass_g: None,
        })
        .collect();
    let seed: [u8; 32] = script.clock.random();
    let rows = allocation::draw(plan, &candidates, &seed).expect("enough pieces");
    let places = rows
        .iter()
        .map(|row| (row.specimen.clone(), row.place.clone()));
    let places = places.collect();
    let drawn = Allocated {
        draw: 1,
        plan_version: 1,
        seed: hex(&seed),
        method: allocation::METHOD.to_owned(),
        candidates_sha256: allocation::candidates_sha256(&candidates),
        rows,
    };
    script
        .say(Entry::AllocationDrawn(drawn))
        .await
        .expect("a draw");
    places
}

async fn out_and_back(script: &Script, places: &BTreeMap<Code, Place>) {
    let exposed = places
        .iter()
        .filter(|(_, place)| matches!(place, Place::Exposed { .. }));
    let specimens: Vec<Code> = exposed.map(|(code, _)| code.clone()).collect();
    let out = PutOut {
        specimens: specimens.clone(),
        at: script.clock.now(),
        is_confirmed_doubt: false,
    };
    script.say(Entry::PutOut(out)).await.expect("it goes out");
    let at = script.wait(TimeDelta::days(1));
    let recovered = |specimen: Code| Recovered {
        specimen,
        recovery: Recovery::Whole,
        identity: Identity::Mark,
    };
    let taken = TakenIn {
        pieces: specimens.into_iter().map(recovered).collect(),
        at,
        is_confirmed_doubt: true,
    };
    script
        .say(Entry::TakenIn(taken))
        .await
        .expect("it comes back");
}

impl Ready {
    /// The codes of one stage, in their own order.
    pub fn of_stage(&self, days: u32) -> Vec<&Code> {
        let of_stage = |place: &Place| matches!(place, Place::Exposed { stage_days, .. } if *stage_days == days);
        let pieces = self.places.iter().filter(|(_, place)| of_stage(place));
        pieces.map(|(code, _)| code).collect()
    }

    /// The codes of the baseline set.
    pub fn baseline(&self) -> Vec<&Code> {
        let pieces = self.places.iter();
        let pieces = pieces.filter(|(_, place)| **place == Place::Baseline);
        pieces.map(|(code, _)| code).collect()
    }

    /// The condition of a piece by its number in [`PLACES`]; `None` for the baseline set.
    pub fn condition(&self, code: &Code) -> Option<usize> {
        match &self.places[code] {
            Place::Exposed { condition, .. } => condition[1..].parse().ok(),
            _ => None,
        }
    }

    /// Packs these through the form; the consignment's address on the desk.
    pub async fn pack(&self, contents: &str, codes: &[&Code]) -> String {
        let entry = self.script.clock.new_id().to_string();
        let mut fields = vec![
            ("entry", entry.as_str()),
            ("contents", contents),
            ("lab", "Fjord Testing"),
            ("label", "removed"),
            ("confirmed", "yes"),
        ];
        fields.extend(codes.iter().map(|code| ("piece", code.as_str())));
        let path = format!("/desk/{}/consignments/new", self.slug);
        let answer = self.person.submit(&path, &fields).await;
        answer.redirects_to(&format!("/desk/{}/consignments/{entry}", self.slug));
        format!("/desk/{}/consignments/{entry}", self.slug)
    }

    /// Makes a lab link to it through the form; its path with the token.
    pub async fn link(&self, consignment: &str) -> String {
        let entry = self.script.clock.new_id().to_string();
        let fields = [("entry", entry.as_str()), ("days", "60")];
        let shown = self
            .person
            .submit(&format!("{consignment}/links"), &fields)
            .await;
        let url = shown.ok().text("#f-link");
        let (_, path) = url.split_once("/lab/").expect("a lab link");
        format!("/lab/{path}")
    }

    /// Everything that a tester must never read, as it would stand in an answer.
    pub fn secrets(&self) -> Vec<String> {
        let names = PLACES
            .iter()
            .flat_map(|(name, holders)| std::iter::once(*name).chain(holders.iter().copied()));
        let mut secrets: Vec<String> = names.map(str::to_owned).collect();
        secrets.extend(self.places.keys().map(ToString::to_string));
        secrets.push(DAYS.to_string());
        secrets
    }
}

/// A tester's browser with the link opened; the path of the consignment.
pub async fn at_the_lab(server: &TestServer, way_in: &str) -> (Person, String) {
    let tester = server.stranger();
    let answer = tester.open(way_in).await;
    answer.is(303);
    let path = answer.header("location").to_owned();
    (tester, path)
}
