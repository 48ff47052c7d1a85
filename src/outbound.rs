//! The one way out: every HTTP client of ours is built here, so that the crypto provider is there
//! before the first of them asks for it.

use std::sync::Once;

/// A client to be built. It follows no redirect and has no limit of time unless its user says so.
///
/// TLS is rustls with ring: its other provider wants a C build of minutes.
pub fn client() -> reqwest::ClientBuilder {
    static PROVIDER: Once = Once::new();
    PROVIDER.call_once(|| {
        // An error says that somebody else of the process was first, which is as good.
        let _ = rustls::crypto::ring::default_provider().install_default();
    });
    reqwest::Client::builder().redirect(reqwest::redirect::Policy::none())
}
