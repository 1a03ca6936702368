//! The ways out: whoever hands finished messages over, and what became of each.

use std::fmt::Debug;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::ports::{Pending, Plainer, Posted};

/// What became of a letter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// Accepted.
    Sent {
        /// The server's words.
        reply: String,
    },
    /// Not now.
    Retry {
        /// The server's words, or ours.
        why: String,
    },
    /// The mailbox is full: as [`Verdict::Retry`] for a day, then an address fault.
    MailboxFull {
        /// The server's words.
        why: String,
    },
    /// The relay could not be reached or did not let us in: not this letter's fault, the others need not try.
    Relay {
        /// What is wrong.
        why: String,
    },
    /// The address does not take mail: turn to the next contact.
    AddressRefused {
        /// The reply code, where a server gave one.
        code: Option<u16>,
        /// The server's words.
        why: String,
    },
    /// The server does not want our mail: the operator must act.
    Policy {
        /// The reply code.
        code: u16,
        /// The server's words.
        why: String,
    },
    /// Too big for the server.
    TooBig {
        /// The reply code.
        code: u16,
        /// The server's words.
        why: String,
    },
    /// Refused for another reason.
    Permanent {
        /// The reply code.
        code: u16,
        /// The server's words.
        why: String,
    },
    /// It may have been accepted or not: again, with the same Message-ID.
    Unknown {
        /// What happened.
        why: String,
    },
}

/// A way out for letters and short texts: a mail relay, or files.
pub trait Courier: Send {
    /// As it stands in the outbox.
    fn name(&self) -> &'static str;

    /// How long one letter may take.
    fn deadline(&self) -> Duration;

    /// Hands one letter over.
    fn send<'a>(&'a mut self, letter: &'a Posted) -> Pending<'a, Verdict>;

    /// The same letter without what makes it big; `None` where there is no plainer form.
    fn plainer(&self, letter: &Posted) -> Option<Plainer>;

    /// Set while the relay has a letter in hand and has not answered.
    fn handing(&self) -> Option<Arc<AtomicBool>>;

    /// Ends what is open; the next letter opens it again.
    fn finish(&mut self) -> Pending<'_, ()>;
}

/// A program that wants signed notes.
pub trait Endpoint: Debug + Send + Sync {
    /// Its name in the settings, which stands where letters have their reader.
    fn name(&self) -> &str;

    /// Signs one note and hands it over.
    fn send<'a>(&'a self, note: &'a Posted, now: DateTime<Utc>) -> Pending<'a, NoteAnswer>;
}

/// What became of one attempt to hand a note over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoteAnswer {
    /// Taken, in the receiver's words.
    Taken(String),
    /// The receiver wants no more of them.
    Gone(&'static str),
    /// To be tried again.
    Later {
        /// Why.
        why: String,
        /// Not sooner than this, where the receiver asks for it.
        after: Option<TimeDelta>,
    },
}

/// The programs that want signed notes, as far as they can be used.
#[derive(Debug, Default)]
pub struct Endpoints {
    /// Those that can be used.
    pub usable: Vec<Box<dyn Endpoint>>,
    /// All that the settings name.
    pub named: Vec<String>,
    /// What is wrong with the others, in words.
    pub troubles: Vec<String>,
}
