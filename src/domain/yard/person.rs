//! People who can be told, and what they do here.

use chrono::{NaiveDate, NaiveTime};
use serde::{Deserialize, Serialize};

use crate::domain::boat::{PersonId, SiteId};
use crate::domain::units::TemperatureScale;

/// What a person does here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Owns a boat.
    Owner,
    /// Runs the yard.
    Manager,
    /// Works on the boats.
    Technician,
    /// Keeps this service running.
    Operator,
}

/// Somebody who can be told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Person {
    /// The id that events and alerts carry.
    pub id: PersonId,
    /// Name.
    pub name: String,
    /// What they do.
    pub role: Role,
    /// Mail address, if any.
    pub email: Option<String>,
    /// Telephone, if any.
    pub phone: Option<String>,
    /// Consent to text messages.
    pub text_consent: bool,
    /// Since when that consent holds.
    pub consent_date: Option<NaiveDate>,
    /// Places that the person answers for; empty for owners.
    pub sites: Vec<SiteId>,
    /// Start of the quiet hours, local time at the place.
    pub quiet_from: Option<NaiveTime>,
    /// End of the quiet hours.
    pub quiet_to: Option<NaiveTime>,
    /// Order in which the people of a place are told.
    pub escalation_order: Option<u8>,
    /// Chance from which this person wants to hear, 0 to 1.
    pub tell_at_chance: Option<f64>,
    /// Which scale comes first.
    pub units: TemperatureScale,
    /// Wants pictures in letters; managers get them anyway.
    #[serde(default)]
    pub charts: bool,
}

/// One address that a letter can be written to or come from: plain letters, one @, a domain of labels with dots between.
/// What the way out would refuse must not come in: a letter that cannot be written warns nobody.
#[must_use]
pub fn is_mail_address(text: &str) -> bool {
    let Some((local, domain)) = text.split_once('@') else { return false };
    let local_mark = |c: char| c.is_ascii_alphanumeric() || "!#$%&'*+-/=?^_`{|}~.".contains(c);
    let label = |label: &str| {
        !label.is_empty()
            && !label.starts_with('-')
            && !label.ends_with('-')
            && label.chars().all(|c| c.is_ascii_alphanumeric() || c == '-')
    };
    let dots_stand_between = local.split('.').all(|part| !part.is_empty());
    local.len() <= 64
        && domain.len() <= 190
        && dots_stand_between
        && local.chars().all(local_mark)
        && domain.contains('.')
        && domain.split('.').all(label)
}

impl Person {
    /// Do they run this place as its manager?
    #[must_use]
    pub fn manages(&self, site: &SiteId) -> bool {
        self.role == Role::Manager && self.sites.contains(site)
    }

    /// Do they work on the boats of this place?
    #[must_use]
    pub fn works_at(&self, site: &SiteId) -> bool {
        self.role == Role::Technician && self.sites.contains(site)
    }

    /// Do they keep this service running for this place? Who lists no places keeps it running for all.
    #[must_use]
    pub fn operates(&self, site: &SiteId) -> bool {
        self.role == Role::Operator && (self.sites.is_empty() || self.sites.contains(site))
    }
}
