//! What the places' thermometers have taught, kept so that it is not learned twice a day.

use std::collections::BTreeMap;
use std::sync::Mutex;

use chrono::NaiveDate;

use crate::domain::boat::SiteId;
use crate::domain::yard::OwnNights;

/// Place, day, readings known and their sum.
pub(crate) type Key = (SiteId, NaiveDate, usize, u64);

/// What was learned, by place, day and the number of readings known.
#[derive(Debug, Default)]
pub struct BiasCache(pub(crate) Mutex<BTreeMap<Key, Option<OwnNights>>>);
