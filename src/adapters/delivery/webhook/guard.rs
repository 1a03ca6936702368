//! Which addresses a webhook may be sent to: none that is special (RFC 6890 and the IANA registries that it set up), so that
//! a name in the configuration, or whoever answers for it, cannot turn this program against the network that it stands in.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

use reqwest::dns::{Addrs, Name, Resolve, Resolving};

/// IPv4 blocks of the special-purpose registry, and multicast: address and length of the prefix.
const SPECIAL_V4: [([u8; 4], u32); 17] = [
    ([0, 0, 0, 0], 8),
    ([10, 0, 0, 0], 8),
    ([100, 64, 0, 0], 10),
    ([127, 0, 0, 0], 8),
    ([169, 254, 0, 0], 16),
    ([172, 16, 0, 0], 12),
    ([192, 0, 0, 0], 24),
    ([192, 0, 2, 0], 24),
    ([192, 31, 196, 0], 24),
    ([192, 52, 193, 0], 24),
    ([192, 88, 99, 0], 24),
    ([192, 168, 0, 0], 16),
    ([192, 175, 48, 0], 24),
    ([198, 18, 0, 0], 15),
    ([198, 51, 100, 0], 24),
    ([203, 0, 113, 0], 24),
    // Multicast, reserved and broadcast.
    ([224, 0, 0, 0], 3),
];

/// IPv6 blocks of the same: everything outside of 2000::/3 is special, and these inside of it.
const SPECIAL_V6: [(u128, u32); 6] = [
    (0x2001 << 112, 23),
    (0x2001_0db8 << 96, 32),
    (0x2002 << 112, 16),
    (0x2620_004f_8000 << 80, 48),
    (0x3fff << 112, 20),
    (0x3ffe << 112, 16),
];

/// Is the address in a special-purpose registry, or one that stands for such an address (IPv4-mapped, NAT64, 6to4)?
#[must_use]
pub fn is_special(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(v4) => SPECIAL_V4.iter().any(|(block, length)| {
            let shift = 32 - length;
            u32::from(v4) >> shift == u32::from(Ipv4Addr::from(*block)) >> shift
        }),
        IpAddr::V6(v6) => {
            let bits = u128::from(v6);
            let is_global = bits >> 125 == 1;
            !is_global
                || SPECIAL_V6
                    .iter()
                    .any(|(block, length)| bits >> (128 - length) == block >> (128 - length))
        }
    }
}

/// Link-local addresses are the machine's neighbours and a cloud's own services: never reached, whatever is allowed.
#[must_use]
pub fn is_link_local(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(v4) => v4.is_link_local(),
        IpAddr::V6(v6) => match embedded(v6) {
            Some(v4) => v4.is_link_local(),
            None => u128::from(v6) >> 118 == 0xfe80 >> 6,
        },
    }
}

/// The IPv4 address inside an IPv4-mapped or NAT64 one.
fn embedded(v6: Ipv6Addr) -> Option<Ipv4Addr> {
    let bits = u128::from(v6);
    let nat64 = bits >> 32 == 0x0064_ff9b << 64;
    let low = u32::try_from(bits & 0xffff_ffff).ok()?;
    v6.to_ipv4_mapped().or_else(|| nat64.then(|| Ipv4Addr::from(low)))
}

/// Where a webhook may be sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// Outside alone.
    Public,
    /// Inside alone: without TLS.
    Private,
    /// Anywhere but to the machine's neighbours.
    Both,
}

/// Addresses under which clouds hand out the machine's own secrets, outside of link-local.
const METADATA: [IpAddr; 2] = [
    IpAddr::V4(Ipv4Addr::new(100, 100, 100, 200)),
    IpAddr::V6(Ipv6Addr::new(0xfd00, 0x0ec2, 0, 0, 0, 0, 0, 0x0254)),
];

/// Why nothing is sent there; `None` where it may be.
#[must_use]
pub fn forbidden(address: IpAddr, reach: Reach) -> Option<String> {
    if is_link_local(address) || METADATA.contains(&address) {
        return Some(format!("{address} is a neighbour or the machine's own: never sent there"));
    }
    // A network that reaches the world through NAT64 gives every name such an address.
    let stands_for = match address {
        IpAddr::V6(v6) => embedded(v6).filter(|_| v6.to_ipv4_mapped().is_none()).map(IpAddr::V4),
        IpAddr::V4(_) => None,
    };
    let special = stands_for.map_or_else(|| is_special(address), is_special);
    match reach {
        Reach::Public if special => Some(format!(
            "{address} is inside this network or special: a webhook is not sent there"
        )),
        Reach::Private if !special => {
            Some(format!("{address} is outside: nothing is sent there without TLS; use https"))
        }
        _ => None,
    }
}

/// Resolves names and hands on only what may be reached: if any answer may not, none is. The connection is made to these
/// addresses and to no others, so that a name which answers otherwise the second time changes nothing.
#[derive(Debug, Clone, Copy)]
pub struct Guard {
    /// Where to.
    pub reach: Reach,
}

impl Resolve for Guard {
    fn resolve(&self, name: Name) -> Resolving {
        let reach = self.reach;
        Box::pin(async move {
            let found: Vec<SocketAddr> =
                tokio::net::lookup_host((name.as_str(), 0)).await?.collect();
            match found.iter().find_map(|at| forbidden(at.ip(), reach)) {
                Some(why) => Err(std::io::Error::other(why).into()),
                None => Ok(Box::new(found.into_iter()) as Addrs),
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Addresses of the IANA IPv4 and IPv6 special-purpose registries (RFC 6890, RFC 8190; the list is from memory).
    #[test]
    fn special_addresses_are_none_to_send_to() {
        for text in [
            "127.0.0.1",
            "10.1.2.3",
            "172.31.255.1",
            "192.168.0.9",
            "169.254.169.254",
            "100.64.0.1",
            "0.0.0.0",
            "255.255.255.255",
            "224.0.0.1",
            "198.19.0.1",
            "203.0.113.7",
            "::1",
            "::",
            "::ffff:10.0.0.1",
            "::ffff:8.8.8.8",
            "64:ff9b::a00:1",
            "fe80::1",
            "fd00::1",
            "ff02::1",
            "2001:db8::1",
            "2001::1",
            "2002:a00:1::",
            "3fff::1",
        ] {
            assert!(is_special(text.parse().unwrap()), "{text}");
            assert!(forbidden(text.parse().unwrap(), Reach::Public).is_some(), "{text}");
        }
        for text in ["8.8.8.8", "172.32.0.1", "100.128.0.1", "2606:4700::1111", "2a00:1450::1"] {
            assert!(!is_special(text.parse().unwrap()), "{text}");
        }
        // NAT64 of a public address is public; without TLS only the inside is reached.
        assert_eq!(forbidden("64:ff9b::808:808".parse().unwrap(), Reach::Public), None);
        assert!(forbidden("8.8.8.8".parse().unwrap(), Reach::Private).is_some());
        for text in ["100.100.100.200", "fd00:ec2::254"] {
            assert!(forbidden(text.parse().unwrap(), Reach::Both).is_some(), "{text}");
        }
        assert_eq!(forbidden("127.0.0.1".parse().unwrap(), Reach::Both), None);
        for text in ["169.254.169.254", "fe80::1", "::ffff:169.254.169.254", "64:ff9b::a9fe:a9fe"] {
            assert!(forbidden(text.parse().unwrap(), Reach::Both).is_some(), "{text}");
        }
    }
}
