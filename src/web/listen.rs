//! Taking connections: as the framework's own `serve` does, and with a limit on how long the head of
//! a request may take, so that a sender who dribbles bytes does not hold a connection for ever.

use super::shelf::Front;
use axum::extract::ConnectInfo;
use hyper::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::pin::pin;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinSet;

/// How long a connection may take to send the next request's head, idle time included.
const HEAD_PATIENCE: Duration = Duration::from_secs(20);
/// How long a stopping server waits for what it has accepted.
const GRACE: Duration = Duration::from_secs(30);
/// Out of file handles or memory: a moment's wait lets other connections end.
const BREATH: Duration = Duration::from_millis(200);

/// Serves until `stop`, then finishes what was accepted, at most [`GRACE`] long.
pub(super) async fn serve(listener: TcpListener, front: Front, stop: impl Future<Output = ()>) {
    let (stopping, told) = watch::channel(false);
    let mut open = JoinSet::new();
    let mut stop = pin!(stop);
    loop {
        tokio::select! {
            () = &mut stop => break,
            taken = listener.accept() => match taken {
                Ok((line, from)) => {
                    open.spawn(converse(line, from, front.clone(), told.clone()));
                }
                Err(cause) => wait_after(&cause).await,
            },
            Some(_ended) = open.join_next(), if !open.is_empty() => {}
        }
    }
    drop(listener);
    stopping.send_replace(true);
    let finish = async { while open.join_next().await.is_some() {} };
    if tokio::time::timeout(GRACE, finish).await.is_err() {
        tracing::warn!(
            grace_s = GRACE.as_secs(),
            "stopped with requests unfinished"
        );
    }
}

/// One connection: requests one after the other, until either side is done or the server stops.
async fn converse(
    line: TcpStream,
    from: SocketAddr,
    front: Front,
    mut told: watch::Receiver<bool>,
) {
    // Answers are small: waiting to fill a packet would only delay them.
    let _ = line.set_nodelay(true);
    let service = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(ConnectInfo(from));
        front.clone().answer(request)
    });
    let talk = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_PATIENCE)
        .serve_connection(TokioIo::new(line), service);
    let mut talk = pin!(talk);
    tokio::select! {
        ended = talk.as_mut() => return note(ended),
        _ = told.wait_for(|stopping| *stopping) => talk.as_mut().graceful_shutdown(),
    }
    note(talk.await);
}

/// A line that broke is the sender's affair; it is said for whoever looks for it.
fn note(ended: hyper::Result<()>) {
    if let Err(cause) = ended {
        tracing::debug!(%cause, "a connection ended early");
    }
}

/// A sender who hung up before being accepted costs nothing; anything else is waited out.
async fn wait_after(cause: &io::Error) {
    use io::ErrorKind::{ConnectionAborted, ConnectionRefused, ConnectionReset};
    let theirs = [ConnectionAborted, ConnectionRefused, ConnectionReset];
    if !theirs.contains(&cause.kind()) {
        tracing::error!(%cause, "cannot accept a connection");
        tokio::time::sleep(BREATH).await;
    }
}
