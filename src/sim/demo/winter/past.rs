//! Invented past winters around the same normals: what a yard would bring as its archive of past days.

use std::fmt::Write as _;

use chrono::{Datelike, NaiveDate};

use crate::domain::units::fahrenheit_as_celsius;
use crate::sim::demo::noise::Noise;
use crate::sim::demo::winter::days::{NIGHT_TO_NIGHT, RISE_LEAST_F, RISE_SPREAD, between};
use crate::sim::demo::winter::tables::{Normal, Tables, WinterError};

/// First years of the winters: thirty, as in climate normals.
const WINTERS: std::ops::RangeInclusive<i32> = 1992..=2021;
/// Spread of a whole winter about the normals, in F (1 K; from memory, no source).
const WINTER_SPREAD_F: f64 = 1.8;
/// Spread of a day's low about its winter, in F, by the water and inland: working figures for the demonstration.
const DAY_SPREAD_F: [f64; 2] = [4.5, 6.0];
/// Days from 1 September to 31 May, a leap day included.
const DAYS: usize = 274;

/// Daily lows and highs of thirty winters as a table `date,tmin_c,tmax_c`, on the coast or inland.
///
/// # Errors
/// [`WinterError`] when a table in `config/demo` cannot be read.
pub fn past_days(seed: u64, inland: bool) -> Result<String, WinterError> {
    let tables = Tables::read()?;
    let figure = |normal: &Normal| if inland { normal.drive_b_low_f } else { normal.coast_low_f };
    let [coast_f, inland_f] = DAY_SPREAD_F;
    let spread_f = if inland { inland_f } else { coast_f };
    let mut text = "date,tmin_c,tmax_c\n".to_owned();
    for (number, year) in (0_u64..).zip(WINTERS) {
        // Coast and inland share the weather of a winter.
        let mut noise = Noise::new(seed, 100 + number);
        let winter_f = WINTER_SPREAD_F * noise.normal();
        let lows = noise.series(DAYS, NIGHT_TO_NIGHT);
        let rises = noise.series(DAYS, NIGHT_TO_NIGHT);
        let Some(first) = NaiveDate::from_ymd_opt(year, 9, 1) else { continue };
        for ((date, low), rise) in first.iter_days().zip(&lows).zip(&rises) {
            if date.year() > year && date.month() > 5 {
                break;
            }
            let low_f = between_months(&tables.normals, date, figure) + winter_f + spread_f * low;
            let usual = between_months(&tables.normals, date, |normal| normal.rise_f);
            let high_f = low_f + (usual * (1.0 + 2.0 * RISE_SPREAD * rise)).max(RISE_LEAST_F);
            let celsius = fahrenheit_as_celsius;
            let _ = writeln!(text, "{date},{:.1},{:.1}", celsius(low_f), celsius(high_f));
        }
    }
    Ok(text)
}

/// A monthly figure on a date of any year.
fn between_months(normals: &[Normal], date: NaiveDate, figure: impl Fn(&Normal) -> f64) -> f64 {
    let first = normals.first().map_or(date, |normal| normal.day);
    let year = first.year() + i32::from(date.month() < first.month());
    // 29 February as the day before.
    let day = date.with_year(year).or_else(|| date.pred_opt()?.with_year(year)).unwrap_or(date);
    between(normals, day, figure)
}
