//! Where a request comes from, for slowing down attempts. Never stored, never logged.

use super::App;
use super::fault::WebFault;
use axum::extract::{ConnectInfo, FromRequestParts};
use axum::http::request::Parts;
use axum::http::{Extensions, HeaderMap};
use std::net::{IpAddr, Ipv6Addr, SocketAddr};

/// The address that attempts are counted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct ClientAddress(pub(super) IpAddr);

impl FromRequestParts<App> for ClientAddress {
    type Rejection = WebFault;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebFault> {
        Self::of(&parts.extensions, &parts.headers, app)
    }
}

impl ClientAddress {
    /// Of a request with these parts.
    ///
    /// # Errors
    /// When the server did not say who is connected, which is our fault.
    pub(super) fn of(
        extensions: &Extensions,
        headers: &HeaderMap,
        app: &App,
    ) -> Result<Self, WebFault> {
        let peer = extensions.get::<ConnectInfo<SocketAddr>>();
        let peer = peer
            .ok_or_else(|| WebFault::ours("no peer address in the request"))?
            .0
            .ip();
        let forwarded = headers.get_all("x-forwarded-for").iter();
        let lines: Vec<&str> = forwarded.filter_map(|line| line.to_str().ok()).collect();
        Ok(Self(client_of(
            peer,
            &lines.join(","),
            &app.config.trusted_proxy,
        )))
    }
}

/// The last address that a trusted proxy vouches for. What stands further left in the header was
/// written by somebody we do not know.
fn client_of(peer: IpAddr, forwarded: &str, trusted: &[IpAddr]) -> IpAddr {
    let mut client = peer.to_canonical();
    let mut hops = forwarded
        .split(',')
        .rev()
        .map(|hop| hop.trim().parse::<IpAddr>());
    while trusted.contains(&client) {
        match hops.next() {
            Some(Ok(hop)) => client = hop.to_canonical(),
            _ => break,
        }
    }
    neighbourhood(client)
}

/// One household or machine has a whole /64 of IPv6 to itself, so that counts as one address.
fn neighbourhood(address: IpAddr) -> IpAddr {
    match address {
        IpAddr::V4(_) => address,
        IpAddr::V6(six) => IpAddr::V6(Ipv6Addr::from_bits(six.to_bits() >> 64 << 64)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().expect("an address")
    }

    #[test]
    fn forwarded_for_counts_only_from_a_trusted_proxy() {
        let proxy = [ip("10.0.0.1")];
        assert_eq!(
            client_of(ip("198.51.100.7"), "203.0.113.9", &proxy),
            ip("198.51.100.7")
        );
        assert_eq!(
            client_of(ip("10.0.0.1"), "203.0.113.9", &proxy),
            ip("203.0.113.9")
        );
        // What the visitor wrote themselves stands to the left of what the proxy adds.
        assert_eq!(
            client_of(ip("10.0.0.1"), "1.2.3.4, 203.0.113.9", &proxy),
            ip("203.0.113.9")
        );
        assert_eq!(
            client_of(ip("10.0.0.1"), "nonsense", &proxy),
            ip("10.0.0.1")
        );
        assert_eq!(client_of(ip("10.0.0.1"), "", &proxy), ip("10.0.0.1"));
    }

    #[test]
    fn an_ipv6_neighbourhood_is_one_address() {
        let one = client_of(ip("2001:db8::1"), "", &[]);
        assert_eq!(one, client_of(ip("2001:db8::ffff"), "", &[]));
        assert_ne!(one, client_of(ip("2001:db8:0:1::1"), "", &[]));
    }
}
