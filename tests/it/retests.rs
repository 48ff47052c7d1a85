//! Invalid tests repeated on spares, by the plan's rule (trade.md 7.10: “retest on spare by rule; publish
//! counts per condition”): offered where the plan allows it, blind again, counted beside the invalid one.

use crate::house::parcel::tested;
use crate::house::ready::{DAYS, Ready, Wanted, at_the_lab};
use crate::house::{Shown, TestServer};
use chrono::TimeDelta;
use overwinter::analysis::analyse;
use overwinter::analysis::primary::VariantKind;
use overwinter::study::allocation::Place;
use overwinter::study::break_test::{BreakTest, Outcome};
use overwinter::study::code::Code;
use overwinter::study::consignment::{Consigned, Packed, ParcelState};
use overwinter::study::entry::Entry;
use overwinter::study::ids::ConsignmentId;
use overwinter::study::plan::{Plan, RetestRule, RetestSets, SameBatch};
use overwinter::study::record::{ConsignmentRecord, StudyRecord};
use overwinter::study::specimen::Whereabouts;
use std::sync::Arc;

struct Lab {
    server: TestServer,
    ready: Ready,
}

impl Lab {
    async fn with(rule: Option<RetestRule>, spares: u32) -> Self {
        let server = TestServer::start().await;
        let wanted = Wanted {
            spares,
            retests: rule,
            is_public: true,
            ..Wanted::small()
        };
        let ready = wanted.ready(&server, "ada").await;
        Self { server, ready }
    }

    async fn record(&self) -> Arc<StudyRecord> {
        let record = self.server.app.store.study_record(&self.ready.slug).await;
        record.unwrap().unwrap()
    }

    /// Tests every piece of the last consignment and finishes it; those of `invalid` slip.
    async fn test(&self, invalid: &[&Code]) {
        let record = self.record().await;
        let one = record.consignments.last().unwrap();
        let loads = (200_u32..).map(f64::from);
        let fared = one.pieces.iter().zip(loads).map(|(piece, load)| {
            let slips = invalid.contains(&&piece.specimen);
            (piece, (!slips).then_some(load))
        });
        tested(&self.ready.script, one, &fared.collect::<Vec<_>>()).await;
        let end = Entry::Finished {
            consignment: one.id,
        };
        self.ready.script.say(end).await.expect("the end");
    }

    /// Asks for the repetition of some tests through the form.
    async fn repeat(&self, contents: &str, of: &[&Code], is_confirmed: bool) -> Shown {
        // Later than the first, so that the consignments stand in their order.
        self.server.app.clock.advance(TimeDelta::minutes(1));
        let entry = self.ready.script.clock.new_id().to_string();
        let mut fields = vec![
            ("entry", entry.as_str()),
            ("contents", contents),
            ("lab", "Fjord Testing"),
            ("label", "removed"),
        ];
        fields.extend(of.iter().map(|code| ("retest", code.as_str())));
        fields.extend(is_confirmed.then_some(("confirmed", "yes")));
        let path = format!("/desk/{}/consignments/new", self.ready.slug);
        self.ready.person.submit(&path, &fields).await
    }

    async fn unblind_all(&self) {
        for one in &self.record().await.consignments {
            let consignment = one.id;
            let entry = Entry::Unblinded { consignment };
            self.ready.script.say(entry).await.expect("unblinded");
        }
    }

    async fn offered(&self, contents: &str) -> Vec<String> {
        let path = format!(
            "/desk/{}/consignments/new?contents={contents}",
            self.ready.slug
        );
        let page = self.ready.person.open(&path).await;
        page.ok().texts("#f-retest .code")
    }
}

fn unexposed() -> Option<RetestRule> {
    Some(RetestRule {
        sets: RetestSets::Unexposed,
        batch: SameBatch::Build,
    })
}

fn last(record: &StudyRecord) -> &ConsignmentRecord {
    record.consignments.last().unwrap()
}

#[tokio::test]
async fn an_invalid_test_is_repeated_on_a_spare_that_the_tester_cannot_tell() {
    let lab = Lab::with(unexposed(), 2).await;
    let stage = format!("stage-{DAYS}");
    let all = lab.ready.of_stage(DAYS);
    let of = |n: usize| {
        *all.iter()
            .find(|c| lab.ready.condition(c) == Some(n))
            .unwrap()
    };
    let (kept, out) = (of(0), of(1));
    lab.ready.pack(&stage, &all).await;
    assert_eq!(
        lab.offered(&stage).await,
        Vec::<String>::new(),
        "not finished"
    );
    lab.test(&[kept, out]).await;
    assert_eq!(
        lab.offered(&stage).await,
        [kept.to_string()],
        "of the storage control only, by the plan; and no load is told"
    );
    // A parcel of nothing else tells the tester something: it is asked about once.
    let asked = lab.repeat(&stage, &[kept], false).await;
    let words = asked.refused().text("#e-confirmed");
    assert!(
        words.contains("Only repeated tests are in this parcel"),
        "{words}"
    );
    let asked = lab.repeat(&stage, &[out], true).await;
    assert!(
        asked
            .refused()
            .text("#e-retest")
            .contains("cannot be repeated")
    );
    lab.repeat(&stage, &[kept], true).await.is(303);

    let record = lab.record().await;
    let sent = last(&record);
    let spare = &sent.pieces[0];
    assert_eq!(spare.retest_of.as_ref(), Some(kept));
    assert!(
        lab.ready
            .places
            .get(&spare.specimen)
            .is_none_or(|place| { *place == Place::Spare })
    );
    let known = record.consignments[0].pieces.iter();
    assert!(
        known.clone().all(|piece| piece.blind != spare.blind),
        "a fresh code"
    );
    the_tester_sees_a_piece_as_any_other(&lab, &format!("{}", sent.id)).await;

    lab.test(&[]).await;
    lab.unblind_all().await;
    counted(&lab, kept, &spare.specimen.clone()).await;
}

