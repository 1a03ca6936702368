//! Letters to a mail relay over SMTP.
//!
//! One connection, one letter at a time, with a deadline around everything from the connect to the leave to send the
//! message, and another around the message and the reply to its final dot: the library's own timeout covers the connect
//! only. A connection whose letter ran into a deadline is dropped, never used again. A refused letter does not cost the
//! connection: `RSET` and go on.

pub mod verdict;

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use lettre::Address;
use lettre::transport::smtp::authentication::{Credentials, Mechanism};
use lettre::transport::smtp::client::{AsyncSmtpConnection, Certificate, TlsParameters};
use lettre::transport::smtp::commands::{Data, Mail, Quit, Rcpt, Rset};
use lettre::transport::smtp::extension::ClientId;
use thiserror::Error;

use super::secret::Secret;
pub use crate::app::ports::Verdict;
pub use verdict::Phase;

/// How long one letter may take up to the leave to send the message. RFC 5321 would allow more; our relay is near, and a
/// sender that hangs holds back everybody else's letters.
pub const DEADLINE: Duration = Duration::from_secs(60);

/// How long the relay may take over the message and its final dot (RFC 5321 4.5.3.2.6): whoever gives up earlier sends
/// again what has been accepted.
pub const ACCEPT_DEADLINE: Duration = Duration::from_secs(600);

/// How long the connect may take, of that.
const CONNECT_MOST: Duration = Duration::from_secs(20);

/// How long a farewell may take: nobody waits for it.
const QUIT_MOST: Duration = Duration::from_secs(2);

/// How the connection is protected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Security {
    /// None: only to this machine itself.
    PlaintextLoopback,
    /// STARTTLS, or nothing is sent (mostly port 587).
    StartTlsRequired,
    /// TLS from the first byte (mostly port 465).
    ImplicitTls,
}

/// Where the relay is and how to reach it.
#[derive(Debug, Clone)]
pub struct RelaySettings {
    /// Host name or address; with TLS, the name that its certificate must carry.
    pub host: String,
    /// Port.
    pub port: u16,
    /// How the connection is protected.
    pub security: Security,
    /// The name that we greet with.
    pub hello: String,
    /// Name and password.
    pub login: Option<(String, Secret)>,
    /// Certificates in PEM to trust besides those of the system.
    pub extra_ca_pem: Option<Vec<u8>>,
    /// How long one letter may take up to the leave to send the message.
    pub deadline: Duration,
    /// How long the message and the reply to its final dot may take.
    pub accept_deadline: Duration,
}

/// What is wrong with the relay, as far as no letter is at fault.
#[derive(Debug, Error)]
pub enum RelayError {
    /// The certificates cannot be used.
    #[error("setting up TLS for the mail relay {host}: check the file of extra certificates")]
    Tls {
        /// The relay.
        host: String,
        /// The library's answer.
        #[source]
        source: lettre::transport::smtp::Error,
    },
    /// A plain connection to another machine.
    #[error(
        "the mail relay {host} is not this machine: a connection without TLS goes to loopback only; set STARTTLS or implicit TLS"
    )]
    NotLoopback {
        /// The relay.
        host: String,
    },
    /// The name does not resolve.
    #[error("looking up the mail relay {host}")]
    Lookup {
        /// The relay.
        host: String,
        /// The resolver's answer.
        #[source]
        source: std::io::Error,
    },
    /// Connecting, greeting or logging in did not work.
    #[error("{doing} the mail relay {host}")]
    Connect {
        /// `connecting to`, `logging in to` ...
        doing: &'static str,
        /// The relay.
        host: String,
        /// The relay's answer.
        #[source]
        source: lettre::transport::smtp::Error,
    },
    /// It took too long.
    #[error("connecting to the mail relay {host}: no answer within {within:?}")]
    TooSlow {
        /// The relay.
        host: String,
        /// How long we waited.
        within: Duration,
    },
}

impl RelayError {
    /// The whole chain in one line, for the outbox and the status.
    #[must_use]
    pub fn line(&self) -> String {
        let mut text = self.to_string();
        let mut source = std::error::Error::source(self);
        while let Some(cause) = source {
            text.push_str(": ");
            text.push_str(&cause.to_string());
            // The library's texts carry their own sources already.
            source =
                if cause.is::<lettre::transport::smtp::Error>() { None } else { cause.source() };
        }
        text
    }
}

/// One letter on the envelope's terms.
#[derive(Debug, Clone, Copy)]
pub struct Parcel<'a> {
    /// Where bounces go.
    pub return_path: &'a str,
    /// Whom it is for.
    pub address: &'a str,
    /// The message.
    pub bytes: &'a [u8],
}

/// A mail relay, and the connection to it while there is one.
pub struct Relay {
    settings: RelaySettings,
    tls: Option<TlsParameters>,
    connection: Option<AsyncSmtpConnection>,
    /// How far the letter in hand has come; outlives an attempt that ran into its deadline.
    phase: Phase,
    /// The relay has the letter in hand and has not answered.
    handing: Arc<AtomicBool>,
}

