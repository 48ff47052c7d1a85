//! The demo: an invented study, told into an empty database through the production path.

pub(super) mod command;
mod drawing;
mod numbers;
pub mod plan;
pub mod script;
pub mod story;

use std::error::Error;

use crate::analysis::analyse_in_full;
use crate::publishing::{Choice, freeze};
use crate::study::entry::Entry;
use crate::study::licence::Licence;
use script::Script;

/// A study of the demo.
#[derive(Debug, Clone, Copy)]
pub struct DemoStudy {
    /// Its address.
    pub slug: &'static str,
    /// The two characters that begin its codes.
    pub mark: &'static str,
    /// Its title.
    pub title: &'static str,
}

/// The study that has results.
pub const PEGS: DemoStudy = DemoStudy {
    slug: "fleece-pegs",
    mark: "KT",
    title: "Fleece pegs after half a year in a market garden",
};

/// The study whose baseline set is at the lab.
pub const HOOKS: DemoStudy = DemoStudy {
    slug: "coat-hooks",
    mark: "WR",
    title: "Pressed coat hooks in a damp hallway",
};

/// Publishes what a story's study has to say so far, as the steward's page would.
///
/// # Errors
/// When there is nothing to publish, or the journal does not take the edition.
pub async fn publish(script: &Script, slug: &str) -> Result<(), Box<dyn Error + Send + Sync>> {
    let record = script
        .store
        .study_record(slug)
        .await?
        .ok_or("the story's study is gone")?;
    let findings = analyse_in_full(&record)?;
    let choice = Choice {
        licence: Some(Licence::CcBy),
        origin: None,
    };
    let edition = freeze(&script.store, &script.clock, &record, &findings, choice).await?;
    script.say(Entry::EditionPublished(edition)).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::script::Script;
    use super::{PEGS, story};
    use crate::clock::Clock;
    use crate::store::{Hold, Store, verify};
    use crate::study::entry::StudyStarted;
    use crate::study::ids::AccountId;

    #[tokio::test]
    async fn the_story_passes_every_rule_and_verifies() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Hold::Alone).await.unwrap();
        let clock = Clock::set_at(story::beginning(Clock::system().now()), 1);
        let (journal, writer) = store.start_journal(clock.clone());
        let started = StudyStarted {
            slug: PEGS.slug.to_owned(),
            mark: PEGS.mark.to_owned(),
            title: PEGS.title.to_owned(),
            time_zone: "Europe/Oslo".to_owned(),
            steward: AccountId(clock.new_id()),
            is_after_the_fact: false,
        };
        let script = Script::open((store.clone(), journal), clock, started)
            .await
            .unwrap();
        let (script, _ending) = story::tell(script).await.unwrap();
        let left = Clock::system().now() - script.clock.now();
        assert!(
            (0..12).contains(&left.num_days()),
            "the story ends {left} before today"
        );
        let record = store.study_record(PEGS.slug).await.unwrap().unwrap();
        assert_eq!(record.specimens.len(), 85);
        assert_eq!(record.consignments.len(), 4);
        assert_eq!(record.consignments[3].tests_done(), 23, "one of 24 is lost");
        drop(script);
        writer.await.unwrap();
        let database = folder.path().join(crate::store::DATABASE_FILE);
        let report = verify::verify(&database, &[]).await.unwrap();
        assert_eq!(report.faults, Vec::<String>::new());
        assert!(report.entries > 300 && report.tables == 34);
    }
}
