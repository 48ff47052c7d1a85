//! `overwinter health`: asks a running server whether it is well, for a container's health check.

use crate::error::Failure;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::time::Duration;

/// Ask a running server whether it is well; fails when it is not.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The address that the server listens on
    #[arg(
        long,
        env = "OVERWINTER_LISTEN",
        default_value = "127.0.0.1:8080",
        value_name = "ADDR"
    )]
    listen: SocketAddr,
}

/// Succeeds when `/healthz` answers 200 within five seconds.
pub(super) async fn run(args: Args) -> Result<(), Failure> {
    let address = reachable(args.listen);
    // It speaks plain HTTP to this very machine, which may have no certificates at all.
    let client = crate::outbound::client()
        .tls_certs_only([])
        .no_proxy()
        .timeout(Duration::from_secs(5))
        .build()?;
    let answer = client.get(format!("http://{address}/healthz")).send().await;
    let answer = answer.map_err(|_| format!("no server answers at {address}"))?;
    match answer.status() {
        status if status.is_success() => {
            println!("The server at {address} is well.");
            Ok(())
        }
        status => Err(format!("the server at {address} answers {status}").into()),
    }
}

/// A server that listens on every address is asked on this machine's own.
fn reachable(listen: SocketAddr) -> SocketAddr {
    let own: IpAddr = match listen.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => Ipv4Addr::LOCALHOST.into(),
        IpAddr::V6(ip) if ip.is_unspecified() => Ipv6Addr::LOCALHOST.into(),
        other => other,
    };
    SocketAddr::new(own, listen.port())
}
