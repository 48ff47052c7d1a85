//! Which addresses of the network are other people's: a webhook set by a steward must not reach what
//! only this machine or its neighbours can.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// Whether an address is one of the public internet.
pub(super) fn is_public(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(four) => is_public_v4(four),
        IpAddr::V6(six) => is_public_v6(six),
    }
}

/// By the special-purpose registry (RFC 6890 and its updates).
fn is_public_v4(address: Ipv4Addr) -> bool {
    let [a, b, c, _] = address.octets();
    let is_special = address.is_private()
        || address.is_loopback()
        || address.is_link_local()
        || address.is_documentation()
        || address.is_multicast()
        // 0.0.0.0/8 this network, 100.64.0.0/10 shared, 192.0.0.0/24 protocols, 198.18.0.0/15
        // benchmarks, 240.0.0.0/4 reserved with broadcast.
        || a == 0
        || (a == 100 && (64..128).contains(&b))
        || (a == 192 && b == 0 && c == 0)
        || (a == 198 && (b == 18 || b == 19))
        || a >= 240;
    !is_special
}

fn is_public_v6(address: Ipv6Addr) -> bool {
    let [a, b, c, d, e, f, g, h] = address.segments();
    let four = |high: u16, low: u16| {
        let ([a, b], [c, d]) = (high.to_be_bytes(), low.to_be_bytes());
        is_public_v4(Ipv4Addr::new(a, b, c, d))
    };
    match (a, b) {
        // An address of version 4 in another dress: mapped, translated (64:ff9b::/96), 6to4.
        (0, 0) if [c, d, e] == [0; 3] && f == 0xffff => four(g, h),
        (0x64, 0xff9b) if [c, d, e, f] == [0; 4] => four(g, h),
        (0x2002, high) => four(high, c),
        // Documentation, and the protocols of 2001::/23 (Teredo among them).
        (0x2001, 0xdb8 | 0..=0x1ff) => false,
        // Everything public there is lies in 2000::/3.
        _ => (0x2000..=0x3fff).contains(&a),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_special_addresses_of_the_registry_are_not_public() {
        // IANA special-purpose address registries, by their names there.
        for special in [
            "0.0.0.0",
            "0.1.2.3",
            "10.0.0.1",
            "100.64.0.1",
            "100.127.255.255",
            "127.0.0.1",
            "169.254.169.254",
            "172.16.0.1",
            "172.31.255.255",
            "192.0.0.8",
            "192.0.2.1",
            "192.168.1.1",
            "198.18.0.1",
            "198.19.255.255",
            "198.51.100.1",
            "203.0.113.1",
            "224.0.0.1",
            "240.0.0.1",
            "255.255.255.255",
            "::",
            "::1",
            "::ffff:127.0.0.1",
            "::ffff:10.0.0.1",
            "::127.0.0.1",
            "64:ff9b::7f00:1",
            "64:ff9b:1::1",
            "100::1",
            "2001::1",
            "2001:db8::1",
            "2002:7f00:1::",
            "2002:a00:1::",
            "fc00::1",
            "fd12::1",
            "fe80::1",
            "fec0::1",
            "ff02::1",
            "5f00::1",
        ] {
            assert!(!is_public(special.parse().unwrap()), "{special}");
        }
    }

    #[test]
    fn their_neighbours_are_public() {
        for public in [
            "1.1.1.1",
            "8.8.8.8",
            "100.63.255.255",
            "100.128.0.0",
            "172.15.0.1",
            "172.32.0.1",
            "198.20.0.1",
            "223.255.255.255",
            "2600::1",
            "2a00::1",
            "2001:4860::1",
            "::ffff:8.8.8.8",
            "64:ff9b::808:808",
        ] {
            assert!(is_public(public.parse().unwrap()), "{public}");
        }
    }
}
