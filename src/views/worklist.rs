//! The worklist: places with their forecasts, what is at risk in its order, what hangs on power.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::Serialize;

use super::{local, tidy};
use crate::domain::alert::Low;
use crate::domain::boat::{BoatId, CircuitId, Evidence, Holds, SiteId};
use crate::domain::risk::power::{self, PowerLoss};
use crate::domain::risk::{CircuitRisk, Consequence, Limit, Priority};
use crate::domain::weather::credit::credits;
use crate::domain::weather::measured::Measured;
use crate::domain::weather::official::Official;
use crate::domain::weather::{Forecast, ForecastState};

/// The worklist as one document.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WorklistView {
    /// The instant that is judged.
    pub at: String,
    /// Only what was known by then counts.
    pub known_at: String,
    /// Chances are for what comes before this.
    pub until: String,
    /// Places, by id.
    pub sites: Vec<PlaceRow>,
    /// What is at risk, in the order of the worklist.
    pub rows: Vec<RiskRow>,
    /// In heated places whose heat is on: what would freeze without it.
    pub if_power_fails: Vec<PowerRow>,
}

/// A place of the worklist.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlaceRow {
    /// Which.
    pub site: SiteId,
    /// Its forecast.
    pub forecast: ForecastLine,
    /// What a station nearby measured lately.
    pub measured: Option<MeasuredLine>,
    /// Official notices of cold in force.
    pub official: Vec<OfficialLine>,
    /// The coldest hour to come.
    pub low: Option<LowLine>,
}

/// The forecast of a place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ForecastLine {
    /// Which service; null where there is none.
    pub service: Option<String>,
    /// When it was issued.
    pub issued: Option<String>,
    /// Seconds since then.
    pub age_s: Option<i64>,
    /// How far it can be relied on.
    pub state: ForecastState,
    /// The credit that its licence asks for.
    pub credit: Option<Vec<&'static str>>,
}

impl ForecastLine {
    /// Of a place whose newest forecast is `forecast`, looked at `at`.
    #[must_use]
    pub fn of(
        forecast: Option<&Forecast>,
        state: ForecastState,
        at: DateTime<Utc>,
        zone: Tz,
    ) -> Self {
        Self {
            service: forecast.map(|forecast| forecast.service.clone()),
            issued: forecast.map(|forecast| local(forecast.issued_at, zone)),
            age_s: forecast.map(|forecast| (at - forecast.issued_at).num_seconds()),
            state,
            credit: forecast.map(|forecast| credits([forecast.service.as_str()])),
        }
    }
}

/// What a station measured.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeasuredLine {
    /// Its name.
    pub station: String,
    /// How far it stands from the place, km.
    pub distance_km: f64,
    /// When.
    pub time: String,
    /// The air, C.
    pub temperature_c: Option<f64>,
}

impl MeasuredLine {
    /// In the clock of the place.
    #[must_use]
    pub fn of(measured: &Measured, zone: Tz) -> Self {
        Self {
            station: measured.station.clone(),
            distance_km: tidy(measured.distance_km),
            time: local(measured.step.time, zone),
            temperature_c: measured.step.temperature_c.map(tidy),
        }
    }
}

/// An official notice of cold: a cross-check, never an input.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OfficialLine {
    /// What it is called.
    pub event: String,
    /// Who issued it.
    pub office: String,
    /// From when.
    pub onset: String,
    /// Until when.
    pub ends: String,
    /// Our own forecast shows nothing of it.
    pub not_in_our_forecast: bool,
}

impl OfficialLine {
    /// In the clock of the place.
    #[must_use]
    pub fn of(notice: &Official, not_in_our_forecast: bool, zone: Tz) -> Self {
        Self {
            event: notice.event.clone(),
            office: notice.office.clone(),
            onset: local(notice.onset, zone),
            ends: local(notice.ends, zone),
            not_in_our_forecast,
        }
    }
}

/// The coldest hour to come, with its 80 % range.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LowLine {
    /// When it is expected.
    pub time: String,
    /// Median, C.
    pub median_c: f64,
    /// 10 % quantile, C.
    pub p10_c: f64,
    /// 90 % quantile, C.
    pub p90_c: f64,
}

