//! What the words of a round are made from.

use chrono::{DateTime, Utc};

use super::composer::Composer;
use crate::app::assess::{AssessedBoat, Assessment};
use crate::app::context::{AppContext, YardBook};
use crate::domain::alert::{Content, Notification};
use crate::domain::boat::{BoatId, CircuitId};
use crate::domain::message::Context;
use crate::domain::yard::{Person, Site, recipients};

/// What the words of a round are made from.
#[derive(Clone, Copy)]
pub struct Scene<'a> {
    /// Store, tables, settings.
    pub app: &'a AppContext,
    /// The words and the sender.
    pub composer: &'a Composer,
    /// Places, people, boats.
    pub yard: &'a YardBook,
    /// The look that was decided on; `None` where nothing was looked at.
    pub seen: Option<&'a Assessment>,
    /// The round.
    pub now: DateTime<Utc>,
}

impl<'a> Scene<'a> {
    /// The look over the yard.
    pub(super) fn seen(&self) -> Result<&'a Assessment, String> {
        self.seen.ok_or_else(|| "nothing was looked at".to_owned())
    }

    /// A boat as it was looked at.
    pub(super) fn boat(&self, id: &BoatId) -> Result<&'a AssessedBoat, String> {
        let views = self.seen()?.boats.iter();
        let view = views.into_iter().find(|view| view.boat.id == *id);
        view.ok_or_else(|| format!("the boat {id} is not listed any more"))
    }

    /// Who reads a notification; `None` where they or the place are not listed any more.
    pub(super) fn reader(&self, notification: &Notification) -> Option<Reader<'a>> {
        let yard = self.yard;
        let person = yard.people.get(&notification.recipient)?;
        let site = match notification.content {
            // About other people, at the reader's own clock; and a list is of all of the reader's places.
            Content::Undeliverable(_) => recipients::places_of(person, &yard.boats, &yard.sites)
                .first()
                .and_then(|id| yard.sites.get(id)),
            Content::Worklist => yard.sites.get(&notification.site).or(yard.sites.values().next()),
            _ => yard.sites.get(&notification.site),
        };
        Some((person, site?))
    }

    /// What every letter to this reader needs.
    pub(super) fn context(
        &self,
        reader: Reader<'a>,
        label: &'a dyn Fn(&CircuitId) -> String,
    ) -> Context<'a> {
        self.composer.context(reader, label, self.now)
    }
}

/// Who reads, and the place whose clock and name the letter goes by.
pub(super) type Reader<'a> = (&'a Person, &'a Site);
