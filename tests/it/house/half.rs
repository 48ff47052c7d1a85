//! A running server with the demo's second study in it: planned, measured, sealed, its baseline set
//! at the lab, half of it broken, nothing unblinded. And everybody who may or may not look at it.

use chrono::TimeDelta;
use overwinter::commands::demo::script::Script;
use overwinter::commands::demo::{HOOKS, story};
use overwinter::study::entry::{Entry, StudyStarted};
use overwinter::study::ids::{AccountId, LinkId};
use overwinter::study::photograph::View;
use overwinter::study::record::StudyRecord;
use std::sync::Arc;

use super::{PASSWORD, Person, TestServer, camera, parcel};

/// The server, the study, its steward and its lab links.
pub struct Half {
    pub server: TestServer,
    pub script: Script,
    /// Signed in, steward of the study.
    pub steward: Person,
    /// An open lab link, one that was revoked, one that has ended; each with its token.
    pub open: (LinkId, String),
    pub revoked: (LinkId, String),
    pub ended: (LinkId, String),
}

impl Half {
    /// Everything set up, the study private.
    pub async fn set_up() -> Self {
        let server = TestServer::start().await;
        let steward = server.with_account("ragna").await;
        let account = server
            .app
            .store
            .find_account("ragna")
            .await
            .expect("reads")
            .expect("is there");
        let started = StudyStarted {
            slug: HOOKS.slug.to_owned(),
            mark: HOOKS.mark.to_owned(),
            title: HOOKS.title.to_owned(),
            time_zone: "Europe/Oslo".to_owned(),
            steward: AccountId(account.id),
            is_after_the_fact: false,
        };
        let parts = (server.app.store.clone(), server.app.journal.clone());
        let script = Script::open(parts, server.app.clock.clone(), started)
            .await
            .expect("a study");
        let (script, ending) = story::tell_half(script)
            .await
            .expect("the story obeys the rules");
        script.say(Entry::MadePrivate {}).await.expect("is private");
        let record = server.app.store.study_record(HOOKS.slug).await;
        let record = record.expect("reads").expect("the study is there");
        camera::photographed(&script, &record.specimens[0].code, View::Before).await;
        parcel::received(&script, record.consignments[0].id).await;
        let open = (ending.link, secret(&server, ending.link).await);
        let revoked = another(&server, &script, TimeDelta::days(90)).await;
        script
            .say(Entry::LinkRevoked { link: revoked.0 })
            .await
            .expect("is revoked");
        let ended = another(&server, &script, TimeDelta::days(-1)).await;
        steward.sign_in("ragna", PASSWORD).await.is(303);
        Self {
            server,
            script,
            steward,
            open,
            revoked,
            ended,
        }
    }

    /// Everything on record.
    pub async fn record(&self) -> Arc<StudyRecord> {
        let record = self
            .server
            .app
            .store
            .study_record(HOOKS.slug)
            .await
            .expect("reads");
        record.expect("the study is there")
    }

    /// Somebody who opened a lab link, whether or not it still holds.
    pub async fn tester(&self, (link, token): &(LinkId, String)) -> Person {
        let person = self.server.stranger();
        person.open(&format!("/lab/{link}/enter/{token}")).await;
        person
    }
}

async fn secret(server: &TestServer, link: LinkId) -> String {
    let token = server.app.clock.new_token();
    server
        .app
        .store
        .put_lab_secret(link.0, &token.sha256())
        .await
        .expect("is kept");
    token.reveal()
}

async fn another(server: &TestServer, script: &Script, lasts: TimeDelta) -> (LinkId, String) {
    let record = server
        .app
        .store
        .study_record(HOOKS.slug)
        .await
        .expect("reads")
        .expect("there");
    let consignment = record.consignments[0].id;
    let link = LinkId(server.app.clock.new_id());
    let latest = server.app.clock.now() + lasts;
    script
        .say(Entry::LinkIssued {
            link,
            consignment,
            days: 30,
            latest,
        })
        .await
        .expect("a link");
    (link, secret(server, link).await)
}
