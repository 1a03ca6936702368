//! Words and standard formats for one thing to tell one person.
//!
//! A letter is made in three steps: the numbers of advice become words ([`words`]), the phrase catalogue puts the words
//! into parts in a fixed order ([`phrases`]), and the parts are written twice, as text and as HTML ([`block`]). What is not
//! in a part is in neither, so the text says all that the HTML says. Nothing here decides anything or computes a risk.

mod aging;
mod answered;
mod blend;
mod blind;
pub mod block;
pub mod calendar;
pub mod cap;
pub mod cautions;
pub mod chart;
mod damage;
mod deadline;
pub mod envelope;
mod freeze;
mod heat;
pub mod identity;
pub mod lint;
pub mod notice;
mod opening;
pub mod phrases;
mod rollup;
pub mod short;
mod unreached;
mod voice;
pub mod words;
mod worklist;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::domain::alert::{Act, Advice, CloseReason, Kind};
use crate::domain::boat::{Boat, BoatState, CircuitId};
use crate::domain::risk::Priority;
use crate::domain::yard::{Person, Site};
use block::Block;
use chart::Picture;

pub use aging::{Aging, compose_aging};
pub use answered::{Answered, compose_answered};
pub use blend::{TooWeak, compose_blend};
pub use damage::compose_damage;
pub use deadline::{Nudge, compose_deadline};
pub use heat::{HeatTold, InTheShed, compose_heat};
pub use identity::MessageKey;
pub use opening::{Opening, compose_opening};
pub use phrases::Phrases;
pub use rollup::{RolledUp, compose_rollup};
pub use unreached::{MissedBy, compose_reached, compose_unreached};
pub use worklist::{
    CannotSay, CrewLines, HeldLine, OverLine, PlaceLine, Worklist, WorklistBoat, compose_worklist,
};

/// A name and an address.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mailbox {
    /// Name shown, any Unicode; control characters are refused where the bytes are made.
    pub name: String,
    /// Address, `local@domain`; empty where none is listed.
    pub address: String,
}

/// A finished letter to one person, before it becomes RFC 5322 bytes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Email {
    /// Message-ID without angle brackets.
    pub message_id: String,
    /// Date header, fixed when the letter enters the outbox.
    pub date: DateTime<Utc>,
    /// Sender, the source people know.
    pub from: Mailbox,
    /// Where answers go.
    pub reply_to: Option<Mailbox>,
    /// The reader.
    pub to: Mailbox,
    /// Subject, 60 characters or fewer where the boat's name allows.
    pub subject: String,
    /// Plain text, complete without the HTML.
    pub text: String,
    /// HTML with the same words.
    pub html: Option<String>,
    /// Message-ID of the revision before.
    pub in_reply_to: Option<String>,
    /// Message-IDs of all earlier revisions, oldest first.
    pub references: Vec<String>,
    /// RFC 2919 list id without brackets, such as `freeze.quillback.example.org`.
    pub list_id: Option<String>,
    /// Address for List-Unsubscribe mail.
    pub unsubscribe: Option<String>,
    /// Importance: high.
    pub urgent: bool,
    /// A calendar entry that goes with it.
    #[serde(default)]
    pub calendar: Option<String>,
    /// The same in a short text for telephones, for what a short text is good for.
    #[serde(default)]
    pub short: Option<String>,
    /// A picture that the HTML shows; the text says all of it.
    #[serde(skip)]
    pub picture: Option<Picture>,
}

