//! The table of places.

use crate::adapters::intake::Imported;
use crate::adapters::intake::amounts::number;
use crate::adapters::intake::layout::Layout;
use crate::adapters::intake::problems::ImportProblems;
use crate::adapters::intake::row::Row;
use crate::adapters::intake::sheet::Sheet;
use crate::domain::boat::SiteId;
use crate::domain::units::Celsius;
use crate::domain::weather::place::night_offset_of_terrain_k;
use crate::domain::yard::{Site, SiteKind};

const REQUIRED: [&str; 5] = ["site_id", "kind", "latitude", "longitude", "time_zone"];
const KNOWN: [&str; 21] = [
    "site_id",
    "site_name",
    "kind",
    "latitude",
    "longitude",
    "elevation_m",
    "terrain",
    "water_kind",
    "heat_kind",
    "heat_setpoint_c",
    "power_needed",
    "backup_power",
    "night_offset_c",
    "min_max_thermometer",
    "time_zone",
    "soak_hours",
    "soak_outside_c",
    "water_temperature_c",
    "travel_minutes",
    "duty_phone",
    "notes",
];

/// Reads a table of places.
///
/// # Errors
/// [`ImportProblems`] lists every bad row; nothing is taken then.
pub fn sites(bytes: &[u8], file_name: &str) -> Result<Imported<Site>, ImportProblems> {
    sites_laid_out(bytes, file_name, &Layout::default())
}

/// As [`sites`], from a table that is laid out in the yard's own way.
///
/// # Errors
/// As [`sites`].
pub fn sites_laid_out(
    bytes: &[u8],
    file_name: &str,
    layout: &Layout,
) -> Result<Imported<Site>, ImportProblems> {
    let sheet = Sheet::read(bytes, file_name, &REQUIRED, layout)?;
    super::import(
        &sheet,
        "site_id",
        sheet.notes(&KNOWN),
        |row, _| site(row),
        |site| site.id.clone(),
    )
}

fn site(row: &mut Row<'_>) -> Option<Site> {
    let id = row.required("site_id").map(SiteId::from);
    let kind =
        row.need("kind", "outdoor, indoor_unheated, indoor_heated or afloat", |text| match text {
            "outdoor" => Some(SiteKind::Outdoor),
            "indoor_unheated" => Some(SiteKind::IndoorUnheated),
            "indoor_heated" => Some(SiteKind::IndoorHeated),
            "afloat" => Some(SiteKind::Afloat),
            _ => None,
        });
    row.required("latitude");
    row.required("longitude");
    let latitude = row.number("latitude", -90.0, 90.0);
    let longitude = row.number("longitude", -180.0, 180.0);
    let time_zone =
        row.need("time_zone", "a zone such as America/New_York", |text| text.parse().ok());
    let temperatures = row.parse(
        "water_temperature_c",
        "twelve monthly means in C with semicolons between, January first",
        |text| {
            let values: Option<Vec<f64>> = text.split(';').map(number).collect();
            values.filter(|values| {
                values.len() == 12 && values.iter().all(|value| (-2.0..=40.0).contains(value))
            })
        },
    );
    let celsius = |value: f64| Celsius::new(value).ok();
    let water_kind = row
        .parse("water_kind", "sea, fresh, brackish or none", |text| {
            ["sea", "fresh", "brackish", "none"].contains(&text).then(|| text.to_owned())
        })
        .unwrap_or_else(|| "none".to_owned());
    let id = id?;
    Some(Site {
        name: row.text("site_name").unwrap_or(id.as_str()).to_owned(),
        id,
        kind: kind?,
        latitude: latitude?,
        longitude: longitude?,
        elevation_m: row.number("elevation_m", -430.0, 6000.0).unwrap_or(0.0),
        terrain: row.words("terrain"),
        water_kind,
        heat_setpoint: row.number("heat_setpoint_c", 0.5, 40.0).and_then(celsius),
        power_needed: row.yes_no("power_needed").unwrap_or(false),
        night_offset_k: row
            .number("night_offset_c", -15.0, 15.0)
            .unwrap_or_else(|| night_offset_of_terrain_k(&row.words("terrain")).unwrap_or(0.0)),
        time_zone: time_zone?,
        soak_hours: row.number("soak_hours", 0.1, 1000.0),
        soak_outside: row.number("soak_outside_c", -60.0, -0.5).and_then(celsius),
        water_temperature_c: temperatures.unwrap_or_default(),
        travel_minutes: row.number("travel_minutes", 0.0, 1440.0).unwrap_or(0.0),
        duty_phone: row.text("duty_phone").map(str::to_owned),
        notes: row.words("notes"),
        own_nights: None,
    })
}
