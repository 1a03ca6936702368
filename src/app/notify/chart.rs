//! The picture that goes with a letter about a boat: to managers, and to owners who have asked for it. A letter goes without
//! it rather than not at all.

use super::label::label_of;
use crate::app::assess::{AssessedBoat, Assessment};
use crate::app::context::AppContext;
use crate::app::settings::Settings;
use crate::domain::boat::BoatId;
use crate::domain::catalogue::Catalogue;
use crate::domain::message::chart::{Chart, PARTS_MOST, Part, Picture};
use crate::domain::risk::judge::curves::{Curve, quantiles};
use crate::domain::risk::judge::{Judge, JudgeSettings};
use crate::domain::risk::{CircuitRisk, Priority, rank};
use crate::domain::yard::{Person, Role};

/// Does this reader get pictures?
pub(crate) const fn are_wanted(person: &Person) -> bool {
    person.charts || matches!(person.role, Role::Manager)
}

/// The picture of a boat's most pressing parts for a reader; `None` where the reader wants none, nothing presses, or the
/// weather is not known.
pub(crate) fn of_boat(
    house: &AppContext,
    assessment: &Assessment,
    boat: &BoatId,
    person: &Person,
) -> Option<Picture> {
    if !are_wanted(person) {
        return None;
    }
    let view = assessment.boats.iter().find(|view| view.boat.id == *boat)?;
    let chart = drawn((&house.settings, &house.catalogue), assessment, view, person)?;
    let svg = chart.svg()?;
    match house.mailer.picture(&svg) {
        Ok(png) => Some(Picture { png, alt: chart.alt() }),
        Err(error) => {
            tracing::warn!(boat.id = %boat, "a letter goes without its chart: {error}");
            None
        }
    }
}

fn drawn(
    (settings, catalogue): (&Settings, &Catalogue),
    assessment: &Assessment,
    view: &AssessedBoat,
    person: &Person,
) -> Option<Chart> {
    let place = assessment.places.get(&view.state.site)?;
    let weather = place.weather.as_ref()?;
    let is_ahead = |row: &&CircuitRisk| row.priority > Priority::Notice && !row.frozen_now;
    let mut rows: Vec<&CircuitRisk> = view.rows.iter().filter(is_ahead).collect();
    rows.sort_by(|a, b| rank::order(a, b));
    rows.truncate(PARTS_MOST);
    if rows.is_empty() {
        return None;
    }
    let horizon_h = usize::from(settings.judge.told_h());
    let ahead = JudgeSettings { horizon_h, ..settings.judge_settings() };
    let mut judge = Judge::new(weather, catalogue, ahead);
    let curves = judge.curves(&view.state, |circuit| {
        rows.iter().any(|row| row.circuit == circuit.circuit && row.instance == circuit.instance)
    });
    let curves = curves
        .inspect_err(|error| tracing::warn!(boat.id = %view.boat.id, "no chart: {error}"))
        .ok()?;
    let parts = rows.iter().filter_map(|row| {
        let is_it = |c: &&Curve| c.circuit == row.circuit && c.instance == row.instance;
        let curve = curves.iter().find(is_it)?;
        let label = label_of(catalogue, &row.circuit);
        let name = match &row.instance {
            Some(instance) => format!("{label} ({instance})"),
            None => label,
        };
        Some(Part {
            name,
            middle_c: curve.middle_c.clone(),
            first_ice_c: curve.first_ice_c,
            burst_c: curve.burst_c,
            chance: row.chance_limit,
            danger: row.first_danger,
        })
    });
    let mut air_c = quantiles(&weather.paths, [0.1, 0.5, 0.9]);
    air_c.truncate(horizon_h);
    Some(Chart {
        title: format!("{}, {}", view.boat.name, place.site.name),
        zone: place.site.time_zone,
        scale: person.units,
        from: weather.at,
        now: assessment.instant.at,
        air_c,
        parts: parts.collect(),
        latest_start: rows.iter().filter_map(|row| row.latest_start).min(),
    })
}
