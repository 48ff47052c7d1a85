//! Promise 4, inside one process: what is answered is stored, whatever fails underneath. The hostile
//! ends (SIGKILL, failing fsync) are in `promise_killed.rs`.

use overwinter::clock::Clock;
use overwinter::commands::demo::script::Script;
use overwinter::store::verify::verify;
use overwinter::store::{DATABASE_FILE, Hold, Journal, NotTaken, Room, Store};
use overwinter::study::entry::{Actor, Chain, Entry, Envelope};
use overwinter::study::ids::EntryId;

use crate::house::told;

/// An entry of some size, so that the disk fills soon.
fn large(script: &Script, clock: &Clock, n: usize) -> Envelope {
    Envelope {
        id: EntryId(clock.new_id()),
        chain: Chain::Study(script.study),
        ..script.envelope(
            Actor::Account(script.steward),
            Entry::WitnessNoted {
                place: format!("place {n} {}", "x".repeat(1500)),
            },
            Some(&"y".repeat(1500)),
        )
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_disk_that_fills_in_mid_batch_loses_nothing_acknowledged() {
    let folder = tempfile::tempdir().expect("a folder");
    let (store, script, writer) = told::begun(folder.path()).await;
    let (study, steward) = (script.study, script.steward);
    drop(script);
    writer.await.expect("the first writer ends");
    let database = folder.path().join(DATABASE_FILE);
    let clock = Clock::system();
    // A little room above what is there: some entries fit, then it is full.
    let pages =
        u32::try_from(std::fs::metadata(&database).expect("there").len() / 4096).expect("small");
    let room = Room::Pages(pages.max(110) + 60);
    let (journal, writer) = Journal::start(database.clone(), clock.clone(), room);
    let script = Script {
        store: store.clone(),
        journal: journal.clone(),
        clock: clock.clone(),
        study,
        steward,
        time_zone: "UTC".to_owned(),
    };
    let envelopes: Vec<Envelope> = (0..400).map(|n| large(&script, &clock, n)).collect();
    let sent: Vec<_> = envelopes
        .iter()
        .cloned()
        .map(|envelope| {
            let journal = journal.clone();
            tokio::spawn(async move { journal.submit(envelope).await })
        })
        .collect();
    let mut answers = Vec::new();
    for answer in sent {
        answers.push(answer.await.expect("runs"));
    }
    let stored = answers.iter().filter(|a| a.is_ok()).count();
    let failed = answers
        .iter()
        .filter(|a| **a == Err(NotTaken::Unknown))
        .count();
    assert!(
        stored > 0 && failed > 0,
        "{stored} stored, {failed} failed: the disk filled on the way"
    );
    assert_eq!(stored + failed, 400, "nothing else happened");
    drop((script, journal));
    writer.await.expect("the writer ends");
    store.close().await.expect("closes");
    assert_eq!(
        verify(&database, &[]).await.expect("reads").faults,
        Vec::<String>::new()
    );
    everything_again(folder.path(), &envelopes, &answers).await;
}

/// With room again, sending everything again finds each acknowledged entry and adds the others once.
async fn everything_again(
    folder: &std::path::Path,
    envelopes: &[Envelope],
    answers: &[Result<overwinter::study::entry::Receipt, NotTaken>],
) {
    let store = Store::open(folder, Hold::Alone).await.expect("opens");
    let (journal, _writer) = store.start_journal(Clock::system());
    for (envelope, answer) in envelopes.iter().zip(answers) {
        let receipt = journal
            .submit(envelope.clone())
            .await
            .expect("is taken now");
        if let Ok(first) = answer {
            assert!(receipt.is_repeat, "an acknowledged entry is there");
            assert_eq!((first.seq, &first.hash), (receipt.seq, &receipt.hash));
        }
    }
    let record = store
        .study_record("fleece-pegs")
        .await
        .expect("reads")
        .expect("is there");
    assert_eq!(record.witnesses.len(), envelopes.len());
    let database = folder.join(DATABASE_FILE);
    assert_eq!(
        verify(&database, &[]).await.expect("reads").faults,
        Vec::<String>::new()
    );
}
