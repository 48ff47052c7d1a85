//! Studies made up for tests: a sealed plan, pieces with loads and masses, tests that are in.

mod parts;

use std::collections::BTreeMap;

use chrono::{DateTime, TimeZone, Utc};

use crate::study::allocation::Place;
use crate::study::break_test::Looks;
use crate::study::code::Code;
use crate::study::consignment::Contents;
use crate::study::plan::{
    Condition, Covariate, EndOfTest, Environment, Holder, MassPlan, Material, OutlierRule, Plan,
    Response, Shape, SpecimenForm, Spreads, Stage, sha256_hex,
};
use crate::study::reading::{MoistureState, Occasion};
use crate::study::record::{ConsignmentRecord, ReadingRecord, SpecimenRecord, StudyRecord};
use parts::{balance, consignment, empty, pack, reading, specimen};

/// What came of an invented piece.
#[derive(Debug, Clone)]
pub enum Made {
    /// Broke at this load in N.
    Broke(f64),
    /// Carried at least this load.
    AtLeast(f64),
    /// Could not carry load.
    TotalLoss,
    /// Its test is invalid.
    Invalid(&'static str),
    /// Not found.
    Lost,
    /// Only read again, never sent to a lab.
    Read,
    /// Still out.
    Out,
}

/// One invented piece.
#[derive(Debug, Clone)]
pub struct Item {
    place: Place,
    made: Made,
    masses: Option<(f64, f64)>,
    is_nameless: bool,
}

/// A study being made up.
#[derive(Debug, Clone)]
pub struct Invented {
    plan: Plan,
    pieces: Vec<Item>,
    blind: Vec<u32>,
    step_g: f64,
    looks: BTreeMap<usize, Looks>,
}

/// A study of clips in a rain barrel and in a cupboard, 365 days, margin 10 %.
#[must_use]
pub fn a_study() -> Invented {
    Invented {
        plan: plan(),
        pieces: Vec::new(),
        blind: Vec::new(),
        step_g: 0.001,
        looks: BTreeMap::new(),
    }
}

/// When everything was put out.
#[must_use]
pub fn start() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2024, 3, 4, 9, 0, 0).unwrap()
}

fn plan() -> Plan {
    Plan {
        question: "Does a year in a rain barrel weaken printed clips?".into(),
        material: Material {
            name: "PLA".into(),
            maker: "a maker".into(),
            colour: "white".into(),
            density_g_cm3: Some(1.24),
        },
        lots: vec!["spool 1".into()],
        builds: vec!["plate 1".into()],
        form: SpecimenForm {
            shape: Shape::LoadOnly,
            piece_name: "clip".into(),
            end_of_test: EndOfTest::Break,
            end_figure: None,
            loading_direction: "opened across the layers".into(),
            fixture: "two pins of 6 mm".into(),
            method: None,
        },
        dimensions: Vec::new(),
        mass: MassPlan {
            readings: 1,
            nominal_g: Some(5.0),
            readability_g: Some(0.001),
            margin_percent: 0.5,
        },
        conditions: vec![condition("c1", "cupboard", Environment::Indoor, 1)],
        stages: vec![Stage {
            days: 365,
            window_days: 7,
        }],
        baseline: 0,
        spares: 0,
        reference_state: MoistureState::ReDried,
        state_protocol: "Rinsed under the tap, dried to constant mass.".into(),
        drying: None,
        primary: Response::MaxLoad,
        primary_stage_days: 365,
        compares_storage_with_baseline: true,
        compares_exposed_with_baseline: true,
        margin_percent: 10.0,
        margin_reason: String::new(),
        confidence_percent: 95.0,
        spreads: Spreads::Separate,
        outlier_rule: OutlierRule::None,
        covariate: Covariate::None,
        asks_weibull: false,
        retests: None,
        retention_percent: None,
        expected_cv_percent: 5.0,
        few_holders_reason: "one barrel at hand".into(),
        exceptions_rule: "An invalid test is not repeated.".into(),
    }
}

