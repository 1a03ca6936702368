//! Storage places.

use std::collections::BTreeMap;

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::domain::boat::{PlaceFacts, Places, SiteId};
use crate::domain::catalogue::Holds;
use crate::domain::season::Hemisphere;
use crate::domain::units::{Celsius, TemperatureScale};

/// What surrounds the boats of a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SiteKind {
    /// An open lot.
    Outdoor,
    /// A shed or barn without heat.
    IndoorUnheated,
    /// A heated shed.
    IndoorHeated,
    /// Berths in the water.
    Afloat,
}

/// What a place's own thermometer has taught about its nights.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OwnNights {
    /// What clear calm nights add to the forecast, K; 0 or less.
    pub clear_k: f64,
    /// What the others add, K; 0 or less.
    pub other_k: f64,
    /// Spread of the place against the point of the forecast, K.
    pub place_sd_k: f64,
}

/// A storage place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Site {
    /// Its short name.
    pub id: SiteId,
    /// Its name for people.
    pub name: String,
    /// What surrounds the boats.
    pub kind: SiteKind,
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// Metres above the sea.
    pub elevation_m: f64,
    /// Lie of the land, in words.
    pub terrain: String,
    /// `sea`, `fresh` or `none`: what the boats would float in.
    pub water_kind: String,
    /// Setpoint of the heating, where there is one.
    pub heat_setpoint: Option<Celsius>,
    /// Does its protection hang on power?
    pub power_needed: bool,
    /// What its nights add to the forecast on clear calm nights, in kelvin (negative = colder).
    pub night_offset_k: f64,
    /// IANA zone.
    pub time_zone: Tz,
    /// Hours from the setpoint to 0 C without heat, at [`Site::soak_outside`].
    pub soak_hours: Option<f64>,
    /// Outside temperature of that soak test.
    pub soak_outside: Option<Celsius>,
    /// Twelve monthly means of the water temperature in C, January first; empty where unknown.
    pub water_temperature_c: Vec<f64>,
    /// Minutes to drive from the yard's office.
    pub travel_minutes: f64,
    /// Telephone that is answered at night.
    pub duty_phone: Option<String>,
    /// Remarks as written.
    pub notes: String,
    /// What its own thermometer has taught; not part of the list.
    #[serde(skip)]
    pub own_nights: Option<OwnNights>,
}

impl Site {
    /// What clear calm nights add to the forecast, K, never above 0: as learned, else as listed.
    #[must_use]
    pub fn clear_night_k(&self) -> f64 {
        self.own_nights.map_or(self.night_offset_k, |own| own.clear_k).min(0.0)
    }

    /// What the other nights add, K, never above 0.
    #[must_use]
    pub fn other_night_k(&self) -> f64 {
        self.own_nights.map_or(0.0, |own| own.other_k).min(0.0)
    }
}

impl Site {
    /// The scale that people at this place use: Fahrenheit in the United States, by the time zone.
    #[must_use]
    pub fn usual_scale(&self) -> TemperatureScale {
        const CITIES: [&str; 18] = [
            "New_York",
            "Detroit",
            "Chicago",
            "Menominee",
            "Denver",
            "Boise",
            "Phoenix",
            "Los_Angeles",
            "Anchorage",
            "Juneau",
            "Sitka",
            "Metlakatla",
            "Yakutat",
            "Nome",
            "Adak",
            "Honolulu",
            "Louisville",
            "Indianapolis",
        ];
        let zone = self.time_zone.name();
        let american = zone.starts_with("US/")
            || ["America/Indiana/", "America/Kentucky/", "America/North_Dakota/"]
                .iter()
                .any(|area| zone.starts_with(area))
            || zone.rsplit('/').next().is_some_and(|city| CITIES.contains(&city));
        if american { TemperatureScale::F } else { TemperatureScale::C }
    }

    /// The half of the earth that it lies in.
    #[must_use]
    pub fn hemisphere(&self) -> Hemisphere {
        Hemisphere::of_latitude(self.latitude)
    }

    /// What the fold of a boat's log must know of this place.
    #[must_use]
    pub fn facts(&self) -> PlaceFacts {
        PlaceFacts {
            water: if self.water_kind == "sea" { Holds::Sea } else { Holds::Fresh },
            afloat: self.kind == SiteKind::Afloat,
            hemisphere: self.hemisphere(),
            time_zone: self.time_zone,
        }
    }
}

/// Places this near to each other, in degrees, lie on the same water.
const SAME_WATER_DEG: f64 = 0.1;

impl Site {
    /// The place with the water temperatures of the nearest listed one on the same water, where it states none itself:
    /// a boat that is not yet hauled floats off the lot that waits for her.
    #[must_use]
    pub fn with_water_of(mut self, listed: &[Self]) -> Self {
        if self.water_temperature_c.is_empty() && self.water_kind != "none" {
            let apart = |other: &Self| {
                (other.latitude - self.latitude).abs().max((other.longitude - self.longitude).abs())
            };
            let near = |other: &&Self| {
                other.water_kind == self.water_kind
                    && !other.water_temperature_c.is_empty()
                    && apart(other) <= SAME_WATER_DEG
            };
            let nearest = listed
                .iter()
                .filter(near)
                .min_by(|a, b| apart(a).total_cmp(&apart(b)).then_with(|| a.id.cmp(&b.id)));
            if let Some(nearest) = nearest {
                self.water_temperature_c.clone_from(&nearest.water_temperature_c);
            }
        }
        self
    }
}

impl Places for [Site] {
    fn place(&self, site: &SiteId) -> Option<PlaceFacts> {
        self.iter().find(|known| known.id == *site).map(Site::facts)
    }
}

impl Places for Vec<Site> {
    fn place(&self, site: &SiteId) -> Option<PlaceFacts> {
        self.as_slice().place(site)
    }
}

impl Places for BTreeMap<SiteId, Site> {
    fn place(&self, site: &SiteId) -> Option<PlaceFacts> {
        self.get(site).map(Site::facts)
    }
}
