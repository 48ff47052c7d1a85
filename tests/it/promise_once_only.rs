//! Promise 3: nothing is recorded twice. The same id with the same content gets the first answer, in
//! sequence and at once; with other content it is refused and stores nothing.

use overwinter::commands::demo::script::Script;
use overwinter::store::NotTaken;
use overwinter::study::entry::{Actor, Entry, Envelope};
use overwinter::study::guard::Refusal;

use crate::house::told;

fn noted(script: &Script, place: &str) -> Envelope {
    let entry = Entry::WitnessNoted {
        place: place.to_owned(),
    };
    script.envelope(Actor::Account(script.steward), entry, None)
}

#[tokio::test]
async fn the_same_entry_again_returns_the_first_receipt() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, script, _writer) = told::begun(folder.path()).await;
    let envelope = noted(&script, "a mail to the society");
    let first = script
        .journal
        .submit(envelope.clone())
        .await
        .expect("is written");
    let again = script
        .journal
        .submit(envelope.clone())
        .await
        .expect("is known");
    assert!(!first.is_repeat && again.is_repeat);
    assert_eq!((first.seq, &first.hash), (again.seq, &again.hash));
    let record = store
        .study_record("fleece-pegs")
        .await
        .expect("reads")
        .expect("is there");
    assert_eq!(record.witnesses, ["a mail to the society"]);
}

#[tokio::test]
async fn the_same_id_with_other_content_is_refused_and_changes_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, script, _writer) = told::begun(folder.path()).await;
    let envelope = noted(&script, "here");
    script
        .journal
        .submit(envelope.clone())
        .await
        .expect("is written");
    let other = Envelope {
        entry: Entry::WitnessNoted {
            place: "there".to_owned(),
        },
        ..envelope.clone()
    };
    assert_eq!(
        script.journal.submit(other).await,
        Err(NotTaken::OtherContent)
    );
    let other = Envelope {
        note: Some("with a note".to_owned()),
        ..envelope
    };
    assert_eq!(
        script.journal.submit(other).await,
        Err(NotTaken::OtherContent)
    );
    let record = store
        .study_record("fleece-pegs")
        .await
        .expect("reads")
        .expect("is there");
    assert_eq!(record.witnesses, ["here"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_entry_from_many_at_once_is_written_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, script, _writer) = told::begun(folder.path()).await;
    let before = store
        .study_record("fleece-pegs")
        .await
        .expect("reads")
        .expect("there")
        .entries;
    let envelope = noted(&script, "everywhere");
    let sent: Vec<_> = (0..50)
        .map(|_| {
            let (journal, envelope) = (script.journal.clone(), envelope.clone());
            tokio::spawn(async move { journal.submit(envelope).await })
        })
        .collect();
    let mut first = 0;
    for answer in sent {
        let receipt = answer.await.expect("runs").expect("each gets a receipt");
        first += usize::from(!receipt.is_repeat);
    }
    assert_eq!(first, 1);
    let after = store
        .study_record("fleece-pegs")
        .await
        .expect("reads")
        .expect("there")
        .entries;
    assert_eq!(after, before + 1);
}

#[tokio::test]
async fn a_refusal_is_not_remembered() {
    let folder = tempfile::tempdir().expect("a folder");
    let (_store, script, _writer) = told::begun(folder.path()).await;
    let plan = Box::new(overwinter::commands::demo::plan::plan());
    let bytes = plan.to_bytes().expect("JSON");
    let plan_sha256 = overwinter::study::plan::sha256_hex(&bytes);
    let seal = Entry::Sealed {
        plan_version: 1,
        plan_sha256,
    };
    let seal = script.envelope(Actor::Account(script.steward), seal, None);
    let refused = script.journal.submit(seal.clone()).await;
    assert_eq!(refused, Err(NotTaken::Refused(Refusal::NoPlan)));
    script
        .say(Entry::PlanWritten { plan })
        .await
        .expect("the plan is written");
    let refused = script.journal.submit(seal).await;
    assert_eq!(
        refused,
        Err(NotTaken::Refused(Refusal::NotDrawn)),
        "looked at anew"
    );
}

#[tokio::test]
async fn several_entries_stand_or_fall_together() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, script, _writer) = told::begun(folder.path()).await;
    let good = noted(&script, "first");
    let bad = script.envelope(
        Actor::Account(script.steward),
        Entry::Amended {
            plan: Box::new(overwinter::commands::demo::plan::plan()),
        },
        Some("no seal yet"),
    );
    let refused = script.journal.submit_all(vec![good.clone(), bad]).await;
    assert_eq!(refused, Err(NotTaken::Refused(Refusal::NotSealed)));
    let record = store
        .study_record("fleece-pegs")
        .await
        .expect("reads")
        .expect("is there");
    assert!(record.witnesses.is_empty(), "the first one is undone");
    script
        .journal
        .submit(good)
        .await
        .expect("by itself it is taken");
}
