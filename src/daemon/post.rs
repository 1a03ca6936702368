//! The way out by the settings: a Maildir or a relay.

use crate::adapters::delivery::Channel;
use crate::adapters::delivery::maildir::Maildir;
use crate::adapters::delivery::secret::read_secret_file;
use crate::adapters::delivery::smtp::{
    ACCEPT_DEADLINE, DEADLINE, Relay, RelaySettings, Security as Protection,
};
use crate::app::context::ServiceError;
use crate::app::settings::{Mail, Security, Smtp};

/// Opens the way out. `sync` pushes every letter in a Maildir to the disk before it counts as delivered.
///
/// # Errors
/// [`ServiceError::Told`]: a secret file that others can read, an address that may not be reached without TLS.
pub fn channel(mail: &Mail, sync: bool) -> Result<Channel, ServiceError> {
    match (&mail.maildir, &mail.smtp) {
        (Some(folder), _) => {
            let folder = folder.clone();
            Ok(Channel::Maildir(Maildir { folder, per_recipient: true, sync }))
        }
        (None, Some(smtp)) => {
            let domain = mail.from.rsplit_once('@').map_or("localhost", |(_, domain)| domain);
            let relay = Relay::new(relay_settings(smtp, domain)?)
                .map_err(|error| ServiceError::Told(error.line()))?;
            Ok(Channel::Smtp(Box::new(relay)))
        }
        (None, None) => {
            Err(ServiceError::Told("no way out: set mail.maildir or [mail.smtp]".into()))
        }
    }
}

fn relay_settings(smtp: &Smtp, hello: &str) -> Result<RelaySettings, ServiceError> {
    let login = match (&smtp.user, &smtp.password_file) {
        (Some(user), Some(path)) => {
            let secret =
                read_secret_file(path).map_err(|error| ServiceError::Told(error.to_string()))?;
            Some((user.clone(), secret))
        }
        _ => None,
    };
    let extra_ca_pem = smtp
        .ca_file
        .as_ref()
        .map(|path| {
            std::fs::read(path).map_err(|error| {
                ServiceError::Told(format!(
                    "cannot read mail.smtp.ca_file {}: {error}; correct the path",
                    path.display()
                ))
            })
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
