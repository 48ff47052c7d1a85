//! `overwinter serve`: opens the data folder, listens, and serves until told to stop.

use crate::clock::Clock;
use crate::config::{Config, LogFormat};
use crate::error::Failure;
use crate::remind::{Reminders, mail::Mailer};
use crate::store::{Hold, Store};
use crate::web::{self, App};
use std::io::IsTerminal;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};
use tracing_subscriber::EnvFilter;

/// How long a stopping server waits for the journal's writer after the last request.
const WRITER_GRACE: Duration = Duration::from_secs(10);

/// Run the server.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    #[command(flatten)]
    config: Config,
}

/// Serves until SIGTERM or Ctrl-C.
pub(super) async fn run(args: Args) -> Result<(), Failure> {
    start_log(args.config.log);
    // Said before anything is opened: a setting that does not fit is the keeper's to mend.
    let _fits = Mailer::from_settings(&args.config.outgoing)?;
    let (listener, app) = open(args.config, Clock::system()).await?;
    println!("Overwinter is at {}", app.config.link_base());
    if !app.store.has_any_account().await? {
        println!(
            "No account yet. Make the first one at {}/first-run with the one-time code {}",
            app.config.link_base(),
            app.first_run_code()
        );
    }
    println!("Ready. Ctrl-C stops it.");
    serve(listener, app).await
}

/// Opens the data folder and the listener; `config.listen` then says the port that was taken.
///
/// # Errors
/// When the folder is held or unusable, or the address is taken.
pub async fn open(mut config: Config, clock: Clock) -> Result<(TcpListener, App), Failure> {
    let store = Store::open(&config.folder.path, Hold::Alone).await?;
    let listener = TcpListener::bind(config.listen)
        .await
        .map_err(|cause| format!("cannot listen on {}: {cause}", config.listen))?;
    config.listen = listener.local_addr()?;
    Ok((listener, App::new(store, clock, config)))
}

/// Serves until SIGTERM or Ctrl-C, finishes what was accepted, and closes the database.
///
/// # Errors
/// When the listener or the database fails.
pub async fn serve(listener: TcpListener, app: App) -> Result<(), Failure> {
    let store = app.store.clone();
    let writer = app.take_writer();
    let (stored, clock) = (app.store.clone(), app.clock.clone());
    let reminders = Reminders::new(stored, clock, &app.config)?.start();
    let mut terminate = signal(SignalKind::terminate())?;
    let stop = async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = tokio::signal::ctrl_c() => {}
        }
        tracing::info!("stopping: finishing what was accepted");
    };
    web::serve(listener, app, stop).await?;
    reminders.stop().await;
    if let Some(writer) = writer {
        // It ends when the last request has let go of the journal; one that hangs is not waited for.
        let _ended = tokio::time::timeout(WRITER_GRACE, writer).await;
    }
    store.close().await?;
    tracing::info!("stopped");
    Ok(())
}

/// Sends log lines to standard error; `RUST_LOG` narrows or widens them.
pub fn start_log(format: LogFormat) {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("info"));
    let lines = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    // A log that is already there, as in a test with two servers, is left alone.
    let _ = match format {
        LogFormat::Text => lines.try_init(),
        LogFormat::Json => lines.json().try_init(),
    };
}
