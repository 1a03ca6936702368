//! The weather of a place, where in it a part is, and what stands between the two.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};

use super::heat::Heat;
use crate::domain::boat::{BoatState, SiteId};
use crate::domain::catalogue::{CircuitKind, PartExposure};
use crate::domain::physics::part::ThermalClass;
use crate::domain::physics::surroundings::Exposure;
use crate::domain::physics::{TableError, surroundings};
use crate::domain::units::MetresPerSecond;
use crate::domain::weather::Step;
use crate::domain::weather::errors::Ensemble;
use crate::domain::weather::usual::UsualAir;
use crate::domain::yard::{Site, SiteKind};

/// The air of one place: what it has been and what it may become.
#[derive(Debug, Clone)]
pub struct PlaceWeather {
    /// The place.
    pub site: Site,
    /// The instant from which chances run, a whole hour.
    pub at: DateTime<Utc>,
    /// The past hours of the place up to `at`, oldest first; hours may be empty.
    pub past: Vec<Step>,
    /// The coming hours from `at` on, as forecast, at the place.
    pub coming: Vec<Step>,
    /// Possible paths of the coming hours.
    pub paths: Ensemble,
    /// The heat of a heated shed; until it went off the place was at its setpoint.
    pub heat: Heat,
    /// The past hours of other places, from which boats have come here.
    pub elsewhere: Arc<BTreeMap<SiteId, PlacePast>>,
    /// The usual air of the place, for past hours that nobody knows.
    pub usual: UsualAir,
}

/// What is taken for granted about the power of a heated place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Power {
    /// On or off as the log says.
    AsLogged,
    /// On until now, and from now on no longer.
    FailsNow,
}

/// Where a part is, as far as it decides what air it sees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Whereabouts {
    /// Where it sits in the boat.
    pub exposure: PartExposure,
    /// Is the boat covered? Then nothing of it sees the sky.
    pub covered: bool,
    /// Is she afloat? A boat can float at a place that is a lot to others, before she is hauled.
    pub afloat: bool,
    /// Where she is afloat and her haul is planned: from when on she stands ashore, and where the part sits then.
    pub hauled: Option<(DateTime<Utc>, PartExposure)>,
}

impl Whereabouts {
    /// A circuit of a boat.
    #[must_use]
    pub const fn of(kind: &CircuitKind, state: &BoatState) -> Self {
        let (covered, afloat) = (state.covered, state.afloat);
        let hauled = match state.ashore_from {
            Some(from) if afloat => Some((from, kind.exposure_when(false))),
            _ => None,
        };
        Self { exposure: kind.exposure_when(afloat), covered, afloat, hauled }
    }
}

/// By how much wind of `wind_ms`, m/s, multiplies the heat loss of `class` in still air; never below 1.
#[must_use]
pub fn wind_factor(class: &ThermalClass, wind_ms: f64) -> f64 {
    let still = class.ua().value();
    let in_wind = class.ua_in_wind(MetresPerSecond::clamped(wind_ms)).value();
    if still > 0.0 { (in_wind / still).max(1.0) } else { 1.0 }
}

/// The rows of the exposure table between the weather and the part, outermost first.
pub(super) fn chain(part: Whereabouts, site: &Site) -> Result<Vec<&'static Exposure>, TableError> {
    use PartExposure::{BelowWaterline, Deck, EngineBay, InsideHull, Open};
    let Whereabouts { exposure, covered, afloat, .. } = part;
    let within = matches!(exposure, BelowWaterline | EngineBay | InsideHull);
    // Whoever is still to be hauled into a shed floats outside of it; whoever was lifted at a berth stands beside it in the air.
    let kind = if afloat { SiteKind::Afloat } else { site.kind };
    let ids: &[&str] = match (kind, exposure) {
        (SiteKind::IndoorUnheated, _) if within => &["shed_unheated", "covered_hull"],
        (SiteKind::IndoorUnheated, _) => &["shed_unheated"],
        (SiteKind::IndoorHeated, _) if within => &["shed_no_power", "covered_hull"],
        (SiteKind::IndoorHeated, _) => &["shed_no_power"],
        (_, BelowWaterline | EngineBay) if afloat => &["afloat_below"],
        (_, Deck) => &["covered"],
        (_, Open) if covered => &["covered"],
        (_, Open) if afloat => &["afloat_above"],
        (_, Open) => &["open_part"],
        _ if covered => &["covered_hull"],
        _ => &["open_hull"],
    };
    ids.iter().map(|id| surroundings::exposure(id)).collect()
}

/// The past of a place from which a boat has come.
#[derive(Debug, Clone)]
pub struct PlacePast {
    /// The place.
    pub site: Site,
    /// Its past hours, oldest first; hours may be empty.
    pub past: Vec<Step>,
    /// The heat of a heated shed.
    pub heat: Heat,
    /// Its usual air, for past hours that nobody knows.
    pub usual: UsualAir,
}
