//! The ways out: files, or a mail relay.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use super::maildir::Maildir;
use super::mime::plainer;
use super::smtp::{Parcel, Relay};
use crate::app::ports::{Courier, Pending, Plainer, Posted, Verdict};
use crate::domain::message::envelope;

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

impl Courier for Channel {
    fn name(&self) -> &'static str {
        match self {
            Self::Maildir(_) => "maildir",
            Self::Smtp(_) => "smtp",
        }
    }

    fn deadline(&self) -> Duration {
        match self {
            Self::Maildir(_) => MAILDIR_DEADLINE,
            Self::Smtp(relay) => relay.deadline(),
        }
    }

    fn send<'a>(&'a mut self, letter: &'a Posted) -> Pending<'a, Verdict> {
        Box::pin(self.hand_over(letter))
    }

    fn plainer(&self, letter: &Posted) -> Option<Plainer> {
        let (message_id, bytes) = plainer::of(&letter.row.bytes, &letter.row.message_id)?;
        let domain = letter.row.return_path.rsplit_once('@').map_or("", |(_, domain)| domain);
        let return_path = envelope::return_path(&message_id, domain);
        Some(Plainer { message_id, return_path, bytes })
    }

    fn handing(&self) -> Option<Arc<AtomicBool>> {
        match self {
            Self::Maildir(_) => None,
            Self::Smtp(relay) => Some(relay.handing()),
        }
    }

    fn finish(&mut self) -> Pending<'_, ()> {
        Box::pin(async move {
            if let Self::Smtp(relay) = self {
                relay.quit().await;
            }
        })
    }
}

impl Channel {
    async fn hand_over(&mut self, letter: &Posted) -> Verdict {
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
}