/// Nothing that the lab link reaches says what this piece is.
async fn the_tester_sees_a_piece_as_any_other(lab: &Lab, id: &str) {
    let desk = format!("/desk/{}/consignments/{id}", lab.ready.slug);
    let way_in = lab.ready.link(&desk).await;
    let (tester, path) = at_the_lab(&lab.server, &way_in).await;
    let mut secrets = lab.ready.secrets();
    secrets.extend(["retest", "repeat", "spare", "in place", "invalid test of"].map(str::to_owned));
    for page in ["", "/sheet", "/check", "/pieces", "/curves", "/arrival"] {
        let shown = tester.open(&format!("{path}{page}")).await;
        let body = shown.body().to_lowercase();
        for secret in &secrets {
            assert!(!body.contains(&secret.to_lowercase()), "{page}: {secret}");
        }
    }
}

async fn counted(lab: &Lab, kept: &Code, spare: &Code) {
    let record = lab.record().await;
    let found = analyse(&record).expect("findings");
    let cell = |name: &str| {
        let mut cells = found.accounting.cells.iter();
        cells.find(|cell| cell.name == name).unwrap()
    };
    let control = cell("quokka cellar");
    assert_eq!((control.allocated, control.retests), (3, 1));
    assert_eq!((control.valid, control.invalid(), control.sum()), (3, 1, 4));
    let roof = cell("heron roof");
    assert_eq!((roof.retests, roof.valid, roof.invalid()), (0, 2, 1));
    assert_eq!(found.accounting.spares, 1, "the other spare");
    assert_eq!(found.accounting.made, 4 + 9 + 2);
    let mut variants = found.primary.as_ref().unwrap().variants.iter();
    let without = variants
        .find(|v| v.kind == VariantKind::WithoutRetests)
        .unwrap();
    assert_eq!(without.pieces, 1);

    let editions = format!("/desk/{}/editions", lab.ready.slug);
    let entry = lab.ready.script.clock.new_id().to_string();
    let fields = [("entry", entry.as_str()), ("licence", "CC-BY-4.0")];
    lab.ready.person.submit(&editions, &fields).await.is(303);
    let at = format!("/studies/{}/editions/1/", lab.ready.slug);
    let reader = lab.server.stranger();
    let page = reader.open(&at).await;
    let said = page.ok().text("main");
    assert!(
        said.contains("1 used as spares in the place of invalid tests"),
        "{said}"
    );
    assert!(
        said.contains(&format!("{spare} in the place of {kept}")),
        "{said}"
    );
    assert!(said.contains("Without the spares in the place of invalid tests"));
    let csv = reader.open(&format!("{at}specimens.csv")).await;
    let rows = csv.ok().body();
    let row = rows.lines().find(|row| row.starts_with(spare.as_str()));
    let row = row.expect("the spare's row");
    assert!(
        row.contains("storage_control") && row.contains("retest"),
        "{row}"
    );
}

#[tokio::test]
async fn without_a_rule_nothing_is_repeated_and_the_journal_refuses_what_breaks_it() {
    let lab = Lab::with(None, 4).await;
    let baseline = lab.ready.baseline();
    lab.ready.pack("baseline", &baseline).await;
    lab.test(&baseline[..1]).await;
    assert_eq!(lab.offered("baseline").await, Vec::<String>::new());
    let refused = lab.repeat("baseline", &baseline[..1], true).await;
    assert!(
        refused
            .refused()
            .text("#e-retest")
            .contains("cannot be repeated")
    );
    // The rule comes by an amendment; then the journal itself asks.
    let record = lab.record().await;
    let plan = Plan {
        retests: unexposed(),
        ..record.plan().unwrap().plan.clone()
    };
    let amended = Entry::Amended {
        plan: Box::new(plan),
    };
    let reason = "A grip slipped.";
    lab.ready
        .script
        .say_because(amended, reason)
        .await
        .expect("amended");
    lab.repeat("baseline", &baseline[..1], true).await.is(303);
    let record = lab.record().await;
    let spare = last(&record).pieces[0].clone();
    let mut again = Consigned {
        consignment: ConsignmentId(lab.server.app.clock.new_id()),
        lab: "Fjord Testing".to_owned(),
        contents: last(&record).contents,
        pieces: vec![Packed {
            specimen: spare.specimen.clone(),
            blind: spare.blind.clone(),
            label: spare.label,
            retest_of: spare.retest_of.clone(),
        }],
    };
    let said = async |packed: &Consigned| {
        let entry = Entry::Consigned(packed.clone());
        lab.ready
            .script
            .say(entry)
            .await
            .expect_err("refused")
            .to_string()
    };
    let why = said(&again).await;
    assert!(why.contains("repeated already"), "{why}");
    again.pieces[0].retest_of = Some(baseline[1].clone());
    let why = said(&again).await;
    assert!(why.contains("no invalid test"), "{why}");
    again.pieces[0].specimen = baseline[1].clone();
    let why = said(&again).await;
    assert!(why.contains("it is no spare"), "{why}");
    lost_and_valid_again(&lab, &baseline, (&spare.specimen, last(&record).id)).await;
}

