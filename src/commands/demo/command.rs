//! `overwinter demo`: fills a folder of its own with the invented studies and serves them.

use std::net::SocketAddr;
use std::path::PathBuf;

use chrono::TimeDelta;

use super::script::Script;
use super::{DemoStudy, HOOKS, PEGS, story};
use crate::clock::Clock;
use crate::commands::serve;
use crate::config::{Config, LogFormat};
use crate::error::Failure;
use crate::store::{AddAccount, Journal, NewAccount, Store};
use crate::study::entry::{Entry, StudyStarted};
use crate::study::ids::{AccountId, LinkId};
use crate::web::App;
use crate::web::password::hash_now;

/// The name that signs in to the demo.
const STEWARD: &str = "steward";

/// Fill a folder with invented studies and serve them.
///
/// The first time the folder is made and filled; later the studies in it are served as they were left.
/// The password and the lab link are new each time.
#[derive(Debug, clap::Args)]
pub(in crate::commands) struct Args {
    /// The folder for the demo's database
    #[arg(
        long = "data",
        env = "OVERWINTER_DATA",
        default_value = "overwinter-demo",
        value_name = "FOLDER"
    )]
    folder: PathBuf,
    /// The address and port to listen on
    #[arg(
        long,
        env = "OVERWINTER_LISTEN",
        default_value = "127.0.0.1:8080",
        value_name = "ADDR"
    )]
    listen: SocketAddr,
}

/// Fills, says where everything is, and serves.
pub(in crate::commands) async fn run(args: Args) -> Result<(), Failure> {
    serve::start_log(LogFormat::Text);
    let config = Config::at(args.folder, args.listen);
    let (listener, app) = serve::open(config, Clock::system()).await?;
    let password = new_password(&app.clock);
    let steward = steward(&app.store, &app.clock, &password).await?;
    if app.store.study_record(PEGS.slug).await?.is_none() {
        fill(&app, steward).await?;
    }
    let link = open_link(&app).await?;
    greet(&app, &password, link.as_deref());
    serve::serve(listener, app).await
}

/// Words that can be typed on a phone.
fn new_password(clock: &Clock) -> String {
    crate::clock::hex(&clock.random::<8>())
}

/// The demo's account with today's password.
async fn steward(store: &Store, clock: &Clock, password: &str) -> Result<AccountId, Failure> {
    let password_hash = hash_now(password, &clock.random())?;
    if let Some(known) = store.find_account(STEWARD).await? {
        store.set_password(known.id, &password_hash).await?;
        return Ok(AccountId(known.id));
    }
    let account = NewAccount {
        id: clock.new_id(),
        name: STEWARD.to_owned(),
        display_name: "Demo steward".to_owned(),
        password_hash,
        made_at: clock.now(),
    };
    match store.add_account(&account).await? {
        AddAccount::Made => {
            let made = AccountId(account.id);
            store
                .note_once(clock, Entry::AccountMade { account: made })
                .await?;
            Ok(made)
        }
        _ => Err("the demo's account could not be made".into()),
    }
}

/// Tells both stories through a journal of their own, whose clock is set.
async fn fill(app: &App, steward: AccountId) -> Result<(), Failure> {
    println!(
        "Filling {} with two invented studies …",
        app.store.folder().display()
    );
    let now = app.clock.now();
    let seed = u64::from_be_bytes(app.clock.random());
    let clock = Clock::set_at(story::beginning(now), seed);
    let (journal, writer) = app.store.start_journal(clock.clone());
    let parts = (app.store.clone(), journal);
    pegs(parts.clone(), clock.clone(), steward).await?;
    clock.set(now - TimeDelta::days(9));
    hooks(parts, clock, steward).await?;
    // The writer ends once the last story has let go of its journal.
    writer.await?;
    Ok(())
}

async fn pegs(parts: (Store, Journal), clock: Clock, steward: AccountId) -> Result<(), Failure> {
    let script = Script::open(parts, clock, started(PEGS, steward)).await?;
    let (script, _) = story::tell(script).await?;
    super::publish(&script, PEGS.slug).await?;
    Ok(())
}

async fn hooks(parts: (Store, Journal), clock: Clock, steward: AccountId) -> Result<(), Failure> {
    let script = Script::open(parts, clock, started(HOOKS, steward)).await?;
    story::tell_half(script).await?;
    Ok(())
}

fn started(study: DemoStudy, steward: AccountId) -> StudyStarted {
    StudyStarted {
        slug: study.slug.to_owned(),
        mark: study.mark.to_owned(),
        title: study.title.to_owned(),
        time_zone: "Europe/Oslo".to_owned(),
        steward,
        is_after_the_fact: false,
    }
}

/// A new secret for the lab link of the consignment that is still being tested, if its link holds.
async fn open_link(app: &App) -> Result<Option<String>, Failure> {
    let Some(record) = app.store.study_record(HOOKS.slug).await? else {
        return Ok(None);
    };
    let now = app.clock.now();
    let links = record
        .consignments
        .iter()
        .flat_map(|consignment| &consignment.links);
    let mut open = links
        .filter(|link| !link.is_revoked && link.ends_at > now)
        .map(|link| link.id);
    let Some(LinkId(link)) = open.next_back() else {
        return Ok(None);
    };
    let token = app.clock.new_token();
    app.store.put_lab_secret(link, &token.sha256()).await?;
    Ok(Some(format!(
        "{}/lab/{link}/enter/{}",
        app.config.link_base(),
        token.reveal()
    )))
}

fn greet(app: &App, password: &str, link: Option<&str>) {
    let base = app.config.link_base();
    println!("Overwinter is at {base}");
    println!("  public page     {base}/studies/{}", PEGS.slug);
    println!("  steward         {base}/sign-in   name {STEWARD}   password {password}");
    match link {
        Some(link) => println!("  lab link        {link}"),
        None => {
            println!("  lab link        none is open any more; make one on the steward's pages")
        }
    }
    println!("All of it is invented. Ready. Ctrl-C stops it.");
}
