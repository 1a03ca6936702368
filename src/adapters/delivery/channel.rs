//! The ways out: files, or a mail relay.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use super::maildir::Maildir;
use super::smtp::{Parcel, Relay, Verdict};
use crate::app::ports::Posted;

/// How long a Maildir may take for one letter.
const MAILDIR_DEADLINE: Duration = Duration::from_secs(10);

/// A way out.
#[derive(Debug)]
pub enum Channel {
    /// Files.
    Maildir(Maildir),
    /// A mail relay. Boxed for its size.
    Smtp(Box<Relay>),
}

impl Channel {
    /// As it stands in the outbox.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Maildir(_) => "maildir",
            Self::Smtp(_) => "smtp",
        }
    }

    pub(super) const fn deadline(&self) -> Duration {
        match self {
            Self::Maildir(_) => MAILDIR_DEADLINE,
            Self::Smtp(relay) => relay.deadline(),
        }
    }

    pub(super) async fn send(&mut self, letter: &Posted) -> Verdict {
        let row = &letter.row;
        match self {
            Self::Maildir(maildir) => {
                let recipient = row.recipient.as_str();
                match maildir.deliver(recipient, &row.message_id, row.queued_at, &row.bytes) {
                    Ok((path, true)) => {
                        Verdict::Sent { reply: format!("written to {}", path.display()) }
                    }
                    Ok((path, false)) => {
                        Verdict::Sent { reply: format!("lay there already: {}", path.display()) }
                    }
                    Err(error) => Verdict::Relay {
                        why: format!(
                            "writing into the Maildir {}: {error}",
                            maildir.folder.display()
                        ),
                    },
                }
            }
            Self::Smtp(relay) => {
                let (return_path, address) = (&row.return_path, &row.address);
                relay.send(Parcel { return_path, address, bytes: &row.bytes }).await
            }
        }
    }

    /// Set while the relay has a letter in hand and has not answered.
    pub(super) fn handing(&self) -> Option<Arc<AtomicBool>> {
        match self {
            Self::Maildir(_) => None,
            Self::Smtp(relay) => Some(relay.handing()),
        }
    }

    pub(super) async fn finish(&mut self) {
        if let Self::Smtp(relay) = self {
            relay.quit().await;
        }
    }
}
