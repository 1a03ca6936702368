//! From words in the phrases' places to a finished letter.

use super::block::{self, Block};
use super::context::{Context, Sender};
use super::error::MessageError;
use super::letter::{Email, Mailbox};
use super::phrases::Phrases;
use super::shown::{Shown, picture_id};
use super::{identity, words};

/// What goes into the phrases: the names, the cautions that apply, the tables.
pub(super) struct Draft {
    pub(super) words: serde_json::Value,
    pub(super) cautions: std::collections::BTreeSet<&'static str>,
    pub(super) table: Vec<block::Group>,
    /// Name that a subject may shorten, under which key.
    pub(super) shorten: Option<(&'static str, String)>,
}

/// The address for answers to one letter: `desk+TOKEN@domain` (subaddressing, RFC 5233), the token being the left part of its
/// Message-ID, which nobody can guess who has not read it.
pub(super) fn reply_to(sender: &Sender, message_id: &str) -> Option<Mailbox> {
    let (local, domain) = sender.address.split_once('@').filter(|_| sender.replies)?;
    let token = message_id.split('@').next()?;
    Some(Mailbox {
        name: words::one_line(&sender.desk, 60),
        address: format!("{local}+{token}@{domain}"),
    })
}

pub(super) fn filled(
    phrases: &Phrases,
    template: &str,
    draft: &Draft,
) -> Result<(String, Vec<Block>, Option<String>), MessageError> {
    let subject = phrases.subject(template, &draft.words, draft.shorten.as_ref())?;
    let blocks = phrases.blocks(template, &draft.words, &draft.cautions, &draft.table)?;
    let short = phrases.short(template, &draft.words, &draft.cautions)?;
    Ok((subject, blocks, short))
}

pub(super) fn finish(
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