/// A spare that is lost before its test is followed by the next, which alone stands there; and while the test of the
/// piece before it is not called invalid, that piece counts and no spare does.
async fn lost_and_valid_again(
    lab: &Lab,
    baseline: &[&Code],
    (spare, parcel): (&Code, ConsignmentId),
) {
    let of = baseline[0];
    let counts = async || {
        let record = lab.record().await;
        let spares = record.specimens.iter().filter(|one| one.retest.is_some());
        let spares = spares.filter(|one| one.counts_at() == Some(&Place::Baseline));
        spares.map(|one| one.code.clone()).collect::<Vec<_>>()
    };
    assert_eq!(counts().await, std::slice::from_ref(spare));
    let lost = Entry::ParcelMoved {
        consignment: parcel,
        state: ParcelState::Lost,
        at: lab.server.app.clock.now(),
    };
    lab.ready.script.say(lost).await.expect("lost");
    // The page names the one that was lost beside the piece.
    assert_eq!(
        lab.offered("baseline").await,
        [of.to_string(), spare.to_string()]
    );
    lab.repeat("baseline", &[of], true).await.is(303);
    let record = lab.record().await;
    let next = last(&record).pieces[0].specimen.clone();
    assert_eq!(
        counts().await,
        std::slice::from_ref(&next),
        "one of the two"
    );
    assert_eq!(lab.offered("baseline").await, Vec::<String>::new());
    // The next slips as well; then somebody sees that the first test was valid after all.
    lab.test(&[&next]).await;
    assert_eq!(lab.offered("baseline").await, [next.to_string()]);
    let first = record.consignments[0].id;
    lab.ready
        .script
        .say_because(
            Entry::Reopened { consignment: first },
            "A look at the curve.",
        )
        .await
        .unwrap();
    let blind = &record.consignments[0]
        .pieces
        .iter()
        .find(|one| one.specimen == *of)
        .unwrap()
        .blind;
    let test = record.consignments[0].test_of(blind).unwrap();
    let corrected = |outcome| Entry::BreakTestCorrected {
        supersedes: test.entry,
        test: BreakTest {
            outcome,
            max_load_n: Some(210.0),
            ..test.test.clone()
        },
    };
    lab.ready
        .script
        .say_because(corrected(Outcome::Valid), "It slipped after its peak.")
        .await
        .unwrap();
    lab.ready
        .script
        .say(Entry::Finished { consignment: first })
        .await
        .unwrap();
    assert_eq!(
        counts().await,
        Vec::<Code>::new(),
        "the first piece counts itself"
    );
    assert_eq!(lab.offered("baseline").await, Vec::<String>::new());
    let said = async |code: &Code| {
        let page = lab
            .ready
            .person
            .open(&format!("/desk/{}/specimens/{code}", lab.ready.slug))
            .await;
        page.ok().text("main")
    };
    let words = said(&next).await;
    assert!(
        words.contains(&format!("nowhere: it was tested in the place of {of}")),
        "{words}"
    );
    let words = said(of).await;
    assert!(
        words.contains(&format!("on {spare}, which was lost before its test")),
        "{words}"
    );
    assert!(
        words.contains(&format!("on {next}; this piece counts itself")),
        "{words}"
    );
    // The journal says the same to what passes the page by.
    let free = record.specimens.iter().find(|one| {
        one.place == Some(Place::Spare) && one.whereabouts == Whereabouts::Bench && one.code != next
    });
    let packed = |of: &Code| Consigned {
        consignment: ConsignmentId(lab.server.app.clock.new_id()),
        lab: "Fjord Testing".to_owned(),
        contents: last(&record).contents,
        pieces: vec![Packed {
            specimen: free.expect("a spare is left").code.clone(),
            blind: last(&record).pieces[0].blind.clone(),
            label: last(&record).pieces[0].label,
            retest_of: Some(of.clone()),
        }],
    };
    for (of, words) in [(&next, "no invalid test"), (spare, "no invalid test")] {
        let why = lab.ready.script.say(Entry::Consigned(packed(of))).await;
        let why = why.expect_err("refused").to_string();
        assert!(why.contains(words), "{why}");
    }
}
