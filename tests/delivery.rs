//! Letters on their way out.

mod maildir;
mod mime;
mod outbox;
mod secret;
mod smtp;

use std::time::Duration;

use rimeward::adapters::delivery::{RelaySettings, Security};

/// Runs a future to its end on a runtime of its own.
pub fn wait_for<T>(future: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(future)
}

/// A relay on this machine without TLS, with a second for each letter.
pub fn relay(port: u16) -> RelaySettings {
    RelaySettings {
        host: "127.0.0.1".to_owned(),
        port,
        security: Security::PlaintextLoopback,
        hello: "rimeward.example".to_owned(),
        login: None,
        extra_ca_pem: None,
        deadline: Duration::from_secs(1),
        accept_deadline: Duration::from_millis(300),
    }
}
