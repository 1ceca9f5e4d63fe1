//! Where the service may listen: beyond this machine only with tokens, and never in plain text.

use std::net::SocketAddr;

/// How callers are told apart and kept from being overheard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Guards {
    /// Callers need a token.
    pub tokens: bool,
    /// The service speaks TLS itself.
    pub tls: bool,
    /// Someone said that a proxy before the service speaks TLS.
    pub behind_tls_proxy: bool,
}

/// An address that is not safe to listen on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Exposed {
    /// Anyone could call.
    #[error(
        "{option} {address} can be reached from other machines, so callers need tokens: make one \
         with `slitwright token add --tokens FILE --name NAME` and give --tokens FILE, or listen \
         on 127.0.0.1"
    )]
    Open {
        /// The option that gave the address.
        option: &'static str,
        /// The address.
        address: SocketAddr,
    },
    /// Tokens and models would go over the network in plain text.
    #[error(
        "{option} {address} can be reached from other machines, and tokens would go there in plain \
         text: {remedy}"
    )]
    Plain {
        /// The option that gave the address.
        option: &'static str,
        /// The address.
        address: SocketAddr,
        /// What to do.
        remedy: &'static str,
    },
}

/// Whether the service may listen on `address`.
pub fn check_listen(address: SocketAddr, guards: Guards) -> Result<(), Exposed> {
    let remedy = "give --tls-certificate and --tls-key, or --behind-tls-proxy when a proxy on this \
                  machine or a network that only it reaches speaks TLS in front";
    check("--listen", address, guards, guards.tls || guards.behind_tls_proxy, remedy)
}

/// Whether the metrics, which are told in plain text, may be told on `address`.
pub fn check_metrics(address: SocketAddr, guards: Guards) -> Result<(), Exposed> {
    let remedy = "tell metrics on 127.0.0.1, or give --behind-tls-proxy when a proxy speaks TLS in \
                  front";
    check("--metrics", address, guards, guards.behind_tls_proxy, remedy)
}

fn check(
    option: &'static str,
    address: SocketAddr,
    guards: Guards,
    covered: bool,
    remedy: &'static str,
) -> Result<(), Exposed> {
    // A loopback address written as IPv6 is one as well.
    if address.ip().to_canonical().is_loopback() {
        return Ok(());
    }
    if !guards.tokens {
        return Err(Exposed::Open { option, address });
    }
    if !covered {
        return Err(Exposed::Plain { option, address, remedy });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beyond_loopback_tokens_and_cover_are_needed() {
        let guards = |tokens, tls, behind_tls_proxy| Guards { tokens, tls, behind_tls_proxy };
        let at = |text: &str| text.parse::<SocketAddr>().expect("an address");
        for near in ["127.0.0.1:1", "127.8.8.8:1", "[::1]:1", "[::ffff:127.0.0.1]:1"] {
            assert_eq!(check_listen(at(near), guards(false, false, false)), Ok(()), "{near}");
            assert_eq!(check_metrics(at(near), guards(false, false, false)), Ok(()), "{near}");
        }
        for far in ["0.0.0.0:1", "[::]:1", "192.0.2.7:1", "[2001:db8::1]:1", "[::ffff:192.0.2.7]:1"]
        {
            let far = at(far);
            let open = |outcome| matches!(outcome, Err(Exposed::Open { .. }));
            let plain = |outcome| matches!(outcome, Err(Exposed::Plain { .. }));
            assert!(open(check_listen(far, guards(false, true, true))), "{far}");
            assert!(plain(check_listen(far, guards(true, false, false))), "{far}");
            assert_eq!(check_listen(far, guards(true, true, false)), Ok(()), "{far}");
            assert_eq!(check_listen(far, guards(true, false, true)), Ok(()), "{far}");
            assert!(open(check_metrics(far, guards(false, true, true))), "{far}");
            assert!(plain(check_metrics(far, guards(true, true, false))), "{far}");
            assert_eq!(check_metrics(far, guards(true, true, true)), Ok(()), "{far}");
        }
    }
}
