//! The way out by the settings: a Maildir or a relay.

use std::path::PathBuf;

use thiserror::Error;

use crate::adapters::delivery::Channel;
use crate::adapters::delivery::maildir::Maildir;
use crate::adapters::delivery::secret::{SecretError, read_secret_file};
use crate::adapters::delivery::smtp::{
    ACCEPT_DEADLINE, DEADLINE, Relay, RelayError, RelaySettings, Security as Protection,
};
use crate::app::context::ServiceError;
use crate::app::settings::{Mail, Security, Smtp};

/// Why there is no way out.
#[derive(Debug, Error)]
pub enum PostError {
    /// None is named.
    #[error("no way out: set mail.maildir or [mail.smtp]")]
    None,
    /// The relay as it is configured.
    #[error("{}", .0.line())]
    Relay(#[source] RelayError),
    /// The file with the password.
    #[error(transparent)]
    Secret(#[from] SecretError),
    /// The file with the authority.
    #[error("cannot read mail.smtp.ca_file {}: {source}; correct the path", .path.display())]
    Authority {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
}

impl From<PostError> for ServiceError {
    fn from(error: PostError) -> Self {
        Self::Outside(Box::new(error))
    }
}

/// Opens the way out. `sync` pushes every letter in a Maildir to the disk before it counts as delivered.
///
/// # Errors
/// [`PostError`]: a secret file that others can read, an address that may not be reached without TLS.
pub fn channel(mail: &Mail, sync: bool) -> Result<Channel, PostError> {
    match (&mail.maildir, &mail.smtp) {
        (Some(folder), _) => {
            let folder = folder.clone();
            Ok(Channel::Maildir(Maildir { folder, per_recipient: true, sync }))
        }
        (None, Some(smtp)) => {
            let domain = mail.from.rsplit_once('@').map_or("localhost", |(_, domain)| domain);
            let relay = Relay::new(relay_settings(smtp, domain)?).map_err(PostError::Relay)?;
            Ok(Channel::Smtp(Box::new(relay)))
        }
        (None, None) => Err(PostError::None),
    }
}

fn relay_settings(smtp: &Smtp, hello: &str) -> Result<RelaySettings, PostError> {
    let login = match (&smtp.user, &smtp.password_file) {
        (Some(user), Some(path)) => Some((user.clone(), read_secret_file(path)?)),
        _ => None,
    };
    let extra_ca_pem = smtp
        .ca_file
        .as_ref()
        .map(|path| {
            std::fs::read(path)
                .map_err(|source| PostError::Authority { path: path.clone(), source })
        })
        .transpose()?;
    let security = match smtp.security {
        Security::Tls => Protection::ImplicitTls,
        Security::Starttls => Protection::StartTlsRequired,
        Security::PlaintextLoopback => Protection::PlaintextLoopback,
    };
    Ok(RelaySettings {
        host: smtp.host.clone(),
        port: smtp.port,
        security,
        hello: hello.to_owned(),
        login,
        extra_ca_pem,
        deadline: DEADLINE,
        accept_deadline: ACCEPT_DEADLINE,
    })
}
