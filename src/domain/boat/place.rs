//! What the fold must know of a place, handed in by whoever knows the places.

use chrono_tz::Tz;

use super::SiteId;
use crate::domain::catalogue::Holds;
use crate::domain::season::Hemisphere;

/// A place as the fold sees it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlaceFacts {
    /// What the boats float in: [`Holds::Sea`] or [`Holds::Fresh`].
    pub water: Holds,
    /// Berths in the water.
    pub afloat: bool,
    /// When its seasons come.
    pub hemisphere: Hemisphere,
    /// Its time zone.
    pub time_zone: Tz,
}

/// Looks places up.
pub trait Places {
    /// The facts of a place, if it is known.
    fn place(&self, site: &SiteId) -> Option<PlaceFacts>;
}