impl LowLine {
    /// In the clock of the place.
    #[must_use]
    pub fn of(low: &Low, zone: Tz) -> Self {
        Self {
            time: local(low.time, zone),
            median_c: tidy(low.median_c),
            p10_c: tidy(low.p10_c),
            p90_c: tidy(low.p90_c),
        }
    }
}

/// One circuit against the coming cold.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RiskRow {
    /// The boat.
    pub boat: BoatId,
    /// Where it stands.
    pub site: SiteId,
    /// Which circuit.
    pub circuit: CircuitId,
    /// Which of several.
    pub instance: Option<String>,
    /// What it holds.
    pub holds: Holds,
    /// On what evidence.
    pub evidence: Evidence,
    /// The harm if it passes its limit.
    pub consequence: Consequence,
    /// Which limit.
    pub limit: Limit,
    /// The temperature of that limit, C.
    pub limit_at_c: Option<f64>,
    /// Chance of first ice.
    pub chance_first_ice: f64,
    /// Chance of slush.
    pub chance_slush: f64,
    /// Chance of a third of it ice.
    pub chance_burst: f64,
    /// Chance that its own limit is passed.
    pub chance_limit: f64,
    /// It is past its limit already, or was, whether or not it has thawed since.
    pub frozen_now: bool,
    /// It may have passed its limit: test it, and do what can still be done.
    pub may_be_frozen: bool,
    /// Nobody knows how cold it was before that: look first.
    pub unknown_before: Option<String>,
    /// The first hour by which the chance reaches the on-threshold.
    pub first_danger: Option<String>,
    /// The last moment to begin.
    pub latest_start: Option<String>,
    /// Seconds until then.
    pub slack_s: Option<i64>,
    /// How pressing.
    pub priority: Priority,
    /// What to do: a phrase key.
    pub action: String,
    /// Minutes of work.
    pub minutes: f64,
    /// Why, as reason keys and event ids.
    pub why: Vec<String>,
}

impl RiskRow {
    /// In the clock of the place.
    #[must_use]
    pub fn of(row: &CircuitRisk, zone: Tz) -> Self {
        Self {
            boat: row.boat.clone(),
            site: row.site.clone(),
            circuit: row.circuit.clone(),
            instance: row.instance.clone(),
            holds: row.holds,
            evidence: row.evidence,
            consequence: row.consequence,
            limit: row.limit,
            limit_at_c: row.limit_at_c.map(tidy),
            chance_first_ice: tidy(row.chance_first_ice),
            chance_slush: tidy(row.chance_slush),
            chance_burst: tidy(row.chance_burst),
            chance_limit: tidy(row.chance_limit),
            frozen_now: row.frozen_now,
            may_be_frozen: row.ice.may_be,
            unknown_before: row.ice.unknown_before.map(|at| local(at, zone)),
            first_danger: row.first_danger.map(|at| local(at, zone)),
            latest_start: row.latest_start.map(|at| local(at, zone)),
            slack_s: row.slack_s,
            priority: row.priority,
            action: row.action.clone(),
            minutes: row.minutes,
            why: row.why.clone(),
        }
    }
}

/// A circuit that stays above ice only while the power of its place is on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PowerRow {
    /// The boat.
    pub boat: BoatId,
    /// Where it stands.
    pub site: SiteId,
    /// Which circuit.
    pub circuit: CircuitId,
    /// Which of several.
    pub instance: Option<String>,
    /// The harm.
    pub consequence: Consequence,
    /// Hours without power until ice, over the members; null: not within the hours looked at.
    pub ice_after_h: HoursRange,
    /// Hours looked at.
    pub within_h: usize,
    /// The same in words.
    pub why: String,
}

/// Three quantiles of hours.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct HoursRange {
    /// 10 %.
    pub p10: Option<f64>,
    /// Median.
    pub p50: Option<f64>,
    /// 90 %.
    pub p90: Option<f64>,
}

impl PowerRow {
    /// Of a boat at a place.
    #[must_use]
    pub fn of(boat: &BoatId, site: &SiteId, loss: &PowerLoss) -> Self {
        let [p10, p50, p90] = loss.ice_after_h;
        Self {
            boat: boat.clone(),
            site: site.clone(),
            circuit: loss.circuit.clone(),
            instance: loss.instance.clone(),
            consequence: loss.consequence,
            ice_after_h: HoursRange { p10, p50, p90 },
            within_h: loss.within_h,
            why: power::words(loss),
        }
    }
}