fn condition(key: &str, name: &str, environment: Environment, holders: usize) -> Condition {
    let holder = |n: usize| Holder {
        key: format!("{key}h{n}"),
        name: match holders {
            1 => name.to_owned(),
            _ => format!("jar {n}"),
        },
    };
    Condition {
        key: key.into(),
        name: name.into(),
        environment,
        is_storage_control: key == "c1",
        place: "the garden".into(),
        holders: (1..=holders).map(holder).collect(),
        replicates: vec![0],
        renew_days: None,
    }
}

impl Invented {
    /// With the plan altered.
    #[must_use]
    pub fn planned(mut self, alter: impl FnOnce(&mut Plan)) -> Self {
        alter(&mut self.plan);
        self
    }

    /// With an exposed condition, keys `c2`, `c3` … in order, holders `c2h1` ….
    #[must_use]
    pub fn condition(mut self, name: &str, environment: Environment, holders: usize) -> Self {
        let key = format!("c{}", self.plan.conditions.len() + 1);
        let mut made = condition(&key, name, environment, holders);
        made.replicates = vec![0; self.plan.stages.len()];
        self.plan.conditions.push(made);
        self
    }

    /// With one more stage.
    #[must_use]
    pub fn stage(mut self, days: u32) -> Self {
        self.plan.stages.push(Stage {
            days,
            window_days: 7,
        });
        self.plan.stages.sort_by_key(|s| s.days);
        let stages = self.plan.stages.len();
        for condition in &mut self.plan.conditions {
            condition.replicates = vec![0; stages];
        }
        self
    }

    /// With loads in the holders of a condition in turn, at the primary stage.
    #[must_use]
    pub fn broke(self, condition: &str, loads: &[f64]) -> Self {
        let days = self.plan.primary_stage_days;
        self.broke_after(condition, days, loads)
    }

    /// With loads at a stage.
    #[must_use]
    pub fn broke_after(mut self, condition: &str, days: u32, loads: &[f64]) -> Self {
        let holders = self
            .plan
            .condition(condition)
            .map_or(1, |c| c.holders.len());
        for (at, load) in loads.iter().enumerate() {
            let holder = format!("{condition}h{}", at % holders + 1);
            self = self.piece(condition, days, &holder, Made::Broke(*load));
        }
        self
    }

    /// With baseline loads.
    #[must_use]
    pub fn baseline(mut self, loads: &[f64]) -> Self {
        self.plan.baseline = u32::try_from(loads.len()).unwrap();
        for load in loads {
            self.add(Place::Baseline, Made::Broke(*load), None, false);
        }
        self
    }

    /// With reference pieces made later.
    #[must_use]
    pub fn late_reference(mut self, loads: &[f64]) -> Self {
        for load in loads {
            self.add(Place::LateReference, Made::Broke(*load), None, false);
        }
        self
    }

    /// With one piece.
    #[must_use]
    pub fn piece(mut self, condition: &str, days: u32, holder: &str, made: Made) -> Self {
        self.push(condition, days, holder, made, None);
        self
    }

    /// With pieces at the primary stage, in the first holder.
    #[must_use]
    pub fn pieces(mut self, condition: &str, made: &[Made]) -> Self {
        let days = self.plan.primary_stage_days;
        for made in made {
            let holder = format!("{condition}h1");
            self.push(condition, days, &holder, made.clone(), None);
        }
        self
    }

    /// With a piece that came back without its mark.
    #[must_use]
    pub fn nameless(mut self, condition: &str, load: f64) -> Self {
        let days = self.plan.primary_stage_days;
        let holder = format!("{condition}h1");
        let place = exposed(condition, days, &holder);
        self.add(place, Made::Broke(load), None, true);
        self
    }

    /// With masses before and after in g, of pieces that are only read again.
    #[must_use]
    pub fn weighed(mut self, condition: &str, masses: &[(f64, f64)]) -> Self {
        let days = self.plan.primary_stage_days;
        for masses in masses {
            let holder = format!("{condition}h1");
            self.push(condition, days, &holder, Made::Read, Some(*masses));
        }
        self
    }

