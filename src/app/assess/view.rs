//! The worklist of an assessment as its read model.

use chrono_tz::Tz;

use super::seen::{AssessedPlace, Assessment};
use crate::domain::risk::{CircuitRisk, rank};
use crate::views::local;
use crate::views::worklist::{
    ForecastLine, LowLine, MeasuredLine, OfficialLine, PlaceRow, PowerRow, RiskRow, WorklistView,
};

/// The worklist as one document: chances for the hours that are stated to programs.
#[must_use]
pub fn worklist_view(seen: &Assessment) -> WorklistView {
    let zone = seen.places.values().next().map_or(Tz::UTC, |place| place.site.time_zone);
    let rows = ranked(seen).into_iter().map(|row| RiskRow::of(row, seen.yard.zone(&row.site)));
    let losses = seen.boats.iter().flat_map(|view| {
        let known = view.if_power_fails.iter().filter(|loss| loss.sure_h().is_some());
        known.map(|loss| PowerRow::of(&view.boat.id, &view.state.site, loss))
    });
    WorklistView {
        at: local(seen.instant.at, zone),
        known_at: local(seen.instant.known_at, zone),
        until: local(seen.until_stated, zone),
        sites: seen.places.values().map(|place| place_row(seen, place)).collect(),
        rows: rows.collect(),
        if_power_fails: losses.collect(),
    }
}

/// The rows of an assessment that are worth listing, in the order of the worklist.
#[must_use]
pub fn ranked(seen: &Assessment) -> Vec<&CircuitRisk> {
    let rows = seen.boats.iter().flat_map(|view| &view.stated);
    let mut rows: Vec<&CircuitRisk> = rows.filter(|row| rank::is_worth_listing(row)).collect();
    rows.sort_by(|a, b| rank::order(a, b));
    rows
}

fn place_row(seen: &Assessment, place: &AssessedPlace) -> PlaceRow {
    let zone = place.site.time_zone;
    PlaceRow {
        site: place.site.id.clone(),
        forecast: ForecastLine::of(place.forecast.as_deref(), place.state, seen.instant.at, zone),
        measured: place.measured.as_ref().map(|measured| MeasuredLine::of(measured, zone)),
        official: place.official().map(|(one, not)| OfficialLine::of(one, not, zone)).collect(),
        low: place.low_stated.as_ref().map(|low| LowLine::of(low, zone)),
    }
}