impl std::fmt::Debug for Relay {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.debug_struct("Relay").field("settings", &self.settings).finish_non_exhaustive()
    }
}

/// The server's words, or its refusal.
type Outcome<T> = Result<T, lettre::transport::smtp::Error>;

impl Relay {
    /// Prepares a relay; connects at the first letter.
    ///
    /// # Errors
    /// [`RelayError::Tls`] when the certificates cannot be read.
    pub fn new(settings: RelaySettings) -> Result<Self, RelayError> {
        let tls = match settings.security {
            Security::PlaintextLoopback => None,
            Security::StartTlsRequired | Security::ImplicitTls => Some(
                tls_parameters(&settings)
                    .map_err(|source| RelayError::Tls { host: settings.host.clone(), source })?,
            ),
        };
        Ok(Self { settings, tls, connection: None, phase: Phase::Connect, handing: Arc::default() })
    }

    /// How long one letter may take up to the leave to send the message.
    #[must_use]
    pub const fn deadline(&self) -> Duration {
        self.settings.deadline
    }

    /// Set while the relay has a letter in hand and has not answered; outlives a pass that is dropped.
    #[must_use]
    pub fn handing(&self) -> Arc<AtomicBool> {
        Arc::clone(&self.handing)
    }

    /// Sends one letter and says what became of it, within the deadlines.
    pub async fn send(&mut self, parcel: Parcel<'_>) -> Verdict {
        let deadline = self.settings.deadline;
        self.handing.store(false, Ordering::SeqCst);
        self.phase = Phase::Connect;
        let mut connection = match tokio::time::timeout(deadline, self.attempt(parcel)).await {
            Ok(Ok((connection, Ok(())))) => connection,
            Ok(Ok((connection, Err(refused)))) => {
                return self.settle(connection, Err(refused)).await;
            }
            Ok(Err(verdict)) => return verdict,
            // The connection went down with the attempt that owned it.
            Err(_) => return verdict::timed_out(self.phase, deadline),
        };
        self.phase = Phase::Content;
        let within = self.settings.accept_deadline;
        self.handing.store(true, Ordering::SeqCst);
        let handed = tokio::time::timeout(within, hand_over(&mut connection, parcel.bytes)).await;
        self.handing.store(false, Ordering::SeqCst);
        match handed {
            Ok(outcome) => self.settle(connection, outcome).await,
            Err(_) => verdict::timed_out(self.phase, within),
        }
    }

    /// Connects, greets and logs in, and says goodbye: for the self-test.
    ///
    /// # Errors
    /// [`RelayError`] in words.
    pub async fn check(&mut self) -> Result<(), RelayError> {
        let within = self.settings.deadline;
        let connection = tokio::time::timeout(within, self.connect())
            .await
            .map_err(|_| RelayError::TooSlow { host: self.settings.host.clone(), within })??;
        self.connection = Some(connection);
        self.quit().await;
        Ok(())
    }

    /// Says goodbye, if there is a connection.
    pub async fn quit(&mut self) {
        if let Some(mut connection) = self.connection.take() {
            let _ = tokio::time::timeout(QUIT_MOST, connection.command(Quit)).await;
        }
    }

    async fn attempt(
        &mut self,
        parcel: Parcel<'_>,
    ) -> Result<(AsyncSmtpConnection, Outcome<()>), Verdict> {
        let Ok(from) = parcel.return_path.parse() else {
            // Ours, not the reader's: another reader would fare no better.
            let why = format!("'{}' is no return path", parcel.return_path.escape_debug());
            return Err(Verdict::Relay { why });
        };
        let Ok(to) = parcel.address.parse() else {
            let why = format!("'{}' is not a mail address", parcel.address.escape_debug());
            return Err(Verdict::AddressRefused { code: None, why });
        };
        // Taken out while it is in use: if this attempt is dropped at its deadline, the connection goes with it.
        if let Some(mut connection) = self.connection.take() {
            let outcome = ask_leave(&mut connection, &mut self.phase, &from, &to).await;
            let gone = self.phase == Phase::Sender
                && outcome.as_ref().err().is_some_and(verdict::connection_is_gone);
            if !gone {
                return Ok((connection, outcome));
            }
            // The relay had closed an idle connection: nothing of this letter was said on it.
        }
        self.phase = Phase::Connect;
        let mut connection =
            self.connect().await.map_err(|error| Verdict::Relay { why: error.line() })?;
        let outcome = ask_leave(&mut connection, &mut self.phase, &from, &to).await;
        Ok((connection, outcome))
    }