/// What keeps a letter from being written.
#[derive(Debug, Error)]
pub enum MessageError {
    /// The phrase catalogue is not TOML of the right shape.
    #[error("reading the phrase catalogue: {source}; compare with config/catalogue/phrases.toml")]
    Catalogue {
        /// What the parser says, with line and column.
        #[source]
        source: Box<toml::de::Error>,
    },
    /// A template does not parse or names something that does not exist.
    #[error("phrase `{part}`, line {line}: {source:#}; correct the phrase in the catalogue")]
    Template {
        /// Name of the part or subject.
        part: String,
        /// Line inside the template.
        line: usize,
        /// What the template engine says.
        #[source]
        source: Box<minijinja::Error>,
    },
    /// The catalogue lacks something.
    #[error("phrase catalogue: {what} `{name}` is missing; add it")]
    Missing {
        /// Which kind of entry.
        what: &'static str,
        /// Its name.
        name: String,
    },
    /// A part that must say something came out empty.
    #[error("phrase `{part}` came out empty; give it words or mark it optional")]
    Empty {
        /// Name of the part.
        part: String,
    },
    /// The advice is about a boat and none was handed in.
    #[error("composing {alert}: the boat and its record are needed; hand them in with the context")]
    NoBoat {
        /// The alert.
        alert: String,
    },
    /// Nobody words this kind yet.
    #[error("composing {alert}: there are no words for this kind yet")]
    NoWords {
        /// The alert.
        alert: String,
    },
}

/// Who writes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sender {
    /// The source people know, such as `Quillback freeze desk`.
    pub desk: String,
    /// Address that the letters come from.
    pub address: String,
    /// Answers by mail are read: letters about a danger get an address of their own for them.
    pub replies: bool,
    /// Domain of the Message-IDs.
    pub domain: String,
    /// Domain of the list ids, such as `quillback.example.org`.
    pub list_domain: Option<String>,
    /// Address for List-Unsubscribe mail.
    pub unsubscribe: Option<String>,
}

/// What every letter needs besides what it says.
#[derive(Clone, Copy)]
pub struct Context<'a> {
    /// The phrase catalogue.
    pub phrases: &'a Phrases,
    /// Who writes.
    pub sender: &'a Sender,
    /// Key of the Message-IDs.
    pub key: &'a MessageKey,
    /// Who reads.
    pub person: &'a Person,
    /// The place concerned; its zone is the letter's.
    pub site: &'a Site,
    /// A circuit in the owner's words.
    pub label: &'a dyn Fn(&CircuitId) -> String,
    /// Date header, fixed when the letter enters the outbox.
    pub date: DateTime<Utc>,
    /// A picture for the reader.
    pub picture: Option<&'a Picture>,
}

/// The default label of a circuit: its id with spaces.
#[must_use]
pub fn plain_label(circuit: &CircuitId) -> String {
    circuit.as_str().replace('_', " ")
}

/// Writes the letter with one piece of advice to one person. Advice about a boat needs the boat and its record.
///
/// # Errors
/// [`MessageError`] where there is no address, no boat, or the phrase catalogue does not fit.
pub fn compose(
    advice: &Advice,
    boat: Option<(&Boat, &BoatState)>,
    context: &Context<'_>,
) -> Result<Email, MessageError> {
    let no_words = || MessageError::NoWords { alert: advice.alert.to_string() };
    let (template, parts) = match advice.kind {
        Kind::Freeze => {
            let (boat, state) =
                boat.ok_or_else(|| MessageError::NoBoat { alert: advice.alert.to_string() })?;
            let template = match &advice.act {
                Act::Raise { .. } => "freeze_raise",
                Act::Update { .. } => "freeze_update",
                Act::Close { reason: CloseReason::Returned, .. } => "freeze_returned",
                Act::Close { reason: CloseReason::Done, .. } => "freeze_done",
                Act::Close { reason: CloseReason::Passed, .. } => "freeze_passed",
                Act::Close { reason: CloseReason::NotFollowed { .. }, .. } => "freeze_dropped",
                Act::Close { reason: CloseReason::Cancelled { .. }, .. } => "freeze_cancelled",
                Act::Close { .. } => return Err(no_words()),
            };
            (template, freeze::draft(advice, boat, state, context))
        }
        Kind::Blind => match &advice.act {
            Act::Raise { .. } | Act::Update { .. } => {
                ("blind_raise", blind::draft(advice, context))
            }
            Act::Close { .. } => ("blind_close", blind::draft(advice, context)),
        },
        _ => return Err(no_words()),
    };
    let ids = identity::of_advice(advice, context.key, &context.sender.domain);
    let stream = match advice.kind {
        Kind::Blind => "operator",
        _ => "freeze",
    };
    let urgent =
        advice.facts.priority == Priority::High && !matches!(advice.act, Act::Close { .. });
    finish(template, &parts, ids, stream, urgent, context)
}

