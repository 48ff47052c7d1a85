//! The demo: an invented study, told into an empty database through the production path.

mod numbers;
pub mod plan;
pub mod script;
pub mod story;

/// The demo study's address.
pub const SLUG: &str = "fleece-pegs";
/// The two characters that begin its codes.
pub const MARK: &str = "KT";

#[cfg(test)]
mod tests {
    use super::script::Script;
    use super::{MARK, SLUG, story};
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
            slug: SLUG.to_owned(),
            mark: MARK.to_owned(),
            title: "Fleece pegs".to_owned(),
            time_zone: "Europe/Oslo".to_owned(),
            steward: AccountId(clock.new_id()),
            is_after_the_fact: false,
        };
        let script = Script::open((store.clone(), journal), clock, started)
            .await
            .unwrap();
        let (script, _ending) = story::tell(script).await.unwrap();
        let record = store.study_record(SLUG).await.unwrap().unwrap();
        assert_eq!(record.specimens.len(), 61);
        assert_eq!(record.consignments.len(), 2);
        assert_eq!(record.consignments[1].tests_done(), 23, "one of 24 is lost");
        drop(script);
        writer.await.unwrap();
        let database = folder.path().join(crate::store::DATABASE_FILE);
        let report = verify::verify(&database, &[]).await.unwrap();
        assert_eq!(report.faults, Vec::<String>::new());
        assert!(report.entries > 300 && report.tables == 20);
    }
}