    /// Keeps the connection where it is still good, and reads the outcome.
    async fn settle(
        &mut self,
        mut connection: AsyncSmtpConnection,
        outcome: Outcome<String>,
    ) -> Verdict {
        match outcome {
            Ok(reply) => {
                self.connection = Some(connection);
                Verdict::Sent { reply }
            }
            Err(error) => {
                let verdict = verdict::classify(
                    self.phase,
                    error.status().map(u16::from),
                    &verdict::words(&error),
                );
                if error.status().is_some() && !verdict::connection_is_gone(&error) {
                    let reset = tokio::time::timeout(QUIT_MOST, connection.command(Rset)).await;
                    if matches!(reset, Ok(Ok(_))) {
                        self.connection = Some(connection);
                    }
                }
                verdict
            }
        }
    }

    async fn connect(&self) -> Result<AsyncSmtpConnection, RelayError> {
        let host = &self.settings.host;
        let hello = ClientId::Domain(self.settings.hello.clone());
        let failed =
            |doing| move |source| RelayError::Connect { doing, host: host.clone(), source };
        let within = Some(CONNECT_MOST);
        let mut connection = match self.settings.security {
            Security::PlaintextLoopback => {
                let addresses = self.loopback().await?;
                AsyncSmtpConnection::connect_tokio1(&*addresses, within, &hello, None, None).await
            }
            Security::StartTlsRequired => {
                let server = (host.as_str(), self.settings.port);
                AsyncSmtpConnection::connect_tokio1(server, within, &hello, None, None).await
            }
            Security::ImplicitTls => {
                let server = (host.as_str(), self.settings.port);
                let tls = self.tls.clone();
                AsyncSmtpConnection::connect_tokio1(server, within, &hello, tls, None).await
            }
        }
        .map_err(failed("connecting to"))?;
        if let (Security::StartTlsRequired, Some(tls)) = (self.settings.security, &self.tls) {
            connection.starttls(tls.clone(), &hello).await.map_err(failed("starting TLS with"))?;
        }
        if let Some((name, secret)) = &self.settings.login {
            let credentials = Credentials::new(name.clone(), secret.expose().to_owned());
            connection
                .auth(&[Mechanism::Plain, Mechanism::Login], &credentials)
                .await
                .map_err(failed("logging in to"))?;
        }
        Ok(connection)
    }

    /// The addresses of a relay without TLS, all of them on this machine.
    async fn loopback(&self) -> Result<Vec<SocketAddr>, RelayError> {
        let host = &self.settings.host;
        let addresses: Vec<SocketAddr> =
            tokio::net::lookup_host((host.as_str(), self.settings.port))
                .await
                .map_err(|source| RelayError::Lookup { host: host.clone(), source })?
                .collect();
        if addresses.is_empty() || !addresses.iter().all(|address| address.ip().is_loopback()) {
            return Err(RelayError::NotLoopback { host: host.clone() });
        }
        Ok(addresses)
    }
}

/// Says from whom and to whom, and asks for the leave to send the message.
async fn ask_leave(
    connection: &mut AsyncSmtpConnection,
    phase: &mut Phase,
    from: &Address,
    to: &Address,
) -> Outcome<()> {
    *phase = Phase::Sender;
    connection.command(Mail::new(Some(from.clone()), Vec::new())).await?;
    *phase = Phase::Recipient;
    connection.command(Rcpt::new(to.clone(), Vec::new())).await?;
    *phase = Phase::Data;
    connection.command(Data).await?;
    Ok(())
}

/// Sends the message and waits for the answer to its final dot.
async fn hand_over(connection: &mut AsyncSmtpConnection, bytes: &[u8]) -> Outcome<String> {
    let reply = match content(bytes) {
        Some(whole) => connection.command(whole).await?,
        None => connection.message(bytes).await?,
    };
    Ok(format!("{} {}", reply.code(), reply.message().collect::<Vec<_>>().join(" ")))
}

/// The message as it goes over the wire, final dot included: a dot at the start of a line is doubled (RFC 5321 4.5.2).
///
/// In one piece, since the library writes message and dot in two, and the second then waits 40 ms for the
/// acknowledgement of the first (measured: 45 ms a letter, against 1 ms). `None` for bytes that are no text.
fn content(bytes: &[u8]) -> Option<String> {
    let text = std::str::from_utf8(bytes).ok().filter(|text| text.is_ascii())?;
    let mut whole = String::with_capacity(text.len() + 64);
    for line in text.split_inclusive('\n') {
        if line.starts_with('.') {
            whole.push('.');
        }
        whole.push_str(line);
    }
    if !whole.ends_with("\r\n") {
        whole.push_str("\r\n");
    }
    whole.push_str(".\r\n");
    Some(whole)
}

fn tls_parameters(
    settings: &RelaySettings,
) -> Result<TlsParameters, lettre::transport::smtp::Error> {
    let mut builder = TlsParameters::builder(settings.host.clone());
    if let Some(pem) = &settings.extra_ca_pem {
        builder = builder.add_root_certificate(Certificate::from_pem(pem)?);
    }
    builder.build_rustls()
}