    /// With masses written to the pieces so far, in their order.
    #[must_use]
    pub fn masses(mut self, masses: impl Fn(usize) -> (f64, f64)) -> Self {
        for (at, piece) in self.pieces.iter_mut().enumerate() {
            piece.masses = Some(masses(at));
        }
        self
    }

    /// With a balance of another step.
    #[must_use]
    pub fn balance_step(mut self, step_g: f64) -> Self {
        self.step_g = step_g;
        self
    }

    /// With a stage whose consignment is still blind.
    #[must_use]
    pub fn blind(mut self, days: u32) -> Self {
        self.blind.push(days);
        self
    }

    /// With the tester's guess about the piece at a place in the order of pieces.
    #[must_use]
    pub fn looks(mut self, at: usize, looks: Looks) -> Self {
        self.looks.insert(at, looks);
        self
    }

    fn add(&mut self, place: Place, made: Made, masses: Option<(f64, f64)>, is_nameless: bool) {
        self.pieces.push(Item {
            place,
            made,
            masses,
            is_nameless,
        });
    }

    fn push(
        &mut self,
        condition: &str,
        days: u32,
        holder: &str,
        made: Made,
        masses: Option<(f64, f64)>,
    ) {
        let at = self
            .plan
            .stages
            .iter()
            .position(|s| s.days == days)
            .unwrap();
        let chosen = self
            .plan
            .conditions
            .iter_mut()
            .find(|c| c.key == condition)
            .unwrap();
        chosen.replicates.resize(self.plan.stages.len(), 0);
        chosen.replicates[at] += 1;
        self.add(exposed(condition, days, holder), made, masses, false);
    }

    /// The record.
    #[must_use]
    pub fn build(&self) -> StudyRecord {
        let codes: Vec<Code> = Code::run("KT", 0)
            .take(self.pieces.len())
            .map(|(_, c)| c)
            .collect();
        let specimens: Vec<SpecimenRecord> = self
            .pieces
            .iter()
            .zip(&codes)
            .enumerate()
            .map(|(at, (piece, code))| specimen(at, code, piece))
            .collect();
        let bytes = self.plan.to_bytes().unwrap();
        let sha256 = sha256_hex(&bytes);
        let mut record = empty(&self.plan, &sha256);
        record.instruments = vec![balance(self.step_g)];
        record.specimens = specimens;
        record.readings = self.readings(&codes);
        record.consignments = self.consignments(&codes);
        record.entries = 100;
        record
    }

    fn readings(&self, codes: &[Code]) -> Vec<ReadingRecord> {
        let mut found = Vec::new();
        for (item, code) in self.pieces.iter().zip(codes) {
            let Some((before, after)) = item.masses else {
                continue;
            };
            found.push(reading(code, Occasion::Before, before, found.len()));
            if after.is_finite() {
                found.push(reading(code, Occasion::After, after, found.len()));
            }
        }
        found
    }

    fn consignments(&self, codes: &[Code]) -> Vec<ConsignmentRecord> {
        let mut made: Vec<ConsignmentRecord> = Vec::new();
        for (at, (item, code)) in self.pieces.iter().zip(codes).enumerate() {
            let contents = match &item.place {
                Place::Baseline => Contents::Baseline,
                Place::Exposed { stage_days, .. } => Contents::Stage { days: *stage_days },
                _ => Contents::Stage {
                    days: self.plan.primary_stage_days,
                },
            };
            if matches!(item.made, Made::Lost | Made::Read | Made::Out) {
                continue;
            }
            let known = made.iter().position(|c| c.contents == contents);
            let place = known.unwrap_or_else(|| {
                made.push(consignment(made.len(), contents, &self.blind));
                made.len() - 1
            });
            let looks = self.looks.get(&at).copied();
            pack(&mut made[place], at, code, &item.made, looks);
        }
        made
    }
}

fn exposed(condition: &str, stage_days: u32, holder: &str) -> Place {
    Place::Exposed {
        condition: condition.into(),
        stage_days,
        holder: holder.into(),
    }
}