/// What goes into the phrases: the names, the cautions that apply, the tables.
struct Draft {
    words: serde_json::Value,
    cautions: std::collections::BTreeSet<&'static str>,
    table: Vec<block::Group>,
    /// Name that a subject may shorten, under which key.
    shorten: Option<(&'static str, String)>,
}

/// The address for answers to one letter: `desk+TOKEN@domain` (subaddressing, RFC 5233), the token being the left part of its
/// Message-ID, which nobody can guess who has not read it.
fn reply_to(sender: &Sender, message_id: &str) -> Option<Mailbox> {
    let (local, domain) = sender.address.split_once('@').filter(|_| sender.replies)?;
    let token = message_id.split('@').next()?;
    Some(Mailbox {
        name: words::one_line(&sender.desk, 60),
        address: format!("{local}+{token}@{domain}"),
    })
}

/// The name under which the HTML of a letter finds its picture (RFC 2392): of the form of a Message-ID, and no other's.
#[must_use]
pub fn picture_id(message_id: &str) -> String {
    format!("chart.{message_id}")
}

/// A picture as the HTML shows it.
#[derive(Serialize)]
struct Shown<'a> {
    cid: String,
    alt: &'a str,
}

fn filled(
    phrases: &Phrases,
    template: &str,
    draft: &Draft,
) -> Result<(String, Vec<Block>, Option<String>), MessageError> {
    let subject = phrases.subject(template, &draft.words, draft.shorten.as_ref())?;
    let blocks = phrases.blocks(template, &draft.words, &draft.cautions, &draft.table)?;
    let short = phrases.short(template, &draft.words, &draft.cautions)?;
    Ok((subject, blocks, short))
}

fn finish(
    template: &str,
    draft: &Draft,
    ids: identity::Ids,
    stream: &str,
    urgent: bool,
    context: &Context<'_>,
) -> Result<Email, MessageError> {
    let phrases = context.phrases;
    // Where none is listed the words are still wanted: for the next contact.
    let address = context.person.email.clone().unwrap_or_default();
    let (subject, blocks, short) = match filled(phrases, template, draft) {
        // A yard's own words that do not fit this letter keep nobody from hearing.
        Err(error) if phrases.own => {
            let (subject, mut blocks, short) = filled(&Phrases::built_in()?, template, draft)?;
            let text = format!("Not in the yard's own words, which did not fit here: {error}.");
            blocks.push(Block::Small { label: None, text });
            (subject, blocks, short)
        }
        filled => filled?,
    };
    let reply_to = if stream == "freeze" { reply_to(context.sender, &ids.own) } else { None };
    let shown =
        context.picture.map(|picture| Shown { cid: picture_id(&ids.own), alt: &picture.alt });
    Ok(Email {
        picture: context.picture.cloned(),
        message_id: ids.own,
        date: context.date,
        from: Mailbox {
            name: words::one_line(&context.sender.desk, 60),
            address: context.sender.address.clone(),
        },
        reply_to,
        to: Mailbox { name: words::one_line(&context.person.name, 60), address },
        text: block::as_text(&blocks),
        html: Some(phrases.html(&subject, &blocks, shown.as_ref())?),
        subject,
        in_reply_to: ids.earlier.last().cloned(),
        references: ids.earlier,
        list_id: context.sender.list_domain.as_ref().map(|domain| format!("{stream}.{domain}")),
        unsubscribe: context.sender.unsubscribe.clone(),
        urgent,
        calendar: None,
        short,
    })
}
