//! What the places' own thermometers showed: a table of nights (low and high by the day of the morning), or the rows of a
//! logger (a temperature at a time), of which the nights are made.

use std::collections::BTreeMap;

use chrono::{DateTime, Days, NaiveDate, NaiveTime, Timelike as _, Utc};
use chrono_tz::Tz;

use crate::adapters::intake::Imported;
use crate::adapters::intake::layout::Layout;
use crate::adapters::intake::problems::ImportProblems;
use crate::adapters::intake::row::{Row, unknown};
use crate::adapters::intake::sheet::Sheet;
use crate::domain::boat::SiteId;
use crate::domain::units::fahrenheit_as_celsius;
use crate::domain::weather::learned::ReadNight;
use crate::domain::yard::Site;

const REQUIRED: [&str; 1] = ["site_id"];
const KNOWN: [&str; 10] = [
    "site_id",
    "morning",
    "low_c",
    "low_f",
    "high_c",
    "high_f",
    "time",
    "temperature_c",
    "temperature_f",
    "notes",
];
/// Believed air temperatures, C and F.
const BELIEVED_C: (f64, f64) = (-60.0, 60.0);
const BELIEVED_F: (f64, f64) = (-76.0, 140.0);
/// A night of a logger runs from this hour ...
const NIGHT_FROM: u32 = 18;
/// ... until before this one of the morning.
const NIGHT_UNTIL: u32 = 9;
/// Hours of the night that must have a row.
const NIGHT_HOURS_LEAST: usize = 8;

/// A row.
enum Reading {
    Night(ReadNight),
    Row { site: SiteId, zone: Tz, at: DateTime<Utc>, celsius: f64 },
}

/// Reads a table of readings of the places `sites`; nothing after `now` is believed. The nights come in order.
///
/// # Errors
/// [`ImportProblems`] lists every bad row; nothing is taken then.
pub fn readings(
    bytes: &[u8],
    file_name: &str,
    (layout, sites): (&Layout, &[Site]),
    now: DateTime<Utc>,
) -> Result<Imported<ReadNight>, ImportProblems> {
    let sheet = Sheet::read(bytes, file_name, &REQUIRED, layout)?;
    let read = super::import(
        &sheet,
        "site_id",
        sheet.notes(&KNOWN),
        |row, _| reading(row, sites, now),
        |reading| match reading {
            Reading::Night(night) => format!("{} {}", night.site, night.morning),
            Reading::Row { site, at, .. } => format!("{site} {at}"),
        },
    )?;
    let mut nights = Vec::new();
    let mut rows = Vec::new();
    for reading in read.rows {
        match reading {
            Reading::Night(night) => nights.push(night),
            Reading::Row { site, zone, at, celsius } => rows.push((site, zone, at, celsius)),
        }
    }
    let mut notes = read.notes;
    nights.extend(of_logger(&rows, &mut notes));
    nights.sort_by(|a, b| (&a.site, a.morning).cmp(&(&b.site, b.morning)));
    Ok(Imported { rows: nights, notes, columns: read.columns })
}

fn reading(row: &mut Row<'_>, sites: &[Site], now: DateTime<Utc>) -> Option<Reading> {
    let id = row.required("site_id").map(SiteId::from)?;
    let Some(site) = sites.iter().find(|site| site.id == id) else {
        let names = sites.iter().map(|site| site.id.as_str());
        let problem = unknown("place", id.as_str(), names, row.problems.len());
        row.refuse("site_id", problem);
        return None;
    };
    if row.text("time").is_some() {
        let (at, _) = row.moment("time", Some(site.time_zone))?;
        let at = at.to_utc();
        if at > now {
            row.refuse("time", "must not lie in the future");
            return None;
        }
        let celsius = celsius(row, "temperature_c", "temperature_f");
        let Some(celsius) = celsius else {
            row.refuse("temperature_c", "must hold the temperature, or temperature_f in F");
            return None;
        };
        return Some(Reading::Row { site: id, zone: site.time_zone, at, celsius });
    }
    if row.text("morning").is_none() {
        row.refuse(
            "morning",
            "must hold the day of the morning (or time, for the rows of a logger)",
        );
        return None;
    }
    let morning = row.date("morning")?;
    if morning > now.with_timezone(&site.time_zone).date_naive() {
        row.refuse("morning", "must not lie in the future");
        return None;
    }
    let Some(low_c) = celsius(row, "low_c", "low_f") else {
        row.refuse("low_c", "must hold the lowest temperature, or low_f in F");
        return None;
    };
    let high_c = celsius(row, "high_c", "high_f");
    if high_c.is_some_and(|high| high < low_c) {
        row.refuse("high_c", "must not be below the low");
        return None;
    }
    Some(Reading::Night(ReadNight { site: id, morning, low_c, high_c }))
}

fn celsius(row: &mut Row<'_>, in_c: &str, in_f: &str) -> Option<f64> {
    let fahrenheit = row.number(in_f, BELIEVED_F.0, BELIEVED_F.1).map(fahrenheit_as_celsius);
    row.number(in_c, BELIEVED_C.0, BELIEVED_C.1).or(fahrenheit)
}

/// A night that is being put together.
#[derive(Default)]
struct Gathered {
    low_c: Option<f64>,
    high_c: Option<f64>,
    hours: std::collections::BTreeSet<u32>,
}

/// The nights of a logger's rows; a night with too few hours is left out and counted.
fn of_logger(rows: &[(SiteId, Tz, DateTime<Utc>, f64)], notes: &mut Vec<String>) -> Vec<ReadNight> {
    let mut nights: BTreeMap<(SiteId, NaiveDate), Gathered> = BTreeMap::new();
    let evening = NaiveTime::from_hms_opt(NIGHT_FROM, 0, 0).unwrap_or_default();
    for (site, zone, at, celsius) in rows {
        let wall = at.with_timezone(zone).naive_local();
        let next = wall.date().checked_add_days(Days::new(1));
        let is_evening = wall.time() >= evening;
        let is_night = is_evening || wall.hour() < NIGHT_UNTIL;
        // The day's high belongs to the night that follows it.
        let morning = if is_night && !is_evening { Some(wall.date()) } else { next };
        let Some(morning) = morning else { continue };
        let night = nights.entry((site.clone(), morning)).or_default();
        if is_night {
            night.low_c = Some(night.low_c.map_or(*celsius, |low| low.min(*celsius)));
            night.hours.insert(wall.hour());
        } else {
            night.high_c = Some(night.high_c.map_or(*celsius, |high| high.max(*celsius)));
        }
    }
    let all = nights.len();
    let whole: Vec<ReadNight> = nights
        .into_iter()
        .filter(|(_, night)| night.hours.len() >= NIGHT_HOURS_LEAST)
        .filter_map(|((site, morning), night)| {
            Some(ReadNight { site, morning, low_c: night.low_c?, high_c: night.high_c })
        })
        .collect();
    if whole.len() < all {
        notes.push(format!(
            "{} nights have rows in fewer than {NIGHT_HOURS_LEAST} hours between {NIGHT_FROM}:00 and {NIGHT_UNTIL}:00 and are left out",
            all - whole.len()
        ));
    }
    whole
}
